"""How far two clocks are apart, from two trends of the same quantity."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from fptlib.trends import align
from fptlib.trends.grid import Notes
from fptlib.trends.mapping import PointSource
from fptlib.trends.plausibility import frozen_text, stuck, stuck_hours
from fptlib.trends.times import MINUTE, SECOND

# Ascending times [ns] and values of one quantity.
Trend = tuple[np.ndarray, np.ndarray]
_FEW = 30
# Shifts looked at, either way [ns].
_LONGEST = 180.0 * MINUTE
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


def clock_offset(first: Trend, second: Trend) -> ClockOffset | None:
    """Estimate the offset of two clocks.

    Args:
        first, second: the same quantity.

    Returns:
        The offset, to about a tenth of the coarser step, or None where the trends do not
        overlap or do not move. Between samples both are taken as straight lines, for this
        comparison only.
    """
    a, b = _present(first), _present(second)
    if len(a[0]) < _FEW or len(b[0]) < _FEW:
        return None
    step = max(float(np.median(np.diff(times))) for times, _ in (a, b)) / 4.0
    shifts = np.arange(-_LONGEST, _LONGEST + step, step)
    left = np.array([_unexplained(*_pairs(a, b, shift)) for shift in shifts])
    if np.isnan(left).all():
        return None
    at = int(np.nanargmin(left))
    shift = shifts[at] + _vertex(left, at) * step
    one, other = _pairs(a, b, shift)
    difference = float(np.median(other - one)) if len(one) else float("nan")
    return ClockOffset(float(shift) / SECOND, float(left[at]), difference)


def _present(trend: Trend) -> Trend:
    there = np.isfinite(trend[1])
    return trend[0][there], trend[1][there]


def _pairs(a: Trend, b: Trend, shift: float) -> Trend:
    """The first trend at the moments of the second, moved by ``shift``, away from gaps."""
    times, moments = a[0], b[0] - shift
    usual = 2.0 * float(np.median(np.diff(times)))
    at = np.clip(np.searchsorted(times, moments), 1, len(times) - 1)
    inside = (moments >= times[0]) & (moments <= times[-1]) & (times[at] - times[at - 1] <= usual)
    return np.interp(moments[inside], times, a[1]), b[1][inside]


def _unexplained(one: np.ndarray, other: np.ndarray) -> float:
    if len(one) < _FEW or np.std(other) == 0 or np.std(one) == 0:
        return float("nan")
    # Medians, so that dropouts decide nothing; a constant difference of the sensors neither.
    difference, *own = (float(np.median(np.abs(values - np.median(values))))
                        for values in (one - other, one, other))
    return difference / max(own) if max(own) > 0 else float("nan")


def _vertex(left: np.ndarray, at: int) -> float:
    """Where between the looked-at shifts the parabola through the best three has its foot."""
    if at in (0, len(left) - 1) or np.isnan(left[at - 1 : at + 2]).any():
        return 0.0
    low, mid, high = left[at - 1 : at + 2]
    bend = low - 2.0 * mid + high
    return float(0.5 * (low - high) / bend) if bend > 0 else 0.0


def compare(source: PointSource, first: Trend, second: Trend, zone: tzinfo, notes: Notes) -> None:
    """Say how two trends of one quantity differ.

    Args:
        source: the point, with its second trend.
        first, second: samples in the point's unit at their own times [ns of UTC].
        zone: of the times in the remarks.
        notes: what is found goes there.
    """
    other, hours = source.second.file if source.second else "", stuck_hours(source.point)
    steps, moving = [], []
    for file, trend, which in ((source.file, first, "first"), (other, second, "second")):
        times, values = _present(trend)
        step = float(np.median(np.diff(times))) if len(times) > 1 else float(MINUTE)

        def moment(row: int, times: np.ndarray = times) -> align.datetime:
            return align.moment(times[row]).astimezone(zone)

        if frozen := frozen_text(moment, values, step / MINUTE, source.point):
            notes.doubt(f"in the {which} trend {frozen}", file, source.name)
        values = values.copy()
        for begin, end in stuck(values, step / MINUTE, hours):
            values[begin:end] = np.nan
        steps.append(step)
        moving.append((times, values))
    found = clock_offset(moving[0], moving[1])
    if found is None or not found.sharp:
        notes.doubt(f"the second trend in '{other}' does not follow this one; their clocks cannot "
                    "be compared", source.file, source.name)
        return
    near = abs(found.seconds) * SECOND <= min(steps)
    (notes.note if near else notes.doubt)(
        f"the clock of '{other}' is about {found.seconds / 60.0:+.1f} min against that of "
        f"'{source.file}', and its values {found.difference:+.2g} {source.point.unit} (median); "
        "state clock_offset_s if the clocks differ", source.file, source.name)
