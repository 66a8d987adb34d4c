"""Annual hours of the reset step from real weather files, against counts made elsewhere.

Expected: hours of typical years (public TMY3 data in EPW form) counted with PsychroLib at
station pressure, fixed adders of 14 degF (tower 10, exchanger 2, tolerances 1 and 1).
Tolerance 10 hours, 80 where the wet bulb lies near 32 degF.
"""

from __future__ import annotations

import dataclasses

import drawn_plant as drawn
import numpy as np
import pytest
from grids import grid_with
from intake_plant import SHARED

from fptlib.job.folder import Job
from fptlib.job.schema import Approach
from fptlib.limits import Deviation, Limits
from fptlib.procedure import reset, year
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.trends.weather import read_weather

SETPOINTS = np.array([44.0, 46.0, 48.0, 50.0, 52.0, 54.0, 56.0])
STATIONS = {
    "USA_AZ_Davis-Monthan.AFB.722745_TMY3.epw": [89, 135, 211, 342, 576, 837, 1213],
    "USA_CO_Aurora-Buckley.Field.ANGB.724695_TMY3.epw": [
        1942, 2493, 2955, 3462, 3921, 4385, 4872],
    "USA_IL_Chicago-OHare.Intl.AP.725300_TMY3.epw": [2040, 2457, 2786, 3058, 3295, 3546, 3808],
}


def case_with(station: str) -> FunctionalTest:
    path = SHARED / "weather" / station
    if not path.is_file():
        pytest.skip(f"{station} is not in the shared folder (set FPTLIB_SHARED)")
    plant = dataclasses.replace(drawn.PLANT, tower_approach=Approach(10.0, "design"),
                                exchanger_approach=Approach(2.0, "design"))
    limits = Limits({f"enable.{what}_tolerance": Deviation(1.0, "test", "test", "")
                     for what in ("tower", "exchanger")})
    return drawn.case(plant=plant, limits=limits, weather=read_weather(path).frame)


@pytest.mark.parametrize(("station", "expected"), STATIONS.items())
def test_hours_that_each_setpoint_allows(station: str, expected: list[int]) -> None:
    case = case_with(station)
    found = np.array([np.count_nonzero(year.hours(case, each).by_constant) for each in SETPOINTS])
    near_freezing = np.abs(SETPOINTS - 14.0 - 32.0) <= 2.0
    assert (np.abs(found - expected) <= np.where(near_freezing, 80, 10)).all(), found


def test_hours_on_the_reset_line_lie_between_its_ends() -> None:
    case = case_with(next(iter(STATIONS)))
    outdoor, setpoint = reset.reset_line(case)
    low, high, between = (np.count_nonzero(year.hours(case, each).by_constant) for each in (
        float(setpoint.min()), float(setpoint.max()), reset.setpoint_of_year(case)))
    assert low <= between <= high
    assert (np.diff(outdoor) > 0).all() and setpoint.max() == 50.0


def test_worth_of_a_setpoint_in_hours_and_energy() -> None:
    """The drawn plant saves 245 - 65 kW at any load and wet bulb."""
    found = reset.worth_of(case_with(next(iter(STATIONS))), 50.0, 2.0)
    assert found is not None and found.kwh is not None and found.uncertainty is not None
    assert found.kwh == pytest.approx(found.known * 180.0, rel=0.02)
    assert found.uncertainty > 0.0


def test_what_the_trends_do_not_carry_is_not_known() -> None:
    case = case_with(next(iter(STATIONS)))
    trends = grid_with(case.grid, case.grid.frame.drop(columns="chw_flow"))
    found = reset.worth_of(dataclasses.replace(case, grid=trends), 50.0, 2.0)
    assert found is not None and found.kwh is None
    assert "kWh not known: not trended" in str(found)


def test_nothing_is_said_without_a_typical_year() -> None:
    assert reset.worth_of(drawn.case(), 46.0, 2.0) is None


@pytest.mark.parametrize("station", [
    *STATIONS, "USA_NV_Las.Vegas-McCarran.Intl.AP.723860_TMY3.epw"])
def test_a_real_tower_beside_the_constant_approach(station: str) -> None:
    """The sample's plant at four stations: hours both ways, and why they part in words.

    The tower's truth is the generator's own: a degree or two around the constant 7 °F.
    """
    path = SHARED / "weather" / station
    if not path.is_file():
        pytest.skip(f"{station} is not in the shared folder (set FPTLIB_SHARED)")
    case = dataclasses.replace(assemble(Job("sample_trends/sound"), keep=False),
                               weather=read_weather(path).frame)
    found = year.hours(case, 46.0)
    curve, constant = (np.count_nonzero(each) for each in (found.by_curve, found.by_constant))
    assert curve != constant and abs(curve - constant) <= 0.25 * constant
    assert f"{curve:,} h by the approach curves ({constant:,} h at constant" in year.stated(
        case, 46.0)
    assert "tower and exchanger come within" in year.why_apart(case, 46.0)
