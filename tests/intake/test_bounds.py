"""What a small file may not cost: each is refused in a sentence before it is unpacked."""

from __future__ import annotations

import io
import os
import re
import zipfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from export_forms import book
from intake_cases import PLAIN
from pyarrow import parquet

from fptlib.errors import IntakeError
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends


def sentence(folder: Path, file: str, columns: int = 1) -> str:
    """Why a file with columns ``c0``, ``c1`` and on is not read."""
    points: dict[str, Any] = {
        f"chiller_{at + 1}_cw_leaving_temp": {"file": file, "column": f"c{at}", "unit": "degF"}
        for at in range(columns)}
    answers = {"site": {"time_zone": "America/Denver"}, "points": points}
    with pytest.raises(IntakeError) as error:
        read_trends(folder, PointMap.from_answers(answers))
    return str(error.value)


def changed(data: bytes, part: str, old: bytes, new: bytes) -> bytes:
    """A workbook with one of its parts rewritten, or added where ``old`` is empty."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as before, zipfile.ZipFile(out, "w") as after:
        for name in before.namelist():
            content = before.read(name)
            after.writestr(name, re.sub(old, new, content) if name == part else content)
        if not old:
            after.writestr(part, new)
    return out.getvalue()


ROWS = [["Time", "c0"], *([f"2026-01-20 06:{at:02d}", "BIG"] for at in range(60))]
SHEET = "xl/worksheets/sheet1.xml"


def test_few_rows_far_apart_of_many_points(tmp_path: Path) -> None:
    """Four rows of 40 points on a grid of seconds: 100 million values of 7 kB."""
    moments = ("01-01 00:00:00", "01-01 00:00:01", "01-01 00:00:02", "01-30 00:00:00")
    lines = [",".join(["Time", *(f"c{at}" for at in range(40))]),
             *(f"2026-{moment},{','.join(['44'] * 40)}" for moment in moments)]
    (tmp_path / "t.csv").write_text("\n".join(lines), encoding="utf-8")
    assert "more than 60,000,000 values" in sentence(tmp_path, "t.csv", 40)


def test_one_long_text_in_many_cells_of_a_parquet_file(tmp_path: Path) -> None:
    table = pa.table({"Time": [datetime(2026, 1, 1) + timedelta(minutes=at) for at in range(3000)],
                      "c0": pa.DictionaryArray.from_arrays(
                          pa.array(np.zeros(3000, np.int32)), pa.array(["9" * 100_000]))})
    parquet.write_table(table, tmp_path / "t.parquet")
    assert "holds a text of 100,000 bytes" in sentence(tmp_path, "t.parquet")


def test_one_long_text_in_many_cells_of_a_workbook(tmp_path: Path) -> None:
    pointing = changed(book({"T": ROWS}), SHEET, b't="inlineStr"><is><t>BIG</t></is>',
                       b't="s"><v>0</v>')
    long = changed(pointing, "xl/sharedStrings.xml", b"",
                   b"<sst><si><t>" + b"y" * 9_000_000 + b"</t></si></sst>")
    (tmp_path / "t.xlsx").write_bytes(long)
    assert "shows a text of 9,000,000 letters" in sentence(tmp_path, "t.xlsx")


@pytest.mark.parametrize("place", (b'r="XFD1048576"', b"r = 'XFD1048576'"))
def test_a_cell_far_away(place: bytes, tmp_path: Path) -> None:
    (tmp_path / "t.xlsx").write_bytes(changed(book({"T": ROWS}), SHEET, b'r="B9"', place))
    assert "1,048,576 rows and 16,384 columns" in sentence(tmp_path, "t.xlsx")


def test_a_cell_whose_place_is_hidden(tmp_path: Path) -> None:
    hidden = changed(book({"T": ROWS}), SHEET, b'r="B9"', b'r="&#88;FD1048576"')
    (tmp_path / "t.xlsx").write_bytes(hidden)
    assert "in a way that cannot be checked" in sentence(tmp_path, "t.xlsx")


def test_more_cells_than_are_read_though_none_states_its_place(tmp_path: Path) -> None:
    """An XML reader counts them; 4.5 million of any form are held by nobody."""
    numbers = b"".join(b"<c><v>%d</v></c>" % at for at in range(100, 45_100))
    (tmp_path / "t.xlsx").write_bytes(changed(
        book({"T": ROWS}), SHEET, b"</sheetData>",
        b"<row>" + numbers * 100 + b"</row></sheetData>"))
    assert "more than 4,000,000 cells" in sentence(tmp_path, "t.xlsx")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are not made here")
def test_a_pipe_is_no_file(tmp_path: Path) -> None:
    """Opened it would wait for ever; beside the trends it is named and left alone."""
    os.mkfifo(tmp_path / "t.csv")
    assert "a pipe or a device" in sentence(tmp_path, "t.csv")
    (tmp_path / "u.csv").write_text(PLAIN, encoding="utf-8")
    source = {"file": "u.csv", "column": "CHWS", "unit": "degF"}
    grid = read_trends(tmp_path, PointMap.from_answers(
        {"site": {"time_zone": "America/Denver"}, "points": {"chw_supply_temp": source}}))
    assert any("a pipe or a device" in remark.text for remark in grid.remarks)
