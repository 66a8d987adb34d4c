"""The water itself, not only the controller's number: its rise at the transition, how it settles,
and condenser water against its setpoint. On the drawn plant; limits are common practice."""

from __future__ import annotations

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, RECOVERED, at

from fptlib.procedure import recovery, running
from fptlib.procedure.verdict import Verdict

MINUTE = pd.Timedelta(minutes=1)


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_water_that_jumps_at_the_transition_is_found(minutes: int) -> None:
    """40 °F until the last chiller stops, 47 in the next minute; the setpoint returns as drawn."""
    table = drawn.frame()
    table.loc[at("03:10") : HANDOVER - MINUTE, "chw_supply_temp"] = 40.0
    table.loc[HANDOVER : HANDOVER + 20 * MINUTE, "chw_supply_temp"] = 47.5
    found = recovery.supply(drawn.case(table, minutes))
    assert found.verdict is Verdict.FAIL, found.reason
    rise = next(event for event in found.events if event.subject == "rise")
    assert HANDOVER - 15 * MINUTE <= rise.start <= HANDOVER
    assert recovery.rate(drawn.case(table, minutes)).verdict is not Verdict.FAIL


def test_one_noisy_minute_is_no_rise() -> None:
    table = drawn.frame()
    table.loc[at("03:50"), "chw_supply_temp"] += 6.0
    assert recovery.supply(drawn.case(table)).verdict is Verdict.PASS


def test_water_that_does_not_settle_at_the_setpoint_is_found() -> None:
    """The setpoint is back within a quarter of a degree at 04:32; half an hour later the water is
    still 2.5 °F below it."""
    table = drawn.frame()
    table.loc[RECOVERED : at("06:00"), "chw_supply_temp"] = 47.5
    found = recovery.supply(drawn.case(table))
    assert found.verdict is Verdict.FAIL
    settled = next(event for event in found.events if event.verdict is Verdict.FAIL)
    assert (settled.subject, settled.start) == ("settled", at("05:02"))
    table.loc[at("04:55") :, "chw_supply_temp"] = drawn.frame()["chw_supply_temp"]
    assert recovery.supply(drawn.case(table)).verdict is Verdict.PASS


def test_condenser_water_away_from_its_setpoint_is_found_while_the_fans_could_hold_it() -> None:
    table = drawn.frame()
    table.loc[RECOVERED : EXIT, "cw_supply_setpoint"] = 45.0
    found = running.tower_tracking(drawn.case(table))
    assert found.verdict is Verdict.FAIL and found.measured < 1.0
    fans = ["tower_1_fan_speed", "tower_2_fan_speed"]
    table.loc[RECOVERED : EXIT, fans] = 100.0
    at_maximum = running.tower_tracking(drawn.case(table))
    assert at_maximum.verdict is Verdict.NOT_TESTED
    assert "fans were between their limits for less than 15 min" in at_maximum.reason
    table.loc[RECOVERED : EXIT, fans] = 25.0
    assert running.tower_tracking(drawn.case(table)).verdict is Verdict.NOT_TESTED


def test_a_gap_of_the_condenser_water_proves_no_tracking() -> None:
    table = drawn.frame()
    table.loc[at("06:00") : at("10:00"), "cw_supply_temp"] = float("nan")
    assert running.tower_tracking(drawn.case(table)).verdict is Verdict.NOT_TESTED
    assert running.tower_tracking(drawn.case()).verdict is Verdict.PASS
