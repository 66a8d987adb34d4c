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

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from fptlib.errors import IntakeError
from fptlib.trends import safe
from fptlib.trends.times import DAY, MINUTE, SECOND

# A point whose samples follow one another this evenly is sampled, not logged on change.
_EVEN_SHARE = 0.8
# A step that differs from the usual one by so much of it is no missing line yet.
WANDER = 0.5
_ROUND = SECOND * np.array([1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 240, 300, 360, 600, 720, 900,
                            1200, 1800, 3600, 7200, 10800, 14400, 21600, 43200, 86400])


def moment(ns: int) -> datetime:
    """A time [ns of UTC] as a moment, to the microsecond."""
    return datetime.fromtimestamp(0, UTC) + duration(ns)


def duration(ns: int) -> timedelta:
    """Nanoseconds as a duration, to the microsecond."""
    return timedelta(microseconds=int(ns) // 1000)


def usual_step(times: np.ndarray) -> int:
    """The (lower) median step of ascending times [ns], 0 for one time."""
    steps = np.diff(times)
    if not len(steps) or steps.min() == steps.max():
        return int(steps.max(initial=0))
    middle = (len(steps) - 1) // 2
    return int(np.partition(steps, middle)[middle])


def round_step(interval: int) -> int:
    """The round step that fits an interval: the nearest of 1, 2, 5, 10 s ... one day."""
    return int(_ROUND[np.argmin(np.abs(np.log(_ROUND / max(interval, SECOND))))])


def stretches(mask: np.ndarray) -> list[tuple[int, int]]:
    """First row of each stretch in which ``mask`` is true, and the row after its last."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def even(steps: np.ndarray, usual: float) -> bool:
    """Whether steps from sample to sample are those of a sampled point, wandering or not."""
    return bool(np.mean(np.abs(steps - usual) <= WANDER * usual) >= _EVEN_SHARE)


@dataclass(frozen=True, slots=True)
class Steps:
    """Time cut into stretches of ``step``; ``offset`` is the local clock minus UTC [ns].

    Stretches are counted from the epoch, so that a log can be cut while it is still being
    read. A sample of the ``nearest`` stretch may be early by half a step.
    """

    step: int
    offset: int
    nearest: bool = False

    def of(self, times: np.ndarray) -> np.ndarray:
        """The number of the stretch that holds each time."""
        early = self.step // 2 if self.nearest else min(self.step // 20, 5 * SECOND)
        return (times + (self.offset + early)) // self.step

    def fitting(self, times: np.ndarray) -> Steps:
        """The nearest stretches, where ascending stamps wander about them, else these."""
        def lost(steps: Steps) -> int:
            return int(np.count_nonzero(np.diff(steps.of(times)) == 0))

        nearest = replace(self, nearest=True)
        # A clock that drifts through all stretches loses as much either way.
        return nearest if (here := lost(self)) and 2 * lost(nearest) < here else self

    def begin(self, stretch: int) -> int:
        """Where a stretch begins [ns of UTC]."""
        return stretch * self.step - self.offset

    def rows(self, lasts: float) -> int:
        """A duration [ns] in stretches, one at the least."""
        return max(1, round(lasts / self.step))

    def span(self, first: int, last: int, files: str) -> int:
        """How many stretches lie from one to another, both included.

        Raises:
            IntakeError: absurdly many.
        """
        if last - first < safe.ROWS:
            return last - first + 1
        begin, end = (np.datetime64(self.begin(at), "ns").astype("M8[D]") for at in (first, last))
        raise IntakeError(
            f"{files}: the times span {(last - first) * self.step / DAY:,.0f} days, from {begin} "
            f"to {end}, too many for a step of {self.step / MINUTE:g} min; take out the file with "
            "the wrong clock, or state step_minutes under [site]")


def standing(rows: np.ndarray, at: np.ndarray, length: int, kept: int, slack: float = WANDER
             ) -> np.ndarray | None:
    """For each grid row the sample that stands there, -1 for none; None where it is itself.

    Args:
        rows: the samples' rows, ascending.
        at: the samples' own times, counted in rows.
        length: of the grid.
        kept: how many rows a sample stands; up to the next one where that is later by no more
            than ``slack`` of it.
    """
    if len(rows) == length and np.array_equal(rows, np.arange(length)):
        return None
    until_next = np.diff(rows, append=length)
    stands = np.minimum(until_next, kept)
    near = np.flatnonzero(np.diff(at) <= (1.0 + slack) * kept)
    stands[near] = until_next[near]
    # Each sample in its rows, then none up to the next one.
    samples = np.column_stack([np.arange(len(rows)), np.full(len(rows), -1)])
    counts = np.column_stack([stands, until_next - stands])
    return np.concatenate([np.full(rows[0], -1), np.repeat(samples.ravel(), counts.ravel())])


def placed(values: np.ndarray, source: np.ndarray | None) -> np.ndarray:
    """Values on the grid; an infinite one says that it is not known from there on."""
    if source is not None:
        values = np.where(source >= 0, values[source], np.nan)
    if np.isinf(values).any():
        values = np.where(np.isinf(values), np.nan, values)
    return values


def keep_any(rows: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Of alarm samples in one row the highest, put on every one of them; ``rows`` ascend."""
    begins = np.flatnonzero(np.diff(rows, prepend=rows[0] - 1))
    known = np.where(np.isinf(values), np.nan, values)
    highest = np.repeat(np.fmax.reduceat(known, begins), np.diff(np.append(begins, len(rows))))
    return np.where(np.isnan(highest), values, highest)
