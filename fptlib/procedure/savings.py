"""What an hour on the exchanger is worth, and what the hours of a record were.

Workbook, record, screening and comparison all state these and no others. Energy is what the plant
drew against what the other mode draws at the same load and weather (``power_models``); an hour
is lost where the enable condition held, chillers ran and nothing spoke for waiting, from the end
of the enable delay on. Without a tariff there are hours, kWh and kW, and nothing is invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.procedure import load_model, power_models
from fptlib.procedure.functional_test import FunctionalTest, cached


@dataclass(frozen=True, slots=True)
class Energy:
    """Hours, and the energy [kWh] of those of them in which it is known, with its expanded
    uncertainty; ``problem`` says why there is none."""

    hours: float
    kwh: float | None = None
    uncertainty: float | None = None
    known: float = 0.0
    problem: str = ""

    @property
    def kw(self) -> float | None:
        """Mean power behind it [kW]."""
        return None if self.kwh is None or not self.known else self.kwh / self.known

    def __str__(self) -> str:
        if self.kwh is None or self.uncertainty is None:
            return f"{self.hours:.1f} h; kWh not known: {self.problem}"
        part = "" if self.known >= 0.95 * self.hours else f" in the {self.known:.1f} h compared"
        return (f"{self.hours:.1f} h, {rounded(self.kwh, self.uncertainty)} ± "
                f"{rounded(self.uncertainty, self.uncertainty)} kWh{part}")


def rounded(value: float, uncertainty: float) -> str:
    """A number with no more places than two of its uncertainty's."""
    places = 1 - int(np.floor(np.log10(uncertainty))) if uncertainty > 0.0 else 0
    return f"{round(value, min(places, 0)):,.0f}"


def lost(test: FunctionalTest, rows: np.ndarray) -> Energy:
    """The energy of hours on chillers that the economizer could have carried: what was drawn minus
    what the exchanger draws at the same load and weather."""
    found = power_models.models(test)
    if not rows.any():
        return Energy(0.0, 0.0, 0.0)
    if found is None:
        return _unknown(test, rows)
    given = test.load[rows], test.reset_setpoint[rows], test.wet_bulb[rows]
    return _energy(test, test.power[rows] - found.on_exchanger(*given), found.exchanger_error,
                   given)


@cached
def gained(test: FunctionalTest) -> Energy:
    """The energy that the economizer brought in this record, changeovers included: what chillers
    draw at the same load and weather minus what was drawn. In a changeover the loop gives and
    takes heat, so the load there is that of the load model."""
    rows = (test.commanded == 1.0) | test.changing
    found, model = power_models.models(test), load_model.fit(test)
    if not rows.any():
        return Energy(0.0, 0.0, 0.0)
    if found is None or model is None:
        return _unknown(test, rows)
    load = np.where(test.changing, load_model.by_row(test, model), test.load)
    given = load[rows], test.reset_setpoint[rows]
    return _energy(test, found.on_chillers(*given) - test.power[rows], found.chillers_error, given)


def _unknown(test: FunctionalTest, rows: np.ndarray) -> Energy:
    why = power_models.problem(test) or "too few hours of load and weather for a load model"
    return Energy(rows.sum() * test.minutes / 60.0, problem=why)


def _energy(test: FunctionalTest, saved: np.ndarray, error: power_models.Error,
            given: tuple[np.ndarray, ...]) -> Energy:
    known = ~np.isnan(saved)
    hours, compared = (each * test.minutes / 60.0 for each in (len(saved), int(known.sum())))
    if not known.any():
        return Energy(hours, problem="the load was never near what the other mode was seen at")
    doubt = error(*(each[known] for each in given)) * compared
    return Energy(hours, float(saved[known].mean()) * compared, doubt, compared)
