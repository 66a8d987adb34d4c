"""Step 4: do the chillers stay inside what the manufacturer allows while the plant changes over?

Beside the lift: their own leaving water and evaporating temperature, how long the pull-down takes,
what head-pressure control holds at their condensers, entering condenser water, and flows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from fptlib import points
from fptlib.job.schema import HEAD_PRESSURE
from fptlib.physics import refrigerant
from fptlib.physics.moist_air import FREEZING
from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Changeover, Request
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.lift_range import settled_off
from fptlib.procedure.measures import lowest_kept
from fptlib.procedure.verdict import NotApplicable, NotTested

# What is watched before a transition whose enable was not seen, and after a chiller has started
# on cold condenser water (common practice, no source).
HOUR = 60.0
SIDES = {"chw": "evaporator", "cw": "condenser"}


@check("lift.evaporator", unit="degF", all_or_none=True,
       needs=("request", "chillers", "chiller_{n}_chw_leaving_temp", "evaporator_pressures"),
       limits=("lift.above_cutout", "lift.above_evaporating", "lift.setpoint_band",
               "lift.short_dip"))
def evaporator(test: FunctionalTest) -> Iterator[Finding]:
    """Each running chiller's own leaving water, and its evaporating temperature where the pressure
    is trended, the lowest that lasted: in the pull-down and in the hour after an exit, against
    the cutout plus a distance."""
    if lacks := [str(n) for n in test.chiller_numbers if test.plant.chiller(n).cutout is None]:
        raise NotTested(f"the low-temperature cutout of chiller {', '.join(lacks)} is not stated "
                        "in the plan")
    for changeover in test.changeovers:
        for part, rows in cold_rows(test, changeover):
            for n in test.chiller_numbers:
                yield from _coldest(test, changeover.number, part, rows, n)


def cold_rows(test: FunctionalTest, changeover: Changeover) -> Iterator[tuple[str, slice]]:
    """Where a changeover has chillers on cold water: the pull-down and the hour after the exit."""
    hour = HOUR / test.minutes
    ends = (changeover.transition, changeover.abandoned, changeover.last + 1)
    end = next(row for row in ends if row is not None)
    # A status that comes with the transition shows no enable.
    begin = end - hour if changeover.enabled is None else min(changeover.enabled, end - hour)
    yield "", test.window(begin, end)
    if changeover.exit_row is not None:
        yield ", after the exit", test.window(changeover.exit_row, changeover.exit_row + hour)


def _coldest(test: FunctionalTest, number: int, part: str, rows: slice, n: int
             ) -> Iterator[Finding]:
    """The coldest leaving water and evaporating temperature of a chiller in some rows."""
    chiller, point = test.plant.chiller(n), f"chiller_{n}_chw_leaving_temp"
    assert chiller.cutout is not None
    doubt = uncertainty.expanded(test, {point: 1.0})
    off = test.running(n) == 0.0
    yield from _lowest(test, number, rows, f"chiller {n} leaving water{part}", test[point], off,
                       point, chiller.cutout + test.limits["lift.above_cutout"], doubt,
                       # Water that is held at its floor swings about it: no coin toss.
                       test.limits["lift.setpoint_band"])
    pressure = f"chiller_{n}_evaporator_pressure"
    if not test.has(pressure) or not chiller.refrigerant:
        return
    temperature, apart = evaporating(test, n), uncertainty.standard(test, pressure)
    # Saturation is steepest where the pressure is low: the doubt is taken at the lowest.
    running = test[pressure][rows][test.running(n)[rows] == 1.0]
    if np.isnan(running).all():
        return
    estimated = refrigerant.ESTIMATED.get(chiller.refrigerant, 0.0)
    apart += float(np.nanmin(running)) * estimated / uncertainty.COVERAGE
    low, high = refrigerant.saturation_temperature(
        chiller.refrigerant, np.nanmin(running) + np.array([-apart, apart]), dew=True)
    cutout = chiller.evaporating_cutout
    above = test.limits["lift.above_evaporating"]
    least = (test.plant.above_freezing(FREEZING + above, "chw") if cutout is None
             else cutout + above)
    for found in _lowest(test, number, rows, f"chiller {n} evaporating temperature{part}",
                         temperature, off, pressure, least,
                         uncertainty.COVERAGE * float(high - low) / 2.0):
        yield found.saying(uncertainty.as_estimated(chiller.refrigerant))


@cached
def evaporating(test: FunctionalTest, n: int) -> np.ndarray:
    """Saturated evaporating temperature of chiller ``n`` [degF], from its pressure."""
    return np.asarray(refrigerant.saturation_temperature(
        test.plant.chiller(n).refrigerant, test[f"chiller_{n}_evaporator_pressure"], dew=True))


def _lowest(test: FunctionalTest, number: int, rows: slice, subject: str, values: np.ndarray,
            off: np.ndarray, point: str, least: float, doubt: float, tolerance: float = 0.0
            ) -> Iterator[Finding]:
    """The lowest of some values that lasted in these rows, those that are ``off`` left out."""
    if off[rows].all():
        return
    kept = np.where(off, np.nan, values)[rows]
    found = lowest_kept(kept, test.limits["lift.short_dip"], test.minutes,
                        test.sample_interval(point), np.isnan(kept) & ~off[rows])
    if found is None:
        yield not_judged(number, rows.start, "a gap, or the chiller ran too briefly",
                         subject=subject)
        return
    yield Finding(
        number, rows.start + found.row,
        f"went down to {found.value:.1f} °F for longer than "
        f"{test.limits['lift.short_dip']:.0f} min; at least {least:.4g} °F is wanted",
        last=rows.stop - 1, subject=subject, measured=found.value, at_least=least,
        uncertainty=doubt + found.uncertainty, worst_in_gaps=found.worst_in_gaps,
        tolerance=tolerance)


@check("lift.pull_down", unit="min", each="request", needs=("economizer_command", "chillers"),
       limits=("lift.pull_down",))
def pull_down(test: FunctionalTest, request: Request) -> Finding:
    """Minutes from the enable to the last chiller's stop, or until the changeover was
    abandoned."""
    # Of a pull-down that was lost sight of counts what chillers were seen to run.
    ran = test.chillers_on[request.row : request.end] == 1.0
    rows = int(ran.argmin()) if request.unseen and not ran.all() else len(ran)
    took = rows * test.minutes
    how = ("the last chiller stopped" if request.transition is not None else
           "the changeover was abandoned" if request.abandoned is not None else
           "chillers were last seen to run")
    return Finding(
        request.number, request.row, f"{took:.0f} min after the enable {how}", last=request.end,
        measured=took, at_most=test.limits["lift.pull_down"],
        uncertainty=test.sample_interval("chillers"), tolerance=test.timing_tolerance,
        cut_off=request.unseen)


@check("lift.head_pressure", unit="degF", each="request", needs=("economizer_command", "chillers"),
       limits=("lift.setpoint_band", "lift.short_dip", "lift.start_allowance"), all_or_none=True)
def head_pressure(test: FunctionalTest, request: Request) -> Iterator[Finding]:
    """The coldest condenser water leaving each running chiller that lasted in the pull-down,
    against what head-pressure control is to hold within its band; only where the sequence keeps
    lift so."""
    if (means := test.sequence.lift.means) != HEAD_PRESSURE:
        raise NotApplicable("the plan states no head-pressure control in the sequence; lift is "
                            f"kept by: {means}")
    if (least := test.sequence.lift.head_pressure_water) is None:
        raise NotApplicable("the plan states no condenser water that head-pressure control holds: "
                            "it holds the lift itself, which lift.minimum judges")
    if lacks := test.missing("chiller_{n}_cw_leaving_temp"):
        raise NotTested("not trended: " + ", ".join(lacks))
    for n in test.chiller_numbers:
        point = f"chiller_{n}_cw_leaving_temp"
        yield from _lowest(test, request.number, request.pull_down, f"chiller {n} condenser water",
                           test[point], settled_off(test, n), point, least,
                           uncertainty.resolution(test, point), test.limits["lift.setpoint_band"])


@check("lift.entering_water", unit="degF", all_or_none=True,
       needs=("request", "chillers", "chiller_entering_water"),
       limits=("lift.start_allowance", "lift.short_dip"))
def entering_water(test: FunctionalTest) -> Iterator[Finding]:
    """The coldest condenser water entering each running chiller that lasted, in the pull-down and
    in the hour after an exit, against the lowest that its manufacturer states; the sump's water
    where the chiller's own is not trended."""
    stated = {n: test.plant.chiller(n).minimum_cw_entering for n in test.chiller_numbers}
    if not any(stated.values()):
        raise NotApplicable("the plan states no lowest entering condenser water for any chiller: "
                            "lift.minimum judges their lift")
    for n, least in stated.items():
        own = f"chiller_{n}_cw_entering_temp"
        point = own if test.has(own) else "cw_supply_temp"
        if least is None:
            continue
        if not test.has(point):
            raise NotTested(f"not trended: {own}, {point}")
        off = settled_off(test, n)
        # What a valve or a bypass mixes in before the chiller is not in the sump's water.
        unfair = "" if point == own or test.sequence.lift.means != HEAD_PRESSURE else (
            f"head-pressure control may warm it before the chiller, and {own} is not trended")
        for changeover in test.changeovers:
            for part, rows in cold_rows(test, changeover):
                for found in _lowest(test, changeover.number, rows, f"chiller {n}{part}",
                                     test[point], off, point, least,
                                     uncertainty.expanded(test, {point: 1.0})):
                    yield replace(found, fail_needs=unfair)


