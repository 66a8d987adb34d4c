"""Files that nobody here wrote read with their maps; what is wrong in them is found."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from intake_plant import SHARED, real_job, suggestions

from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.moist_air import wet_bulb
from fptlib.trends.columns import read_columns
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import PointMap
from fptlib.trends.plausibility import map_doubts
from fptlib.trends.quality import quality
from fptlib.trends.reading import read_trends
from fptlib.trends.weather import read_weather


def read(name: str, folder: Path) -> Grid:
    return read_trends(folder, PointMap.from_answers(real_job(name, folder)))


def of(trends: Grid, point: str, severity: str) -> str:
    return " ".join(r.text for r in trends.remarks if (r.point, r.severity) == (point, severity))


def test_campus_chiller(tmp_path: Path) -> None:
    trends = read("campus_chiller", tmp_path)
    frame = trends.frame.dropna()
    assert trends.minutes == 5.0 and len(frame) == 4094
    # Published analysis of the file: wet bulb within 0.1 F, lift 30 to 56 F, approach 5.1 F.
    worked_out = wet_bulb(frame["outdoor_dry_bulb"].to_numpy(),
                          frame["outdoor_humidity"].to_numpy(), pressure_at(300.0))
    assert abs(np.median(worked_out - frame["outdoor_wet_bulb"])) < 0.1
    lift = frame["chiller_1_cw_leaving_temp"] - frame["chiller_1_chw_leaving_temp"]
    assert 29.5 < lift.min() and lift.max() < 56.5
    approach = frame["cw_supply_temp"] - frame["outdoor_wet_bulb"]
    assert abs(approach.median() - 5.1) < 0.1
    assert "chw_flow" not in trends.frame
    assert "60 times the load" in of(trends, "chw_flow", "unusable")
    gaps = quality(trends).loc["chw_supply_temp"]
    assert abs(gaps["longest_gap"] / 24.0 - 16.7) < 0.05
    assert trends.files[0].rows == 4094


def test_four_chiller_plant(tmp_path: Path) -> None:
    trends = read("four_chiller_plant", tmp_path)
    frame = trends.frame
    tons = 500.0 * frame["chw_flow"] * (frame["chw_return_temp"] - frame["chw_supply_temp"]) / 12e3
    assert (tons - frame["plant_load"]).abs().max() < 0.12
    raw = pd.read_csv(tmp_path / trends.files[0].name, parse_dates=["Time"], index_col="Time")
    on_grid = frame.set_axis(frame.index.tz_localize(None))
    kept = on_grid["plant_load"] > 0
    specific = (on_grid["plant_power"] / on_grid["plant_load"])[kept]
    assert (specific - raw["kW_RT"].reindex(specific.index)).abs().max() < 0.01
    assert "for 288 h on end, from 2023-12-20 00:00" in of(trends, "outdoor_wet_bulb", "doubt")
    assert 63.0 < frame["outdoor_wet_bulb"].min() and frame["outdoor_wet_bulb"].max() < 84.0
    assert frame["outdoor_wet_bulb"].notna().mean() > 0.99
    assert [file.rows for file in trends.files] == [4441, 4451]


def test_four_chiller_plant_own_wet_bulb_is_frozen(tmp_path: Path) -> None:
    answers = real_job("four_chiller_plant", tmp_path)
    point = answers["points"]["outdoor_wet_bulb"]
    answers["points"]["outdoor_wet_bulb"] = point["second"]
    trends = read_trends(tmp_path, PointMap.from_answers(answers))
    assert "for 288 h on end, from 2023-12-20 00:00" in of(trends, "outdoor_wet_bulb", "doubt")


def test_exchanger_parallel(tmp_path: Path) -> None:
    trends = read("exchanger_parallel", tmp_path)
    active = trends.frame["economizer_active"]
    assert trends.minutes == 1.0 and len(active) == 20160
    # A row stands for the minute that begins; the file stamps its end.
    assert f"{active.index[0]:%Y-%m-%d %H:%M}" == "2017-01-08 00:00"
    change = active.diff()
    assert int((change == 1).sum()) == 11 and int((change == -1).sum()) == 11
    assert not (active.astype(bool) & trends.frame["chiller_1_running"].astype(bool)).any()


@pytest.mark.parametrize("name, needed", [
    ("campus_chiller", ["chw_supply_temp", "cw_return_temp", "outdoor_wet_bulb", "plant_load"]),
    ("four_chiller_plant", ["chw_flow", "chiller_4_running", "plant_power", "outdoor_humidity"]),
    ("exchanger_parallel", ["economizer_active", "hx_cw_leaving_temp", "chw_supply_setpoint"]),
])
def test_suggestions_agree_with_the_confirmed_map(name: str, needed: list[str],
                                                  tmp_path: Path) -> None:
    answers = real_job(name, tmp_path)
    found = {s.point: s for s in suggestions(tmp_path, answers)}
    assert set(needed) <= set(found)
    for point, suggestion in found.items():
        if suggestion.confidence > 0.5 and point in answers["points"]:
            confirmed = answers["points"][point]
            assert suggestion.column == confirmed["column"], suggestion
            assert suggestion.unit == confirmed.get("unit", suggestion.unit), suggestion


@pytest.mark.parametrize("wrong, said", [
    ({"chw_supply_temp": "chwrt_C", "chw_return_temp": "chwst_C"}, "may be swapped"),
    ({"chw_flow": "L/min"}, "times the load"),
])
def test_wrong_map_of_the_exchanger_is_caught(wrong: dict[str, str], said: str,
                                              tmp_path: Path) -> None:
    answers = real_job("exchanger_parallel", tmp_path)
    for point, value in wrong.items():
        key = "unit" if value == "L/min" else "column"
        answers["points"][point][key] = value
    trends = read_trends(tmp_path, PointMap.from_answers(answers))
    assert said in " ".join(r.text for r in trends.remarks)
    assert map_doubts(trends) is not None


def test_weather_of_three_stations() -> None:
    files = sorted((SHARED / "weather").glob("*.epw")) if SHARED.is_dir() else []
    if not files:
        pytest.skip("no weather files in the shared folder (set FPTLIB_SHARED)")
    for path in files:
        weather = read_weather(path)
        frame = weather.frame
        assert len(frame) == 8760 and frame.notna().all().all()
        assert (frame["outdoor_dew_point"] <= frame["outdoor_dry_bulb"] + 1.0).mean() > 0.99
        standard = pressure_at(weather.altitude)
        assert abs(frame["station_pressure"].mean() - standard) < 0.15, weather.name


@pytest.mark.parametrize("name", ["laboratory_atlanta_eff_default.csv.gz",
                                  "laboratory_buffalo_eff_typshldr.csv.gz"])
def test_laboratory_days_are_read_once_their_year_is_stated(name: str, tmp_path: Path) -> None:
    if not (SHARED / "real_trends" / name).is_file():
        pytest.skip(f"{name} is not in {SHARED}: a public file that is not ours to commit")
    shutil.copy(SHARED / "real_trends" / name, tmp_path)
    site = {"site": {"time_zone": "America/Denver", "altitude": 5400.0}}
    assert "leave the year out; state year under" in read_columns(tmp_path, site).unread[name]
    form = {name: {"year": 2021, "date_order": "month first"}}
    stated = {**site, "files": form, "points": {
        "chiller_1_power": {"file": name, "column": "ch1_power", "unit": "kW"}}}
    assert not read_columns(tmp_path, stated).unread
    assert len(read_trends(tmp_path, PointMap.from_answers(stated))) == 1440
