"""The rules that every check is judged by: timers, light load, what a fail and a pass need."""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import drawn_plant as drawn
import numpy as np
import pytest

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.job.schema import Sequence
from fptlib.limits import Deviation, Limits, Rule
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict, decide, worst
from fptlib.trends.grid import Remark


@pytest.mark.parametrize(("measured", "expected"), [
    (30.0, Verdict.PASS), (29.0, Verdict.PASS), (28.0, Verdict.PASS),
    (27.5, Verdict.INDETERMINATE), (26.9, Verdict.FAIL)])
def test_a_timer_at_its_setting_is_no_coin_toss(measured: float, expected: Verdict) -> None:
    """Thirty minutes specified, rows of one minute, two minutes of tolerance."""
    assert decide(measured - 30.0, 1.0, Rule.GUARDED_BOTH, tolerance=2.0) is expected


def with_limit(name: str, value: float) -> Limits:
    return Limits({**drawn.LIMITS.deviations, name: Deviation(value, "as specified", "a test", "")})


@pytest.mark.parametrize("minutes", [1])
@pytest.mark.parametrize(("check", "limit"), [
    ("enable.dwell", "enable.dwell"), ("enable.stay", "enable.stay"),
    ("handover.fallback", "enable.stay"), ("lift.release", "lift.release")])
def test_a_sequence_of_exactly_the_specified_time_passes(
    check: str, limit: str, minutes: int
) -> None:
    done = judge(drawn.case(), check).events[0].measured
    found = judge(drawn.case(minutes=minutes, limits=with_limit(limit, done)), check)
    assert found.verdict is Verdict.PASS, found.reason


def test_one_light_run_does_not_take_the_pass_of_the_others() -> None:
    assert worst([Verdict.PASS, Verdict.DEFERRED, Verdict.NOT_TESTED]) is Verdict.PASS
    assert worst([Verdict.DEFERRED, Verdict.NOT_TESTED]) is Verdict.DEFERRED


@pytest.mark.parametrize(("warmer", "expected"), [(0.0, Verdict.DEFERRED), (4.0, Verdict.FAIL)])
def test_light_load_withholds_a_pass_and_never_a_fail(warmer: float, expected: Verdict) -> None:
    table = drawn.frame()
    table["chw_flow"] *= 0.2
    run = (table.index >= drawn.HANDOVER) & (table.index < drawn.WARM)
    table.loc[run, "chw_supply_temp"] += warmer
    table.loc[run, "chw_return_temp"] += warmer
    for check in ("handover.excursion", "running.supply"):
        found = judge(drawn.case(table), check)
        assert found.verdict is expected, found.reason
        assert expected is Verdict.FAIL or "the load was" in found.reason


def test_limits_frozen_under_the_first_edition_still_stand() -> None:
    before = Limits().digest()
    assert Limits({"timing.tolerance": Deviation(5.0, "slow clock", "a test", "")}
                  ).digest() != before
    assert Limits().in_force()["timing.tolerance"] == 2.0
    assert np.isfinite(Limits()["timing.tolerance"])


def test_a_wet_bulb_that_stands_still_is_unknown_and_passes_nothing() -> None:
    table = drawn.frame()
    table["outdoor_wet_bulb"] = 34.0
    test = drawn.case(table)
    assert np.isnan(test.wet_bulb).all()
    assert judge(test, "instruments.wet_bulb").verdict is Verdict.FAIL
    for check in ("enable.condition", "enable.dwell"):
        assert judge(test, check).verdict is Verdict.NOT_TESTED, check


def test_a_supply_sensor_that_stands_still_while_its_setpoint_moves_is_unknown() -> None:
    table = drawn.frame()
    table["chw_supply_temp"] = 50.0
    assert judge(drawn.case(table), "running.supply").verdict is not Verdict.PASS
    assert judge(drawn.case(table), "lift.floor").verdict is not Verdict.PASS


@pytest.mark.parametrize(("bend", "check"), [(0.0, "exit.supply"), (9.0, "running.supply")])
def test_a_doubt_of_the_reading_reaches_the_verdict(bend: float, check: str) -> None:
    table = drawn.frame()
    run = (table.index > drawn.RECOVERED) & (table.index < drawn.WARM)
    table.loc[run, "chw_supply_temp"] += bend
    plain = drawn.case(table)
    assert judge(plain, check).verdict in (Verdict.PASS, Verdict.FAIL)
    doubted = replace(plain.grid, remarks=(
        Remark("doubt", "changes its unit in the middle", "plant.csv", "chw_supply_temp"),))
    found = judge(replace(plain, grid=doubted), check)
    assert found.verdict is Verdict.INDETERMINATE
    assert "changes its unit in the middle" in found.reason


