"""Step 9: kW/ton before and after: went the plant over too soon, or left too late?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import at_least, at_most, check, unjudged
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.verdict import Check, Event

WINDOW = pd.Timedelta(minutes=60)
SETTLING = pd.Timedelta(minutes=30)
LIKE_LOAD = 0.25
FEWEST_MINUTES = 30.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """Plant kW/ton and load [tons] before and after a moment, or why there is none."""

    before: float
    after: float
    load_before: float
    load_after: float
    doubt: float
    problem: str = ""

    @property
    def change(self) -> float:
        return self.after - self.before


@check(
    "transition.entering",
    "On the way in: does kW/ton not go up from before the request to after the recovery, at "
    "like load?",
    unit="kW/ton",
    needs=("request", "chillers", "load", "power"),
    limits=("transition.entering",),
    good="Going over paid from the start.",
    bad="The plant went over too soon: it drew more on the exchanger than on chillers.",
    adjust="Likely too little tolerance in the enable condition, then towers that make colder "
    "water than needed: enable later.",
    advise=lambda case, failed: (
        f"kW/ton rose by up to {max(event.measured for event in failed):.2f}."),
    capacity=True,
)
def entering(case: Case) -> list[Event]:
    return [_judge(case, c.name, c.handover, compare_entry(case, c), at_most,
                   case.limits["transition.entering"])
            for c in case.requests if c.handover is not None]


@check(
    "transition.leaving",
    "On the way out: does kW/ton not go down from before the exit to after it, at like load?",
    unit="kW/ton",
    needs=("request", "chillers", "load", "power"),
    limits=("transition.leaving",),
    good="The plant stayed only while it paid.",
    bad="The plant stayed too long: it drew less as soon as chillers carried it.",
    adjust="Likely an exit on supply temperature alone (see exit.comparative): leave earlier.",
    advise=lambda case, failed: (
        f"kW/ton fell by up to {-min(event.measured for event in failed):.2f} when chillers "
        "took over."),
    capacity=True,
)
def leaving(case: Case) -> list[Event]:
    return [_judge(case, c.name, c.exit, compare_exit(case, c), at_least,
                   -case.limits["transition.leaving"])
            for c in case.exits if c.handover is not None]


def compare_entry(case: Case, changeover: Changeover) -> Comparison:
    """The hour before the request against the hour after recovery and settling."""
    start = case.recovered(changeover) or changeover.handover
    step = case.trends.step
    before = slice(changeover.request - WINDOW, changeover.request - step)
    after = slice(start + SETTLING, start + SETTLING + WINDOW - step)
    return _compare(case, before, after, chillers=0.0)


def compare_exit(case: Case, changeover: Changeover) -> Comparison:
    """The hour before the exit against the hour after it and settling."""
    step = case.trends.step
    before = slice(changeover.exit - WINDOW, changeover.exit - step)
    start = changeover.exit + SETTLING
    after = slice(start, start + WINDOW - step)
    return _compare(case, before, after, chillers=1.0)


def _compare(case: Case, before: slice, after: slice, chillers: float) -> Comparison:
    """Compare two windows; of the second count the rows with ``chillers`` on (1) or off (0)."""
    first, second = _known(case, before, None), _known(case, after, chillers)
    if min(len(first), len(second)) * case.minutes < FEWEST_MINUTES:
        return Comparison(0, 0, 0, 0, 0, "less than half an hour on either side can be used")
    means, loads = zip(first.mean(axis=0).tolist(), second.mean(axis=0).tolist(), strict=True)
    doubt = _doubt(case, means, loads)
    unlike = abs(loads[0] - loads[1]) > LIKE_LOAD * max(loads)
    return Comparison(*means, *loads, doubt,
                      f"the load changed from {loads[0]:.0f} to {loads[1]:.0f} tons"
                      if unlike else "")


def _known(case: Case, rows: slice, chillers: float | None) -> np.ndarray:
    """kW/ton and load in the rows of a window in which both are known, one row each."""
    table = np.column_stack([case.values(each, rows) for each in (case.kw_per_ton, case.load)])
    known = ~np.isnan(table[:, 0])
    if chillers is not None:
        known &= case.values(case.chillers_on, rows) == chillers
    return table[known]


def _doubt(case: Case, ratios: tuple[float, float], loads: tuple[float, float]) -> float:
    """Expanded uncertainty of the change.

    The same meters stand on both sides, so their relative error scales the change alone;
    the temperature sensors' error weighs by the two loads.
    """
    temperature = _load_uncertainty(case) * abs(ratios[1] / loads[1] - ratios[0] / loads[0])
    relative = 2.0 * sum(uncertainty.standard(case, name, 1.0) ** 2
                         for name in ("chw_flow", "plant_power")) ** 0.5
    return float((temperature**2 + (relative * (ratios[1] - ratios[0])) ** 2) ** 0.5)


@once
def _load_uncertainty(case: Case) -> float:
    """Expanded uncertainty of the load [tons] from the temperature sensors, at the usual flow."""
    flow = float(case.frame["chw_flow"].median())
    sensors = {"chw_return_temp": 1.0, "chw_supply_temp": -1.0}
    return uncertainty.expanded(case, sensors) * flow / 24.0


def _judge(case: Case, name: str, at: pd.Timestamp, found: Comparison,
           direction: Callable[..., Event], limit: float) -> Event:
    if found.problem:
        return unjudged(name, at, found.problem)
    return direction(case, name, at, None, found.change, limit, found.doubt,
                     f"{found.before:.2f} kW/ton at {found.load_before:.0f} tons before, "
                     f"{found.after:.2f} at {found.load_after:.0f} after")


CHECKS = (entering, leaving)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
