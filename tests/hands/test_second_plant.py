"""The parts of the second plant against published numbers, and its trends.

The published numbers are those of the project's lists of check values (a 95/85/78 °F tower after
five published models, moist air after ASHRAE, refrigerants after their equations of state).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fptlib.points import is_point
from tests.hands.second import Result, run, scenarios
from tests.hands.second.physics import (
    KW_PER_TON,
    WATER,
    Tower,
    chiller_power,
    exchanger_sized,
    exchanger_tons,
    refrigerant_pressure,
    tower_balance,
)
from tests.hands.second.truth import swings
from tests.hands.second.weather import saturated, wet_bulb

ALL = {s.name: s for s in scenarios()}


@cache
def result(name: str) -> Result:
    return run(ALL[name])


# --- parts against published numbers -----------------------------------------------------------

@pytest.mark.parametrize(("wet", "span", "water", "fan", "low", "high"), [
    (78, 10, 1.0, 1.0, 6.91, 7.00), (65, 10, 1.0, 1.0, 9.83, 10.67),
    (48, 8, 1.0, 1.0, 12.34, 14.04), (42, 6, 1.0, 1.0, 11.38, 12.80),
    (36, 8, 1.0, 1.0, 15.91, 18.10), (36, 14, 1.0, 1.0, 23.56, 26.52),
    (36, 4, 1.0, 1.0, 9.04, 10.31), (30, 4, 1.0, 1.0, 9.87, 11.64),
    (48, 8, 0.75, 1.0, 9.06, 12.31), (36, 8, 0.60, 1.0, 9.62, 14.71),
    (48, 8, 1.0, 0.8, 15.53, 16.95), (36, 6, 1.0, 0.6, 19.57, 22.86),
    (42, 6, 0.75, 0.75, 11.45, 12.80),
])
def test_tower_lies_within_the_published_models(wet, span, water, fan, low, high):
    """Approach of five published models for a 95/85/78 °F tower: within their spread, 0.1 °F."""
    tower = Tower(1, 1000.0)
    flow = 1000.0 * water
    approach = tower_balance(tower, span * flow / WATER, wet, flow, (fan,)) - wet
    assert low - 0.1 <= approach <= high + 0.1


def test_exchanger_agrees_with_a_worked_example():
    """1200 gpm from 56 °F against 1500 gpm of 41 °F, UA 1 763 360 Btu/h·°F: 600 tons, 44 °F."""
    tons = exchanger_tons(1763360 / 12000, 1200, 1500, 56, 41)
    assert tons == pytest.approx(600, rel=0.004)
    assert exchanger_sized(600, 1200, 1500, 56, 3.0) == pytest.approx(146.9, rel=0.01)


@pytest.mark.parametrize(("name", "t", "psia"), [
    ("R-134a", 50, 60.134), ("R-134a", 95, 128.646), ("R-513A", 50, 65.424),
    ("R-1233zd(E)", 40, 8.518), ("R-1233zd(E)", 70, 16.420),
])
def test_refrigerant_pressures(name, t, psia):
    assert refrigerant_pressure(name, t) == pytest.approx(psia, rel=1e-3)


def test_chiller_needs_more_than_carnot_and_less_when_lift_falls():
    for tons in (80.0, 250.0, 400.0):
        courses = [chiller_power(tons, 400.0, 46.0, warm) for warm in (54, 60, 70, 80, 95)]
        assert courses == sorted(courses)
        carnot = KW_PER_TON * tons * (95 - 46) / (46 + 459.67)
        assert courses[-1] > 1.6 * carnot


@pytest.mark.parametrize(("dry", "rh", "pressure", "wet"), [
    (60, 50, 14.696, 50.234), (45, 60, 14.696, 39.308), (30, 80, 14.696, 28.034),
    (60, 20, 12.100, 41.743), (40, 50, 12.100, 32.852), (25, 70, 12.100, 22.115),
])
def test_wet_bulb_spot_values(dry, rh, pressure, wet):
    ratio = _ratio(dry, rh, pressure)
    assert float(wet_bulb(np.array([dry]), ratio, pressure)[0]) == pytest.approx(wet, abs=0.03)


def _ratio(dry, rh, pressure):
    full = saturated(np.array([dry]), pressure)
    vapor = rh / 100 * full * pressure / (0.621945 + full)
    return 0.621945 * vapor / (pressure - vapor)


def test_turns_of_a_course():
    assert swings(np.array([0, 2, 0, 2, 0.0]), 1.5)[0] == 4
    assert swings(np.linspace(0, 5, 50), 1.5) == (1, 0.0)
    assert swings(np.zeros(9), 1.5) == (0, 0.0)


# --- trends and job ----------------------------------------------------------------------------

def test_scenarios_are_many_and_named_once():
    assert sum(s.sound for s in ALL.values()) >= 10 and len(ALL) == len(scenarios()) >= 48


def test_runs_are_repeated_to_the_bit():
    again = run(ALL["sound_north"])
    assert again.frame.equals(result("sound_north").frame)
    assert again.truth == result("sound_north").truth


@pytest.mark.parametrize("name", ["sound_north"])
def test_trends_bear_the_glossarys_names_and_follow_the_truth(name):
    r = result(name)
    assert all(is_point(c) for c in r.frame)
    assert r.frame.index.tz is not None and len(r.frame) == r.scenario.days * 1440
    error = r.frame["cw_supply_temp"].to_numpy() - r.states["sump"]
    assert np.abs(error).max() < 0.5 + 0.2  # offset, noise, and the log's increment
    assert set(r.job["points"]) == set(r.frame.columns)


def test_slower_trends_are_samples_and_mean_powers():
    r = result("sound_north")
    quarter = r.at(15)
    assert quarter["chw_supply_temp"].iloc[3] == r.frame["chw_supply_temp"].iloc[45]
    mean = r.frame["plant_power"].iloc[45:60].mean()
    assert quarter["plant_power"].iloc[3] == pytest.approx(mean)
    assert quarter.index[1] - quarter.index[0] == r.frame.index[15] - r.frame.index[0]


def test_change_of_value_log_is_sparse_and_holds_to_its_increment():
    r = result("sound_north")
    log = r.log()["chw_supply_temp"]
    assert len(log) < 0.5 * len(r.frame)
    held = r.frame["chw_supply_temp"].to_numpy() - r.states["supply"]
    assert np.abs(held).max() < 0.2 + 0.4
