"""From a simulated plant to a case: its answers through the job file it would write."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import library
import pandas as pd
from sample_trends.generator import Result, Scenario, at_interval, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import STORIES

from fptlib import answers, points, units
from fptlib.job import place
from fptlib.procedure.case import Case
from fptlib.procedure.plant import Reading
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check
from fptlib.trends import AlarmText, Trends


@lru_cache(maxsize=2)
def simulated(fault: str, plant: str) -> tuple[library.Fault | None, Result]:
    """The result of one fault (none: empty name) at one plant of the library."""
    scenario = next(p for p in library.PLANTS if p.name == plant)
    if not fault:
        return None, simulate(scenario)
    entry = library.fault(fault)
    return entry, entry.finish(simulate(library.faulty(entry, scenario)))


def case_of(fault: str, plant: str, minutes: int = 1) -> Case:
    """The case of one fault at one plant, with trends at rows of so many minutes."""
    entry, result = simulated(fault, plant)
    stated = _answers(result.scenario, entry)
    frame = at_interval(result.frame, minutes) if minutes > 1 else result.frame
    step = pd.Timedelta(minutes=minutes)
    found = answers.plant(stated)
    alarms = tuple(AlarmText(a.time, a.point, a.text)
                   for a in (entry.alarms(result) if entry else ()))
    return Case(
        Trends(frame.astype(float).asfreq(step), step, alarms=alarms), found,
        answers.limits(stated), answers.sensors(stated),
        readings=[_reading(row) for row in library.readings_of(entry, result)],
        instruments=answers.instruments(stated),
    )


def _answers(scenario: Scenario, entry: library.Fault | None) -> Mapping[str, Any]:
    stated = tomllib.loads(job_file(scenario, STORIES["sound"]))
    for path, value in (entry.job if entry else {}).items():
        place(stated, path, value)
    return stated


def _reading(row: Any) -> Reading:
    scale = units.scale(row.unit, points.point(row.point).unit, row.point)
    return Reading(row.time, row.point, float(scale(float(row.value))), row.instrument,
                   "invented", row.remark)


def checks_of(fault: str, plant: str, minutes: int = 1) -> dict[str, Check]:
    """Every check of that case by its id."""
    return {check.id: check for check in all_checks(case_of(fault, plant, minutes))}
