"""Step 4: does every running chiller keep its lift while the sump is pulled cold?

The pull-down begins at the command; a status that comes with the transition shows none of it,
so these checks need the command itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from fptlib import units
from fptlib.job.schema import NO_PROTECTION, TEMPORARY_SETPOINT
from fptlib.physics import refrigerant, water
from fptlib.procedure import alarms, approaches, uncertainty
from fptlib.procedure.changeovers import TAKEN_OVER_MINUTES, Request, Run
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import between_rows, highest_kept, lowest_kept
from fptlib.procedure.setpoint_release import (
    lowered,
    nothing_lowered,
    ramp_before,
    release_row,
    rise_hidden,
)
from fptlib.procedure.verdict import Event, NotApplicable, NotTested, Verdict

_PULL_DOWN = ("economizer_command", "chillers")
_EXCHANGER_CHW = ("hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp")
_NONE_NEEDED = ("its machines run at zero or inverted lift, as it says of the sequence")


@check("lift.minimum", unit="degF", each="request", all_or_none=True, advise=on_sheet,
       needs=(*_PULL_DOWN, "chiller_lift"), limits=("lift.short_dip", "lift.start_allowance"))
def minimum(test: FunctionalTest, request: Request) -> Iterator[Finding]:
    """The lowest lift of every running chiller that lasted, against the manufacturer's minimum:
    water, saturation temperature or pressure, one number or a line over load."""
    stated = {n: _stated(test, n) for n in test.chiller_numbers}
    if lacks := [str(n) for n, kinds in stated.items() if not kinds]:
        if test.sequence.lift.means == NO_PROTECTION:
            raise NotApplicable(f"the plan states no minimum lift: {_NONE_NEEDED}")
        raise NotTested(f"the manufacturer's minimum lift of chiller {', '.join(lacks)} is not "
                        "stated in the plan")
    for n, kinds in stated.items():
        ways = test.lift_points(n)
        # One kind that is trended proves it; what else is stated is a second proof.
        for kind in (kind for kind in kinds if test.has(*ways[kind])):
            yield from _lowest_lift(test, request, n, kind, *kinds[kind])


def _stated(test: FunctionalTest, n: int) -> dict[str, tuple[float, float | None]]:
    """What the manufacturer states for chiller ``n``, by kind: the minimum, or that at no load
    and at full load."""
    chiller = test.plant.chiller(n)
    kinds = {"water": (chiller.minimum_water_lift, chiller.water_lift_full),
             "saturation": (chiller.minimum_saturation_lift, chiller.saturation_lift_full),
             "pressure": (chiller.minimum_pressure_lift, chiller.pressure_lift_full)}
    return {kind: (low, full) for kind, (low, full) in kinds.items() if low is not None}


def _lowest_lift(test: FunctionalTest, request: Request, n: int, kind: str, low: float,
                 full: float | None) -> Iterator[Finding]:
    """The row in which one kind of lift of a chiller was lowest against its minimum."""
    rows, subject = request.pull_down, f"chiller {n} {kind} lift"
    condenser, evaporator = sensors = test.lift_points(n)[kind]
    by_water = kind == "water" or not condenser.endswith("pressure")
    lift = (test.water_lift(n) if by_water else saturation_lift(test, n) if kind == "saturation"
            else np.where(test.running(n) == 1.0, test[condenser] - test[evaporator], np.nan))
    if full is not None and (lacks := test.missing("load")):
        yield not_judged(request.number, request.row, "the minimum is a line over load, and not "
                         f"trended: {', '.join(lacks)}", subject=subject)
        return
    least = np.full(len(test), low) if full is None else low + (full - low) * chiller_load(test)
    off = (test.running(n) == 0.0) | (test.since_start(n) < test.limits["lift.start_allowance"])
    if off[rows].all():
        return
    above, dip = np.where(off, np.nan, lift - least), test.limits["lift.short_dip"]
    found = lowest_kept(above[rows], dip, test.minutes, test.sample_interval(*sensors),
                        (np.isnan(above) & ~off)[rows])
    if found is None:
        yield not_judged(request.number, request.row, "the lift has a gap there"
                         if np.isnan(above[rows]).all() else
                         "the chiller ran too briefly to be judged", subject=subject)
        return
    unit, row = "psi" if kind == "pressure" else "degF", request.row + found.row
    shown, wanted = units.symbol(unit), float(least[row])
    doubt = (uncertainty.propagated(
                 test, lambda **at: refrigerant.saturation_lift(
                     test.plant.chiller(n).refrigerant, at[condenser], at[evaporator]),
                 {name: float(test[name][row]) for name in sensors})
             if kind == "saturation" and not by_water else
             uncertainty.expanded(test, dict.fromkeys(sensors, 1.0)))
    if full is not None:
        doubt = math.hypot(doubt, (wanted - low) * _load_doubt(test, row))
    yield Finding(
        request.number, row,
        f"went down to {wanted + found.value:.1f} {shown} for longer than {dip:.0f} min; the "
        f"manufacturer asks for {wanted:.4g} {shown}",
        last=request.end, subject=subject, unit=unit, measured=wanted + found.value,
        at_least=wanted, uncertainty=doubt + found.uncertainty,
        worst_in_gaps=wanted + found.worst_in_gaps, cut_off=request.unseen,
        fail_needs="the pressures are not trended, and the saturation lift is larger than the "
        "water lift" if kind == "saturation" and by_water else
        "the chiller's own leaving water is not trended, and the exchanger warms the plant's supply"
        if evaporator == "chw_supply_temp" and test.exchanger_on[row] else "",
        quantities={_side("condenser", condenser): float(test[condenser][row]),
                    _side("evaporator", evaporator): float(test[evaporator][row]),
                    f"lift in that row, {shown}": float(lift[row]),
                    **({} if full is None else
                       {"load, %": 100.0 * float(chiller_load(test)[row])})})


def _load_doubt(test: FunctionalTest, row: int) -> float:
    """Expanded uncertainty of the plant's load in a row, as a share of it."""
    difference = float((test["chw_return_temp"] - test["chw_supply_temp"])[row])
    waters = uncertainty.expanded(test, {"chw_return_temp": 1.0, "chw_supply_temp": -1.0})
    flow = uncertainty.COVERAGE * uncertainty.standard(test, "chw_flow", 1.0)
    return math.hypot(waters / max(difference, 0.1), flow)


