"""From a simulated plant to a case: its answers through the job file it would write."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import library
from plain_inputs import Inputs, case_from
from plants import BLIND, PLANTS

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check
from sample_trends.generator import Result, at_interval, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import STORIES


@dataclass(frozen=True)
class Run:
    """One fault (none: empty name) at one plant of the library, simulated once."""

    fault: str
    plant: str

    @cached_property
    def entry(self) -> library.Fault | None:
        return library.fault(self.fault) if self.fault else None

    @cached_property
    def result(self) -> Result:
        scenario = next(p for p in PLANTS + BLIND if p.name == self.plant)
        if self.entry is None:
            return simulate(scenario)
        return self.entry.finish(simulate(library.faulty(self.entry, scenario)))

    def inputs(self, minutes: int = 1) -> Inputs:
        """What the case rests on, with trends at rows of so many minutes."""
        frame = self.result.frame
        readings = library.readings_of(self.entry, self.result)
        alarms = self.entry.alarms(self.result) if self.entry else ()
        return Inputs(
            at_interval(frame, minutes) if minutes > 1 else frame, minutes,
            job_file(self.result.scenario, STORIES["sound"]),
            self.entry.job if self.entry else {},
            [(r.time, r.point, r.value, r.unit, r.instrument, r.remark) for r in readings],
            [(a.time, a.point, a.text) for a in alarms],
        )

    def case(self, minutes: int = 1) -> FunctionalTest:
        """The case, with trends at rows of so many minutes."""
        return case_from(self.inputs(minutes))

    @cache  # noqa: B019 - a run lives as long as its tests
    def checks(self, minutes: int) -> dict[str, Check]:
        """Every check of that case by its id; no default, which would be a key of its own."""
        return {check.id: check for check in all_checks(self.case(minutes))}
