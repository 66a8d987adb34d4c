"""Levels that lasted: what one noisy row shows decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
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


def lowest_kept(case: Case, values: np.ndarray, rows: slice) -> Level | None:
    """The level that ``values``, those of ``rows``, stayed at or below for longer than a short
    dip.

    One-minute rows show it. With longer rows two on end prove it, and a single one, or
    what lay between two, leaves it possible: the doubt spans both.
    """
    dip = case.limits["lift.short_dip"]
    if case.minutes <= 1.0:
        found = lasting_low(values, int(dip // case.minutes) + 1)
        return None if found is None else Level(found[0], 0.0, case.times(rows)[found[1]])
    possible = lasting_low(values, 1)
    if possible is None or not uncertainty.shows_change(case, values):
        return None
    sure = lasting_low(values, int(dip // case.minutes) + 2)
    highest = sure[0] if sure else float(np.nanmax(values))
    lowest = possible[0] - uncertainty.between_rows(case, values)
    return Level((highest + lowest) / 2.0, (highest - lowest) / 2.0,
                 case.times(rows)[possible[1]])


def highest_kept(case: Case, values: np.ndarray, rows: slice) -> Level | None:
    """The level that ``values`` stayed at or above for longer than a short dip."""
    found = lowest_kept(case, -values, rows)
    return None if found is None else Level(-found.value, found.doubt, found.at)
