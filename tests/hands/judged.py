"""A scenario judged as a user would have it: its files written, read and checked."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import fptlib
from tests.hands.second import Result, Scenario, run, scenarios
from tests.hands.second.job import write

INTERVALS = (1, 5, 15)
SCENARIOS = {scenario.name: scenario for scenario in scenarios()}


@dataclass(frozen=True)
class Said:
    """What a check said; ``failures`` are the minutes (from, to) of its failed events."""

    verdict: str
    reason: str
    failures: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Judged:
    """A scenario with its true statements (kind, from minute, to minute) and what the checks said
    at each interval."""

    name: str
    truth: tuple[tuple[str, int, int], ...]
    said: dict[int, dict[str, Said]]

    @property
    def scenario(self) -> Scenario:
        return SCENARIOS[self.name]

    @property
    def kinds(self) -> set[str]:
        return {kind for kind, _, _ in self.truth}


def judged(name: str, intervals: tuple[int, ...] = INTERVALS) -> Judged:
    """Simulate a scenario once, write its job at each interval and check it."""
    return of_result(run(SCENARIOS[name]), intervals)


def of_result(result: Result, intervals: tuple[int, ...] = INTERVALS) -> Judged:
    """Write a simulated scenario's job at each interval and check it."""
    truth = tuple((x.kind, x.start, x.end) for x in result.truth)
    said = {minutes: _said(result, minutes) for minutes in intervals}
    return Judged(result.scenario.name, truth, said)


def _said(result: Result, minutes: int) -> dict[str, Said]:
    with tempfile.TemporaryDirectory() as folder:
        write(result, Path(folder), minutes)
        checks = fptlib.check(fptlib.Job(Path(folder))).checks
    begin = result.frame.index[0]

    def minute(moment) -> int:
        return int((moment - begin).total_seconds() // 60)

    return {check.id: Said(
        str(check.verdict), check.reason,
        tuple((minute(event.start), minute(event.end or event.start))
              for event in check.events if str(event.verdict) == "fail"))
        for check in checks}
