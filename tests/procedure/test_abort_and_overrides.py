"""Abort conditions and overrides on the trends: what they say of each changeover, and no more.

The drawn plant's moments are known to the minute; the sample before correction is held against
what its trend columns say by themselves. That a test stops when an abort condition is met, and
that an induced changeover proves function and not capacity, is common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import EXIT, REQUEST, at

from fptlib.errors import FptError, JobError
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.job.schema import ABORTED, ENDED, STARTED, Abort, Mark, Override
from fptlib.procedure.abort import conditions
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Verdict

BEFORE = Path(__file__).resolve().parents[2] / "sample_trends" / "before"
WARM = Abort("Chilled water 1.5 °F above the reset for 10 minutes", "supply_above_reset", "above",
             1.5, "degF difference", 10.0, 4.0)
TRIP = Abort("Any chiller trip", "chiller_alarm")
LIFT = Abort("Lift below 8 °F", "water_lift", "below", 8.0)


def judged(*conditions_: Abort, table: pd.DataFrame | None = None, minutes: int = 1,
           marks: tuple[Mark, ...] = ()):
    return conditions(drawn.case(table, minutes, aborts=conditions_, marks=marks))


def test_a_plan_without_abort_conditions_proves_nothing() -> None:
    check = judged()
    assert check.verdict is Verdict.NOT_TESTED
    assert check.reason == "the plan states no abort condition"


def test_a_condition_that_was_met_is_said_with_minute_and_duration() -> None:
    # Drawn: 52 °F against a reset setpoint of 50 from 20:00 to the exit at 20:16.
    check = judged(WARM, TRIP)
    assert check.verdict is Verdict.FAIL and check.measured == 6.0
    event, other = check.events
    assert event.start == at("20:10") and event.changeover == 1
    assert event.text == ("met from 2026-01-10 20:00 for 16 min, worst 2.0 °F; the test was "
                          "stopped 6 min after")
    assert other.verdict is Verdict.PASS and other.text == "was not met in any changeover"


def test_a_trip_at_which_the_request_is_withdrawn_was_stopped_in_time() -> None:
    table = drawn.frame()
    table.loc[REQUEST + pd.Timedelta("20min"):, "economizer_command"] = 0.0
    table.loc[at("03:05"):at("03:30"), "chiller_1_alarm"] = 1.0
    check = judged(TRIP, table=table)
    assert check.verdict is Verdict.PASS
    assert check.events[0].text == "met from 2026-01-10 03:05 for 26 min; the test was stopped " \
        "at once"


def test_a_mark_stops_the_test_too() -> None:
    stopped = Mark(at("20:12").to_pydatetime(), ABORTED, "A")
    check = judged(WARM, marks=(stopped,))
    assert check.verdict is Verdict.PASS and check.measured == 2.0


def test_between_start_and_end_of_a_marked_test_conditions_count_outside_changeovers() -> None:
    table = drawn.frame()
    table.loc[at("12:00", 1):at("12:20", 1), "chiller_1_alarm"] = 1.0
    assert "no changeover was under way" in judged(TRIP, table=table).events[0].text
    marks = tuple(Mark(at(clock, 1).to_pydatetime(), what, "A")
                  for clock, what in (("11:00", STARTED), ("13:00", ENDED)))
    event = judged(TRIP, table=table, marks=marks).events[0]
    assert event.start == at("12:00", 1) and "was under way" not in event.text


def test_lift_counts_only_while_a_chiller_runs() -> None:
    # Drawn: the lift is 11 °F and more while chiller 1 runs; off, its condenser water is colder.
    assert judged(LIFT).verdict is Verdict.PASS
    assert judged(replace(LIFT, limit=12.0)).verdict is Verdict.FAIL


def test_a_gap_proves_that_nothing_was_met_as_little_as_that_it_was() -> None:
    table = drawn.frame()
    table.loc[at("10:00"):at("10:30"), "chiller_1_alarm"] = None
    check = judged(TRIP, table=table)
    assert check.verdict is Verdict.NOT_TESTED
    assert "what it watches has a gap there" in check.reason


def test_what_is_not_trended_or_in_words_only_passes_nothing() -> None:
    table = drawn.frame().drop(columns="chiller_2_alarm")
    assert "not trended: chiller_2_alarm" in judged(TRIP, table=table).reason
    assert "stated in words only" in judged(Abort("Ice on a tower")).reason
    by_eye = judged(Abort("Ice on a tower", "at the plant"), TRIP)
    assert by_eye.verdict is Verdict.PASS
    assert by_eye.events[0].verdict is Verdict.NOT_APPLICABLE


@pytest.mark.parametrize("minutes", [5, 15])
def test_longer_rows_do_not_contradict(minutes: int) -> None:
    assert judged(WARM, minutes=minutes).verdict in (Verdict.FAIL, Verdict.INDETERMINATE)
    assert judged(TRIP, LIFT, minutes=minutes).verdict is Verdict.PASS


@pytest.mark.parametrize(("row", "sentence"), [
    ({"text": "A", "watched": "cw_supply_temp"}, "limit or side is missing"),
    ({"text": "A", "watched": "cw_temp", "limit": 1}, "is not a point of the glossary"),
    ({"text": "A", "watched": "cw_supply_temp", "side": "above", "limit": 1, "unit": "gpm"},
     "cannot be turned into degF"),
])
def test_a_condition_that_cannot_be_evaluated_says_so(row: dict, sentence: str) -> None:
    with pytest.raises(FptError, match=sentence):
        answers.aborts({"abort": [row]})


def test_a_limit_counts_in_the_unit_it_is_stated_in() -> None:
    found, = answers.aborts({"abort": [{"text": "A", "watched": "cw_supply_temp", "side": "below",
                                        "limit": 2.0, "unit": "degC"}]})
    assert found.limit == pytest.approx(35.6) and found.unit == "degF"


def test_an_override_is_not_released_before_it_is_placed() -> None:
    with pytest.raises(JobError, match="released before it was placed"):
        answers.overrides({
            "site": {"altitude": 0, "time_zone": "America/Denver"},
            "overrides": [{"point": "outdoor_wet_bulb", "placed": "2026-01-10 03:00",
                           "released": "2026-01-10 02:00"}]})


@cache
def before() -> FunctionalTest:
    return assemble(Job(BEFORE), keep=False)


def test_every_abort_condition_met_before_correction_is_said() -> None:
    """The columns of the trends by themselves, without the package's conditions: supply more than
    4 °F above the reset for more than 10 minutes, and either chiller in alarm."""
    test = before()
    frame = test.grid.frame
    met = {}
    for name, flags in (
            ("supply", frame["chw_supply_temp"] - frame["chw_reset_setpoint"] > 4.0),
            ("chiller 1", frame["chiller_1_alarm"] == 1.0),
            ("chiller 2", frame["chiller_2_alarm"] == 1.0)):
        for _, rows in frame[flags].groupby((~flags).cumsum()[flags]):
            if name != "supply" or len(rows) > 10:
                met[f"met from {rows.index[0]:%Y-%m-%d %H:%M} for {len(rows)} min"] = name
    said = {event.text.split(",")[0].split(";")[0] for event in conditions(test).events
            if event.text.startswith("met")}
    assert said == set(met) and len(met) == 10
    assert sum(int(text.split()[-2]) for text, name in met.items() if name == "supply") == 559


WET_BULB = {"enable.condition", "enable.dwell", "exit.comparative", "transition.leaving"}


def overridden(point: str) -> tuple[FunctionalTest, FunctionalTest]:
    """The sample before correction, and the same with a point overridden during changeover 3."""
    test = before()
    third = test.changeovers[2]
    begin, end = test.time(third.enabled or 0), test.time(third.last) + timedelta(minutes=10)
    override = Override(point, "31", begin, end, "A", "to see the changeover tonight")
    return test, replace(test, overrides=(override,))


def test_an_overridden_wet_bulb_leaves_what_rests_on_it_not_tested_and_nothing_else() -> None:
    plain, test = overridden("outdoor_wet_bulb")
    kinds = [test.natural(each) for each in test.changeovers]
    assert kinds == ["natural"] * 2 + ["overridden"] + ["natural"] * 7
    changed = set()
    for old, new in zip(all_checks(plain), all_checks(test), strict=True):
        assert old.verdict is new.verdict
        was = {(event.name, event.start): event.verdict for event in old.events}
        for event in new.events:
            if was.get((event.name, event.start)) is not event.verdict:
                assert event.changeover == 3
                if event.subject != "before and after":
                    assert event.verdict is Verdict.NOT_TESTED
                    assert "outdoor air wet bulb was overridden from 2025-01-12 03:36" in event.text
                changed.add(new.id)
    assert changed == WET_BULB


def test_an_induced_changeover_proves_function_and_not_capacity() -> None:
    plain, test = overridden("the enable threshold")
    assert test.natural(test.changeovers[2]) == "induced"
    capacity = {"handover.excursion", "running.supply", "running.exchanger", "exit.comparative",
                "transition.entering", "transition.leaving"}
    for old, new in zip(all_checks(plain), all_checks(test), strict=True):
        third = [event for event in new.events if event.changeover == 3]
        others = [(e.name, e.verdict) for e in new.events if e.changeover != 3]
        assert others == [(e.name, e.verdict) for e in old.events if e.changeover != 3]
        if new.id in capacity:
            assert {event.verdict for event in third} <= {Verdict.DEFERRED, Verdict.NOT_TESTED}
        elif new.id != "abort.conditions":
            assert [e.verdict for e in third] == [
                e.verdict for e in old.events if e.changeover == 3]


def test_an_override_that_nobody_released_reaches_everything_after_it() -> None:
    table = drawn.case(overrides=(Override("chw_supply_temp", "44", at("12:00").to_pydatetime()),))
    values = table["chw_supply_temp"]
    assert not pd.isna(values[:720]).any() and pd.isna(values[720:]).all()
    assert table.natural(table.changeovers[0]) == "overridden"
    assert EXIT > at("12:00")
