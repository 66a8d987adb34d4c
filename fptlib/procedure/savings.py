"""What an hour on the exchanger is worth, and what the hours of a record were.

Workbook, record, screening and comparison all state these and no others. Energy is what the plant
drew against what the other mode draws at the same load and weather (``power_models``); an hour
is lost where the enable condition held, chillers ran and nothing spoke for waiting, from the end
of the enable delay on. Money is that of the job's rate sheet at the hours of the energy; without a
tariff there are hours, kWh and kW, and nothing is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fptlib.job.schema import ENERGY
from fptlib.procedure import load_model, power_models, tariff, uncertainty
from fptlib.procedure.functional_test import FunctionalTest, cached

# A changeover is felt for so long after it [min] (common practice, no source).
AFTER = 60.0


@dataclass(frozen=True, slots=True)
class Energy:
    """Hours, and the energy [kWh] of those of them in which it is known, with its expanded
    uncertainty; ``problem`` says why there is none. ``cost`` is its money in ``currency``,
    ``price`` the mean price of a kWh at those hours; both ``None`` where there is no tariff, or
    none for all of the hours, as ``no_cost`` says."""

    hours: float
    kwh: float | None = None
    uncertainty: float | None = None
    known: float = 0.0
    problem: str = ""
    cost: float | None = None
    price: float | None = None
    currency: str = ""
    no_cost: str = ""

    @property
    def kw(self) -> float | None:
        """Mean power behind it [kW]."""
        return None if self.kwh is None or not self.known else self.kwh / self.known

    def __str__(self) -> str:
        if not self.hours:
            return "0 h"
        hours, known = (f"{each:,.{0 if each >= 100.0 else 1}f} h" for each in (
            self.hours, self.known))
        if self.kwh is None or self.uncertainty is None:
            return f"{hours}; kWh not known: {self.problem}"
        part = "" if self.known >= 0.95 * self.hours else f" in the {known} compared"
        return f"{hours}, {self.amount}{part}"

    @property
    def amount(self) -> str:
        """The energy, and its money where a tariff is stated; empty where it is not known."""
        if self.kwh is None or self.uncertainty is None:
            return ""
        return f"{within(self.kwh, self.uncertainty)} kWh" + (f", {self.money}" if self.money else
                                                             "")

    @property
    def money(self) -> str:
        """The money, or why it is not known; empty without a tariff."""
        if self.cost is None or self.price is None or self.uncertainty is None:
            return f"money not known: {self.no_cost}" if self.no_cost else ""
        return f"{within(self.cost, self.price * self.uncertainty)} {self.currency}"


def rounded(value: float, uncertainty: float) -> str:
    """A number with no more places than two of its uncertainty's."""
    places = 1 - int(np.floor(np.log10(uncertainty))) if uncertainty > 0.0 else 0
    return f"{round(value, min(places, 0)):,.0f}"


def within(value: float, uncertainty: float) -> str:
    """A number with its uncertainty."""
    return f"{rounded(value, uncertainty)} ± {rounded(uncertainty, uncertainty)}"


def lost(test: FunctionalTest, rows: np.ndarray, reset: np.ndarray | None = None) -> Energy:
    """The energy of hours on chillers that the economizer could have carried: what was drawn minus
    what the exchanger draws at the same load and weather; at another ``reset`` setpoint [degF]
    where one is given."""
    found = power_models.models(test)
    if not rows.any():
        return Energy(0.0, 0.0, 0.0)
    if found is None:
        return _unknown(test, rows)
    setpoint = test.reset_setpoint if reset is None else reset
    given = test.load[rows], setpoint[rows], test.wet_bulb[rows]
    return _energy(test, rows, test.power[rows] - found.on_exchanger(*given),
                   found.exchanger_error, given)


