"""What was not seen to its end passes nothing, and a run's end is not the chiller's start."""

from __future__ import annotations

import dataclasses

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest

from fptlib.procedure import enable, exit, handover, lift, lift_range, recovery
from fptlib.procedure.judge import CheckOf
from fptlib.procedure.verdict import Check, Verdict

IN_THE_PULL_DOWN = (lift_range.minimum, lift.setpoint, lift.floor, recovery.demand)
IN_THE_RETURN = (handover.excursion, recovery.rate, recovery.stable, recovery.demand)
MINUTE = pd.Timedelta(minutes=1)


def after(moment: pd.Timestamp, minutes: int) -> pd.Timestamp:
    return moment + minutes * MINUTE


def left(command_off: int, chiller_on: int) -> pd.DataFrame:
    """The drawn plant leaves so many minutes after its handover: command off, chiller on."""
    table = drawn.frame()
    table.loc[after(drawn.HANDOVER, command_off) :, "economizer_command"] = 0.0
    table.loc[after(drawn.HANDOVER, chiller_on) :, "chiller_1_running"] = 1.0
    return table


@pytest.mark.parametrize(("last", "judged"), [
    *[("03:10", judge) for judge in IN_THE_PULL_DOWN],
    *[("03:40", judge) for judge in IN_THE_RETURN],
])
def test_trends_that_end_in_the_midst_pass_nothing(last: str, judged: CheckOf) -> None:
    check = judged(drawn.case(drawn.frame()[: drawn.at(last)]))
    assert check.verdict is Verdict.NOT_TESTED, check.reason
    assert "trends end" in check.reason


def test_a_fail_stands_whatever_came_after_the_trends_end() -> None:
    table = drawn.frame()
    table.loc[drawn.REQUEST : drawn.at("03:24"), [
        "chw_supply_setpoint", "chw_supply_temp", "chiller_1_chw_leaving_temp"]] = 50.0
    assert lift_range.minimum(drawn.case(table[: drawn.at("03:20")])).verdict is Verdict.FAIL
    step = drawn.frame()
    step.loc[drawn.RELEASE :, "chw_supply_setpoint"] = 49.0
    assert recovery.rate(drawn.case(step[: drawn.at("03:40")])).verdict is Verdict.FAIL


@pytest.mark.parametrize("minutes", [1, 5])
def test_a_return_in_one_step_fails_where_the_water_stood(minutes: int) -> None:
    """Between samples a setpoint may have followed the water up before the transition: by what the
    water moved and no more."""
    step = drawn.frame()
    step.loc[drawn.HANDOVER :, "chw_supply_setpoint"] = 49.0
    assert recovery.rate(drawn.case(step, minutes)).verdict is Verdict.FAIL
    follows = step.copy()
    follows["cw_supply_temp"] = follows["cw_supply_temp"].where(
        follows.index < drawn.HANDOVER, follows["cw_supply_temp"] + 12.0)
    expected = Verdict.FAIL if minutes == 1 else Verdict.INDETERMINATE
    assert recovery.rate(drawn.case(follows, minutes)).verdict is expected
    unknown = step.drop(columns="cw_supply_temp")
    assert recovery.rate(drawn.case(unknown, minutes)).verdict is expected


def fallback(command_off: int, chiller_on: int) -> Check:
    return handover.fallback(drawn.case(left(command_off, chiller_on)))


def test_a_fallback_is_counted_to_the_chillers_start() -> None:
    """The minimum stay is 120 min; the command may go off before."""
    kept, lost = fallback(110, 125), fallback(100, 115)
    assert (kept.verdict, kept.measured) == (Verdict.PASS, 125.0)
    assert (lost.verdict, lost.measured) == (Verdict.FAIL, 115.0)
    assert "a chiller started 115 min after the transition" in lost.reason


def test_an_exit_has_its_reason_before_the_command_goes_off() -> None:
    """A chiller that needs twenty minutes to start did not take the reason away."""
    table = drawn.frame()
    table.loc[drawn.EXIT : after(drawn.EXIT, 19), "chiller_1_running"] = 0.0
    check = exit.not_early(drawn.case(table))
    assert (check.verdict, check.measured) == (Verdict.PASS, 16.0)
    assert check.events[0].start == after(drawn.EXIT, 20)


def costly_end(minutes: int) -> pd.DataFrame:
    """The drawn plant leaves at 18:05, never warm, after so many minutes that cost more than
    its chillers do at the same load and wet bulb."""
    table = drawn.frame()
    drawn.still_air(table, slice(None), 36.0)
    table["plant_power"] = 245.0
    left = table.index >= drawn.at("18:05")
    table.loc[left, ["economizer_command", "chiller_1_running"]] = [0.0, 1.0]
    table.loc[(table.index >= drawn.HANDOVER) & ~left, "plant_power"] = 65.0
    costly = slice(after(drawn.at("18:05"), -minutes), drawn.at("18:04"))
    table.loc[costly, "plant_power"] = 400.0
    return table


