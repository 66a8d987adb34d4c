"""What can be measured in numbers with gaps: levels that lasted, rises, swings, demand.

What one noisy row shows decides nothing, and what lies between rare samples stays a doubt.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time

import numpy as np

from fptlib.procedure.flags import stretches
from fptlib.procedure.verdict import NotTested

MOST_PARTS = 60
# Of a demand interval: with so much known its mean stands, with less it is a gap (common
# practice, no source).
LEAST_KNOWN = 2.0 / 3.0
SWINGS = "it swings from one sample to the next, and so rare ones do not show that it stayed there"


def median(values: np.ndarray) -> float:
    """The median of what is known; NaN where nothing is."""
    known = values[~np.isnan(values)]
    return float(np.median(known)) if len(known) else math.nan


def largest_step(values: np.ndarray) -> float:
    """The largest change from one row to the next; NaN where none is known."""
    steps = np.abs(np.diff(values))
    known = steps[~np.isnan(steps)]
    return float(known.max()) if len(known) else math.nan


def in_hours(moments: Iterable[datetime], begins: time, ends: time) -> np.ndarray:
    """Which moments lie between two times of the day; over midnight where the second is earlier."""
    return np.array([begins <= at.time() < ends if begins < ends else
                     begins <= at.time() or at.time() < ends for at in moments], dtype=bool)


def weekend(moments: np.ndarray) -> np.ndarray:
    """Which moments (datetime64) fall on a Saturday or Sunday."""
    # 1970 began on a Thursday.
    return np.asarray((moments.astype("M8[D]").astype(int) + 3) % 7 >= 5)


def between_rows(values: np.ndarray, every: float) -> float:
    """What may have happened between two samples, ``every`` [min], or after the last: the
    largest change from row to row.

    Zero at one-minute trends, which resolve these events (common practice, no source).
    """
    return largest_step(values) if every > 1.0 else 0.0


def steps_beside(values: np.ndarray, rows: int = 1) -> np.ndarray:
    """What may have happened around each row between samples so many ``rows`` apart: the largest
    of the changes beside it, two before and two after; one that a gap hides counts as the largest
    of all."""
    if len(values) <= rows:
        return np.zeros(len(values))
    steps = np.abs(values[rows:] - values[:-rows])
    known = steps[~np.isnan(steps)]
    steps[np.isnan(steps)] = known.max() if len(known) else math.nan
    return window_highest(np.pad(steps, 2 * rows), 3 * rows + 1)


def swings_through(above: np.ndarray, stretch: slice, every: float) -> bool:
    """Whether what is above zero at every sample of a ``stretch`` moves in the same run from one
    sample to the next by more than that: rare samples then do not show that it stayed there (a
    swing as long as their interval looks like none). A tenth of the steps may be larger."""
    steps, level = np.abs(np.diff(above)), above[stretch]
    return every > 1.0 and bool(np.isfinite(steps).any() and np.isfinite(level).any()) and bool(
        np.nanquantile(steps, 0.9) > np.nanmedian(level))


def shows_change(values: np.ndarray, every: float) -> bool:
    """Whether there are rows enough to tell what may have happened between them."""
    return every <= 1.0 or not math.isnan(largest_step(values))


def carried(values: np.ndarray) -> np.ndarray:
    """The values with each gap filled by the one before it; none before the first."""
    return np.asarray(values[last_known(values)])


def warmest(above: float) -> str:
    """The warmest chilled water, ``above`` the reset setpoint [degF] or below it, in words."""
    side = "above" if above >= 0.0 else "below"
    return f"chilled water at its warmest {abs(above):.1f} °F {side} the reset setpoint"


def last_known(values: np.ndarray) -> np.ndarray:
    """For each row the last one up to it that has a value; the first row where none has."""
    return np.maximum.accumulate(np.where(np.isnan(values), 0, np.arange(len(values))))


def straightened(values: np.ndarray) -> np.ndarray:
    """The values with a straight line over each gap between two of them."""
    known = ~np.isnan(values)
    if not known.any():
        return values
    rows = np.arange(len(values))
    return np.interp(rows, rows[known], values[known], left=np.nan, right=np.nan)


@dataclass(frozen=True, slots=True)
class Level:
    """A level that lasted longer than a short dip, its ``uncertainty``, and from which row on.

    ``worst_in_gaps`` is what it may have been had the gaps held the worst.
    """

    value: float
    uncertainty: float
    row: int
    worst_in_gaps: float


def lowest_kept(values: np.ndarray, dip: float, minutes: float, every: float,
                unknown: np.ndarray | None = None, course: np.ndarray | None = None,
                hidden: float = 0.0) -> Level | None:
    """The level that ``values`` stayed at or below for longer than a ``dip`` [min].

    Rows of ``minutes``, sampled ``every`` so many. Samples a minute apart show it. Of rarer
    ones two on end prove it, or one to which its ``course`` leads, where heat is stored and so
    it cannot jump (see ``line_to``); a single one, or what lay between two, by ``hidden`` more,
    leaves it possible: the uncertainty spans both. ``unknown`` tells the rows that a gap hides
    where others are missing by right; else every missing row is a gap.
    """
    unknown = np.isnan(values) if unknown is None else unknown
    if every <= 1.0:
        longer = int(dip // minutes) + 1
        found = lasting_low(values, longer)
        # Gaps of a row each may together hide as much as a long one.
        worst = lasting_low(np.where(unknown, -math.inf, values), longer)
        return None if found is None or worst is None else Level(
            found[0], 0.0, found[1], worst[0])
    gap = max((last - first + 1 for first, last in stretches(unknown)), default=0)
    possible = lasting_low(values, 1)
    if possible is None or not shows_change(values, every):
        return None
    apart = max(1, round(every / minutes))
    # A sample stands in so many rows: one row more holds the next one too.
    sure = lasting_low(values, (int(dip // every) + 1) * apart + 1)
    highest = sure[0] if sure else float(np.nanmax(values))
    if course is not None and dip < every:
        highest = float(np.nanmin([highest, line_to(values, course, apart, dip / every)]))
    lowest = float(np.nanmin(values - steps_beside(values, apart))) - hidden
    middle = (highest + lowest) / 2.0
    return Level(middle, (highest - lowest) / 2.0, possible[1],
                 -math.inf if gap * minutes > dip else middle)


def line_to(values: np.ndarray, course: np.ndarray, apart: int, share: float) -> float:
    """The level at or below which the values lay for a ``share`` of the interval before or after
    any sample, NaN where none shows it: those so many rows ``apart`` on a line to it in their
    ``course``. By as much as the line bends there a jump may have come as late as it likes."""
    level = math.nan
    for way in (1, -1):
        at, before = values[::way], course[::way]
        last, near, far = at[2 * apart:], before[apart:-apart], before[: -2 * apart]
        known = ~np.isnan(at[apart:-apart])
        kept = last + np.maximum(near - last, 0.0) * share + np.abs(last - 2.0 * near + far)
        level = float(np.fmin.reduce(kept[known], initial=level))
    return level


def highest_kept(values: np.ndarray, dip: float, minutes: float, every: float,
                 unknown: np.ndarray | None = None, course: np.ndarray | None = None,
                 hidden: float = 0.0) -> Level | None:
    """The level that ``values`` stayed at or above for longer than a ``dip`` [min]."""
    found = lowest_kept(-values, dip, minutes, every, unknown,
                        None if course is None else -course, hidden)
    return None if found is None else Level(-found.value, found.uncertainty, found.row,
                                            -found.worst_in_gaps)


def lasting_low(values: np.ndarray, rows: int) -> tuple[float, int] | None:
    """The level that ``values`` stay at or below for ``rows`` rows on end, and from which row.

    A shorter dip does not count. ``None`` where no window is complete.
    """
    if len(values) < rows:
        return None
    level = window_highest(values, rows)
    level = np.where(np.isnan(level), np.inf, level)
    at = int(level.argmin())
    return (float(level[at]), at) if level[at] < np.inf else None


def window_highest(values: np.ndarray, rows: int) -> np.ndarray:
    """The highest value of each window of so many ``rows``; a gap makes it unknown."""
    highest, length = values, 1
    while 2 * length <= rows:
        highest, length = np.maximum(highest[:-length], highest[length:]), 2 * length
    # Two windows of the last length, one at either end, cover the whole one.
    rest = rows - length
    return np.maximum(highest[: len(highest) - rest], highest[rest:])


def crossed(values: np.ndarray, row: int, apart: int, noise: float) -> tuple[float, float]:
    """Between which parts of the interval from the sample in ``row`` to the next, so many rows
    ``apart``, the values passed zero: where the straight line does, give or take their ``noise``
    and what a parabola departs from it, an eighth of the bend beside it; any where they have a
    gap."""
    at = row + apart * np.arange(-1, 3)
    if at[0] < 0 or at[-1] >= len(values) or np.isnan(values[at]).any():
        return 0.0, 1.0
    before, after = values[at[1:3]].tolist()
    doubt = noise + float(np.abs(np.diff(values[at], 2)).max()) / 8.0
    least, most = sorted(min(max((side - before) / (after - before), 0.0), 1.0)
                         for side in (-doubt, doubt))
    return least, most


@dataclass(frozen=True, slots=True)
class Rise:
    """Largest rise in a window: between ``low`` and ``high`` in truth, from row ``start`` on."""

    low: float
    high: float
    start: int

    @property
    def middle(self) -> float:
        """Halfway between the two."""
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
    # A row longer than the window: of the windows that cover it one held its share at the least.
    low = low if fits >= 1 else low / math.ceil(row_minutes / window)
    whole = fits >= 1 and fits * row_minutes == window and row_minutes <= 1.0
    touched = math.ceil(window / row_minutes) + 1
    high = low if whole else _rise_over(values, touched)[0]
    return Rise(low, high, at)


def _rise_over(values: np.ndarray, rows: int) -> tuple[float, int]:
    rows = min(rows, len(values) - 1)
    rises = np.full((rows, len(values)), -np.inf)
    for shift in range(1, rows + 1):
        rises[shift - 1, :-shift] = values[shift:] - values[:-shift]
    rises[np.isnan(rises)] = -np.inf
    best = rises.argmax()
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


@dataclass(frozen=True, slots=True)
class Starts:
    """The ``most`` starts in any period, the ``row`` that it ends in, and the ``worst`` that gaps
    may hide."""

    most: int
    row: int
    worst: int


def rows_for(starts: float, period: float) -> float:
    """The longest rows [min] that can show more than so many ``starts`` in a ``period`` [min]: each
    needs a row on and a row off."""
    return period / (2.0 * (math.floor(starts) + 1))


def busiest(status: np.ndarray, period: int, unrecorded: np.ndarray | None = None) -> Starts:
    """Starts in the busiest ``period`` of so many rows of a status (1.0, 0.0, NaN); gaps that are
    ``unrecorded`` hide nothing."""
    started = np.flatnonzero(np.diff(status, prepend=np.nan) == 1.0)
    gaps = np.isnan(status)
    hidden = np.array(stretches(gaps if unrecorded is None else gaps & ~unrecorded),
                      dtype=int).reshape(-1, 2)
    rows = np.concatenate([started, hidden[:, 1]])
    # A gap may hide a start in every two rows.
    counts = np.concatenate([np.ones_like(started), (hidden[:, 1] - hidden[:, 0] + 2) // 2])
    order = rows.argsort(kind="stable")
    seen = _within(started, np.ones_like(started), period)
    most = int(seen.argmax()) if len(seen) else 0
    return Starts(int(seen.max(initial=0)), int(started[most]) if len(seen) else 0,
                  int(_within(rows[order], counts[order], period).max(initial=0)))


def _within(rows: np.ndarray, counts: np.ndarray, period: int) -> np.ndarray:
    """How many of the ``counts`` lie in the ``period`` of rows that ends with each of ``rows``."""
    total = np.concatenate([[0], counts.cumsum()])
    return total[1:] - total[rows.searchsorted(rows - period, side="right")]


@dataclass(frozen=True, slots=True)
class Demand:
    """Mean power over each demand interval [kW] and the row, or part of one, it begins in."""

    begins: np.ndarray
    power: np.ndarray

    def where(self, counted: np.ndarray) -> Demand:
        """Those intervals alone that count."""
        return Demand(self.begins[counted], self.power[counted])

    def between(self, first: float, last: float) -> slice:
        """The intervals that begin after the row ``first``, and not after the row ``last``."""
        return slice(int(self.begins.searchsorted(first, side="right")),
                     int(self.begins.searchsorted(last, side="right")))


def interval_demand(power: np.ndarray, row_minutes: float, interval: float, window: str,
                    past_midnight: float) -> Demand:
    """Mean power over each demand interval.

    A row that lies in two intervals counts in each for its share. Of an interval with a short
    gap the rest counts; one with more than a third unknown is left out.

    Args:
        power: [kW] in rows of ``row_minutes``.
        row_minutes: length of a row [min].
        interval: length of the demand interval [min].
        window: ``clock`` for blocks aligned to the clock, ``sliding`` for every row.
        past_midnight: when the first row begins [min].

    Raises:
        NotTested: rows and interval have no common measure worth the name.
    """
    # In thousandths of a second, for these are whole numbers.
    row, whole = round(row_minutes * 60_000.0), round(interval * 60_000.0)
    part = math.gcd(row, whole)
    parts = row // part
    if parts > MOST_PARTS:
        raise NotTested(f"rows of {row_minutes:g} min do not fit into a demand interval of "
                        f"{interval:g} min")
    power = np.repeat(power, parts)
    length, least = whole // part, math.ceil(LEAST_KNOWN * (whole // part))
    if window == "sliding":
        sums, counts = (np.convolve(each, np.ones(length), "valid") for each in (
            np.nan_to_num(power), (~np.isnan(power)).astype(float)))
        begins = np.arange(len(sums))
    else:
        before = round(past_midnight * 60_000.0) // part % length
        padded = np.concatenate([np.full(before, np.nan), power])
        padded = np.append(padded, np.full(-len(padded) % length, np.nan)).reshape(-1, length)
        sums, counts = np.nansum(padded, axis=1), (~np.isnan(padded)).sum(axis=1)
        begins = np.arange(len(sums)) * length - before
    known = counts >= least
    return Demand(begins[known] / parts, sums[known] / counts[known])