def exits(**stated: object) -> tuple[Verdict, str]:
    """The verdict on an exit that nothing in the trends asked for, with a sequence as specified."""
    found = judge(drawn.case(drawn.unasked_exit(), sequence=Sequence(**stated)), "exit.not_early")
    return found.verdict, found.reason


def test_exits_that_the_sequence_specifies_are_no_early_exits() -> None:
    assert exits()[0] is Verdict.FAIL
    left = drawn.EXIT.time()
    verdict, said = exits(clock_exit=left)
    assert verdict is Verdict.PASS and f"the sequence leaves at {left:%H:%M}" in said
    assert exits(clock_exit=time(12, 0))[0] is Verdict.FAIL
    assert exits(clock_exit=time(20, 40))[0] is Verdict.FAIL
    verdict, said = exits(other_exit="demand limit")
    assert verdict is Verdict.INDETERMINATE and "the sequence allows demand limit" in said


@pytest.mark.parametrize(("due", "verdict"), [
    ("20:10", Verdict.PASS), ("20:05", Verdict.FAIL), ("12:00", Verdict.FAIL)])
def test_an_exit_later_than_the_sequence_states_fails_whatever_its_reason(
    due: str, verdict: Verdict
) -> None:
    """The plant left at 20:16 for its warm water; five minutes and a timer's two are granted."""
    found = judge(drawn.case(drawn.frame(), sequence=Sequence(clock_exit=time.fromisoformat(due))),
                  "exit.not_early")
    assert found.verdict is verdict
    assert ("min after it was due" in found.reason) is (verdict is Verdict.FAIL)


def test_a_run_that_began_shortly_before_the_clock_exit_has_its_minimum_run_time() -> None:
    begun = Sequence(clock_exit=time(3, 30))
    deviation = {"enable.stay": Deviation(17.0 * 60.0, "as specified", "test", "2026-01-01")}
    limits = Limits({**drawn.LIMITS.deviations, **deviation})
    assert judge(drawn.case(drawn.frame(), sequence=begun, limits=limits), "exit.not_early"
                 ).verdict is Verdict.PASS


def test_a_weather_exit_counts_where_the_condition_was_lost_for_its_time() -> None:
    table = drawn.frame()
    table.loc[drawn.WARM : drawn.EXIT, "chw_supply_temp"] = 50.0
    plain = judge(drawn.case(table), "exit.not_early")
    assert plain.verdict is Verdict.INDETERMINATE
    declared = judge(drawn.case(table, sequence=Sequence(weather_exit=10.0)), "exit.not_early")
    assert declared.verdict is Verdict.PASS, declared.reason
    assert "the enable condition no longer held" in declared.reason
    # Where the sequence leaves only well beyond the enable condition, this was no such exit.
    beyond = Sequence(weather_exit=10.0, weather_exit_band=20.0)
    assert judge(drawn.case(table, sequence=beyond), "exit.not_early").verdict is Verdict.FAIL


def test_a_time_of_day_that_is_none_is_told_where_it_is_answered() -> None:
    with pytest.raises(JobError, match="not a time of day; write it as 06:00"):
        answers.sequence({"sequence": {"clock_exit": "half past six"}})


def test_water_held_exactly_at_its_setpoint_is_not_frozen() -> None:
    """Four hours at 46.0 °F under a setpoint of 46, which then steps down for the next run."""
    table = drawn.frame()
    rows = slice(drawn.at("12:00"), drawn.at("16:00"))
    table.loc[rows, ["chw_supply_setpoint", "chw_supply_temp"]] = 46.0
    table.loc[drawn.at("16:00"), "chw_supply_setpoint"] = 43.0
    assert not np.isnan(drawn.case(table)["chw_supply_temp"]).any()


def test_a_sensor_that_stood_still_is_named_where_it_counts() -> None:
    table = drawn.frame()
    table["outdoor_humidity"] = 62.0
    found = judge(drawn.case(table), "instruments.wet_bulb")
    assert found.verdict is Verdict.NOT_TESTED and "stood still for 48 h" in found.reason
