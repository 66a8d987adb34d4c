"""The quality report counts what was put in."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from intake_plant import plant, trends_of

from fptlib.trends.clock_offset import Trend, clock_offset
from fptlib.trends.grid import shown_step
from fptlib.trends.plausibility import map_doubts
from fptlib.trends.quality import gaps, quality

DENVER = ZoneInfo("America/Denver")


def test_gaps_and_coverage() -> None:
    frame = plant()
    at = frame.columns.get_loc("chw_supply_temp")
    frame.iloc[10:22, at] = np.nan
    frame.iloc[100, at] = np.nan
    trends = trends_of(frame)
    row = quality(trends, {"handover.excursion": ["chw_supply_temp"]}).loc["chw_supply_temp"]
    assert (row["gaps"], row["longest_gap"]) == (2, 1.0)
    assert np.isclose(row["gap_hours"], 13 / 12)
    assert np.isclose(row["coverage"], 100 * (1 - 13 / len(frame)))
    assert row["longest_gap_from"] == frame.index[10]
    assert row["costs"] == "handover.excursion"
    table = gaps(trends, "chw_supply_temp")
    assert list(table["end"]) == [frame.index[22], frame.index[101]]


def test_clean_points_show_nothing() -> None:
    table = quality(trends_of(plant()))
    assert (table["coverage"] == 100.0).all()
    assert (table[["gaps", "spikes", "steps", "stuck_hours"]] == 0).all().all()
    assert set(table.loc["chiller_1_running", ["noise", "resolution"]].isna()) == {True}


def test_spikes_steps_noise_resolution() -> None:
    frame = plant()
    base = np.linspace(60.0, 64.0, len(frame)) + np.random.default_rng(1).normal(0, 0.1, len(frame))
    frame["cw_supply_temp"] = np.round(base, 1)
    frame.iloc[[50, 300], frame.columns.get_loc("cw_supply_temp")] += 15.0
    frame.iloc[400:, frame.columns.get_loc("cw_supply_temp")] += 8.0
    row = quality(trends_of(frame)).loc["cw_supply_temp"]
    assert (row["spikes"], row["steps"]) == (2, 1)
    assert 0.07 < row["noise"] < 0.14
    assert np.isclose(row["resolution"], 0.1)


def test_stuck_hours() -> None:
    frame = plant()
    frame.iloc[100:244, frame.columns.get_loc("outdoor_wet_bulb")] = 36.0
    assert quality(trends_of(frame)).loc["outdoor_wet_bulb", "stuck_hours"] == 12.0


@pytest.mark.parametrize("source", ["Plant A, towers.csv", "b.csv, Plant A, towers.csv"])
def test_clock_drift_of_a_file_with_a_comma_in_its_name(source: str) -> None:
    frame = plant()
    frame["outdoor_wet_bulb"] = frame["outdoor_dry_bulb"] + 5.0
    trends = trends_of(frame)
    named = [replace(trends.files[0], name=name, drift=drift) for name, drift in (
        ("b.csv", 1.0), ("Plant A, towers.csv", 8.0), ("towers.csv", 3.0))]
    trends = replace(trends, files=tuple(named), sources={
        **trends.sources, "outdoor_wet_bulb": f"{source}: WB [degF]"})
    assert quality(trends).loc["outdoor_wet_bulb", "clock_drift"] == 8.0
    assert next(r for r in map_doubts(trends) if r.point == "outdoor_wet_bulb").file == (
        "Plant A, towers.csv")


def trend(series: pd.Series) -> Trend:
    return pd.DatetimeIndex(series.index).as_unit("ns").asi8, series.to_numpy()


def test_clock_offset_is_found_to_a_tenth_of_the_step() -> None:
    fine = plant(days=4.0, minutes=1)["cw_supply_temp"]
    first = fine.iloc[::5]
    second = fine.iloc[2::10].rolling(1).mean() + 1.5
    second.index = second.index + pd.Timedelta(seconds=740)
    found = clock_offset(trend(first), trend(second))
    assert found is not None and found.sharp
    assert abs(found.seconds - 740.0) < 60.0
    assert abs(found.difference - 1.5) < 0.1


def test_clock_offset_of_unlike_trends_is_not_believed() -> None:
    frame = plant()
    noise = pd.Series(np.random.default_rng(1).normal(50, 5, len(frame)), frame.index)
    moving, still = trend(frame["cw_supply_temp"]), trend(frame["chw_supply_setpoint"])
    found = clock_offset(moving, trend(noise))
    assert found is None or not found.sharp
    assert clock_offset(moving, still) is None
    assert clock_offset(trend(frame["cw_supply_temp"].iloc[:5]), trend(noise)) is None


@pytest.mark.parametrize(("values", "fewest", "step"), [
    ([40.0, 41.0, 42.5, 43.0, 41.5], 4, 0.5), ([45.0, 50.0, 45.0, 50.0], 4, float("nan")),
    ([40.0, 45.0, 50.0, 55.0], 4, 5.0), ([40.0, 45.0, 50.0, 55.0], 8, float("nan")),
    ([float("nan")] * 3, 4, float("nan")),
])
def test_the_step_in_which_a_trend_shows_a_point(
    values: list[float], fewest: int, step: float
) -> None:
    np.testing.assert_equal(shown_step(np.array(values), fewest), step)


def test_the_sites_clock_of_rows_is_that_of_each_row_and_no_rows_have_none() -> None:
    """Also over the hour that comes twice."""
    trends = replace(trends_of(plant()), start=datetime(2026, 10, 31, 18, tzinfo=DENVER),
                     step=timedelta(minutes=30))
    rows = np.arange(60)
    assert trends.local(rows).astype("M8[s]").tolist() == [
        trends.time(row).replace(tzinfo=None) for row in rows.tolist()]
    assert not len(trends.local(rows[:0]))
