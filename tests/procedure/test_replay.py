"""The sequence replayed beside the drawn plant, and the simple balance that moves its water."""

from __future__ import annotations

import math
from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pytest

from fptlib.procedure.replay import disagreements, replayed
from fptlib.procedure.sequence import ECONOMIZER, PULL_DOWN, Settings
from fptlib.procedure.verdict import NotTested
from fptlib.procedure.waters import Waters, waters

SETTINGS = Settings(7.0, 2.0, lowest=40.0)


def test_a_plant_that_does_as_specified_disagrees_nowhere() -> None:
    assert disagreements(drawn.case(), {}) == []


def test_without_its_points_it_is_not_replayed() -> None:
    table = drawn.frame().drop(columns="cw_supply_temp")
    with pytest.raises(NotTested, match="cw_supply_temp"):
        disagreements(drawn.case(table), {})


def test_a_specified_delay_that_the_plant_did_not_wait_is_an_event_with_its_reason() -> None:
    """From 02:00 on the condition holds: 38 + 7 + 1.5 + 2 + 1.5 = 50; the enable is at 02:45.
    A wet bulb read a tenth lower, which the trend's step allows, gives three minutes more."""
    found = disagreements(drawn.case(), {"enable.dwell": {"specified": 120.0}})
    first = next(each for each in found if each.plant.startswith("changing over"))
    case = drawn.case()
    assert case.time(first.first) == drawn.REQUEST.to_pydatetime()
    assert first.sequence == "on chillers"
    assert first.reason == "the enable condition had held for 48 of 118 min"


def test_an_enable_in_warm_air_says_by_how_much_the_condition_was_short() -> None:
    table = drawn.frame()
    drawn.still_air(table, slice(drawn.at("00:00"), drawn.at("05:00")), 42.0)
    first = disagreements(drawn.case(table), {})[0]
    assert first.plant.startswith("changing over") and first.sequence == "on chillers"
    # 42 + 7 + 1.5 + 2 + 1.5 against 50, less the step of the trend.
    assert "the enable condition was short by 3.9 °F" in first.reason


def test_a_setpoint_that_does_not_follow_is_an_event() -> None:
    table = drawn.frame()
    table.loc[drawn.at("03:00"):drawn.at("03:24"), "chw_supply_setpoint"] = 49.0
    case = drawn.case(table)
    first, = (each for each in disagreements(case, {}) if "setpoint" in each.plant)
    assert first.plant == "active setpoint 49.0 °F" and "minus the offset" in first.reason
    # At 03:00 condenser water is 57.5 °F; 49 is more than a degree above what it asks from 03:02.
    assert abs(first.first - 182) <= 2 and abs(first.last - (3 * 60 + 24)) <= 1


def test_a_setpoint_that_returns_in_one_step_is_an_event() -> None:
    """From 40 to 50 °F at once; at 2 °F in ten minutes and a degree of band it is due at 04:10."""
    table = drawn.frame()
    table.loc[drawn.HANDOVER:drawn.RECOVERED, "chw_supply_setpoint"] = 50.0
    found = [each for each in disagreements(drawn.case(table), {}) if "setpoint" in each.plant]
    assert [(each.plant, each.first) for each in found] == [("active setpoint 50.0 °F", 205)]
    assert "ramps back" in found[0].reason and abs(found[0].last - (4 * 60 + 10)) <= 1


def test_a_plant_that_stays_when_the_water_is_too_warm() -> None:
    table = drawn.frame()
    late = slice(drawn.EXIT, drawn.at("21:30"))
    table.loc[late, ["economizer_command", "economizer_active"]] = 1.0
    table.loc[late, ["chiller_1_running", "chiller_1_power"]] = 0.0
    table.loc[late, "chw_supply_temp"] = 52.0
    table.loc[late, "chw_reset_setpoint"] = 50.0
    first = next(each for each in disagreements(drawn.case(table), {})
                 if each.plant == "on the exchanger")
    assert "above the reset setpoint for 22 min" in first.reason


def test_the_sump_cools_as_a_mixed_one_does() -> None:
    """V4.3a of the second set of check values: 10,000 gal, 2,400 gpm, effectiveness 0.45, so 9.259
    min towards 42.889 °F from 75."""
    move = Waters([42.889] * 61, [0.0] * 61, [math.inf] * 61, 9.259, math.inf, 75.0, 0.0, 0.0,
                  0.65, ())
    water, seen = 75.0, {}
    for minute in range(1, 61):
        water = move.condenser(0, water, PULL_DOWN, 20.0, SETTINGS, 1.0)
        seen[minute] = water
    assert [seen[at] for at in (5, 10, 20, 30, 60)] == pytest.approx(
        [61.602, 53.794, 46.592, 44.146, 42.938], abs=2e-3)


def test_the_sump_is_cooled_no_further_than_the_transition_needs() -> None:
    move = Waters([30.0], [2.0], [math.inf], 10.0, math.inf, 65.0, 6.0, 3.0, 0.65, ())
    water = 65.0
    for _ in range(200):
        water = move.condenser(0, water, PULL_DOWN, 50.0, SETTINGS, 1.0)
    assert water == pytest.approx(50.0 - 2.0 - 0.5)


def test_other_settings_are_replayed_without_the_plant() -> None:
    """Two hours of delay: the condition holds from 02:00, so the enable comes at 04:00."""
    case = drawn.case()
    late = replayed(case, replace(SETTINGS, delay=120.0))
    assert case.time(int(np.argmax(late.mode == PULL_DOWN))) == drawn.at("04:00").to_pydatetime()
    run = np.flatnonzero(late.mode == ECONOMIZER)
    assert len(run) > 600 and np.all(np.abs(late.active[run[120:600]] - 50.0) < 1e-6)
    assert np.nanmin(late.active) >= 40.0


def test_what_is_assumed_is_said() -> None:
    said = " ".join(waters(drawn.case()).basis)
    assert "sump: 15 min assumed" in said and "condenser range 6.0 °F" in said
