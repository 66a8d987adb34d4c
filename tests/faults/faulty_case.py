"""From a simulated plant to a case: its answers through the job file it would write."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import library
import pandas as pd
from plants import BLIND, PLANTS

from fptlib import points, units
from fptlib.job import answers
from fptlib.job.folder import place
from fptlib.job.schema import Reading
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check
from fptlib.trends.grid import AlarmText, Grid
from sample_trends.generator import Result, Scenario, at_interval, simulate
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

    def case(self, minutes: int = 1) -> FunctionalTest:
        """The case, with trends at rows of so many minutes."""
        stated = _answers(self.result.scenario, self.entry)
        frame = self.result.frame
        frame = at_interval(frame, minutes) if minutes > 1 else frame
        step = pd.Timedelta(minutes=minutes)
        alarms = self.entry.alarms(self.result) if self.entry else ()
        return FunctionalTest(
            Grid.from_frame(frame.astype(float).asfreq(step), step,
                   alarms=tuple(AlarmText(a.time, a.point, a.text) for a in alarms)),
            answers.plant(stated), answers.limits(stated), answers.sensors(stated),
            readings=[_reading(r) for r in library.readings_of(self.entry, self.result)],
            instruments=answers.instruments(stated),
        )

    @cache  # noqa: B019 - a run lives as long as its tests
    def checks(self, minutes: int = 1) -> dict[str, Check]:
        """Every check of that case by its id."""
        return {check.id: check for check in all_checks(self.case(minutes))}


def _answers(scenario: Scenario, entry: library.Fault | None) -> Mapping[str, Any]:
    stated = tomllib.loads(job_file(scenario, STORIES["sound"]))
    for path, value in (entry.job if entry else {}).items():
        place(stated, path, value)
    return stated


def _reading(row: Any) -> Reading:
    scale = units.scale(row.unit, points.point(row.point).unit, row.point)
    return Reading(row.time, row.point, float(scale(float(row.value))), row.instrument,
                   "invented", row.remark)
