"""Small measures of one trended column, shared by the quality report and the doubts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from fptlib import points, units

# A measured value that does not move for so long is looked at. The weather never stands
# still for six hours; water held at its setpoint may, for less than a day.
_WEATHER_HOURS, _WATER_HOURS = 6.0, 24.0
_STUCK_ROWS = 12
_MOVING = ("degF", "%RH")


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows ``begin`` to before ``end``, ``rows`` of them with a value."""

    begin: int
    end: int
    rows: int

    @property
    def length(self) -> int:
        return self.end - self.begin


def stretches(mask: np.ndarray) -> list[Stretch]:
    """The stretches in which ``mask`` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    pairs = zip(edges[::2], edges[1::2], strict=True)
    return [Stretch(int(b), int(e), int(e - b)) for b, e in pairs]


def may_be_stuck(point: points.Point) -> bool:
    """Whether a point is of a kind that never stands still for hours."""
    return point.kind == points.MEASURED and point.unit in _MOVING


def dense(values: np.ndarray) -> tuple[np.ndarray, np.ndarray | None]:
    """The values without gaps and their rows; None for the rows where there are no gaps."""
    gap = np.isnan(values)
    if not gap.any():
        return values, None
    there = np.flatnonzero(~gap)
    return values[there], there


def at(there: np.ndarray | None, index: int) -> int:
    """The row of one of the values that ``dense`` gave."""
    return int(index if there is None else there[index])


def stuck_hours(point: points.Point) -> float:
    """How long without a change makes a point suspicious [h]."""
    return _WEATHER_HOURS if point.name.startswith(("outdoor", "space")) else _WATER_HOURS


def stuck(values: np.ndarray, minutes: float, hours: float) -> list[Stretch]:
    """Stretches longer than ``hours`` without a change of the value, whatever gaps lie inside."""
    dense_values, there = dense(values)
    # A long stretch holds two looked-at rows; where no two agree there is none.
    few = dense_values[:: _STUCK_ROWS // 2]
    if not (few[1:] == few[:-1]).any():
        return []
    begins = np.append(0, np.flatnonzero(dense_values[1:] != dense_values[:-1]) + 1)
    ends = np.append(begins[1:], len(dense_values))
    rows = ends - begins
    first, last = (begins, ends) if there is None else (there[begins], there[ends - 1] + 1)
    long = (rows >= _STUCK_ROWS) & (last - first >= hours * 60.0 / minutes)
    return [Stretch(int(first[i]), int(last[i]), int(rows[i])) for i in np.flatnonzero(long)]


def noise(values: np.ndarray) -> float:
    """Standard deviation of the fast part, from second differences (robust); NaN if short."""
    second = np.diff(values, 2)
    second = second[~np.isnan(second)]
    if len(second) < 8:
        return float("nan")
    # 1.4826 turns a median deviation into a standard deviation, sqrt 6 second differences
    # of white noise into the noise itself.
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


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
    rows_after = np.flatnonzero(np.abs(np.diff(values)) > least) + 1
    inside = rows_after[(rows_after >= rows) & (rows_after <= len(values) - rows)]
    if not len(inside):
        return inside
    windows = np.lib.stride_tricks.sliding_window_view(values, rows)
    before, after = (_middle(windows[inside - rows]), _middle(windows[inside]))
    return inside[np.abs(after - before) > 0.8 * least]


def _middle(windows: np.ndarray) -> np.ndarray:
    """The median of each window; gaps sort to its end and shift it a little."""
    ordered = np.sort(windows, axis=1)
    return np.asarray(ordered[:, (windows.shape[1] - 1) // 2])


def frozen_text(
    time: Callable[[int], datetime], values: np.ndarray, minutes: float, point: points.Point
) -> str:
    """What to say of a point that stands still; ``""`` where it does not."""
    hours = stuck_hours(point)
    found = stuck(values, minutes, hours)
    if not found:
        return ""
    longest = max(found, key=lambda s: s.length)
    between = time(longest.end - 1).astimezone(UTC) - time(longest.begin).astimezone(UTC)
    lasted = between.total_seconds() / 3600.0 + minutes / 60.0
    more = f"; {len(found)} such stretches over {hours:g} h" if len(found) > 1 else ""
    return (
        f"the value stands at {values[longest.begin]:.4g} {units.symbol(point.unit)} for "
        f"{lasted:,.0f} h on end, from {time(longest.begin):%Y-%m-%d %H:%M}"
        f"{more}: a frozen sensor or a lost connection"
    )
