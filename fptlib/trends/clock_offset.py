"""How far two clocks are apart, from two trends of the same quantity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

_FEW = 30
# The best shift must explain the difference so much better than no agreement at all.
_SHARP = 0.5


@dataclass(frozen=True, slots=True)
class ClockOffset:
    """The second trend's clock minus the first's.

    Attributes:
        seconds: positive where the second file's clock is ahead (an event has a later stamp).
        left: share of the second trend's movement that the shift leaves unexplained, 0 to 1.
        difference: median of second minus first after the shift, in the trend's unit.
    """

    seconds: float
    left: float
    difference: float

    @property
    def sharp(self) -> bool:
        """Whether the trends agree well enough to believe the shift."""
        return self.left < _SHARP


def clock_offset(
    first: pd.Series, second: pd.Series, longest_minutes: float = 180.0
) -> ClockOffset | None:
    """Estimate the offset of two clocks.

    Args:
        first, second: the same quantity with time indexes (both zoned or both not).
        longest_minutes: shifts looked at, either way.

    Returns:
        The offset, to about a tenth of the coarser step, or None where the trends do not
        overlap or do not move. Between samples both are taken as straight lines, for this
        comparison only.
    """
    a, b = first.dropna(), second.dropna()
    if len(a) < _FEW or len(b) < _FEW:
        return None
    step = max(_step(a), _step(b)) / 4.0
    shifts = np.arange(-longest_minutes * 60.0, longest_minutes * 60.0 + step, step)
    left = np.array([_unexplained(a, b, shift) for shift in shifts])
    if np.isnan(left).all():
        return None
    at = int(np.nanargmin(left))
    seconds = shifts[at] + _vertex(left, at) * step
    return ClockOffset(float(seconds), float(left[at]), _difference(a, b, seconds))


def _step(series: pd.Series) -> float:
    return float(np.median(np.diff(_seconds(series))))


def _seconds(series: pd.Series) -> np.ndarray:
    return np.asarray(pd.DatetimeIndex(series.index).as_unit("ns").asi8 / 1e9)


def _pairs(a: pd.Series, b: pd.Series, shift: float) -> tuple[np.ndarray, np.ndarray]:
    """The first trend at the moments of the second, moved by ``shift``, away from gaps."""
    ta, tb = _seconds(a), _seconds(b) - shift
    usual = 2.0 * float(np.median(np.diff(ta)))
    at = np.clip(np.searchsorted(ta, tb), 1, len(ta) - 1)
    inside = (tb >= ta[0]) & (tb <= ta[-1]) & (ta[at] - ta[at - 1] <= usual)
    return np.interp(tb[inside], ta, a.to_numpy()), b.to_numpy()[inside]


def _unexplained(a: pd.Series, b: pd.Series, shift: float) -> float:
    one, other = _pairs(a, b, shift)
    if len(one) < _FEW or np.std(other) == 0 or np.std(one) == 0:
        return float("nan")
    # Medians, so that dropouts decide nothing; a constant difference of the sensors neither.
    usual = max(_spread(one), _spread(other))
    return _spread(one - other) / usual if usual > 0 else float("nan")


def _spread(values: np.ndarray) -> float:
    return float(np.median(np.abs(values - np.median(values))))


def _difference(a: pd.Series, b: pd.Series, shift: float) -> float:
    one, other = _pairs(a, b, shift)
    return float(np.median(other - one)) if len(one) else float("nan")


def _vertex(left: np.ndarray, at: int) -> float:
    """Where between the looked-at shifts the parabola through the best three has its foot."""
    if at in (0, len(left) - 1) or np.isnan(left[at - 1 : at + 2]).any():
        return 0.0
    low, mid, high = left[at - 1 : at + 2]
    bend = low - 2.0 * mid + high
    return float(0.5 * (low - high) / bend) if bend > 0 else 0.0
