"""Hours count as missed only where economizer operation was possible, allowed and worth it."""

from __future__ import annotations

import dataclasses
from datetime import time

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, at

from fptlib.job.schema import EnableCondition
from fptlib.limits import Deviation, Limits
from fptlib.procedure import enable
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Verdict

COLD = slice(at("04:00", 1), at("10:00", 1))


def frame() -> pd.DataFrame:
    table = drawn.frame()
    table.loc[COLD, "outdoor_wet_bulb"] = 30.0
    return table


def minutes(test: FunctionalTest) -> float:
    found = enable.missed(test).measured
    assert found is not None
    return found


def test_cold_hours_on_chillers_are_missed() -> None:
    assert enable.missed(drawn.case(frame())).verdict is Verdict.FAIL
    assert minutes(drawn.case(frame())) == 361.0


def test_load_above_what_the_exchanger_can_carry_is_not_missed() -> None:
    """Three times the load: towers and exchanger that took 320 tons cannot bring the setpoint."""
    table = frame()
    table.loc[COLD, "chw_return_temp"] = table.loc[COLD, "chw_supply_temp"] + 28.8
    # What is left is the drawn request's own delay.
    assert minutes(drawn.case(table)) == 45.0


def test_minutes_where_chillers_drew_less_than_the_economizer_ever_did_are_not_missed() -> None:
    table = frame()
    table.loc[at("06:00", 1) : at("10:00", 1), "plant_power"] = 50.0
    assert minutes(drawn.case(table)) == pytest.approx(120.0, abs=8.0)


def test_the_minimum_off_time_is_not_missed() -> None:
    table = drawn.frame()
    table.loc[EXIT : at("02:00", 1), "outdoor_wet_bulb"] = 30.0
    usual, long = drawn.case(table), drawn.case(table, limits=Limits({
        "enable.rest": Deviation(180.0, "this sequence", "test", "2026-01-01")}))
    assert minutes(long) == pytest.approx(minutes(usual) - 150.0)


def test_hours_in_which_the_sequence_does_not_change_over_are_not_missed() -> None:
    """Cold from 04:00 to 10:00, and economizer operation from 20:00 to 06:00."""
    by_clock = dataclasses.replace(
        drawn.SEQUENCE, clock_enable=time(20, 0), clock_exit=time(6, 0))
    assert minutes(drawn.case(frame(), sequence=by_clock)) == 120.0


def test_a_sequence_that_goes_by_a_fixed_wet_bulb_is_timed_by_it() -> None:
    """Common in practice: economizer below a fixed outdoor wet bulb, whatever the reset asks for.
    The drawn plant is enabled at 35 °F, an hour after 38 °F, with a low setpoint until then."""
    table = drawn.frame()
    hour = slice(drawn.REQUEST - pd.Timedelta("60min"), drawn.REQUEST)
    table.loc[: drawn.REQUEST, "chw_reset_setpoint"] = 40.0
    table.loc[: hour.start, "outdoor_wet_bulb"] = 45.0
    table.loc[hour, "outdoor_wet_bulb"] = 35.0
    fixed = dataclasses.replace(drawn.SEQUENCE, enable=EnableCondition(36.0))
    assert enable.dwell(drawn.case(table)).measured == 0.0
    held = enable.dwell(drawn.case(table, sequence=fixed))
    assert held.measured == pytest.approx(60.0, abs=1.0) and held.verdict is Verdict.PASS
    # Whether that was cold enough for the plant is another question.
    assert enable.condition(drawn.case(table, sequence=fixed)).verdict is Verdict.FAIL
    # Above it no hour is missed.
    assert minutes(drawn.case(frame(), sequence=dataclasses.replace(
        drawn.SEQUENCE, enable=EnableCondition(-10.0)))) == 0.0


def test_a_run_that_was_long_enough_by_its_own_timer_is_no_fail() -> None:
    """The exchanger came into service ten minutes before the last chiller was off."""
    table = drawn.frame()
    table.loc[at("03:15") : HANDOVER, "economizer_active"] = 1.0
    lasted = enable.stay(drawn.case(table)).measured
    assert lasted is not None

    def wanted(limit: float) -> Verdict:
        return enable.stay(drawn.case(table, limits=Limits({
            "enable.stay": Deviation(limit, "this sequence", "test", "2026-01-01")}))).verdict

    assert wanted(lasted + 8.0) is Verdict.INDETERMINATE
    assert wanted(lasted + 15.0) is Verdict.FAIL