def _side(side: str, point: str) -> str:
    return f"{side} side, {'psi' if point.endswith('pressure') else '°F'}"


@cached
def saturation_lift(test: FunctionalTest, n: int) -> np.ndarray:
    """Saturated condensing minus saturated evaporating temperature of chiller ``n`` while it
    runs [degF].

    Raises:
        NotTested: the plan does not state its refrigerant.
    """
    name = test.plant.chiller(n).refrigerant
    if not name:
        raise NotTested(f"the refrigerant of chiller {n} is not stated in the plan")
    lift = refrigerant.saturation_lift(
        name, test[f"chiller_{n}_condenser_pressure"], test[f"chiller_{n}_evaporator_pressure"])
    return np.where(test.running(n) == 1.0, lift, np.nan)


@cached
def chiller_load(test: FunctionalTest) -> np.ndarray:
    """Load of the running chillers as a share of their capacity, 0 to 1: the plant's load without
    what the exchanger carries; a gap where none runs.

    Raises:
        NotTested: the plan does not state the capacity of a chiller.
    """
    capacity = np.zeros(len(test))
    for n in test.chiller_numbers:
        if (tons := test.plant.chiller(n).capacity) is None:
            raise NotTested(f"the capacity of chiller {n} is not stated in the plan")
        capacity += np.where(test.running(n) == 1.0, tons, 0.0)
    load = test.load
    if test.has(*_EXCHANGER_CHW):
        flow, entering, leaving = (test[name] for name in _EXCHANGER_CHW)
        load = load - np.where(flow > 0.0, water.load(flow, entering, leaving), 0.0)
    return np.asarray(np.clip(load / np.where(capacity > 0.0, capacity, np.nan), 0.0, 1.0))


@cached
def temporary_setpoint(test: FunctionalTest) -> np.ndarray:
    """What the lift asks of the active setpoint [degF]: condenser water minus the offset,
    not below the lowest that the sequence goes to."""
    return np.fmax(test["cw_supply_temp"] - test.limits["lift.offset"],
                   np.where(np.isnan(test["cw_supply_temp"]), np.nan, _lowest(test)))


def _lowest(test: FunctionalTest) -> float:
    return max(test.limits["lift.lowest_setpoint"], test.floor)


