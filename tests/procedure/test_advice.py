"""Advice is worked out from what was seen, whatever was not."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from faulty_case import Run
from plants import SOUND

from fptlib.procedure import lift, lift_range, running
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


def test_what_a_setting_answers_for_points_to_the_sheet_and_contradicts_no_other_check() -> None:
    """A plant without lift protection, as the sample before its correction is: one check alone
    would raise the offset, the next change over warmer, where no setting does both."""
    table = drawn.frame()
    down = slice(drawn.REQUEST, drawn.HANDOVER - MINUTE)
    table.loc[down, ["chw_supply_setpoint", "chw_supply_temp",
                     "chiller_1_chw_leaving_temp"]] = 50.0
    case = drawn.case(table)
    for check in (lift_range.minimum(case), lift.setpoint(case)):
        assert check.verdict is Verdict.FAIL and "settings sheet of step 10" in check.adjust
        for word in ("raise the offset", "change over with condenser water", "too high against"):
            assert word not in check.adjust


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
