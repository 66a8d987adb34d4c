"""From samples at their own times to one uniform grid, without inventing a value.

A grid row stands for the stretch that begins at its time. A sample belongs to the row in
whose stretch it was taken (one that is early by up to a twentieth of a step, five seconds at
the most, counts as on time); of several in one stretch the last stands, of an alarm any.
Stamps that wander about the rows' own times would so meet in one row and leave the next one
empty: where the nearest row keeps apart what would meet, each sample belongs to that one.
From there a value stands until the file's next sample, where that follows within one and a
half of the file's own intervals, and otherwise for one interval: a ten-minute file on a
one-minute grid fills ten rows, and a missing line of it leaves ten rows empty. A
change-of-value log's value stands up to its longest hold instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.trends.safe import BOUNDS

SECOND = 1_000_000_000
MINUTE = 60 * SECOND
# A point whose samples follow one another this evenly is sampled, not logged on change.
_EVEN_SHARE = 0.8
# A step that differs from the usual one by so much of it is no missing line yet.
WANDER = 0.5
_ROUND = np.array([1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 300, 360, 600, 720, 900, 1200,
                   1800, 3600, 7200, 10800, 14400, 21600, 43200, 86400]) * SECOND


def moment(ns: int) -> datetime:
    """A time [ns of UTC] as a moment, to the microsecond."""
    return datetime.fromtimestamp(0, UTC) + duration(ns)


def duration(ns: int) -> timedelta:
    """Nanoseconds as a duration, to the microsecond."""
    return timedelta(microseconds=ns // 1000)


def hours(count: float) -> int:
    """Hours in nanoseconds."""
    return round(count * 60 * MINUTE)


def own_interval(times: np.ndarray) -> int:
    """The usual step of sorted times [ns]: the (lower) median difference, 0 for one time."""
    if len(times) < 2:
        return 0
    steps = np.diff(times)
    middle = (len(steps) - 1) // 2
    return int(np.partition(steps, middle)[middle])


def round_step(interval: int) -> int:
    """The round step that fits an interval: the nearest of 1, 2, 5, 10 s ... one day."""
    return int(_ROUND[np.argmin(np.abs(np.log(_ROUND / max(interval, SECOND))))])


def even(steps: np.ndarray, usual: float) -> bool:
    """Whether steps from sample to sample are those of a sampled point, wandering or not."""
    return bool(np.mean(np.abs(steps - usual) <= WANDER * usual) >= _EVEN_SHARE)


@dataclass(frozen=True, slots=True)
class Steps:
    """Time cut into stretches of ``step``; ``offset`` is the local clock minus UTC [ns].

    Stretches are counted from the epoch, so that a log can be put on the grid while it is
    still being read. A sample of the ``nearest`` stretch may be early by half a step.
    """

    step: int
    offset: int
    nearest: bool = False

    @property
    def early(self) -> int:
        """How much a sample may be early and still be on time [ns]."""
        return self.step // 2 if self.nearest else min(self.step // 20, 5 * SECOND)

    def of(self, times: np.ndarray) -> np.ndarray:
        """The number of the stretch that holds each time."""
        return (times + (self.offset + self.early)) // self.step

    def part(self, times: np.ndarray) -> np.ndarray:
        """How far into its stretch a time lies, 1 to 255."""
        within = (times + (self.offset + self.early)) % self.step
        return (within * 254 // self.step + 1).astype(np.uint8)

    def fitting(self, times: np.ndarray) -> Steps:
        """The nearest stretches, where sorted stamps wander about them, else these."""
        lost, nearest = self._lost(times), replace(self, nearest=True)
        # A clock that drifts through all stretches loses as much either way.
        return nearest if lost and 2 * nearest._lost(times) < lost else self

    def _lost(self, times: np.ndarray) -> int:
        return int(np.count_nonzero(np.diff(self.of(times)) == 0))

    def mark(self, time: int) -> int:
        """Where the stretch of a time begins [ns of UTC]."""
        return int(self.begin(self.of(np.array([time]))[0]))

    def begin(self, stretch: Any) -> Any:
        """Where a stretch (or each of many) begins [ns of UTC]."""
        return stretch * self.step - self.offset


@dataclass(frozen=True, slots=True)
class Grid:
    """A uniform grid: ``length`` stretches from the ``first`` on."""

    steps: Steps
    first: int
    length: int

    @classmethod
    def over(cls, first: int, last: int, steps: Steps, files: str) -> Grid:
        """The grid from the stretch of time ``first`` to that of ``last`` [ns of UTC].

        Raises:
            IntakeError: the grid would be absurdly long.
        """
        begin, end = (int(stretch) for stretch in steps.of(np.array([first, last])))
        if end - begin >= BOUNDS.grid_rows:
            days = (last - first) / 86_400 / SECOND
            raise IntakeError(
                f"{files}: the times span {days:,.0f} days, from {_day(first)} to {_day(last)}, "
                f"too many for a step of {steps.step / MINUTE:g} min; take out the file with the "
                "wrong clock, or state step_minutes under [site]"
            )
        return cls(steps, begin, end - begin + 1)

    def rows_of(self, duration: int) -> int:
        """A duration [ns] in rows, one at the least."""
        return max(1, round(duration / self.steps.step))


def _day(ns: int) -> str:
    return str(np.datetime64(ns, "ns").astype("datetime64[D]"))


def holding(rows: np.ndarray, at: np.ndarray, length: int, kept_rows: int) -> np.ndarray | None:
    """For each grid row the sample that stands there, -1 for none; None where it is itself.

    ``rows`` ascend; ``at`` is the samples' own time, counted in rows. A sample stands for
    ``kept_rows`` rows, or up to the next one where that is no more than a wandering late.
    """
    if len(rows) == length and rows[0] == 0 and rows[-1] == length - 1:
        if np.array_equal(rows, np.arange(length)):
            return None
    kept = np.full(len(rows), kept_rows)
    near = np.flatnonzero(np.diff(at) <= (1.0 + WANDER) * kept_rows)
    kept[near] = rows[near + 1] - rows[near]
    source = np.full(length, -1, dtype=np.int64)
    source[rows] = np.arange(len(rows))
    np.maximum.accumulate(source, out=source)
    since = np.arange(length) - rows[source]
    return np.where(since < kept[source], source, -1)


def fill(values: np.ndarray, kept_rows: int) -> np.ndarray:
    """A grid column in which each sample stands for ``kept_rows`` rows, until the next.

    NaN is a row without a sample; infinity a sample that says the value is not known from
    there on, which becomes NaN.
    """
    if kept_rows > 1:
        values = pd.Series(values, copy=False).ffill(limit=kept_rows - 1).to_numpy(copy=True)
    values[np.isinf(values)] = np.nan
    return values


def keep_any(rows: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Of alarm samples in one row the highest, put on every one of them."""
    out = values.copy()
    for at in np.flatnonzero((np.diff(rows) == 0) & (values[:-1] > 0)):
        out[at + 1] = np.fmax(out[at + 1], out[at])
    return out


def finest(intervals: Sequence[int]) -> int:
    """The grid's step: the finest of the files' round steps, one minute without any."""
    steps = [round_step(interval) for interval in intervals if interval]
    return min(steps, default=MINUTE)