@check("lift.setpoint", unit="degF", each="request",
       needs=(*_PULL_DOWN, "chw_supply_setpoint", "reset_setpoint", "cw_supply_temp"),
       limits=("lift.setpoint_band", "lift.offset", "lift.lowest_setpoint", "lift.short_dip"),
       advise=on_sheet)
def setpoint(test: FunctionalTest, request: Request) -> Finding:
    """How far the active setpoint was above the temporary one, where a running chiller needs
    it."""
    if (means := test.sequence.lift.means) != TEMPORARY_SETPOINT:
        raise NotApplicable(
            f"the plan states no minimum lift: {_NONE_NEEDED}" if means == NO_PROTECTION else
            f"the sequence keeps lift by {means}, as the plan states; see lift.head_pressure")
    rows = request.pull_down
    wanted, active = temporary_setpoint(test)[rows], test["chw_supply_setpoint"][rows]
    reset, on = test.reset_setpoint[rows], test.chillers_on[rows]
    # Where every chiller was off already at the enable, there is no lift to keep.
    asked = (wanted < reset) & (on == 1.0)
    unknown = np.isnan(active - wanted + reset) & (on != 0.0)
    every = test.sample_interval("chw_supply_setpoint", "cw_supply_temp")
    found = highest_kept(np.where(asked, active - wanted, np.nan), test.limits["lift.short_dip"],
                         test.minutes, every, unknown)
    if found is None:
        return not_judged(request.number, request.row, "the condenser water never came near "
                          "enough to ask a running chiller for it")
    row = request.row + found.row
    rounding = uncertainty.resolution(test, "chw_supply_setpoint", "cw_supply_temp")
    return Finding(
        request.number, row,
        f"was {found.value:+z.1f} °F against condenser water minus "
        f"{test.limits['lift.offset']:g} (not below {_lowest(test):.4g} °F)",
        last=request.end, measured=found.value, at_most=test.limits["lift.setpoint_band"],
        uncertainty=rounding + between_rows(wanted, every) + found.uncertainty,
        worst_in_gaps=found.worst_in_gaps, cut_off=request.unseen,
        quantities={"condenser water, °F": float(test["cw_supply_temp"][row]),
                    "temporary setpoint, °F": float(temporary_setpoint(test)[row]),
                    "active setpoint, °F": float(test["chw_supply_setpoint"][row])})


@check("lift.floor", unit="degF", each="request", all_or_none=True,
       needs=("chw_supply_setpoint", "chw_supply_temp", *_PULL_DOWN),
       limits=("lift.floor", "lift.above_cutout", "lift.short_dip"),
       advise=on_sheet)
def floor(test: FunctionalTest, request: Request) -> Iterator[Finding]:
    """The lowest active setpoint and the lowest chilled water that lasted in the pull-down."""
    rounding = uncertainty.resolution(test, "chw_supply_setpoint")
    # A lowest setpoint at the floor itself keeps it, however it is rounded.
    for subject, name, doubt, tolerance in (
            ("active setpoint", "chw_supply_setpoint", rounding, rounding),
            ("supply", "chw_supply_temp", uncertainty.expanded(test, {"chw_supply_temp": 1.0}),
             0.0)):
        values = test[name][request.row : request.end + 1]
        found = lowest_kept(values, test.limits["lift.short_dip"], test.minutes,
                            test.sample_interval(name))
        if found is None:
            yield not_judged(request.number, request.row,
                             "the pull-down is too short, or has gaps", subject=subject)
            continue
        yield Finding(
            request.number, request.row + found.row,
            f"lowest was {found.value:.1f} °F, the floor is {test.floor:.4g} °F",
            subject=subject, measured=found.value, at_least=test.floor, tolerance=tolerance,
            uncertainty=doubt + found.uncertainty, worst_in_gaps=found.worst_in_gaps,
            cut_off=request.unseen)


def _advise_given_up(test: FunctionalTest, _failed: Sequence[Event]) -> str:
    """Of the attempts that were given up without an alarm: was the water never cold enough, or
    did a chiller that was no longer needed stay on?"""
    over = [_coldest(test, request) for request in test.requests
            if request.abandoned is not None and alarms.first(test, request) is None]
    if not over or np.isnan(over).all():
        return ""
    if (short := float(np.nanmax(over))) > 0.0:
        return (f"Where the changeover was abandoned, condenser water was up to {short:.1f} °F "
                "too warm for the exchanger: enable later, or give the pull-down more time.")
    return ("Where the changeover was abandoned, condenser water could have carried the load: find "
            "what kept the chiller on.")


