"""From samples at their own times to one uniform grid, without inventing a value.

A grid row stands for the stretch that begins at its time. A sample belongs to the row in
whose stretch it was taken (one that is early by up to a twentieth of a step, five seconds at
the most, counts as on time); of several in one stretch the last stands, of an alarm any.
From there a value stands until the file's next sample, but no longer than the file's own
interval: a ten-minute file on a one-minute grid fills ten rows, and a missing line of it
leaves ten rows empty. A change-of-value log's value stands up to its longest hold instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.intake.safe import BOUNDS

SECOND = 1_000_000_000
MINUTE = 60 * SECOND
# A point whose samples follow one another this evenly is sampled, not logged on change.
EVEN_SHARE = 0.8
_ROUND = np.array([1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 300, 360, 600, 720, 900, 1200,
                   1800, 3600, 7200, 10800, 14400, 21600, 43200, 86400]) * SECOND


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


@dataclass(frozen=True, slots=True)
class Steps:
    """Time cut into stretches of ``step``; ``offset`` is the local clock minus UTC [ns].

    Stretches are counted from the epoch, so that a log can be put on the grid while it is
    still being read.
    """

    step: int
    offset: int

    def of(self, times: np.ndarray) -> np.ndarray:
        """The number of the stretch that holds each time."""
        return (times + (self.offset + early(self.step))) // self.step

    def part(self, times: np.ndarray) -> np.ndarray:
        """How far into its stretch a time lies, 1 to 255."""
        within = (times + (self.offset + early(self.step))) % self.step
        return (within * 254 // self.step + 1).astype(np.uint8)

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

    def index(self, zone: object) -> pd.DatetimeIndex:
        """The grid's times in a zone."""
        step = self.steps.step
        times = self.steps.begin(self.first) + np.arange(self.length, dtype=np.int64) * step
        utc = pd.DatetimeIndex(times.view("M8[ns]"), tz="UTC", freq=pd.Timedelta(step))
        return utc.tz_convert(zone)

    def rows(self, times: np.ndarray) -> np.ndarray:
        """The grid row of each time."""
        return self.steps.of(times) - self.first

    def rows_of(self, duration: int) -> int:
        """A duration [ns] in rows, one at the least."""
        return max(1, round(duration / self.steps.step))


def early(step: int) -> int:
    """How much a sample may be early and still be on time [ns]."""
    return min(step // 20, 5 * SECOND)


def _day(ns: int) -> str:
    return str(np.datetime64(ns, "ns").astype("datetime64[D]"))


def holding(rows: np.ndarray, length: int, kept_rows: int) -> np.ndarray | None:
    """For each grid row the sample that stands there, -1 for none; None where it is itself.

    ``rows`` ascend; a sample stands for ``kept_rows`` rows at the most.
    """
    if len(rows) == length and rows[0] == 0 and rows[-1] == length - 1:
        if np.array_equal(rows, np.arange(length)):
            return None
    source = np.full(length, -1, dtype=np.int64)
    source[rows] = np.arange(len(rows))
    if kept_rows > 1:
        at = np.where(source >= 0, np.arange(length), -1)
        np.maximum.accumulate(at, out=at)
        since = np.arange(length) - at
        source = np.where((at >= 0) & (since < kept_rows), source[at], -1)
    return source


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
