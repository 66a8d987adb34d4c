"""``readings.csv`` is read whole or not at all, by checks and form alike."""

from __future__ import annotations

from pathlib import Path

import pytest

from fptlib.errors import JobError
from fptlib.job.readings import COLUMNS, numbered_rows

HEAD = ",".join(COLUMNS)
ROW = "2026-01-10 10:00,chw_supply_temp,44,degF,T1,me,"


def _file(tmp_path: Path, text: str | bytes) -> Path:
    file = tmp_path / "readings.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return file


def test_rows_carry_their_number_whatever_lies_between(tmp_path: Path) -> None:
    found = numbered_rows(_file(tmp_path, f"\ufeff{HEAD}\n\n{ROW}cold\r\n,,,,,,\n\n{ROW}\n"))
    assert [(number, row["remark"]) for number, row in found] == [(3, "cold"), (6, "")]


def test_short_rows_and_columns_of_ones_own(tmp_path: Path) -> None:
    (_, short), (_, full) = numbered_rows(_file(
        tmp_path, f'{HEAD},weather,,\n{ROW}\n{ROW}"a, b",snow,,\n'))
    assert (short["remark"], short["weather"]) == ("", "")
    assert (full["remark"], full["weather"]) == ("a, b", "snow")
    assert list(full) == [*COLUMNS, "weather"]


def test_no_file_no_rows(tmp_path: Path) -> None:
    assert numbered_rows(tmp_path / "readings.csv") == []


@pytest.mark.parametrize(("text", "said"), [
    ("", "row 1: the heading lacks time, point, value, unit, instrument"),
    ("time;point;value\n", "row 1: the heading lacks time"),
    (f"{HEAD},remark\n", "row 1: the heading has remark more than once"),
    (f"{HEAD}\n\n{ROW}read twice, second time shaded\n",
     "row 3: ' second time shaded' stands below no heading; put a text that holds a comma in"),
    (f"{HEAD},\n{ROW}read twice, shaded\n", "row 2: ' shaded' stands below no heading"),
    (f"{HEAD}\n{ROW}{'x' * 200_000}\n", "row 2: field larger than field limit"),
    (f'{HEAD}\n{ROW}"never closed\n{ROW}\n', "look there or above for a double quote"),
    (f"{HEAD}\n{ROW}\xb0".encode("latin-1"), "is not UTF-8 text; save it as UTF-8"),
    (f"{HEAD}\n{ROW}".encode("utf-16"), "is not UTF-8 text; save it as UTF-8"),
])
def test_what_cannot_be_read_whole_is_one_sentence(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    with pytest.raises(JobError, match="^readings.csv") as stopped:
        numbered_rows(_file(tmp_path, text))
    assert said in str(stopped.value) and "\n" not in str(stopped.value)
