"""How long something lasted, and how steeply it rose, with what the row length hides.

A stretch of n rows lasted between n - 1 and n + 1 rows, so a duration's expanded
uncertainty is one row: a bound, not a spread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.procedure.known import stretches


@dataclass(frozen=True, slots=True)
class Stretch:
    """An unbroken stretch of rows: first and last row's time, and its length in minutes."""

    start: pd.Timestamp
    end: pd.Timestamp
    minutes: float


def all_stretches(
    flags: np.ndarray, times: pd.DatetimeIndex, row_minutes: float
) -> list[Stretch]:
    """Every unbroken stretch of ``True`` in rows that begin at ``times``."""
    return [
        Stretch(times[a], times[b], (b - a + 1) * row_minutes) for a, b in stretches(flags)
    ]


def longest(
    flags: np.ndarray, times: pd.DatetimeIndex, row_minutes: float
) -> Stretch | None:
    """The longest unbroken stretch of ``True``, the first of equals."""
    found = all_stretches(flags, times, row_minutes)
    return max(found, key=lambda stretch: stretch.minutes, default=None)


def minutes_between(start: pd.Timestamp, end: pd.Timestamp) -> float:
    """Minutes from ``start`` to ``end``."""
    return (end - start).total_seconds() / 60.0


def lasting_low(values: np.ndarray, rows: int) -> tuple[float, int] | None:
    """The level that ``values`` stay at or below for ``rows`` rows on end, and from which row.

    A shorter dip does not count. ``None`` where no window is complete.
    """
    if len(values) < rows:
        return None
    # A gap makes every window it lies in unknown.
    level = sliding_window_view(values, rows).max(axis=1)
    if np.isnan(level).all():
        return None
    at = int(np.nanargmin(level))
    return float(level[at]), at


@dataclass(frozen=True, slots=True)
class Rise:
    """Largest rise in a window: between ``low`` and ``high`` in truth, from row ``start`` on."""

    low: float
    high: float
    start: int

    @property
    def middle(self) -> float:
        return (self.low + self.high) / 2.0


def largest_rise(values: np.ndarray, window: float, row_minutes: float) -> Rise | None:
    """Largest rise of ``values`` within any ``window`` minutes.

    What happened between rows is not known: the true rise lies between that over the rows
    that surely fit into the window and that over all rows a window can touch.
    """
    fits = int(window // row_minutes)
    if len(values) < 2 or not np.isfinite(values).any():
        return None
    low, at = _rise_over(values, max(fits, 1))
    # A row longer than the window: at least its share of the change fell into the window.
    low = low if fits >= 1 else low * window / row_minutes
    whole = fits >= 1 and fits * row_minutes == window and row_minutes <= 1.0
    touched = math.ceil(window / row_minutes) + 1
    high = low if whole else _rise_over(values, touched)[0]
    return Rise(low, high, at)


def _rise_over(values: np.ndarray, rows: int) -> tuple[float, int]:
    rows = min(rows, len(values) - 1)
    rises = np.full((rows, len(values)), -np.inf)
    for shift in range(1, rows + 1):
        rises[shift - 1, :-shift] = values[shift:] - values[:-shift]
    best = np.nanargmax(np.where(np.isnan(rises), -np.inf, rises))
    return float(rises.flat[best]), int(best % len(values))


def reversals(values: np.ndarray, size: float) -> int:
    """How often ``values`` turn round by at least ``size``."""
    known = values[~np.isnan(values)].tolist()
    turns, direction, extreme = 0, 0, known[0] if known else math.nan
    for value in known:
        ahead = (value - extreme) * (direction or 1)
        if direction == 0:
            if abs(value - extreme) >= size:
                direction, extreme = (1 if value > extreme else -1), value
        elif ahead > 0:
            extreme = value
        elif ahead <= -size:
            turns, direction, extreme = turns + 1, -direction, value
    return turns
