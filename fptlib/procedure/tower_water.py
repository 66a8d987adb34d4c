"""What the towers evaporate in economizer mode, and the make-up water that this takes.

A heat balance of the towers' air, which leaves saturated (``physics.tower.evaporation``): cold
air takes a good part of the heat without water, so the rule of summer says too much. How much air
the fans move is not trended: the ratio of water to air is taken between two bounds, which make
most of the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib import points
from fptlib.physics import tower
from fptlib.physics.sump import LB_PER_GALLON
from fptlib.procedure import uncertainty
from fptlib.procedure.approach_curves import tower_curve
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import median
from fptlib.procedure.savings import within

# Water over air from all cells at full fans to few at slow ones (common practice, no source).
WATER_TO_AIR = (0.6, 2.0)
NEEDS = ("outdoor_dry_bulb", "wet_bulb", "load", "request", "chillers")
KW_PER_TON = 3.5168528


@dataclass(frozen=True, slots=True)
class Evaporated:
    """Water evaporated in so many hours on the exchanger [gal], with its expanded uncertainty;
    ``more`` is the share by which it would be more on chillers, ``None`` where their own power is
    not trended."""

    hours: float
    gallons: float
    uncertainty: float
    more: float | None = None


def problem(test: FunctionalTest) -> str:
    """Why the towers' water is not known; empty where it is."""
    if missing := test.missing(*NEEDS):
        return "not trended: " + ", ".join(points.point(name).meaning for name in missing)
    return "" if tower_curve(test) else "the trends show no steady range of the towers"


def evaporated(test: FunctionalTest, load: np.ndarray, dry_bulb: np.ndarray, air: np.ndarray,
               hours: float) -> Evaporated | None:
    """The water of rows on the exchanger of so many ``hours`` each, at their load [tons], dry bulb
    and wet bulb [degF]; rows that are not known do not count. ``None`` where ``problem`` says
    why, or nothing is known."""
    curve, known = tower_curve(test), ~np.isnan(load + dry_bulb + air) & (load > 0.0)
    if problem(test) or curve is None or not known.any():
        return None
    tons, pressure = load[known], median(np.atleast_1d(test.pressure))
    ranges = np.maximum(np.broadcast_to(curve.range_at(tons), tons.shape), 0.5)
    ends = [float(tons @ tower.evaporation(dry_bulb[known], air[known], ranges, ratio, pressure))
            for ratio in WATER_TO_AIR]
    gallons = sum(ends) / 2.0 * hours / LB_PER_GALLON
    apart = abs(ends[0] - ends[1]) / sum(ends)
    return Evaporated(len(tons) * hours, gallons, gallons * float(np.hypot(
        apart, uncertainty.of_load(test, ~np.isnan(test.load)))), _more_on_chillers(test))


def _more_on_chillers(test: FunctionalTest) -> float | None:
    """The heat that chillers add to what they carry, as a share of it."""
    names = [f"chiller_{n}_power" for n in test.chiller_numbers]
    rows = test.chiller_mode & ~test.changing & (test.load > 0.0)
    if not names or not test.has(*names) or not rows.any():
        return None
    own = np.sum([test[name][rows] for name in names], axis=0)
    return float(np.nansum(own) / np.nansum(test.load[rows])) / KW_PER_TON


def make_up(evaporation: float, cycles: float) -> tuple[float, float]:
    """Make-up water at so many cycles of concentration, and what of it leaves as blowdown and
    drift, in the unit of the evaporation. Drift carries solids away as blowdown does, so the cycles
    hold the sum of both: more drift asks for less blowdown and for the same make-up (GEMI, Water
    Sustainability Planner)."""
    return evaporation * cycles / (cycles - 1.0), evaporation / (cycles - 1.0)


def stated(test: FunctionalTest, found: Evaporated) -> str:
    """The water for people: evaporation, make-up by the cycles that are stated, and its price."""
    tariff = test.tariff
    said = f"{within(found.gallons, found.uncertainty)} gal evaporated in {found.hours:,.0f} h"
    if tariff.cycles is None:
        return f"{said}; make-up not known: no cycles of concentration are stated"
    (gallons, away), (doubt, each) = (make_up(each, tariff.cycles) for each in (
        found.gallons, found.uncertainty))
    said += (f"; make-up at {tariff.cycles:g} cycles {within(gallons, doubt)} gal, of it blowdown "
             f"and drift {within(away, each)} gal")
    if tariff.water_price is not None and tariff.currency:
        each = tariff.water_price / 1000.0
        said += f", {within(gallons * each, doubt * each)} {tariff.currency}"
    return said
