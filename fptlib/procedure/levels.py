"""Levels that lasted: what one noisy row shows decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case
from fptlib.procedure.durations import lasting_low


@dataclass(frozen=True, slots=True)
class Level:
    """A level that lasted longer than a short dip, how well it is known, and since when."""

    value: float
    doubt: float
    at: pd.Timestamp


def lowest_kept(case: Case, series: pd.Series) -> Level | None:
    """The level that ``series`` stayed at or below for longer than a short dip.

    One-minute rows show it. With longer rows two on end prove it, and a single one, or
    what lay between two, leaves it possible: the doubt spans both.
    """
    dip = case.limits["lift.short_dip"]
    if case.minutes <= 1.0:
        found = lasting_low(series, int(dip // case.minutes) + 1)
        return None if found is None else Level(found[0], 0.0, found[1])
    possible = lasting_low(series, 1)
    if possible is None or not uncertainty.shows_change(case, series):
        return None
    sure = lasting_low(series, int(dip // case.minutes) + 2) or (series.max(), None)
    lowest = possible[0] - uncertainty.between_rows(case, series)
    return Level((sure[0] + lowest) / 2.0, (sure[0] - lowest) / 2.0, possible[1])


def highest_kept(case: Case, series: pd.Series) -> Level | None:
    """The level that ``series`` stayed at or above for longer than a short dip."""
    found = lowest_kept(case, -series)
    return None if found is None else Level(-found.value, found.doubt, found.at)