@pytest.mark.parametrize(("minutes", "verdict", "said"), [
    (55, Verdict.PASS, "chillers would have drawn less for 45 min before the exit"),
    (25, Verdict.PASS, "chillers would have drawn less for 15 min before the exit"),
    (0, Verdict.FAIL, "no valid cause seen"),
])
def test_an_exit_because_chillers_draw_less_has_its_reason(
    minutes: int, verdict: Verdict, said: str
) -> None:
    """Known by quarter-hours: the last whole one ends at 18:00, and the first begins late; what
    they do not show speaks for the exit."""
    check = exit.not_early(drawn.case(costly_end(minutes)))
    assert check.verdict is verdict and said in check.reason, check.reason


def test_the_rest_begins_in_the_row_in_which_the_command_is_off() -> None:
    """No chiller starts for an hour: the run was over without one."""
    table = left(200, 260)
    table.loc[after(drawn.HANDOVER, 229) : after(drawn.HANDOVER, 400), "economizer_command"] = 1.0
    found = {event.name: event for event in enable.rest(drawn.case(table)).events}
    assert found["changeover 1 to 2"].measured == 29.0


def test_an_excursion_goes_on_though_a_chiller_has_come_back() -> None:
    table = left(8, 8)
    table.loc[drawn.HANDOVER : after(drawn.HANDOVER, 15), "chw_supply_temp"] = 54.0
    check = handover.excursion(drawn.case(table))
    assert (check.verdict, check.measured) == (Verdict.FAIL, 16.0)


def test_a_peak_after_a_request_was_given_up_is_a_changeovers() -> None:
    table = drawn.frame()
    table.loc[drawn.HANDOVER :, ["chiller_1_running", "economizer_command"]] = [1.0, 0.0]
    table.loc[after(drawn.HANDOVER, 5) : after(drawn.HANDOVER, 34), "plant_power"] = 400.0
    check = recovery.demand(drawn.case(table))
    assert (check.verdict, check.measured) == (Verdict.FAIL, 400.0)


def test_a_night_on_chillers_does_not_show_the_peak_of_the_day() -> None:
    table = drawn.frame()
    table.loc[drawn.REQUEST : drawn.HANDOVER, "plant_power"] = 400.0
    assert recovery.demand(drawn.case(table)).verdict is Verdict.FAIL
    night = recovery.demand(drawn.case(table[: drawn.at("22:00")]))
    assert night.verdict is Verdict.INDETERMINATE and "only 3 h outside changeovers" in night.reason


def test_a_warm_stretch_at_the_end_of_the_trends_may_be_longer() -> None:
    """The supply stands too high from 20:00 on; the plant has twenty minutes to leave."""
    cut = exit.supply(drawn.case(drawn.frame()[: drawn.at("20:10")]))
    assert cut.verdict is Verdict.NOT_TESTED and "for 11 min" in cut.reason
    assert exit.supply(drawn.case(drawn.frame()[: drawn.at("19:50")])).verdict is Verdict.PASS


@pytest.mark.parametrize("judged", [handover.fallback, enable.stay])
def test_a_run_that_the_clock_ends_shows_no_fallback(judged: CheckOf) -> None:
    """Where the sequence leaves at a time of day, it does so however short the run was."""
    table, at_clock = left(60, 62), after(drawn.HANDOVER, 60).time()
    assert judged(drawn.case(table)).verdict is Verdict.FAIL
    by_clock = dataclasses.replace(drawn.SEQUENCE, clock_exit=at_clock)
    found = judged(drawn.case(table, sequence=by_clock))
    assert found.verdict is Verdict.NOT_TESTED and "the sequence leaves at" in found.reason


def test_a_setpoint_that_follows_falling_water_two_scans_late_is_as_specified() -> None:
    """Fans at full speed in hard frost pull the sump down by 1.5 °F a minute; the controller sets
    what it read in the scan before."""
    table, rows = drawn.frame(), slice(drawn.REQUEST, after(drawn.HANDOVER, -1))
    water = 62.0 - 1.5 * np.arange(len(table.loc[rows]))
    table.loc[rows, "cw_supply_temp"] = np.maximum(water, 46.0)
    for scans, verdict in ((1, Verdict.PASS), (2, Verdict.PASS), (6, Verdict.FAIL)):
        late = table["cw_supply_temp"].shift(scans).loc[rows] - 8.0
        table.loc[rows, "chw_supply_setpoint"] = np.clip(late, 38.0, 50.0)
        assert lift.setpoint(drawn.case(table)).verdict is verdict, scans
