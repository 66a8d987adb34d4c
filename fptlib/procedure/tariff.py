"""What energy and demand cost by the lines of the job's rate sheet (``job.schema.Charge``).

An hour has one price of energy, to which riders are added; demand charges that count at the same
time add up, as on a bill. Where no line prices a moment its price is not known.
"""

from __future__ import annotations

import numpy as np

from fptlib.errors import JobError
from fptlib.job.schema import ENERGY, MONTHS, RIDER, Charge, Tariff
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
    """The price of a kWh at moments (datetime64, the site's own time), riders included, in the
    tariff's currency; NaN where no line of energy counts."""
    total = np.full(len(moments), np.nan)
    for charge in lines(tariff, ENERGY):
        total[counts(charge, moments)] = charge.price
    for charge in lines(tariff, RIDER):
        total += charge.price * counts(charge, moments)
    return total


def with_one_price(tariff: Tariff) -> Tariff:
    """The tariff itself, whose every hour has one line of energy at the most: a second one is a
    mistake that the money would hide.

    Raises:
        JobError: two lines of energy count at the same time.
    """
    months = np.datetime64("2001-01", "M") + np.arange(12)
    week = months.astype("M8[m]")[:, None] + np.arange(7 * 1440)
    priced = [(each, counts(each, week.ravel())) for each in lines(tariff, ENERGY)]
    for at, (charge, here) in enumerate(priced):
        for other, there in priced[:at]:
            if (here & there).any():
                raise JobError(
                    f"job.toml, tariff.charges: the lines '{other.name}' and '{charge.name}' both "
                    f"price energy at {spoken(week.ravel()[here & there][0])}; state months, days "
                    "or hours so that one line counts at a time, and what is added to another "
                    f"line's price as a charge for '{RIDER}'")
    return tariff


def spoken(moment: np.datetime64) -> str:
    """A moment of a rate sheet, for people."""
    return f"{moment.astype('M8[s]').item():%H:%M on a %A in %B}"


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
