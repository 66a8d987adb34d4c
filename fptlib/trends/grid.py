"""Trends: every mapped point on one uniform time grid, gaps kept.

Intake makes them, the procedure reads them. Nothing here knows of files.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from fptlib import points


@dataclass(frozen=True, slots=True)
class Remark:
    """Something intake did or found, in one sentence.

    ``severity`` is ``note`` (done as told), ``doubt`` (look at it) or ``unusable`` (the
    point is not used in any check).
    """

    severity: str
    text: str
    file: str = ""
    point: str = ""
    row: int | None = None


@dataclass(frozen=True, slots=True)
class AlarmText:
    """What an alarm point said and when."""

    time: pd.Timestamp
    point: str
    text: str


@dataclass(frozen=True, slots=True)
class TrendFile:
    """A trend file as received.

    ``drift`` is how its stamps run away from even steps [s/day].
    """

    name: str
    sha256: str
    rows: int
    first: pd.Timestamp
    last: pd.Timestamp
    step_minutes: float
    drift: float = 0.0


@dataclass(frozen=True)
class Trends:
    """All mapped points of a job.

    Attributes:
        frame: float64 columns named by the glossary, in the glossary's units; status and
            alarm are 0.0 or 1.0; NaN is a gap. The index is a uniform ``DatetimeIndex``
            in the site's time zone; a row stands for the stretch that begins at its time.
        step: length of one row.
        files: the files read.
        remarks: what intake did and found.
        alarms: texts of alarm points.
        sources: files and column of each point, as ``file: column [unit]``.
        intervals: how far apart each point was sampled [min], which may be more than a row;
            zero for a log of changes.
    """

    frame: pd.DataFrame
    step: pd.Timedelta
    files: tuple[TrendFile, ...] = ()
    remarks: tuple[Remark, ...] = ()
    alarms: tuple[AlarmText, ...] = ()
    sources: dict[str, str] = field(default_factory=dict)
    intervals: dict[str, float] = field(default_factory=dict)

    def has(self, *names: str) -> bool:
        """Whether every one of these points was trended and has at least one value."""
        return self._trended.issuperset(names)

    @cached_property
    def _trended(self) -> frozenset[str]:
        return frozenset(
            str(name) for name in self.frame.columns if self.frame[name].notna().any())

    def file_of(self, name: str) -> TrendFile | None:
        """The file that a point was read from; the first where further ones continue it."""
        # The further ones stand before the first, and a file's name may hold a comma itself.
        read = ", " + self.sources.get(name, "").split(": ")[0]
        found = [file for file in self.files if read.endswith(f", {file.name}")]
        return max(found, key=lambda file: len(file.name), default=None)

    def missing(self, names: Iterable[str]) -> list[str]:
        """Those of ``names`` that were not trended."""
        return [name for name in names if not self.has(name)]

    def numbers(self, pattern: str) -> list[int]:
        """Numbers of the equipment for which ``pattern`` (with ``{n}``) is trended."""
        return points.numbers([str(name) for name in self.frame.columns], pattern)

    @property
    def minutes(self) -> float:
        """Length of one row in minutes."""
        return self.step.total_seconds() / 60.0


def shown_step(values: np.ndarray, fewest: int = 4) -> float:
    """The step in which a trend shows a point, in its unit; NaN where it takes fewer than
    ``fewest`` values, which tell none.

    The smallest step between values that occur. Where they all differ it is the smallest
    difference, of no meaning beyond "finer than".
    """
    there = values[~np.isnan(values)]
    # The values as the file shows them carry conversion noise below 1e-6.
    levels = np.unique(np.round(there[:20_000], 6))
    if len(levels) < fewest:
        return float("nan")
    steps = np.diff(levels)
    return float(np.percentile(steps[steps > 1e-6], 5)) if (steps > 1e-6).any() else float("nan")
