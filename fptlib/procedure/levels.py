"""Levels that lasted: what one noisy row shows decides nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case
from fptlib.procedure.durations import lasting_low
from fptlib.procedure.known import stretches


@dataclass(frozen=True, slots=True)
class Level:
    """A level that lasted longer than a short dip, how well it is known, and since when.

    ``hidden`` is what it may have been had the gaps held the worst.
    """

    value: float
    doubt: float
    at: pd.Timestamp
    hidden: float


def lowest_kept(case: Case, values: np.ndarray, rows: slice, every: float,
                unknown: np.ndarray | None = None) -> Level | None:
    """The level that ``values``, those of ``rows``, stayed at or below for longer than a short
    dip.

    Samples ``every`` minute show it. Of rarer ones two on end prove it, and a single one, or
    what lay between two, leaves it possible: the doubt spans both. ``unknown`` tells the rows
    that a gap hides where others are missing by right; else every missing row is a gap.
    """
    dip = case.limits["lift.short_dip"]
    unknown = np.isnan(values) if unknown is None else unknown
    if every <= 1.0:
        longer = int(dip // case.minutes) + 1
        found = lasting_low(values, longer)
        # Gaps of a row each may together hide as much as a long one.
        worst = lasting_low(np.where(unknown, -math.inf, values), longer)
        return None if found is None or worst is None else Level(
            found[0], 0.0, case.times(rows)[found[1]], worst[0])
    gaps = stretches(unknown)
    gap = max((last - first + 1 for first, last in gaps), default=0) * case.minutes > dip
    possible = lasting_low(values, 1)
    if possible is None or not uncertainty.shows_change(values, every):
        return None
    # A sample stands in so many rows: one row more holds the next one too.
    sure = lasting_low(values, (int(dip // every) + 1) * case.rows(every) + 1)
    highest = sure[0] if sure else float(np.nanmax(values))
    lowest = possible[0] - uncertainty.between_rows(values, every)
    middle = (highest + lowest) / 2.0
    return Level(middle, (highest - lowest) / 2.0, case.times(rows)[possible[1]],
                 -math.inf if gap else middle)


def highest_kept(case: Case, values: np.ndarray, rows: slice, every: float,
                 unknown: np.ndarray | None = None) -> Level | None:
    """The level that ``values`` stayed at or above for longer than a short dip."""
    found = lowest_kept(case, -values, rows, every, unknown)
    return None if found is None else Level(-found.value, found.doubt, found.at, -found.hidden)
