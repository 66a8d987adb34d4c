"""Step 9: kW/ton before and after: went the plant over too soon, or left too late?

What the exchanger drew is compared with what chillers would have drawn at the same load and
wet bulb. Where that is not known, before is compared with after, at like load. Both are shown.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import at_least, at_most, check, unjudged
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.normalised import FEWEST_MINUTES, Normalised, against_chillers
from fptlib.procedure.verdict import Check, Event

WINDOW = pd.Timedelta(minutes=60)
SETTLING = pd.Timedelta(minutes=30)
LIKE_LOAD = 0.25


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
    "On the way in: does kW/ton after the recovery not exceed that of chillers at the same load "
    "and wet bulb, or else that before the request at like load?",
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
    runs=True,
)
def entering(case: Case) -> list[Event]:
    return [event for c in case.requests if c.handover is not None for event in _judge(
        case, c.name, c.handover, against_chillers(case, _entry(case, c)[1]),
        compare_entry(case, c), at_most, case.limits["transition.entering"])]


@check(
    "transition.leaving",
    "On the way out: is kW/ton of chillers at the same load and wet bulb, or else that after the "
    "exit at like load, not below that before the exit?",
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
    runs=True,
)
def leaving(case: Case) -> list[Event]:
    return [event for c in case.exits if c.handover is not None for event in _judge(
        case, c.name, c.exit, against_chillers(case, _leaving(case, c)[0]),
        compare_exit(case, c), at_least, -case.limits["transition.leaving"])]


def compare_entry(case: Case, changeover: Changeover) -> Comparison:
    """The hour before the request against the hour after recovery and settling."""
    return _compare(case, *_entry(case, changeover), chillers=0.0)


def compare_exit(case: Case, changeover: Changeover) -> Comparison:
    """The hour before the exit against the hour after it and settling."""
    return _compare(case, *_leaving(case, changeover), chillers=1.0)


def _entry(case: Case, changeover: Changeover) -> tuple[slice, slice]:
    return _hours(case, changeover.request, case.recovered(changeover) or changeover.handover)


def _leaving(case: Case, changeover: Changeover) -> tuple[slice, slice]:
    return _hours(case, changeover.exit, changeover.exit)


def _hours(case: Case, end: pd.Timestamp, start: pd.Timestamp) -> tuple[slice, slice]:
    """The hour before ``end``, and the hour that follows ``start`` and settling."""
    step, settled = case.trends.step, start + SETTLING
    return slice(end - WINDOW, end - step), slice(settled, settled + WINDOW - step)


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


def _judge(case: Case, name: str, at: pd.Timestamp, found: Normalised, seen: Comparison,
           direction: Callable[..., Event], limit: float) -> list[Event]:
    """The comparison with chillers; without one it says why, and before and after are judged."""
    label = f"{name}, against chillers"
    if found.problem:
        return [unjudged(label, at, found.problem),
                _like_load(case, f"{name}, before and after", at, seen, direction, limit)]
    change = found.drawn - found.expected
    meters = _doubt(case, (found.expected, found.drawn), (found.load, found.load))
    return [direction(
        case, label, at, None, change if direction is at_most else -change, limit,
        math.hypot(meters, found.doubt),
        f"{found.drawn:.2f} kW/ton on the exchanger at {found.load:.0f} tons and "
        f"{found.wet_bulb:z.0f} °F wet bulb, where chillers would draw {found.expected:.2f}; "
        f"as measured: {_as_measured(seen)}")]


def _like_load(case: Case, name: str, at: pd.Timestamp, seen: Comparison,
               direction: Callable[..., Event], limit: float) -> Event:
    if seen.problem:
        return unjudged(name, at, seen.problem)
    return direction(case, name, at, None, seen.change, limit, seen.doubt, _as_measured(seen))


def _as_measured(seen: Comparison) -> str:
    return seen.problem or (f"{seen.before:.2f} kW/ton at {seen.load_before:.0f} tons before, "
                            f"{seen.after:.2f} at {seen.load_after:.0f} after")


CHECKS = (entering, leaving)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
