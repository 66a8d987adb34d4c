"""What can be said of numbers with gaps, from those that are known."""

from __future__ import annotations

import math

import numpy as np


def median(values: np.ndarray) -> float:
    """The median of what is known; NaN where nothing is."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else math.nan


def share(good: np.ndarray, known: np.ndarray) -> float:
    """Share of the rows ``known`` in which ``good`` is true, in per cent; NaN without any."""
    return 100.0 * float(good[known].mean()) if known.any() else float("nan")


def largest_step(values: np.ndarray) -> float:
    """The largest change from one row to the next; NaN where none is known."""
    steps = np.abs(np.diff(values))
    known = steps[~np.isnan(steps)]
    return float(known.max()) if len(known) else math.nan


def stretches(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and last row of each unbroken stretch of ``True``."""
    padded = np.concatenate(([False], flags, [False]))
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def carried(values: np.ndarray) -> np.ndarray:
    """The values with each gap filled by the one before it; none before the first."""
    known = ~np.isnan(values)
    last = np.maximum.accumulate(np.where(known, np.arange(len(values)), 0))
    return np.asarray(values[last])


def straightened(values: np.ndarray) -> np.ndarray:
    """The values with a straight line over each gap between two of them."""
    known = ~np.isnan(values)
    if not known.any():
        return values
    rows = np.arange(len(values))
    return np.interp(rows, rows[known], values[known], left=np.nan, right=np.nan)
