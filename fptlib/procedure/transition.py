"""Step 9: kW/ton before and after: did the plant change over too soon, or leave too late?

What the exchanger drew is compared with what chillers would have drawn at the same load and
wet bulb. Where that is not known, before is compared with after, at like load. Both are shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fptlib.physics.water import BTU_PER_TON_HOUR
from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Exit, Run
from fptlib.procedure.chiller_baseline import FEWEST_MINUTES, AgainstChillers, against_chillers
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median

WINDOW = 60.0
SETTLING = 30.0
LIKE_LOAD = 0.25


@dataclass(frozen=True, slots=True)
class Comparison:
    """Plant kW/ton and load [tons] before and after a moment, the expanded uncertainty of the
    change, or why there is none."""

    before: float
    after: float
    load_before: float
    load_after: float
    uncertainty: float
    problem: str = ""

    @property
    def change(self) -> float:
        """After minus before [kW/ton]."""
        return self.after - self.before

    def __str__(self) -> str:
        return self.problem or (f"{self.before:.2f} kW/ton at {self.load_before:.0f} tons before, "
                                f"{self.after:.2f} at {self.load_after:.0f} after")


@check("transition.entering", unit="kW/ton", each="run", capacity=True,
       needs=("request", "chillers", "load", "power"), limits=("transition.entering",),
       advise=lambda test, failed: (
           f"kW/ton rose by up to {max(event.measured or 0.0 for event in failed):.2f}."))
def entering(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """kW/ton on the exchanger minus that of chillers, or after minus before."""
    if run.enabled is None:
        return
    found = against_chillers(test, entry_hours(test, run)[1])
    limit = test.limits["transition.entering"]
    yield from _judge(test, run.number, run.first, found, compare_entry(test, run), 1.0, limit)


@check("transition.leaving", unit="kW/ton", each="exit", capacity=True,
       needs=("request", "chillers", "load", "power"), limits=("transition.leaving",),
       advise=lambda test, failed: (
           f"kW/ton fell by up to {-min(event.measured or 0.0 for event in failed):.2f} when "
           "chillers took over."))
def leaving(test: FunctionalTest, left: Exit) -> Iterator[Finding]:
    """kW/ton of chillers minus that on the exchanger, or after minus before."""
    found = against_chillers(test, exit_hours(test, left)[0])
    limit = test.limits["transition.leaving"]
    yield from _judge(test, left.number, left.row, found, compare_exit(test, left), -1.0, limit)


def compare_entry(test: FunctionalTest, run: Run) -> Comparison:
    """The hour before the enable against the hour after recovery and settling."""
    return _compare(test, *entry_hours(test, run), chillers=0.0)


def compare_exit(test: FunctionalTest, left: Exit) -> Comparison:
    """The hour before the exit against the hour after it and settling."""
    return _compare(test, *exit_hours(test, left), chillers=1.0)


def entry_hours(test: FunctionalTest, run: Run) -> tuple[slice, slice]:
    """The hour before the enable and the one that follows recovery and settling."""
    assert run.enabled is not None
    back = test.recovered(run)
    return _hours(test, run.enabled, run.first if back is None else back)


def exit_hours(test: FunctionalTest, left: Exit) -> tuple[slice, slice]:
    """The hour before the exit and the one that follows it and settling."""
    return _hours(test, left.row, left.row)


def _hours(test: FunctionalTest, end: int, start: int) -> tuple[slice, slice]:
    hour, settled = WINDOW / test.minutes, start + SETTLING / test.minutes
    return test.window(end - hour, end), test.window(settled, settled + hour)


def _compare(test: FunctionalTest, before: slice, after: slice, chillers: float) -> Comparison:
    """Compare two windows; of the second count the rows with ``chillers`` on (1) or off (0)."""
    rows = [span.start + np.flatnonzero(~np.isnan(test.kw_per_ton[span] + test.load[span]))
            for span in (before, after)]
    rows[1] = rows[1][test.chillers_on[rows[1]] == chillers]
    if min(map(len, rows)) * test.minutes < FEWEST_MINUTES:
        return Comparison(0, 0, 0, 0, 0, "less than half an hour on either side can be used")
    first, second = (float(test.kw_per_ton[each].mean()) for each in rows)
    load_first, load_second = (float(test.load[each].mean()) for each in rows)
    unlike = abs(load_first - load_second) > LIKE_LOAD * max(load_first, load_second)
    return Comparison(
        first, second, load_first, load_second,
        _uncertainty(test, [first, second], [load_first, load_second]),
        f"the load changed from {load_first:.0f} to {load_second:.0f} tons" if unlike else "")


def _uncertainty(test: FunctionalTest, ratios: list[float], loads: list[float]) -> float:
    """Expanded uncertainty of the change.

    The same meters are on both sides, so their relative error scales the change alone;
    the temperature sensors' error weighs by the two loads.
    """
    temperature = _load_uncertainty(test) * abs(ratios[1] / loads[1] - ratios[0] / loads[0])
    relative = 2.0 * math.hypot(*(uncertainty.standard(test, name, 1.0)
                                  for name in ("chw_flow", "plant_power")))
    return math.hypot(temperature, relative * (ratios[1] - ratios[0]))


@cached
def _load_uncertainty(test: FunctionalTest) -> float:
    """Expanded uncertainty of the load [tons] from the temperature sensors, at the usual flow."""
    sensors = {"chw_return_temp": 1.0, "chw_supply_temp": -1.0}
    return uncertainty.expanded(test, sensors) * median(test["chw_flow"]) * (
        test.plant.btu_per_gpm("chw") / BTU_PER_TON_HOUR)


def _judge(test: FunctionalTest, number: int, row: int, found: AgainstChillers, seen: Comparison,
           sign: float, limit: float) -> Iterator[Finding]:
    """The comparison with chillers; without one it says why, and before and after are judged.

    ``sign`` is 1 where the change must be at most the limit (entering), -1 where it must be at
    least minus the limit (leaving).
    """
    at_most, at_least = (limit, None) if sign > 0.0 else (None, -limit)
    if found.problem:
        yield not_judged(number, row, found.problem, subject="against chillers")
        if seen.problem:
            yield not_judged(number, row, seen.problem, subject="before and after")
        else:
            yield Finding(number, row, str(seen), subject="before and after",
                          measured=seen.change, at_most=at_most, at_least=at_least,
                          uncertainty=seen.uncertainty)
        return
    meters = _uncertainty(test, [found.expected, found.drawn], [found.load, found.load])
    yield Finding(
        number, row,
        f"{found.drawn:.2f} kW/ton on the exchanger at {found.load:.0f} tons and "
        f"{found.wet_bulb:z.0f} °F wet bulb, where chillers would draw {found.expected:.2f}; "
        f"as measured: {seen}",
        subject="against chillers", measured=sign * (found.drawn - found.expected),
        at_most=at_most, at_least=at_least,
        uncertainty=math.hypot(meters, found.uncertainty),
        quantities={"on the exchanger, kW/ton": found.drawn,
                    "chillers there, kW/ton": found.expected, "load, tons": found.load,
                    "wet bulb, °F": found.wet_bulb})


CHECKS = (entering, leaving)
