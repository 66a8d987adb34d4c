"""From plain inputs (a table, answers, readings, alarm texts) to a case: the one place at which
tests of whole simulated plants meet the package's own types."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd
from grids import grid_of

from fptlib import points, units
from fptlib.job import answers
from fptlib.job.folder import place
from fptlib.job.schema import Reading
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.trends.grid import AlarmText


@dataclass(frozen=True)
class Inputs:
    """What a test rests on, in nobody's types but pandas'.

    Attributes:
        table: one row an interval in the site's zone, columns named by the glossary and in its
            units; NaN is a gap.
        minutes: length of a row [min].
        job: text of job.toml.
        changed: answers that differ from that text, by dotted path.
        readings: moment, point, value, unit, instrument, remark of each field reading.
        alarms: moment, point and text of each alarm text.
    """

    table: pd.DataFrame
    minutes: int
    job: str
    changed: Mapping[str, Any] = field(default_factory=dict)
    readings: Sequence[tuple[pd.Timestamp, str, str, str, str, str]] = ()
    alarms: Sequence[tuple[pd.Timestamp, str, str]] = ()

    def on(self, table: pd.DataFrame) -> Inputs:
        """The same test on another table."""
        return replace(self, table=table)


def case_from(inputs: Inputs) -> FunctionalTest:
    """The case that a job folder with these inputs would give."""
    stated = tomllib.loads(inputs.job)
    for path, value in inputs.changed.items():
        place(stated, path, value)
    step = pd.Timedelta(minutes=inputs.minutes)
    trends = grid_of(inputs.table.astype(float).asfreq(step), step,
                    alarms=tuple(AlarmText(*each) for each in inputs.alarms))
    return FunctionalTest(
        trends, answers.plant(stated), answers.limits(stated), answers.sensors(stated),
        readings=[_reading(*each) for each in inputs.readings],
        instruments=answers.instruments(stated),
    )


def _reading(time: pd.Timestamp, point: str, value: str, unit: str, instrument: str,
             remark: str) -> Reading:
    scale = units.scale(unit, points.point(point).unit, point)
    return Reading(time, point, float(scale(float(value))), instrument, "invented", remark)
