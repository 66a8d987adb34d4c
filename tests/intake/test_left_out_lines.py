"""Lines that are no rows are counted once, however often their file is read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends

SUPPLY = {"file": "t.csv", "column": "CHWS", "unit": "degF"}


def said(folder: Path, lines: list[str], **form: Any) -> list[str]:
    """What is said of a file with these lines."""
    (folder / "t.csv").write_text("\n".join(lines) + "\n")
    trends = read_trends(folder, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"}, "files": {"t.csv": form},
        "points": {"chw_supply_temp": SUPPLY}}))
    return [remark.text for remark in trends.remarks]


def moments(count: int) -> list[pd.Timestamp]:
    return list(pd.date_range("2026-01-05", periods=count, freq="1min"))


def long_lines(at: list[pd.Timestamp]) -> list[str]:
    return ["Time,Point,Value", *(f"{t},CHWS,{44 + t.minute / 100}" for t in at)]


def test_broken_lines_of_a_long_file(tmp_path: Path) -> None:
    """The file is read before for its step."""
    lines = long_lines(moments(1200))
    lines[100:900:100] = [line + ",more" for line in lines[100:900:100]]
    assert any(text.startswith("8 lines have another number") for text in said(tmp_path, lines))


def test_broken_lines_of_a_file_with_doubtful_dates(tmp_path: Path) -> None:
    """The file is read before for the order of day and month."""
    lines = ["Time,CHWS", *(f"{t:%d/%m/%Y %H:%M},{44 + t.minute / 100}" for t in moments(4000))]
    lines[100:3700:134] = [line + ",more" for line in lines[100:3700:134]]
    found = said(tmp_path, lines)
    assert "dates are day first" in found
    assert any(text.startswith("27 lines have another number") for text in found)


def test_rows_without_a_time_of_a_long_file(tmp_path: Path) -> None:
    lines = long_lines(moments(1200))
    lines[100:400:100] = [",CHWS,44"] * 3
    assert "3 rows without a time were left out" in said(tmp_path, lines)
