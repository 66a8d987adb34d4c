"""Annual hours of the reset step from real weather files, against counts made elsewhere.

Expected: hours of typical years (public TMY3 data in EPW form) counted with PsychroLib at
station pressure, fixed adders of 14 degF (tower 10, exchanger 2, tolerances 1 and 1).
Tolerance 10 hours, 80 where the wet bulb lies near 32 degF.
"""

from __future__ import annotations

import dataclasses
import re

import drawn_plant as drawn
import numpy as np
import pytest
from intake_plant import SHARED

from fptlib.job.schema import Approach
from fptlib.limits import Deviation, Limits
from fptlib.procedure import reset, savings
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
    found = np.array([savings.economizer_hours(case_with(station), each) for each in SETPOINTS])
    near_freezing = np.abs(SETPOINTS - 14.0 - 32.0) <= 2.0
    assert (np.abs(found - expected) <= np.where(near_freezing, 80, 10)).all(), found


def test_hours_on_the_reset_line_lie_between_its_ends() -> None:
    case = case_with(next(iter(STATIONS)))
    outdoor, setpoint = reset.reset_line(case)
    low, high = (savings.economizer_hours(case, float(each))
                 for each in (setpoint.min(), setpoint.max()))
    assert low <= reset.economizer_hours_on_reset(case) <= high
    assert (np.diff(outdoor) > 0).all() and setpoint.max() == 50.0


def test_worth_of_a_setpoint_in_hours_and_energy() -> None:
    """From 50 to 52 degF: 576 - 342 h; the drawn plant saves 245 - 65 kW."""
    said = savings.of_setpoint(case_with(next(iter(STATIONS))), 50.0, 2.0)
    found = re.fullmatch(r"worth about (\d+) h, about ([\d,]+) kWh a year", said)
    assert found, said
    hours, energy = (float(text.replace(",", "")) for text in found.groups())
    assert abs(hours - 234.0) <= 10.0
    assert energy == pytest.approx(hours * 180.0, abs=50.0)


def test_nothing_is_said_without_a_typical_year() -> None:
    assert savings.of_setpoint(drawn.case(), 46.0, 2.0) == ""
