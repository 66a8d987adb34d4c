"""Small measures of one trended column, shared by the quality report and the doubts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib import points

# A measured value that does not move for so long is looked at.
STUCK_HOURS = 6.0
_STUCK_ROWS = 12
_MOVING = ("degF", "%RH")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows ``begin`` to before ``end``."""

    begin: int
    end: int

    @property
    def length(self) -> int:
        return self.end - self.begin


def stretches(mask: np.ndarray) -> list[Stretch]:
    """The stretches in which ``mask`` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [Stretch(int(b), int(e)) for b, e in zip(edges[::2], edges[1::2], strict=True)]


def may_be_stuck(point: points.Point) -> bool:
    """Whether a point is of a kind that never stands still for hours."""
    return point.kind == points.MEASURED and point.unit in _MOVING


def stuck(values: np.ndarray, minutes: float, hours: float = STUCK_HOURS) -> list[Stretch]:
    """Stretches without a change of the value, longer than ``hours``; gaps end them."""
    with np.errstate(invalid="ignore"):
        same = np.append(False, np.diff(values) == 0)
    least = max(hours * 60.0 / minutes, _STUCK_ROWS)
    found = (Stretch(s.begin - 1, s.end) for s in stretches(same))
    return [s for s in found if s.length >= least]


def noise(values: np.ndarray) -> float:
    """Standard deviation of the fast part, from second differences (robust); NaN if short."""
    second = np.diff(values, 2)
    second = second[~np.isnan(second)]
    if len(second) < 8:
        return float("nan")
    # 1.4826 turns a median deviation into a standard deviation, sqrt 6 second differences
    # of white noise into the noise itself.
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


def resolution(values: np.ndarray) -> float:
    """The smallest step between the values that occur often; NaN where there is none.

    Of values that all differ it is the smallest difference, of no meaning beyond "finer than".
    """
    there = values[~np.isnan(values)]
    # The values as the file shows them carry conversion noise below 1e-6.
    levels = np.unique(np.round(there[:20_000], 6))
    if len(levels) < 3:
        return float("nan")
    steps = np.diff(levels)
    return float(np.percentile(steps[steps > 1e-6], 5)) if (steps > 1e-6).any() else float("nan")


def spikes(values: np.ndarray, least: float) -> np.ndarray:
    """Rows that stand out from both neighbours, which agree, by more than ``least``."""
    if len(values) < 3:
        return np.zeros(len(values), dtype=bool)
    before, here, after = values[:-2], values[1:-1], values[2:]
    with np.errstate(invalid="ignore"):
        out = np.minimum(np.abs(here - before), np.abs(here - after))
        found = (out > least) & (np.abs(after - before) < 0.5 * out) & (
            np.sign(here - before) == np.sign(here - after))
    return np.concatenate(([False], found, [False]))


def steps(values: np.ndarray, least: float, rows: int = 10) -> np.ndarray:
    """Rows from which the level is another by more than ``least`` and stays so."""
    jump = np.append(False, np.abs(np.diff(values)) > least)
    at = [i for i in np.flatnonzero(jump) if _stays(values, int(i), least, rows)]
    return np.array(at, dtype=np.int64)


def _stays(values: np.ndarray, at: int, least: float, rows: int) -> bool:
    before, after = values[max(at - rows, 0) : at], values[at : at + rows]
    if np.isnan(before).all() or np.isnan(after).all():
        return False
    moved = abs(float(np.nanmedian(after)) - float(np.nanmedian(before)))
    return moved > 0.8 * least


def local(index: pd.DatetimeIndex, at: int) -> str:
    """A row's time for a remark."""
    return f"{index[at]:%Y-%m-%d %H:%M}"
