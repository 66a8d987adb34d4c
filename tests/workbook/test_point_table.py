"""Every column in one table, on the terminal, as a file for a spreadsheet, and in the map."""

from __future__ import annotations

import zipfile
from dataclasses import replace

import naming
import openpyxl
import pytest
from export_forms import all_forms, wrong

from fptlib.cli.commands import main
from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.job.start import start, start_sample
from fptlib.procedure.steps import CHECKS
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends
from fptlib.workbook import point_table


@pytest.fixture
def fresh(tmp_path):
    """A job just begun: no answer yet, one file with 59 columns."""
    job = start(tmp_path / "new", "new")
    naming.written("trade_4_words", job.trends_folder)
    return job


def test_from_files_to_a_map_without_one_answer(fresh, capsys):
    assert main(["map", str(fresh.folder)]) == 0
    said = capsys.readouterr().out
    assert said.count("plant.csv") == 59 and fresh.get("points") in (None, {})
    assert "hx_chw_flow: 4 checks: Do both sides of the exchanger carry the same heat?" in said
    assert main(["map", str(fresh.folder), "--write"]) == 0
    assert "the point map holds 47 points" in capsys.readouterr().out
    assert fresh.get("points.chiller_2_power") == {
        "file": "plant.csv", "column": "Chiller No. 2 Input Power (kW)", "unit": "kW"}


def test_counts_are_read_off_the_files_until_the_plan_states_them(fresh):
    table = point_table.of(fresh)
    assert (table.chillers, table.tower_cells) == (3, 3)
    fresh.put("plant.chillers", 4)
    assert point_table.of(fresh).chillers == 4
    assert "chiller_4_running" in point_table.of(fresh).costs


def edited(file, changes, delimiter=",", encoding="utf-8-sig"):
    """The table file as a spreadsheet saves it, with changes of cells by column."""
    text = file.read_text(encoding="utf-8-sig").replace("\r\n", "\n")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new)
    if delimiter != ",":
        text = text.replace(",", delimiter)
    file.write_text(text, encoding=encoding, newline="\r\n")


@pytest.mark.parametrize(("delimiter", "encoding"), [
    (",", "utf-8-sig"), (";", "cp1252"), ("\t", "utf-8"),
])
def test_the_table_is_edited_in_a_spreadsheet_and_read_back(fresh, tmp_path, delimiter, encoding,
                                                            capsys):
    file = tmp_path / "map.csv"
    main(["map", str(fresh.folder), "--table", str(file)])
    edited(file, {"yes,outdoor_humidity,%RH": "no,outdoor_humidity,%RH",
                  "no,,,,plant.csv,Cooling Tower Makeup Water Flow (GPM)":
                  "yes,hx_cw_flow,GPM,,plant.csv,Cooling Tower Makeup Water Flow (GPM)"},
           delimiter, encoding)
    main(["map", str(fresh.folder), "--read", str(file)])
    assert fresh.get("points.outdoor_humidity") is None
    assert fresh.get("points.hx_cw_flow.unit") == "gpm"
    assert "the point map holds 47 points" in capsys.readouterr().out


@pytest.mark.parametrize(("change", "sentence"), [
    ({"yes,outdoor_humidity,%RH": "yes,outdoor_wet_bulb,degF"},
     "are both accepted as outdoor air wet bulb; accept one of them"),
    ({"yes,outdoor_humidity,%RH": "ok,outdoor_humidity,%RH"},
     "'map.csv', row 3: Accept holds 'ok' where yes or no was expected"),
    ({"yes,outdoor_humidity,": "yes,outdoor_moisture,"}, "is not a point of the glossary"),
    ({"yes,outdoor_humidity,%RH": "yes,outdoor_humidity,gpm"}, "unit 'gpm' cannot be turned into"),
    ({"plant.csv,Decoupler Flow": "plant.csv,Decoupler Flo"}, "has no further column"),
    ({"Accept,Point": "Take,Point"}, "row 1: no column Accept"),
])
def test_a_table_that_cannot_be_used_saves_nothing(fresh, tmp_path, change, sentence, capsys):
    file = tmp_path / "map.csv"
    main(["map", str(fresh.folder), "--table", str(file)])
    edited(file, change)
    assert main(["map", str(fresh.folder), "--read", str(file)]) == 1
    assert sentence in capsys.readouterr().err
    assert fresh.get("points") in (None, {})


def test_a_column_that_a_spreadsheet_would_run_comes_back(fresh, tmp_path):
    (fresh.trends_folder / "odd.csv").write_text(
        "Time,=1+1\n2026-01-05 00:00,3\n2026-01-05 00:05,4\n", encoding="utf-8")
    table = point_table.of(fresh)
    point_table.write(table, tmp_path / "map.csv")
    assert ",'=1+1," in (tmp_path / "map.csv").read_text(encoding="utf-8-sig")
    assert point_table.read(table, tmp_path / "map.csv") == list(table.rows)


