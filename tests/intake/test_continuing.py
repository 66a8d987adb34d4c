"""Files of one series, one week after the other, are one row of the table and one point."""

from __future__ import annotations

from pathlib import Path

import naming
import pandas as pd
import pytest

from fptlib.job.start import start
from fptlib.trends.beside import remarks
from fptlib.trends.columns import read_columns
from fptlib.trends.continuing import copies, same_series, undated
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends
from fptlib.workbook import point_table
from fptlib.workbook.questionnaire import section

HOURS = 24


def days(folder: Path, name: str, first: int, count: int = 1, heads: str = "CHWST (degF)",
         value: float = 44.0) -> None:
    """A file of hourly rows from the ``first`` of January."""
    stamps = pd.date_range(f"2026-01-{first:02d}", periods=count * HOURS, freq="h")
    cells = ",".join([str(value)] * len(heads.split(",")))
    lines = [f"Time,{heads}", *(f"{stamp:%Y-%m-%d %H:%M},{cells}" for stamp in stamps)]
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")


def series(folder: Path) -> list[list[str]]:
    return [[column.file, *column.more] for column in read_columns(folder, {}).columns]


@pytest.mark.parametrize(("name", "wanted"), [
    ("CH-1 KW 2026-01.csv", "CH-1 KW"), ("CHW_20260105.csv", "CHW"),
    ("Jan 2026 plant.csv", "plant"), ("Group1_2026-01-05.csv", "Group1"),
    ("plant (1).csv", "plant"),
    ("10-2025 CHW.csv", "CHW"), ("report_1-5-26.csv", "report"), ("OA-T.csv", "OA-T"),
    ("March.csv", ""),
])
def test_a_name_without_its_dates(name: str, wanted: str) -> None:
    assert undated(name) == wanted


def test_equipment_of_another_number_is_another_series() -> None:
    assert same_series("CH1 2026-01.csv") != same_series("CH2 2026-02.csv")
    assert same_series("trend_1.csv") == same_series("trend_2.csv")


def test_weeks_are_one_column_in_the_order_of_time(tmp_path: Path) -> None:
    for first, name in ((8, "a 2026-01-08.csv"), (1, "a 2026-01-01.csv"), (15, "a 2026-01-15.csv")):
        days(tmp_path, name, first, 7)
    assert series(tmp_path) == [["a 2026-01-01.csv", "a 2026-01-08.csv", "a 2026-01-15.csv"]]
    (column,) = read_columns(tmp_path, {}).columns
    assert len(column.values) == 21 * HOURS and column.minutes == 60.0


@pytest.mark.parametrize(("one", "two"), [
    (("CH1 Jan.csv", 1, 7), ("CH2 Feb.csv", 8, 7)),       # another chiller
    (("north.csv", 1, 7), ("south.csv", 8, 7)),            # another name
    (("export 1.csv", 1, 7), ("export 2.csv", 4, 7)),      # days that lie over one another
])
def test_what_is_not_one_series_stays_apart(one: tuple[str, int, int], two: tuple[str, int, int],
                                            tmp_path: Path) -> None:
    days(tmp_path, *one)
    days(tmp_path, *two, value=45.0)
    assert len(series(tmp_path)) == 2


def test_a_unit_that_changes_from_week_to_week_is_no_continuation(tmp_path: Path) -> None:
    days(tmp_path, "a 2026-01-01.csv", 1, 7, "CHWST (degF)")
    days(tmp_path, "a 2026-01-08.csv", 8, 7, "CHWST (degC)", 7.0)
    assert len(series(tmp_path)) == 2


def test_a_file_saved_twice_is_used_once_and_said(tmp_path: Path) -> None:
    days(tmp_path, "plant.csv", 1)
    days(tmp_path, "plant (1).csv", 1)
    found = read_columns(tmp_path, {})
    assert len(found.columns) == 1
    assert found.unread == {"plant.csv": "file 'plant.csv' is a copy of 'plant (1).csv' and is not "
                                         "used"}
    # Two towers that run alike write the same bytes.
    days(tmp_path, "CT-1 STS.csv", 1, heads="Value")
    days(tmp_path, "CT-2 STS.csv", 1, heads="Value")
    assert not copies([tmp_path / "CT-1 STS.csv", tmp_path / "CT-2 STS.csv"])


def test_a_lone_value_of_another_name_is_no_continuation(tmp_path: Path) -> None:
    for name in ("CHW-ST.csv", "OIL-T.csv", "CHW-ST 2.csv"):
        days(tmp_path, name, 1, heads="Value (degF)", value=len(name))
    told = PointMap.from_answers({**naming.SITE, "points": {
        "chw_supply_temp": {"file": "CHW-ST.csv", "column": "Value (degF)"}}})
    said = {remark.file: remark.text for remark in remarks(tmp_path, told)}
    assert "has the columns" in said["CHW-ST 2.csv"] and "no point" in said["OIL-T.csv"]


@pytest.fixture
def weekly(tmp_path: Path):
    """A job with forty files: five groups of columns, eight stretches of time."""
    job = start(tmp_path / "new", "new")
    naming.written("trade_4_words", tmp_path)
    whole = pd.read_csv(tmp_path / "plant.csv", dtype=str, keep_default_na=False)
    rows, columns = -(-len(whole) // 8), list(whole.columns[1:])
    for part in range(8):
        for group in range(5):
            whole.iloc[part * rows: (part + 1) * rows][["Time", *columns[group::5]]].to_csv(
                job.trends_folder / f"Group{group + 1}_2026-01-{part + 5:02d}.csv", index=False)
    return job


def test_forty_files_are_one_table_and_one_accepted_map(weekly) -> None:
    table = point_table.of(weekly)
    assert len(table.rows) == 59 and sum(row.accept for row in table.rows) == 47
    assert table.rows[0].files == "Group1_2026-01-05.csv and 7 more"
    assert point_table.save(weekly, table.rows) == 47
    weekly.put("site", {"time_zone": "America/Boise", "altitude": 5300.0})
    grid = read_trends(weekly.trends_folder, PointMap.from_answers(weekly.answers()))
    assert len(grid) == len(naming.plant())
    assert not any("continues" in remark.text for remark in grid.remarks)


def test_a_week_that_comes_later_is_offered_to_the_points_it_continues(weekly) -> None:
    last = [file for file in weekly.trend_files() if "01-12" in file.name]
    kept = {file: file.read_bytes() for file in last}
    for file in last:
        file.unlink()
    point_table.save(weekly, point_table.of(weekly).rows)
    for file, content in kept.items():
        file.write_bytes(content)
    rows = point_table.of(weekly).rows
    assert rows[0].doubt == "Group1_2026-01-12.csv continues it: accept, and it is read too"
    point_table.save(weekly, rows)
    assert len(weekly.get(f"points.{rows[0].point}.file")) == 8
    assert not any(row.doubt for row in point_table.of(weekly).rows)


def test_the_form_of_a_point_shows_its_files_and_saves_them_again(weekly) -> None:
    point_table.save(weekly, point_table.of(weekly).rows)
    points = section(weekly, "points")
    row = points.rows()[0]
    assert row["file"].count("; ") == 7
    assert points.finish(row)["file"] == weekly.get(f"points.{row['point']}.file")