@check("lift.flow", unit="gpm", needs=("chillers", "chiller_flows"), all_or_none=True,
       limits=("lift.start_allowance", "lift.short_dip"))
def flow(test: FunctionalTest) -> Iterator[Finding]:
    """The lowest flow through the evaporator and the condenser of each running chiller that
    lasted, against the manufacturer's minimum. Where a chiller's own flow is not trended: the
    plant's less that of the exchanger, against the sum of the running chillers' minimums."""
    stated = {side: {n: getattr(test.plant.chiller(n), f"minimum_{side}_flow")
                     for n in test.chiller_numbers} for side in SIDES}
    if not any(any(minimums.values()) for minimums in stated.values()):
        raise NotTested("the manufacturer's minimum flows are not stated in the plan")
    for side, least in stated.items():
        if lacks := [str(n) for n, minimum in least.items() if minimum is None]:
            yield not_judged(0, 0, f"the minimum of chiller {', '.join(lacks)} is not stated in "
                             "the plan", subject=SIDES[side])
            continue
        own = [f"chiller_{n}_{side}_flow" for n in least]
        whole = [f"{side}_flow", f"hx_{side}_flow"]
        if test.has(*own):
            for n, point in zip(least, own, strict=True):
                yield from _lowest_flow(test, f"chiller {n} {SIDES[side]}", {n: least[n]}, [point])
        elif test.has(*whole):
            yield from _lowest_flow(test, f"{SIDES[side]} of the running chillers", least, whole)
        else:
            yield not_judged(0, 0, "not trended: " + ", ".join(
                [*test.missing(*own), *test.missing(*whole)]), subject=SIDES[side])


