"""How the plant runs, whatever its economizer does: facts without a verdict.

For a plant that trends no changeover these are all a job can say: approach, lift, load,
kW/ton, as they were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.procedure.functional_test import FunctionalTest


@dataclass(frozen=True, slots=True)
class Fact:
    """A quantity over the record: 5th percentile, median, 95th, and the hours it is known for."""

    name: str
    unit: str
    low: float
    median: float
    high: float
    hours: float


def overview(test: FunctionalTest) -> list[Fact]:
    """Every fact the trends allow."""
    found = []
    if not test.missing("wet_bulb", "cw_supply_temp", "chillers"):
        approach = np.where(test.chillers_on == 1.0, test["cw_supply_temp"] - test.wet_bulb, np.nan)
        found.append(_fact(test, "tower approach while a chiller runs", "degF", approach))
    for n in test.chiller_numbers:
        if test.has(*test.water_lift_points(n)) and test.is_known(n):
            found.append(_fact(test, f"water lift of chiller {n}", "degF", test.water_lift(n)))
    if not test.missing("load"):
        found.append(_fact(test, "load", "tons", test.load))
    if not test.missing("load", "power"):
        found.append(_fact(test, "plant kW/ton", "kW/ton", test.kw_per_ton))
    return [fact for fact in found if fact is not None]


def _fact(test: FunctionalTest, name: str, unit: str, values: np.ndarray) -> Fact | None:
    known = values[~np.isnan(values)]
    if not len(known):
        return None
    low, middle, high = (float(each) for each in np.quantile(known, [0.05, 0.5, 0.95]))
    return Fact(name, unit, low, middle, high, len(known) * test.minutes / 60.0)
