"""A scenario judged as a user would have it: its files written, read and checked."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import fptlib
from fptlib.job import answers
from fptlib.procedure.trend_request import provable
from tests.hands import second

INTERVALS = (1, 5, 15)
HANDS = {"second": second}
if find_spec("pyenergyplus"):  # the third hand's simulator, an extra of its own
    from tests.hands import third

    HANDS["third"] = third
HAND_OF = {scenario.name: hand for hand, module in HANDS.items() for scenario in module.scenarios()}
SCENARIOS = {scenario.name: scenario
             for module in HANDS.values() for scenario in module.scenarios()}


@dataclass(frozen=True)
class Said:
    """What a check said; ``failures`` are the minutes (from, to) of its failed events. ``blind``:
    the product said beforehand that such rows cannot show what it looks for."""

    verdict: str
    reason: str
    failures: tuple[tuple[int, int], ...]
    blind: bool = False


@dataclass(frozen=True)
class Judged:
    """A scenario with its true statements (kind, from minute, to minute) and what the checks said
    at each interval."""

    name: str
    truth: tuple[tuple[str, int, int], ...]
    said: dict[int, dict[str, Said]]

    @property
    def scenario(self) -> second.Scenario:
        return SCENARIOS[self.name]

    @property
    def kinds(self) -> set[str]:
        return {kind for kind, _, _ in self.truth}


def judged(name: str, intervals: tuple[int, ...] = INTERVALS) -> Judged:
    """Simulate a scenario once, write its job at each interval and check it."""
    return of_result(simulated(name), intervals)


def simulated(name: str) -> second.Result:
    """A scenario run by its own hand."""
    return HANDS[HAND_OF[name]].run(SCENARIOS[name])


def of_result(result: second.Result, intervals: tuple[int, ...] = INTERVALS) -> Judged:
    """Write a simulated scenario's job at each interval and check it."""
    truth = tuple((x.kind, x.start, x.end) for x in result.truth)
    said = {minutes: _said(result, minutes) for minutes in intervals}
    return Judged(result.scenario.name, truth, said)


def _said(result: second.Result, minutes: int) -> dict[str, Said]:
    with tempfile.TemporaryDirectory() as folder:
        HANDS[HAND_OF[result.scenario.name]].write(result, Path(folder), minutes)
        job = fptlib.Job(Path(folder))
        checks, held = fptlib.check(job).checks, job.answers()
        blind = provable(answers.plant(held), held["points"], minutes,
                         limits=answers.limits(held)).blind
    begin = result.frame.index[0]

    def minute(moment) -> int:
        return int((moment - begin).total_seconds() // 60)

    return {check.id: Said(
        str(check.verdict), check.reason,
        tuple((minute(event.start), minute(event.end or event.start))
              for event in check.events if str(event.verdict) == "fail"), check.id in blind)
        for check in checks}
