"""Feasibility on paper: is there a path from chillers to exchanger on which chillers keep lift?

The sump is cold enough for the exchanger at the reset setpoint minus its approach. There a running
chiller still needs its minimum lift: condenser water plus the range through its condenser, minus
its own leaving water, which the sequence leads down by an offset, but not below the lowest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.job.schema import TEMPORARY_SETPOINT
from fptlib.physics import refrigerant
from fptlib.procedure import approaches, uncertainty
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.lift_range import saturation_lift
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotTested
from fptlib.procedure.waters import RANGE_NOT_TRENDED, condenser_range, waters

FEASIBLE, INFEASIBLE, UNKNOWN = "feasible", "infeasible", "not known"
# A chiller's leaving water follows its setpoint late while both fall (common practice, no source).
LAGGING = 0.5
# Chilled water above the evaporating temperature, where that is not trended (common practice, no
# source).
USUAL_APPROACH = 2.0


@dataclass(frozen=True)
class Path:
    """The end of the pull-down at the lowest reset setpoint it happens at, all in degF.

    ``transition`` is the condenser water at which the exchanger carries the load, ``needed`` the
    water lift with its ``guard``, ``beside`` the condenser range of the last chiller, ``offset``
    what keeps that lift, ``lift`` what is left where the setpoint stops at the ``lowest``, and
    ``least_reset`` the lowest reset setpoint with a path.
    """

    reset: float
    transition: float
    needed: float
    guard: float
    beside: float
    lowest: float
    assumed: str = ""

    @property
    def offset(self) -> float:
        """The least offset of the temporary setpoint below condenser water."""
        return max(self.needed + self.guard - self.beside, 0.0)

    @property
    def lift(self) -> float:
        """The lift at the transition, the setpoint led down as far as it may be."""
        return self.transition + self.beside - max(self.lowest, self.transition - self.offset)

    @property
    def least_reset(self) -> float:
        """The lowest reset setpoint at which the lift is kept up to the transition."""
        return self.reset + max(self.needed + self.guard - self.lift, 0.0)

    @property
    def feasible(self) -> bool:
        """Whether the lift is kept, rounding apart."""
        return self.lift >= self.needed + self.guard - 1e-6


def path(test: FunctionalTest, reset: float, margin: float, lowest: float) -> Path | str:
    """The path at a reset setpoint [degF], the transition coming ``margin`` below it; or why it is
    not known.

    Raises:
        NotTested: the exchanger approach is neither stated nor to be seen.
    """
    needed = water_lift_needed(test, lowest)
    if isinstance(needed, str):
        return needed
    beside = condenser_range(test)[1]
    if not beside:
        return RANGE_NOT_TRENDED
    return Path(reset, reset - approaches.exchanger(test).value - margin, needed,
                lift_guard(test), beside, lowest, _assumed(test))


def lift_guard(test: FunctionalTest) -> float:
    """What a lift must have above its minimum to be kept beyond doubt [degF]: what both sensors
    are known to, and how late a chiller's water follows."""
    names = [name for n in test.chiller_numbers or [1] for name in test.water_lift_points(n)]
    worst = max(uncertainty.expanded(test, {one: 1.0, other: -1.0}) for one, other in zip(
        names[::2], names[1::2], strict=True))
    return worst + LAGGING


def water_lift_needed(test: FunctionalTest, lowest: float) -> float | str:
    """The largest minimum lift of the chillers as a water lift [degF], or why it is not known. A
    line over load is taken at the load that the open exchanger leaves to a chiller."""
    found = [_needed(test, n, lowest) for n in test.chiller_numbers]
    if unknown := [str(n) for n, needed in zip(test.chiller_numbers, found, strict=True)
                   if math.isnan(needed)]:
        return (f"the manufacturer's minimum lift of chiller {', '.join(unknown)} is not stated in "
                "the plan, or its refrigerant is not")
    return max(found, default=0.0)


def _needed(test: FunctionalTest, n: int, lowest: float) -> float:
    chiller, part = test.plant.chiller(n), 1.0
    if chiller.capacity and not test.missing("load"):
        down = test.within(request.pull_down for request in test.requests)
        tons = median(test.load[down if down.any() else test.chiller_mode])
        part = min(1.0, (1.0 - waters(test).share) * tons / chiller.capacity)

    def at(low: float, full: float | None) -> float:
        return low if full is None else low + (full - low) * part

    # One kind that is kept proves it: what is stated first counts.
    if chiller.minimum_water_lift is not None:
        return at(chiller.minimum_water_lift, chiller.water_lift_full)
    apart = _approaches(test, n)
    if chiller.minimum_saturation_lift is not None:
        return at(chiller.minimum_saturation_lift, chiller.saturation_lift_full) - apart
    if chiller.minimum_pressure_lift is None or not chiller.refrigerant:
        return math.nan
    least = at(chiller.minimum_pressure_lift, chiller.pressure_lift_full)
    evaporating = lowest - USUAL_APPROACH
    pressure = refrigerant.saturation_pressure(chiller.refrigerant, evaporating) + least
    return float(refrigerant.saturation_temperature(chiller.refrigerant, pressure)
                 ) - evaporating - apart


