"""A second trend of the same quantity tells how far two clocks are apart."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from intake_plant import plant

from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends


def said(folder: Path, seconds: int, frozen: bool = False) -> list[str]:
    """What is said of a logger whose clock is ahead by so much."""
    own = plant(days=3.0, minutes=1)["outdoor_wet_bulb"].round(2)
    logger = own.iloc[::5] + 1.0
    logger.index = logger.index + pd.Timedelta(seconds=seconds)
    if frozen:
        logger.iloc[300:] = 40.0
    for name, column in (("plant.csv", own), ("logger.csv", logger)):
        column.index = column.index.tz_localize(None)
        column.to_csv(folder / name, index_label="Time", header=["WB"])
    trends = read_trends(folder, PointMap.from_answers({
        "site": {"time_zone": "America/Denver"},
        "points": {"outdoor_wet_bulb": {
            "file": "plant.csv", "column": "WB", "unit": "degF",
            "second": {"file": "logger.csv", "column": "WB", "unit": "degF"}}},
    }))
    assert list(trends.frame) == ["outdoor_wet_bulb"]
    return [f"{r.severity}: {r.text}" for r in trends.remarks if "second" in r.text
            or "clock" in r.text]


def test_clock_ahead(tmp_path: Path) -> None:
    assert any("doubt: the clock of 'logger.csv' is about +12" in text and "values +1 degF" in text
               for text in said(tmp_path, 740)), said(tmp_path, 740)


def test_clocks_agree(tmp_path: Path) -> None:
    assert all(text.startswith("note") for text in said(tmp_path, 0))


def test_frozen_second_trend(tmp_path: Path) -> None:
    found = said(tmp_path, 0, frozen=True)
    assert any("in the second trend the value stands at 40 °F" in text for text in found), found
