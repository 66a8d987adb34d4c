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
