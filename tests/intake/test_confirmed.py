"""A doubt that somebody has looked into is answered, and stays on record as a note."""

from __future__ import annotations

from pathlib import Path

import pytest
from intake_plant import plant

from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends


@pytest.mark.parametrize(("confirmed", "severity"), [
    ("", "doubt"), ("read beside a thermometer, A. Invented, 3 January", "note")])
def test_a_confirmed_column_is_doubted_no_more(
        tmp_path: Path, confirmed: str, severity: str) -> None:
    frame = plant()
    pair = ["chw_supply_temp", "chw_return_temp"]
    frame[pair] = frame[pair[::-1]].to_numpy()
    frame.rename_axis("Time").tz_localize(None).to_csv(tmp_path / "a.csv")
    sources = {name: {"file": "a.csv", "column": name, "unit": ""} for name in frame}
    for name in pair:
        sources[name]["unit"] = "degF"
    if confirmed:
        sources["chw_supply_temp"]["confirmed"] = confirmed
    sources = {name: sources[name] for name in (*pair, "chiller_1_running") if name in sources}
    zone = str(frame.index.tz) if frame.index.tz is not None else "America/Denver"
    grid = read_trends(tmp_path, PointMap.from_answers({
        "site": {"time_zone": zone}, "points": sources}))
    remark = next(each for each in grid.remarks if "may be swapped" in each.text)
    assert remark.severity == severity
    assert confirmed in remark.text
