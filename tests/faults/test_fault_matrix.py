"""The whole fault library: every check finds its faults and stays quiet on the others.

The base plant is run with every fault at every interval, and each fault at one more plant in
turn. ``FPTLIB_ALL_FAULTS=1`` runs every fault at every plant and interval, as CI does, adds the
plants that nobody tuned on, and compares the table in the contributor guide.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import cycle

import pytest
from faulty_case import Run
from library import FAULTS, INTERVALS
from moments import moments
from plants import BLIND, PLANTS
from truth import MINUTE, taken_over

from fptlib.procedure.verdict import Check, Event, Verdict
from sample_trends.generator import SensorError

pytestmark = pytest.mark.full

BASE, *OTHERS = [plant.name for plant in PLANTS]
EVERYTHING = bool(os.environ.get("FPTLIB_ALL_FAULTS"))
DECIDED = {Verdict.PASS, Verdict.FAIL}


def runs() -> list[Run]:
    """Every run: sound plants, the base plant with every fault, the others in turn."""
    names = [entry.name for entry in FAULTS]
    sound = [Run("", plant) for plant in (BASE, *OTHERS)]
    if EVERYTHING:
        everywhere = [Run(name, plant) for plant in (BASE, *OTHERS) for name in names]
        return sound + everywhere + blind_runs(names)
    turns = [Run(name, plant) for name, plant in zip(names, cycle(OTHERS), strict=False)]
    return sound + [Run(name, BASE) for name in names] + turns


def blind_runs(names: list[str]) -> list[Run]:
    """The plants nobody tuned on: sound, and every fault at one of them in turn."""
    blind = [plant.name for plant in BLIND]
    turns = [Run(name, plant) for name, plant in zip(names, cycle(blind), strict=False)]
    return [Run("", plant) for plant in blind] + turns


@pytest.fixture(scope="module", params=runs(), ids=lambda r: f"{r.fault or 'sound'}, {r.plant}")
def run(request: pytest.FixtureRequest) -> Iterator[Run]:
    """One run; all tests of it follow each other, so that it is simulated once. Its verdicts stay
    for the table in the guide, its rows (9 MB of each run) do not."""
    yield request.param
    vars(request.param).pop("result", None)


def failed(checks: dict[str, Check]) -> set[str]:
    return {id for id, check in checks.items() if check.verdict is Verdict.FAIL}


def test_what_must_fail_fails_and_nothing_else(run: Run) -> None:
    checks, entry = run.checks(1), run.entry
    must = set(entry.fails) if entry else set()
    may = must | set(entry.may_fail if entry else ())
    assert not {id: checks[id].reason for id in must - failed(checks)}
    assert not {id: checks[id].reason for id in failed(checks) - may}
    for id in entry.indeterminate if entry else ():
        assert checks[id].verdict is Verdict.INDETERMINATE, checks[id].reason


# Its sequence keeps lift by a temporary setpoint, its equipment limit exceeds what is installed,
# and there is no plan with abort conditions, least flows, most lift, a loading ramp or current
# limit, a basin heater or air handlers.
NOT_JUDGED = {
    **dict.fromkeys(("lift.head_pressure", "lift.entering_water", "lift.maximum", "cold.basin",
                     "load.air_economizer", "load.air_damper", "load.air_valve",
                     "load.reset_holders"),
                    Verdict.NOT_APPLICABLE),
    **dict.fromkeys(("exit.equipment", "abort.conditions", "lift.flow", "lift.loading",
                     "lift.current_limit", "cold.cell_flow",
                     "load.pressure_drop", "load.idle_flow", "load.valves", "load.heating"),
                    Verdict.NOT_TESTED),
    "load.fouling": Verdict.DEFERRED,  # eight days of trends
}


def test_sound_plant_passes_everything(run: Run) -> None:
    if run.fault:
        pytest.skip("this run has a fault in it")
    other = {id: check.verdict for id, check in run.checks(1).items()
             if check.verdict is not Verdict.PASS}
    assert other == NOT_JUDGED


def test_coarser_rows_never_contradict(run: Run) -> None:
    if run.fault and run.plant != BASE and not EVERYTHING:
        pytest.skip("coarser rows at the other plants need FPTLIB_ALL_FAULTS=1")
    fine = run.checks(1)
    for minutes in INTERVALS[1:]:
        coarse = run.checks(minutes)
        contrary = {id: (fine[id].reason, coarse[id].reason) for id in fine
                    if {fine[id].verdict, coarse[id].verdict} == DECIDED}
        assert not contrary, f"at {minutes} min"


def test_changeovers_are_found_to_the_row(run: Run) -> None:
    case, result = run.case(), run.result
    # A file with a clock of its own shows its chillers' stops and starts so much later.
    late = result.scenario.sensors.get("chiller_1_running", SensorError()).late * MINUTE
    found = {
        "request": [case.time(c.row) for c in case.requests],
        "handover": [case.time(c.first) - late for c in case.runs if c.enabled is not None],
        "exit": [case.time(row) - late for c in case.changeovers
                 if (row := c.exit_row) is not None],
        "abandoned": [case.time(c.abandoned) for c in case.changeovers
                      if c.abandoned is not None],
    }
    true = {kind: [event.time for event in result.events(kind)] for kind in found}
    true["handover"] = [time for time in true["handover"] if taken_over(result, time)]
    assert found == true


def intervals(run: Run) -> tuple[int, ...]:
    """The rows a run is judged at: coarser ones at the other plants only with every fault."""
    return INTERVALS if EVERYTHING or run.plant == BASE else INTERVALS[:1]


def test_every_failure_is_at_its_minute(run: Run) -> None:
    for id in run.entry.fails if run.entry else ():
        for minutes in intervals(run):
            within = minutes * MINUTE
            astray = [event for event in failures(run, id, minutes)
                      if not any(moment.holds(event.start, within) for moment in moments(run, id))]
            assert not astray, (id, minutes)


def test_every_moment_beyond_doubt_is_reported(run: Run) -> None:
    for id in run.entry.fails if run.entry else ():
        events = failures(run, id, 1)
        if id == "exit.not_early":
            # An accusation needs proof of its own: without it an exit is left undecided, no more.
            events += [e for e in run.checks(1)[id].events if e.verdict is Verdict.INDETERMINATE]
        unsaid = [moment for moment in moments(run, id) if moment.sure
                  and not any(moment.holds(event.start, MINUTE) for event in events)]
        assert not unsaid, id


def failures(run: Run, id: str, minutes: int) -> list[Event]:
    return [e for e in run.checks(minutes)[id].events if e.verdict is Verdict.FAIL]


@pytest.mark.skipif(not EVERYTHING, reason="needs every run: set FPTLIB_ALL_FAULTS=1")
def test_table_in_the_guide_is_true() -> None:
    from write_table import GUIDE, guide_with, table

    assert GUIDE.read_text(encoding="utf-8") == guide_with(table())
