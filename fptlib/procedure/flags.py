"""Conditions over rows that know what they do not know: true, false or, in a gap, unknown.

A condition is kept as two masks: ``sure``, where it is known to hold, and ``maybe``, where
nothing known speaks against it. A gap is what lies between the two. Stretches, durations and
shares come from both, so no check handles gaps by hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Stretch:
    """An unbroken stretch of rows, its first and its last one."""

    first: int
    last: int

    @property
    def rows(self) -> int:
        """How many rows it has."""
        return self.last - self.first + 1


@dataclass(frozen=True, slots=True)
class Flags:
    """A condition row by row, from row ``begin`` of the grid on; see the module."""

    sure: np.ndarray
    maybe: np.ndarray
    begin: int = 0

    @classmethod
    def above(cls, values: np.ndarray, level: float | np.ndarray) -> Flags:
        """Where values are above a level; unknown where either has a gap."""
        return cls(values > level, ~(values <= level))

    @classmethod
    def at_least(cls, values: np.ndarray, level: float | np.ndarray) -> Flags:
        """Where values reach a level; unknown where either has a gap."""
        return cls(values >= level, ~(values < level))

    @classmethod
    def on(cls, status: np.ndarray) -> Flags:
        """Where a status (1.0, 0.0, NaN) is on."""
        return cls(status == 1.0, status != 0.0)

    @classmethod
    def off(cls, status: np.ndarray) -> Flags:
        """Where a status (1.0, 0.0, NaN) is off."""
        return cls(status == 0.0, status != 1.0)

    def __and__(self, other: Flags) -> Flags:
        return Flags(self.sure & other.sure, self.maybe & other.maybe, self.begin)

    def __invert__(self) -> Flags:
        return Flags(~self.maybe, ~self.sure, self.begin)

    def __getitem__(self, rows: slice) -> Flags:
        first = min(max(rows.start, 0), len(self.sure))
        return Flags(self.sure[rows], self.maybe[rows], self.begin + first)

    @property
    def known(self) -> np.ndarray:
        """Where it is known whether the condition holds."""
        return self.sure | ~self.maybe

    def stretches(self, maybe: bool = False) -> list[Stretch]:
        """Every unbroken stretch in which it holds, or with ``maybe`` may hold, as rows of the
        grid."""
        return [Stretch(self.begin + first, self.begin + last)
                for first, last in stretches(self.maybe if maybe else self.sure)]

    def longest(self, maybe: bool = False) -> Stretch | None:
        """The longest stretch in which it holds, or may hold, the first of equals."""
        return max(self.stretches(maybe), key=lambda found: found.rows, default=None)

    def bridged(self, rows: int) -> Flags:
        """The same with breaks of at most so many rows closed: one noisy row ends nothing."""
        return Flags(_closed(self.sure, rows), _closed(self.maybe, rows), self.begin)

    def share(self) -> float:
        """Share of the known rows in which it holds [%]; NaN where none is known."""
        return 100.0 * float(self.sure[self.known].mean()) if self.known.any() else math.nan

    def share_in_gaps(self) -> float:
        """Share of all rows in which it is known to hold [%]: the least it can have been."""
        return 100.0 * float(self.sure.mean())


def _closed(flags: np.ndarray, rows: int) -> np.ndarray:
    closed = flags.copy()
    for first, last in stretches(~flags):
        if 0 < first and last < len(flags) - 1 and last - first + 1 <= rows:
            closed[first : last + 1] = True
    return closed


def stretches(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last row of each unbroken stretch of ``True``."""
    padded = np.concatenate(([False], flags, [False]))
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return list(zip(edges[::2].tolist(), (edges[1::2] - 1).tolist(), strict=True))