def _lowest_flow(test: FunctionalTest, subject: str, least: Mapping[int, float],
                 sensors: Sequence[str]) -> Iterator[Finding]:
    """The lowest flow that lasted against what the running ones of these chillers need."""
    through = np.subtract(*(test[name] for name in sensors)) if len(sensors) > 1 else (
        test[sensors[0]])
    running = np.array([test.running(n) for n in least])
    ready = np.array([test.since_start(n) for n in least]) >= test.limits["lift.start_allowance"]
    wanted = np.array(list(least.values())) @ ((running == 1.0) & ready)
    off = (running == 0.0).all(axis=0) | ((running == 1.0) & ~ready).any(axis=0)
    above = np.where(off, np.nan, through - wanted)
    if off.all():
        return
    found = lowest_kept(above, test.limits["lift.short_dip"], test.minutes,
                        test.sample_interval(*sensors), np.isnan(above) & ~off)
    if found is None:
        yield not_judged(0, 0, "a gap, or the chiller ran too briefly", subject=subject)
        return
    row, needed = found.row, float(wanted[found.row])
    doubt = uncertainty.COVERAGE * math.hypot(*(
        uncertainty.standard(test, name, float(test[name][row])) for name in sensors))
    yield Finding(
        0, row, f"went down to {needed + found.value:.0f} gpm for longer than "
        f"{test.limits['lift.short_dip']:.0f} min; at least {needed:.0f} gpm is wanted",
        subject=subject, measured=needed + found.value, at_least=needed,
        uncertainty=doubt + found.uncertainty, worst_in_gaps=needed + found.worst_in_gaps,
        cut_off="how the running chillers share the flow is not trended"
        if ((running == 1.0).sum(axis=0) > 1).any() and len(sensors) > 1 else "",
        quantities={f"{points.point(name).meaning}, gpm": float(test[name][row])
                    for name in sensors})


CHECKS = (head_pressure, evaporator, pull_down, entering_water, flow)