def _coldest(test: FunctionalTest, request: Request) -> float:
    """The least by which the exchanger missed the reset setpoint in a pull-down [degF]."""
    reachable = test["cw_supply_temp"][request.pull_down] + approaches.need_exchanger(test)
    over = reachable - test.reset_setpoint[request.pull_down]
    return float(np.nanmin(over)) if not np.isnan(over).all() else math.nan


@check("lift.chiller_on", unit="degF", each="request", advise=_advise_given_up,
       needs=(*_PULL_DOWN, "cw_supply_temp", "reset_setpoint", "chiller_{n}_alarm"))
def chiller_on(test: FunctionalTest, request: Request) -> Finding:
    """Condenser water plus exchanger approach against the reset setpoint, when the last chiller
    stopped; a trip or alarm before is a fail."""
    approach, number, row = approaches.need_exchanger(test), request.number, request.transition
    if alarm := alarms.first(test, request):
        return Finding(number, alarm.row, alarm.text, last=request.end, verdict=Verdict.FAIL)
    if request.trips:
        return Finding(number, request.trips[0], "every chiller stopped, and the exchanger carried "
                       "nothing for ten minutes", last=request.end, verdict=Verdict.FAIL)
    if request.unseen:
        return not_judged(number, request.row, request.unseen)
    if row is None:
        # Rows further apart than the load must be carried may hide that it was.
        every = test.sample_interval("chillers")
        hidden = (f"; rows of {every:.0f} min cannot show whether it took it for a while"
                  if every > TAKEN_OVER_MINUTES else "")
        return Finding(number, request.end, "the changeover was abandoned before the exchanger "
                       f"took the load{hidden}",
                       verdict=Verdict.INDETERMINATE if hidden else Verdict.FAIL)
    if alarms.unknown(test, request):
        return not_judged(number, request.row, "an alarm column has a gap there")
    every = test.sample_interval("cw_supply_temp")
    water = test["cw_supply_temp"][test.window(row - test.rows(every), row + 1)]
    reachable, wanted = float(water.mean()) + approach, float(test.reset_setpoint[row])
    if math.isnan(reachable) or math.isnan(wanted):
        return not_judged(number, row, "a gap at the transition")
    sensors = uncertainty.added({"cw_supply_temp": 1.0}, approaches.exchanger_sensors(test))
    return Finding(
        number, row, f"the exchanger could reach {reachable:.1f} when the last chiller stopped, "
        f"the reset asked for {wanted:.1f} °F", measured=reachable, at_most=wanted,
        uncertainty=math.hypot(uncertainty.expanded(test, sensors), between_rows(water, every)),
        quantities={"condenser water, °F": float(water.mean()),
                    "exchanger approach, °F": approach, "reset setpoint, °F": wanted})


@check("lift.release", unit="min", each="run", limits=("lift.release",),
       needs=("request", "chillers", "chw_supply_setpoint", "reset_setpoint"),
       advise=on_sheet)
def release(test: FunctionalTest, run: Run) -> Finding | None:
    """Minutes from the last chiller's stop to the first rise of the active setpoint."""
    if run.enabled is None:
        return None
    if not lowered(test, run):
        return nothing_lowered(test, run)
    if rise_hidden(test, run):
        return not_judged(run.number, run.first,
                          "the setpoint has a gap before it began to rise")
    up = release_row(test, run)
    waited = max((run.last if up is None else up) - run.first, 0) * test.minutes
    limit, every = test.limits["lift.release"], test.sample_interval("chw_supply_setpoint",
                                                                     "chillers")
    if up is None and waited <= limit:
        return not_judged(run.number, run.first, "the run was too short to see the release")
    if up is not None and every > 1.0:
        # The chiller stopped between two samples; the ramp says when it began.
        waited = max(waited - every * ramp_before(test, up, every) + every / 2.0, 0.0)
        every /= 2.0
    return Finding(
        run.number, run.first,
        f"did not rise in the {waited:.0f} min of the run" if up is None
        else f"began to rise {waited:.0f} min after the last chiller stopped",
        last=run.last if up is None else up, measured=waited, at_most=limit, uncertainty=every,
        tolerance=test.timing_tolerance)


CHECKS = (minimum, setpoint, floor, chiller_on, release)
