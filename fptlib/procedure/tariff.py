"""What energy and demand cost by the lines of the job's rate sheet (``job.schema.Charge``).

Lines that count at the same time add up, as on a bill. Where no line prices a moment nothing is
invented: its price is not known.
"""

from __future__ import annotations

import numpy as np

from fptlib.job.schema import ENERGY, MONTHS, Charge, Tariff
from fptlib.procedure.measures import weekend

# A ratchet looks back so many months.
LOOKS_BACK = 11


def season(first: str, last: str) -> np.ndarray:
    """Which of the twelve months lie from one to another; over the new year where the second comes
    earlier."""
    start, end = MONTHS.index(first), MONTHS.index(last)
    months = np.arange(12)
    inside = (months >= start, months <= end)
    return inside[0] & inside[1] if start <= end else inside[0] | inside[1]


def months_of(moments: np.ndarray) -> np.ndarray:
    """The month of each moment, 0 for January."""
    return np.asarray(moments.astype("M8[M]").astype(int) % 12)


def counts(charge: Charge, moments: np.ndarray) -> np.ndarray:
    """Whether a line counts at moments (datetime64, the site's own time)."""
    here = season(charge.first_month, charge.last_month)[months_of(moments)]
    if charge.days != "every day":
        here &= weekend(moments) == (charge.days == "weekends")
    if charge.hours_from is not None and charge.hours_to is not None:
        minute = (moments - moments.astype("M8[D]")).astype("m8[m]").astype(int)
        begins, ends = (at.hour * 60 + at.minute for at in (charge.hours_from, charge.hours_to))
        after, before = minute >= begins, minute < ends
        here &= after & before if begins < ends else after | before
    return np.asarray(here)


def lines(tariff: Tariff, kind: str) -> list[Charge]:
    """The lines for energy, or for demand; none without a currency to state them in."""
    return [each for each in tariff.charges if each.kind == kind] if tariff.currency else []


def energy_prices(tariff: Tariff, moments: np.ndarray) -> np.ndarray:
    """The price of a kWh at moments (datetime64, the site's own time), in the tariff's currency;
    NaN where no line counts."""
    total, priced = np.zeros(len(moments)), np.zeros(len(moments), dtype=bool)
    for charge in lines(tariff, ENERGY):
        here = counts(charge, moments)
        total += charge.price * here
        priced |= here
    return np.where(priced, total, np.nan)


def billed(charge: Charge, months: np.ndarray, peaks: np.ndarray) -> np.ndarray:
    """The demand that a line bills in each of consecutive months [kW]: the month's own peak, or
    the ratchet's share of the highest peak of the eleven months before that fell in its season.

    Args:
        charge: the line.
        months: the month of each, 0 for January.
        peaks: the highest demand interval of each that the line counts [kW].

    Months before the first are not known and raise nothing. Source of the rule: PNNL, FEDS, "What
    is a demand ratchet?".
    """
    share = (charge.ratchet or 0.0) / 100.0
    floors = np.where(season(charge.ratchet_first, charge.ratchet_last)[months], peaks, 0.0) * share
    return np.array([max(peak, floors[max(n - LOOKS_BACK, 0) : n].max(initial=0.0))
                     for n, peak in enumerate(peaks)])
