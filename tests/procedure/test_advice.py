"""Advice is worked out from what was seen, whatever was not."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from faulty_case import Run
from plants import SOUND

from fptlib.procedure import enable, lift, recovery, running
from fptlib.procedure.verdict import Verdict

MINUTE = pd.Timedelta(minutes=1)


def test_advice_on_the_supply_leaves_out_a_run_without_any() -> None:
    case = Run("", SOUND.name).case()
    first, *others = case.runs
    supply = case["chw_supply_temp"].copy()
    supply[first.rows] = np.nan
    for run in others:
        supply[run.rows] += 2.5
    columns = {**case.grid.columns, "chw_supply_temp": supply}
    check = running.supply(replace(case, grid=replace(case.grid, columns=columns)))
    assert check.verdict is Verdict.FAIL and len(others) > 0
    assert "nan" not in check.adjust and "it was too high" in check.adjust


def supply_off(by: float, rows: slice) -> str:
    table = drawn.frame()
    table.loc[rows, "chw_supply_temp"] += by
    check = running.supply(drawn.case(table))
    assert check.verdict is Verdict.FAIL
    return check.adjust


def test_advice_on_the_supply_names_the_side_on_which_it_left_the_band() -> None:
    """Not that of the median: a plant that stays too long stands right for most of the run."""
    assert "was too high 20 % of the time, then by 4.0 °F (median)" in supply_off(
        4.0, slice(drawn.at("12:00"), drawn.at("15:04")))
    assert "was too low 20 % of the time, then by 4.0 °F (median)" in supply_off(
        -4.0, slice(drawn.at("12:00"), drawn.at("15:04")))


def test_a_setpoint_that_does_not_follow_is_told_to_before_the_offset_is_raised() -> None:
    table = drawn.frame()
    down = slice(drawn.REQUEST, drawn.HANDOVER - MINUTE)
    table.loc[down, ["chw_supply_setpoint", "chw_supply_temp",
                     "chiller_1_chw_leaving_temp"]] = 50.0
    adjust = lift.minimum(drawn.case(table)).adjust
    assert "let it follow first" in adjust and "raise the offset" not in adjust


def test_a_return_that_drags_on_is_not_told_to_take_longer() -> None:
    table = drawn.frame()
    table.loc[drawn.RELEASE : drawn.at("07:27"), "chw_supply_setpoint"] = np.linspace(40, 50, 241)
    check = recovery.duration(drawn.case(table))
    assert check.verdict is Verdict.FAIL and "take 50 to 120 min." in check.adjust


@pytest.mark.parametrize(("water", "said"), [
    (45.0, "find what kept the chiller on"), (49.0, "up to 1.0 °F too warm"),
])
def test_a_request_given_up_is_told_what_was_missing(water: float, said: str) -> None:
    """The exchanger gets within 2 °F of the condenser water; the reset asks for 50."""
    table = drawn.frame()
    table.loc[drawn.HANDOVER :, ["chiller_1_running", "economizer_command"]] = [1.0, 0.0]
    table["cw_supply_temp"] = table["cw_supply_temp"].clip(lower=water)
    check = lift.chiller_on(drawn.case(table))
    assert check.verdict is Verdict.FAIL and said in check.adjust


@pytest.mark.parametrize(("wet_bulb", "said"), [
    (36.0, "2.5 °F more tolerance would have prevented them"),
    (30.0, "more tolerance is no cure"),
])
def test_more_tolerance_is_no_cure_for_a_run_that_cold_weather_began(
    wet_bulb: float, said: str
) -> None:
    """At 36 °F the condition needs 48 of the 50 that the reset asks for."""
    table = drawn.frame()
    table.loc[drawn.REQUEST, "outdoor_wet_bulb"] = wet_bulb
    table.loc[drawn.at("04:30") :, ["economizer_command", "chiller_1_running"]] = [0.0, 1.0]
    check = enable.stay(drawn.case(table))
    assert check.verdict is Verdict.FAIL and said in check.adjust
