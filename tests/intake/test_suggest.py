"""A point map is suggested from words, units and behaviour."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest
from intake_cases import parquet_bytes
from intake_plant import plant, suggestions

from fptlib.trends.mapping import PointMap
from fptlib.trends.names import words
from fptlib.trends.reading import read_trends

HEADERS = {
    "outdoor_dry_bulb": "OA Temp", "outdoor_wet_bulb": "OA Wet Bulb", "outdoor_humidity": "OA RH",
    "chw_supply_temp": "CHWS-T", "chw_supply_setpoint": "CHWS Setpoint",
    "chw_return_temp": "CHWR-T", "chw_flow": "CHW Flow", "cw_supply_temp": "CWS Temp",
    "cw_return_temp": "CWR Temp", "cw_flow": "CW Flow", "chiller_1_running": "Chiller 1 Status",
    "chiller_1_power": "Chiller 1 kW", "plant_power": "Total kW", "plant_load": "Plant Tons",
}


def write(folder: Path, frame: pd.DataFrame, headers: dict[str, str] | None = None) -> None:
    named = frame.rename(columns=headers or HEADERS)
    named.index = named.index.tz_localize(None)
    named.round(4).to_csv(folder / "t.csv", index_label="Time")


def suggested(folder: Path) -> dict[str, tuple[str, str]]:
    return {s.point: (s.column, s.unit) for s in suggestions(folder, {})}


def test_every_point_of_a_plain_plant(tmp_path: Path) -> None:
    write(tmp_path, plant())
    found = suggested(tmp_path)
    assert {point: column for point, (column, _) in found.items()} == HEADERS


def test_units_from_the_values(tmp_path: Path) -> None:
    frame = plant()
    for name in ("chw_supply_temp", "chw_return_temp"):
        frame[name] = (frame[name] - 32.0) / 1.8
    frame["outdoor_humidity"] /= 100.0
    frame["chw_flow"] /= 15.850323
    write(tmp_path, frame)
    found = suggested(tmp_path)
    assert found["chw_supply_temp"][1] == found["chw_return_temp"][1] == "degC"
    assert found["outdoor_humidity"][1] == "fraction"
    assert found["chw_flow"][1] == "L/s"


def test_swapped_headers_are_turned_round_by_the_values(tmp_path: Path) -> None:
    headers = {**HEADERS, "chw_supply_temp": "CHWR-T", "chw_return_temp": "CHWS-T"}
    write(tmp_path, plant(), headers)
    found = {s.point: s for s in suggestions(tmp_path, {})}
    assert found["chw_supply_temp"].column == "CHWR-T"
    assert "turned round" in found["chw_supply_temp"].why
    assert found["chw_supply_temp"].confidence <= 0.5


def test_flow_that_fits_no_unit_has_little_confidence(tmp_path: Path) -> None:
    write(tmp_path, plant().assign(chw_flow=lambda f: f.chw_flow / 60))
    flow = next(s for s in suggestions(tmp_path, {}) if s.point == "chw_flow")
    assert flow.confidence <= 0.4 or flow.unit != "gpm"


def test_long_file(tmp_path: Path) -> None:
    frame = plant(days=0.5)[["chw_supply_temp", "chw_return_temp"]].round(2)
    frame.index = frame.index.tz_localize(None)
    long = frame.rename(columns=HEADERS).stack().reset_index()
    long.columns = ["Time", "Point", "Value"]
    long.to_csv(tmp_path / "t.csv", index=False)
    assert suggested(tmp_path) == {"chw_supply_temp": ("CHWS-T", "degF"),
                                   "chw_return_temp": ("CHWR-T", "degF")}


def test_suggestion_can_be_read_as_it_is(tmp_path: Path) -> None:
    write(tmp_path, plant())
    table = {s.point: {"file": s.file, "column": s.column, "unit": s.unit}
             for s in suggestions(tmp_path, {})}
    trends = read_trends(tmp_path, PointMap.from_answers(
        {"site": {"time_zone": "America/Denver"}, "points": table}))
    pd.testing.assert_frame_equal(trends.frame[list(plant())], plant(), check_freq=False,
                                  check_index_type=False, atol=1e-4, rtol=0)
    assert not [r for r in trends.remarks if r.severity != "note"]


def test_files_that_cannot_be_read_do_not_stop_the_others(tmp_path: Path) -> None:
    write(tmp_path, plant())
    at = pd.Timestamp("2026-01-05")
    for name, columns in (
        ("bytes", {"Raw": [b"\xff"]}), ("far", {"Time": [at], "Installed": [date(9999, 1, 1)]}),
        ("counts", {"Time": [at], "Count": pa.array([2**63], pa.uint64())}),
    ):
        (tmp_path / f"{name}.parquet").write_bytes(parquet_bytes(columns))
    (tmp_path / "cut.zip").write_bytes(b"PK\x03\x04 cut")
    assert {point: column for point, (column, _) in suggested(tmp_path).items()} == HEADERS


@pytest.mark.parametrize("header, said", [
    ("CHWS-T", "chws t"), ("TempEvapIn", "temp evap in"), ("CH1", "ch 1"),
    ("Chiller 2 kW (kW)", "chiller 2 kw"), ("cw_from_tower_C", "cw from tower"),
])
def test_words(header: str, said: str) -> None:
    assert words(header) == said