def test_what_the_map_says_besides_stays(job):
    # The small plant's job is mapped; one point states a word of its own.
    job.put("points.chiller_1_running.on", ["läuft"])
    table = point_table.of(job)
    rows = [replace(row, accept=row.point != "chw_flow") if row.was else row
            for row in table.rows]
    assert point_table.save(job, rows) == sum(bool(row.was) for row in rows) - 1
    assert job.get("points.chw_flow") is None
    assert job.get("points.chiller_1_running.on") == ["läuft"]


def test_a_row_that_is_accepted_without_a_point_is_refused(job):
    rows = [replace(row, accept=True, point="") for row in point_table.of(job).rows][:1]
    with pytest.raises(FormError, match="accepted without a point"):
        point_table.save(job, rows)


def test_what_is_missing_costs_the_checks_that_are_not_tested(job):
    job.change(lambda document: document["points"].pop("chw_flow"))
    table = point_table.of(job)
    rows = [replace(row, accept=bool(row.was)) for row in table.rows]
    # The same as taking the point away from a test: tests/procedure/test_missing_points.py.
    wanted = {CHECKS[name].words["question"] for name in (
        "exit.comparative", "transition.entering", "transition.leaving")}
    assert wanted <= set(point_table.costs(job.answers(), rows)["chw_flow"])


def test_a_file_that_cannot_be_read_is_named(fresh, capsys):
    (fresh.trends_folder / "cut.zip").write_bytes(b"PK\x03\x04 cut")
    assert main(["map", str(fresh.folder)]) == 1
    assert "not read: file 'cut.zip'" in capsys.readouterr().out


def test_a_job_without_files_says_so(tmp_path, capsys):
    start(tmp_path / "new", "new")
    assert main(["map", str(tmp_path / "new")]) == 1
    assert "trends/ holds no trend file; put one there" in capsys.readouterr().err
    assert Job(tmp_path / "new").get("points") in (None, {})


def test_the_interval_is_that_of_the_file_however_long_it_is(tmp_path):
    """Two weeks of one-minute rows, as sample_trends/README.md describes the sample."""
    rows = point_table.of(start_sample(tmp_path / "job")).rows
    assert {row.interval for row in rows} == {"1"}


@pytest.fixture
def sheets(tmp_path):
    """A job with a workbook of one sheet for each point, and a cover sheet."""
    export = next(form for form in all_forms() if form.name == "one sheet per point")
    job = start(tmp_path / "new", "new")
    export.write(job.trends_folder)
    book = openpyxl.load_workbook(job.trends_folder / "t.xlsx")
    book.create_sheet("Notes", 0).append(["trends of the plant"])
    book.save(job.trends_folder / "t.xlsx")
    return job, export


def test_every_sheet_of_a_workbook_is_in_the_table_and_is_read(sheets):
    job, export = sheets
    table = point_table.of(job)
    assert set(table.unread) == {"t.xlsx: Notes"}
    assert "t.xlsx: CHWS" in [row.file for row in table.rows]
    meant = {f"t.xlsx: {row['sheet']}": point for point, row in export.points.items()}
    rows = [replace(row, accept=True, point=meant[row.file],
                    unit=str(export.points[meant[row.file]].get("unit", "")))
            for row in table.rows]
    assert point_table.save(job, rows) == len(export.points)
    assert job.get("points.chw_supply_temp")["sheet"] == "CHWS"
    job.put("site", export.job()["site"])
    grid = read_trends(job.trends_folder, PointMap.from_answers(job.answers()))
    assert not wrong(export, grid)
    again = point_table.of(job).rows
    assert all(row.was and not row.doubt for row in again)
    before = job.file.read_bytes()
    point_table.save(job, again)
    assert job.file.read_bytes() == before


def test_every_file_in_a_zip_is_in_the_table(tmp_path):
    job = start(tmp_path / "new", "new")
    naming.written("trade_4_words", tmp_path)
    with zipfile.ZipFile(job.trends_folder / "stick.zip", "w") as archive:
        archive.write(tmp_path / "plant.csv", "plant.csv")
        archive.writestr("weather.csv", "Time,OA-T (degF)\n2026-01-05 00:00,30\n"
                                        "2026-01-05 01:00,31\n")
    table = point_table.of(job)
    assert sum(row.accept for row in table.rows) >= 46
    point_table.save(job, table.rows)
    assert job.get("points.chw_flow")["member"] == "plant.csv"
