"""The highest demand with and without the economizer: of the record, of a typical year, and what
it does to the demand charges.

The record's is measured, in intervals as the utility bills them, beside what chillers would have
drawn. The year's are hourly means: chillers' power where they run in either case, both modes where
the economizer can carry the load. In somewhat colder weather than the trends saw the load is taken
at the most that it may be. A month whose highest demand lies in other weather or load that they did
not see is not known, unless the hours that are known show that it falls on chillers in either case.
What a changeover itself draws is not in the year: ``recovery.demand`` judges it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.job.schema import MONTHS, Charge
from fptlib.physics.chiller_power import Baseline
from fptlib.procedure import chiller_baseline, power_models, reset, savings, tariff, year
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import interval_demand
from fptlib.procedure.savings import within


@dataclass(frozen=True, slots=True)
class Peaks:
    """Highest demand with the economizer and without it [kW], the latter with its expanded
    uncertainty; ``known`` is false where not all of it could be compared."""

    with_it: float
    without: float
    uncertainty: float
    known: bool

    @property
    def by_changeover(self) -> float:
        """By how much a changeover set the highest demand [kW]; zero where none clearly did."""
        more = self.with_it - self.without
        return more if self.known and more > max(self.uncertainty, 0.5) else 0.0

    def __str__(self) -> str:
        least = "" if self.known else " at least"
        without = (within(self.without, self.uncertainty) if self.uncertainty else
                   f"{self.without:,.0f}")
        why = (": it falls on chillers in either case" if abs(self.with_it - self.without) < 0.5
               else ": a changeover set it" if self.by_changeover else "")
        return f"{self.with_it:,.0f} kW with the economizer, without it{least} {without} kW{why}"


def of_record(test: FunctionalTest) -> Peaks | None:
    """The highest demand intervals of the record; ``None`` where ``savings.gained`` has no energy.

    Raises:
        NotTested: rows do not fit into the demand interval.
    """
    found = savings.saved_by_row(test)
    rows = savings.economizer_rows(test) | savings.after_changeover(test)
    if found is None or not rows.any():
        return None
    saved, interval = np.where(rows, found, 0.0), max(
        test.limits["recovery.demand_interval"], test.minutes)
    with_it, without = (interval_demand(
        power, test.minutes, interval, test.plant.demand_window,
        chiller_baseline.minutes_past_midnight(test)) for power in (
        test.demand, test.demand + saved))
    if not len(without.power):
        return None
    begins = float(without.begins[without.power.argmax()])
    modelled = rows[int(max(begins, 0.0)) : int(begins + interval / test.minutes) + 1].any()
    return Peaks(float(with_it.power.max()), float(without.power.max()),
                 one_hour(test) if modelled else 0.0, not np.isnan(saved).any())


def one_hour(test: FunctionalTest) -> float:
    """What one interval on chillers is known to by their model [kW], k = 2."""
    found = power_models.models(test)
    assert found is not None
    per_degree = float(found.chillers.fit.coefficients[3]) * float(found.chillers.seen[1, 0]) / 1e4
    return float(np.hypot(2.0 * found.chillers.fit.rmse, per_degree * found.spread))


@dataclass(frozen=True, slots=True)
class Year:
    """Power in every hour of the typical year [kW], with the economizer and without it, NaN where
    it is not known; ``economizer`` are the hours it can carry."""

    with_it: np.ndarray
    without: np.ndarray
    economizer: np.ndarray
    clock: np.ndarray

    def month(self, number: int, counted: np.ndarray) -> tuple[float, float]:
        """The highest hour of a month (0 for January) with the economizer and without it, of the
        hours that are ``counted``; twice infinity where it is not known but the same, NaN where
        it is not known, zero where no hour counts."""
        here = counted & (tariff.months_of(self.clock) == number)
        on, off = here & self.economizer, here & ~self.economizer
        both = np.array([self.with_it[on].max(initial=0.0), self.without[on].max(initial=0.0)])
        if np.isnan(both).any():
            return np.nan, np.nan
        chillers = float(np.nanmax(self.without[off], initial=0.0))
        if np.isnan(self.without[off]).any():
            return (np.inf, np.inf) if chillers >= both.max() else (np.nan, np.nan)
        with_it, without = np.maximum(both, chillers).tolist()
        return with_it, without

    def months(self, counted: np.ndarray) -> np.ndarray:
        """The same of all months, a row each."""
        return np.array([self.month(number, counted) for number in range(12)])


@cached
def power_of_year(test: FunctionalTest) -> Year | None:
    """The typical year on the reset line as found; ``None`` where there are no power models."""
    found, fitted = power_models.models(test), chiller_baseline.fit(test)
    if found is None or fitted is None:
        return None
    line, load = reset.setpoint_of_year(test), year.weather_load_at_most(test)
    air = year.weather_wet_bulb(test)
    on = year.hours(test, line).counted
    with np.errstate(invalid="ignore"):
        warm = _seen(fitted, load, air)
    chillers = np.where(on, found.on_chillers(load, line), warm)
    return Year(np.where(on, found.on_exchanger(load, line, air), chillers), chillers, on,
                year.clock(test))


def _seen(fitted: Baseline, load: np.ndarray, air: np.ndarray) -> np.ndarray:
    """Plant power on chillers [kW] at loads and wet bulbs that were seen."""
    known = ~np.isnan(load + air) & (load > 0.0)
    found = np.full(len(load), np.nan)
    found[known] = fitted.predict(load[known], air[known]) * load[known]
    return found


def of_year(profile: Year, doubt: float) -> str:
    """The highest hour of the typical year with the economizer and without it, in words."""
    peaks = profile.months(np.ones(len(profile.clock), dtype=bool))
    unknown, alike = np.isnan(peaks).any(axis=1), np.isinf(peaks).any(axis=1)
    if (alike | (peaks[:, 0] == peaks[:, 1])).all():
        return ("no lower with the economizer: the highest hour of every month falls on chillers "
                "in either case" + ("" if alike.any() else f"; {peaks.max():,.0f} kW"))
    if (unknown | alike).any():
        return ("not known: the trends did not show the load and weather of "
                f"{_months(unknown if unknown.any() else alike)}")
    return str(Peaks(float(peaks[:, 0].max()), float(peaks[:, 1].max()), doubt, True))


def _months(which: np.ndarray) -> str:
    return ", ".join(MONTHS[number] for number in np.flatnonzero(which))


def charge_saved(test: FunctionalTest, profile: Year, charge: Charge) -> str:
    """What the economizer takes off a demand charge in a typical year, in words."""
    peaks = profile.months(tariff.counts(charge, profile.clock))
    same, unknown = np.isinf(peaks).any(axis=1), np.isnan(peaks).any(axis=1)
    if charge.ratchet and not (same | (peaks[:, 0] == peaks[:, 1])).all():
        if (same | unknown).any():
            return "not known: its ratchet asks for months whose peak the trends did not show"
        twice = np.concatenate([peaks, peaks])
        number = np.arange(24) % 12
        peaks = np.column_stack([tariff.billed(charge, number, each)[12:] for each in twice.T])
    models = power_models.models(test)
    assert models is not None
    counted = ~same & ~unknown
    off = peaks[counted, 1] - peaks[counted, 0]
    doubt = np.hypot(one_hour(test), 2.0 * models.exchanger.fit.rmse) * np.count_nonzero(off)
    known = " that is known" if unknown.any() else ""
    said = (f"{within(charge.price * off.sum(), charge.price * doubt)} {test.tariff.currency} a "
            "year" if doubt else f"nothing: in every month{known} the peak falls on chillers in "
            "either case")
    return f"{said}; not known: {_months(unknown)}" if unknown.any() else said


def of_changeover(test: FunctionalTest, found: Peaks, charge: Charge) -> str:
    """What a demand charge bills for a peak that a changeover of the record set, in words; empty
    where none did."""
    if not found.by_changeover:
        return ""
    later = (f", and {charge.ratchet:g} % of the peak counts for eleven months more"
             if charge.ratchet else "")
    return (f"; but a changeover like that of this record, {found.by_changeover:,.0f} kW above the "
            f"peak without it, costs {charge.price * found.by_changeover:,.0f} "
            f"{test.tariff.currency} in a month whose peak it sets in these hours{later}")
