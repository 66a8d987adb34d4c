"""The whole fault library: every check finds its faults and stays quiet on the others.

The base plant is run with every fault at every interval, and each fault at one more plant in
turn. ``FPTLIB_ALL_FAULTS=1`` runs every fault at every plant and interval, as CI does, and
compares the table in the contributor guide.
"""

from __future__ import annotations

import os
import re
from itertools import cycle

import pytest
from faulty_case import Run
from library import FAULTS, INTERVALS
from plants import PLANTS

from fptlib.procedure.verdict import Check, Verdict

BASE, *OTHERS = [plant.name for plant in PLANTS]
EVERYTHING = bool(os.environ.get("FPTLIB_ALL_FAULTS"))
DECIDED = {Verdict.PASS, Verdict.FAIL}
# The chillers' file of this fault has a clock of its own: its stops and starts are late.
OWN_CLOCK = "clock offset between files"
# These name a changeover but rest on moments before it, or on whole demand intervals.
BEFORE_REQUEST = ("enable.dwell", "enable.rest", "recovery.demand")


def runs() -> list[Run]:
    """Every run: sound plants, the base plant with every fault, the others in turn."""
    names = [entry.name for entry in FAULTS]
    sound = [Run("", plant) for plant in (BASE, *OTHERS)]
    if EVERYTHING:
        return sound + [Run(name, plant) for plant in (BASE, *OTHERS) for name in names]
    turns = [Run(name, plant) for name, plant in zip(names, cycle(OTHERS), strict=False)]
    return sound + [Run(name, BASE) for name in names] + turns


@pytest.fixture(scope="module", params=runs(), ids=lambda r: f"{r.fault or 'sound'}, {r.plant}")
def run(request: pytest.FixtureRequest) -> Run:
    """One run; all tests of it follow each other, so that it is simulated once."""
    return request.param


def failed(checks: dict[str, Check]) -> set[str]:
    return {id for id, check in checks.items() if check.verdict is Verdict.FAIL}


def test_what_must_fail_fails_and_nothing_else(run: Run) -> None:
    checks, entry = run.checks(), run.entry
    must = set(entry.fails) if entry else set()
    may = must | set(entry.may_fail if entry else ())
    assert not {id: checks[id].reason for id in must - failed(checks)}
    assert not {id: checks[id].reason for id in failed(checks) - may}
    for id in entry.indeterminate if entry else ():
        assert checks[id].verdict is Verdict.INDETERMINATE, checks[id].reason


def test_sound_plant_passes_everything(run: Run) -> None:
    if run.fault:
        pytest.skip("this run has a fault in it")
    assert {str(check.verdict) for check in run.checks().values()} == {"pass"}


def test_coarser_rows_never_contradict(run: Run) -> None:
    if run.fault and run.plant != BASE and not EVERYTHING:
        pytest.skip("coarser rows at the other plants need FPTLIB_ALL_FAULTS=1")
    fine = run.checks()
    for minutes in INTERVALS[1:]:
        coarse = run.checks(minutes)
        contrary = {id: (fine[id].reason, coarse[id].reason) for id in fine
                    if {fine[id].verdict, coarse[id].verdict} == DECIDED}
        assert not contrary, f"at {minutes} min"


def test_changeovers_are_found_to_the_row(run: Run) -> None:
    case = run.case()
    found = {
        "request": [c.request for c in case.requests],
        "handover": [c.handover for c in case.handovers if c.request is not None],
        "abandoned": [c.abandoned for c in case.changeovers if c.abandoned is not None],
    }
    for kind, times in found.items():
        if run.fault != OWN_CLOCK or kind == "request":
            assert times == [event.time for event in run.result.events(kind)], kind


def test_failures_lie_in_the_changeover_they_name(run: Run) -> None:
    if run.entry is None or not run.entry.fails:
        pytest.skip("nothing must fail in this run")
    case, checks = run.case(), run.checks()
    for id in run.entry.fails:
        failures = [e for e in checks[id].events if e.verdict is Verdict.FAIL]
        assert failures
        for event in failures:
            named = re.match(r"changeover (\d+)", event.name)
            if named is None or id in BEFORE_REQUEST:
                continue
            changeover = case.changeovers[int(named[1]) - 1]
            end = (changeover.exit or changeover.ended) + case.trends.step
            assert changeover.request <= event.start <= end, (id, event)


@pytest.mark.skipif(not EVERYTHING, reason="needs every run: set FPTLIB_ALL_FAULTS=1")
def test_table_in_the_guide_is_true() -> None:
    from write_table import GUIDE, guide_with, table

    assert GUIDE.read_text(encoding="utf-8") == guide_with(table())