def apart(test: FunctionalTest, rows: np.ndarray, on_chillers: np.ndarray,
          on_exchanger: np.ndarray) -> Energy:
    """What the exchanger draws less than chillers in these rows, whatever the plant did in them,
    each at its own reset setpoint [degF]."""
    found = power_models.models(test)
    if not rows.any():
        return Energy(0.0, 0.0, 0.0)
    if found is None:
        return _unknown(test, rows)
    load, one, other, air = (each[rows] for each in (
        test.load, on_chillers, on_exchanger, test.wet_bulb))

    def error(load: np.ndarray, one: np.ndarray, other: np.ndarray, air: np.ndarray) -> float:
        return float(np.hypot(found.chillers_error(load, one),
                              found.exchanger_error(load, other, air)))

    return _energy(test, rows, found.on_chillers(load, one) - found.on_exchanger(load, other, air),
                   error, (load, one, other, air))


@cached
def gained(test: FunctionalTest) -> Energy:
    """The energy that the economizer brought in this record, changeovers included."""
    return brought(test, economizer_rows(test))


def brought(test: FunctionalTest, rows: np.ndarray) -> Energy:
    """The energy that the economizer brought in these of the rows that ``saved_by_row`` counts."""
    saved, load = saved_by_row(test), _economizer_load(test)
    if not rows.any():
        return Energy(0.0, 0.0, 0.0)
    found = power_models.models(test)
    if found is None or saved is None or load is None:
        return _unknown(test, rows)
    return _energy(test, rows, saved[rows], found.chillers_error,
                   (load[rows], test.reset_setpoint[rows]))


def economizer_rows(test: FunctionalTest) -> np.ndarray:
    """The rows on the exchanger, and those of changeovers."""
    return np.asarray((test.commanded == 1.0) | test.changing)


def after_changeover(test: FunctionalTest) -> np.ndarray:
    """The hour after each, in which chillers still take the heat that the loop has kept."""
    return test.within(test.window(each.last + 1, each.last + 1 + AFTER / test.minutes)
                       for each in test.changeovers if each.complete)


@cached
def _economizer_load(test: FunctionalTest) -> np.ndarray | None:
    """The load; in a changeover and after it, where the loop gives and takes heat, that of the
    load model."""
    model = load_model.fit(test)
    return None if model is None else np.where(
        test.changing | after_changeover(test), load_model.by_row(test, model), test.load)


@cached
def saved_by_row(test: FunctionalTest) -> np.ndarray | None:
    """What chillers draw at the same load and weather minus what was drawn [kW]; it counts in the
    ``economizer_rows`` and ``after_changeover``. ``None`` where models or load are not known."""
    found, load = power_models.models(test), _economizer_load(test)
    return None if found is None or load is None else (
        found.on_chillers(load, test.reset_setpoint) - test.power)


def _unknown(test: FunctionalTest, rows: np.ndarray) -> Energy:
    why = power_models.problem(test) or "too few hours of load and weather for a load model"
    return Energy(rows.sum() * test.minutes / 60.0, problem=why)


def _energy(test: FunctionalTest, rows: np.ndarray, saved: np.ndarray, error: power_models.Error,
            given: tuple[np.ndarray, ...]) -> Energy:
    known = ~np.isnan(saved)
    if not known.any():
        return Energy(len(saved) * test.minutes / 60.0,
                      problem="the load was never near what the other mode was seen at")
    return valued(test, len(saved), saved[known], error(*(each[known] for each in given)),
                  load_model.local_times(test)[rows][known], test.minutes / 60.0)


def valued(test: FunctionalTest, count: int, saved: np.ndarray, doubt: float, when: np.ndarray,
           hours: float) -> Energy:
    """The energy and money of ``count`` rows of so many hours each: ``saved`` [kW] in those of them
    in which it is known, what their mean is known to by the models [kW], and ``when`` each begins
    (datetime64, the site's own time). An error of the power meter is in both modes alike and
    scales what is saved."""
    known, mean = len(saved) * hours, float(saved.mean())
    meter = uncertainty.COVERAGE * uncertainty.standard(test, "plant_power", mean)
    found = Energy(count * hours, mean * known, float(np.hypot(doubt, meter)) * known, known)
    if not tariff.lines(test.tariff, ENERGY):
        return found
    prices = tariff.energy_prices(test.tariff, when)
    if np.isnan(prices).any():
        return replace(found, no_cost="no line of the rate sheet prices energy at "
                       + tariff.spoken(when[np.isnan(prices)][0]))
    return replace(found, cost=float(saved @ prices) * hours, price=float(prices.mean()),
                   currency=test.tariff.currency)
