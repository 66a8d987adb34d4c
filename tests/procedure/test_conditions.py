"""Season, load and forced conditions: what does not prove capacity is deferred."""

from __future__ import annotations

import dataclasses

import drawn_plant as drawn
import pytest

from fptlib.job.schema import Approach, Sequence
from fptlib.limits import Deviation, Limits
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict

CAPACITY = {"handover.excursion", "running.supply", "running.exchanger", "exit.comparative",
            "transition.entering", "transition.leaving"}


def rows(case: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(case)}


@pytest.mark.parametrize("condition", ["forced", "simulated"])
def test_forced_condition_proves_function_never_capacity(condition: str) -> None:
    natural, forced = rows(drawn.case()), rows(drawn.case(condition=condition))
    changed = {id for id in natural if natural[id].verdict is not forced[id].verdict}
    # So little of the drawn run can be compared with chillers that it never proves capacity.
    assert natural["exit.comparative"].verdict is Verdict.DEFERRED
    assert changed == CAPACITY - {"exit.comparative"}
    assert {forced[id].verdict for id in CAPACITY} == {Verdict.DEFERRED}
    assert all(condition in forced[id].reason for id in CAPACITY)


def test_light_load_defers_capacity() -> None:
    table = drawn.frame()
    table["chw_flow"] = 300.0
    found = rows(drawn.case(table))
    deferred = {id for id, check in found.items() if check.verdict is Verdict.DEFERRED}
    assert deferred == {"handover.excursion", "running.supply", "running.exchanger",
                        "exit.comparative",
                        # For want of weeks and of cold weather, not of load.
                        "load.fouling", "load.weather", "load.peak"}
    assert "repeat the test at 200 tons" in found["running.supply"].reason


def test_warm_weather_defers_and_says_what_to_wait_for() -> None:
    table = drawn.frame()
    table["outdoor_wet_bulb"] += 30.0
    table[["economizer_command", "economizer_active"]] = 0.0
    table["chiller_1_running"] = 1.0
    check = rows(drawn.case(table))["enable.condition"]
    assert check.verdict is Verdict.DEFERRED
    assert "38 °F" in check.reason


def test_narrow_outdoor_span_defers_the_reset() -> None:
    table = drawn.frame()
    table["outdoor_dry_bulb"] = 45.0 + 0.1 * (table["outdoor_dry_bulb"] - 45.0)
    found = rows(drawn.case(table, sequence=Sequence()))["reset.active"]
    assert found.verdict is Verdict.DEFERRED


def test_water_must_turn_over_before_the_supply_is_judged() -> None:
    slow = dataclasses.replace(drawn.PLANT, loop_volume=250_000.0)
    check = rows(drawn.case(plant=slow))["running.supply"]
    # Three turnovers of 250,000 gal at 800 gpm take 938 min of the run's 1011.
    assert check.verdict is Verdict.NOT_TESTED


@pytest.mark.parametrize(("rule", "expected"), [
    ("simple acceptance", Verdict.PASS), ("guarded acceptance", Verdict.INDETERMINATE),
    ("guarded rejection", Verdict.PASS), ("guarded both ways", Verdict.INDETERMINATE)])
def test_the_firm_sets_the_decision_rule(rule: str, expected: Verdict) -> None:
    """Lift 12.5 degF against 12.3, known to 0.34: inside the limit by less than its doubt."""
    chillers = tuple(dataclasses.replace(c, minimum_water_lift=12.3)
                     for c in drawn.PLANT.chillers)
    limits = Limits({"decision.rule": Deviation(rule, "the firm's rule", "engineer", "")})
    case = drawn.case(plant=dataclasses.replace(drawn.PLANT, chillers=chillers), limits=limits)
    assert rows(case)["lift.minimum"].verdict is expected


def test_failed_check_names_causes_and_where_its_setting_stands() -> None:
    table = drawn.frame()
    down = slice(drawn.REQUEST, drawn.at("03:24"))
    table.loc[down, "chiller_1_cw_leaving_temp"] -= 10.0
    adjust = rows(drawn.case(table))["lift.minimum"].adjust
    assert "chilled-water setpoint together with the condenser water" in adjust
    assert "settings sheet of step 10" in adjust


def test_what_is_equal_in_tenths_holds_the_condition() -> None:
    """36.6 + 7 + 1.5 + 1.8 + 1.5 is 48.4, though not in binary digits."""
    table = drawn.frame()
    drawn.still_air(table, slice(None), 36.6)
    table["chw_reset_setpoint"] = 48.4
    plant = dataclasses.replace(drawn.PLANT, exchanger_approach=Approach(1.8, "observed"))
    check = rows(drawn.case(table, plant=plant))["enable.dwell"]
    assert check.verdict is Verdict.PASS and check.measured == 165.0


def test_no_sentence_prints_a_negative_zero() -> None:
    table = drawn.frame()
    table["chw_supply_setpoint"] -= 0.01
    said = [event.text for check in all_checks(drawn.case(table)) for event in check.events]
    assert not [text for text in said if "-0.0 " in text], said