def _approaches(test: FunctionalTest, n: int) -> float:
    """Saturation lift minus water lift of a chiller as seen; none where its pressures are not
    trended: that asks for more lift than needed, never for less."""
    pressures = (f"chiller_{n}_condenser_pressure", f"chiller_{n}_evaporator_pressure")
    if not test.has(*pressures, *test.water_lift_points(n)):
        return 0.0
    try:
        seen = median(saturation_lift(test, n) - test.water_lift(n))
    except NotTested:
        return 0.0
    return 0.0 if math.isnan(seen) else seen


def _assumed(test: FunctionalTest) -> str:
    """What the path rests on that was not seen; empty where all of it was."""
    if not test.requests:
        return "no pull-down was seen, so the last chiller's condenser range is assumed"
    kinds = [chiller for chiller in test.plant.chillers if chiller.minimum_water_lift is None]
    if any(_approaches(test, chiller.number) == 0.0 for chiller in kinds):
        return ("the pressures are not trended, so the approaches of the chiller are not counted, "
                "which add to its lift")
    return ""


def verdict(test: FunctionalTest, found: Path | str) -> tuple[str, str]:
    """Feasible, infeasible or not known, and why in a sentence."""
    if test.sequence.lift.means != TEMPORARY_SETPOINT:
        return FEASIBLE, (f"the plan states: lift is kept by {test.sequence.lift.means}, so the "
                          "setpoint need not be led down")
    if isinstance(found, str):
        return UNKNOWN, found
    words = (f"At a reset setpoint of {found.reset:.1f} °F the exchanger carries the load from "
             f"{found.transition:.1f} °F condenser water down; the last chiller adds "
             f"{found.beside:.1f} °F. ")
    if found.feasible:
        return FEASIBLE, (words + f"An offset of {found.offset:.1f} °F keeps the minimum lift of "
                          f"{found.needed:.1f} °F with {found.guard:.1f} °F to spare; the "
                          "setpoint then goes down to "
                          f"{max(found.lowest, found.transition - found.offset):.1f} °F.")
    words += (f"With the setpoint at its lowest of {found.lowest:.1f} °F the lift is "
              f"{found.lift:.1f} °F, and the manufacturer asks for {found.needed:.1f} (with "
              f"{found.guard:.1f} to spare). ")
    if found.assumed:
        return UNKNOWN, words + f"But {found.assumed}."
    return INFEASIBLE, (words + "No offset helps: a larger one meets the floor, and with warmer "
                        "condenser water the exchanger cannot take over.")


def helps(test: FunctionalTest, found: Path) -> list[str]:
    """What would open a path, each with its number."""
    wanted = found.needed + found.guard
    usual = condenser_range(test)[0]
    full = found.transition + usual - found.lowest
    down = test.within(request.pull_down for request in test.requests)
    running = np.sum([test.running(n) == 1.0 for n in test.chiller_numbers], axis=0)
    most = int(running[down].max(initial=0))
    said = [f"Head-pressure control that holds the water leaving a running chiller's condenser at "
            f"{found.lowest + wanted:.1f} °F or more: a valve, a bypass or variable condenser "
            "pumps, within the manufacturer's least condenser flow.",
            f"A reset setpoint of {found.least_reset:.1f} °F or more while the plant changes over, "
            "where the air handlers and their humidity allow it.",
            f"A bypass at the chiller that keeps its flow and load until it stops: its condenser "
            f"range stays {usual:.1f} °F, the lift is {full:.1f} °F, which "
            f"{'is enough' if full >= wanted else 'alone is not enough'}."]
    if most > 1:
        alone = found.transition + found.beside * most - found.lowest
        said.append(f"Staging to one chiller before the pull-down, where one carries the load: up "
                    f"to {most} ran, one alone has {most} times the range, the lift is "
                    f"{alone:.1f} °F, which "
                    f"{'is enough' if alone >= wanted else 'alone is not enough'}.")
    return said
