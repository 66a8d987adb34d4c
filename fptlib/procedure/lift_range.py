"""Step 4: does every running chiller keep its lift between the manufacturer's minimum and maximum?

Too little lift loses oil return, stacks liquid and trips on low differential; too much at low load
makes a centrifugal chiller surge. A limit is one number, or a line over load.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from fptlib import units
from fptlib.job.schema import COMPRESSORS, NO_PROTECTION
from fptlib.physics import refrigerant, water
from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Request
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import highest_kept, lowest_kept
from fptlib.procedure.verdict import NotApplicable, NotTested

PULL_DOWN = ("economizer_command", "chillers")
NONE_NEEDED = "its machines run at zero or inverted lift, as it says of the sequence"
_EXCHANGER_CHW = ("hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp")


class Stated(NamedTuple):
    """A limit of the lift: its number, or that at no load and at full load. ``usual`` says what
    common practice has of such compressors where the manufacturer's is not stated."""

    low: float
    full: float | None = None
    usual: str = ""


@check("lift.minimum", unit="degF", each="request", all_or_none=True, advise=on_sheet,
       needs=(*PULL_DOWN, "chiller_lift"), limits=("lift.short_dip", "lift.start_allowance"))
def minimum(test: FunctionalTest, request: Request) -> Iterator[Finding]:
    """The lowest lift of every running chiller that lasted, against the manufacturer's minimum:
    water, saturation temperature or pressure, one number or a line over load."""
    stated = {n: minimums(test, n) for n in test.chiller_numbers}
    if lacks := [str(n) for n, kinds in stated.items() if not kinds]:
        if test.sequence.lift.means == NO_PROTECTION:
            raise NotApplicable(f"the plan states no minimum lift: {NONE_NEEDED}")
        raise NotTested(f"the manufacturer's minimum lift of chiller {', '.join(lacks)} is not "
                        "stated in the plan")
    for n, kinds in stated.items():
        ways = test.lift_points(n)
        # One kind that is trended proves it; what else is stated is a second proof.
        for kind in (kind for kind in kinds if test.has(*ways[kind])):
            yield from _lowest_lift(test, request, n, kind, kinds[kind])


def minimums(test: FunctionalTest, n: int) -> dict[str, Stated]:
    """The minimum lift of chiller ``n`` by kind, as its manufacturer states it; where none is
    stated, what is common practice with its compressor, unless none is needed."""
    chiller = test.plant.chiller(n)
    kinds = {"water": (chiller.minimum_water_lift, chiller.water_lift_full),
             "saturation": (chiller.minimum_saturation_lift, chiller.saturation_lift_full),
             "pressure": (chiller.minimum_pressure_lift, chiller.pressure_lift_full)}
    found = {kind: Stated(low, full) for kind, (low, full) in kinds.items() if low is not None}
    if found or not chiller.compressor or test.sequence.lift.means == NO_PROTECTION:
        return found
    low, high = COMPRESSORS[chiller.compressor]
    return {"water": Stated(high, usual=(
        f"the manufacturer's minimum is not stated, and {low:g} to {high:g} °F of water lift are "
        f"common practice, no source, for a {chiller.compressor}"))}


def lift_of(test: FunctionalTest, n: int, kind: str) -> np.ndarray:
    """One kind of lift of chiller ``n`` while it runs [degF, or psi of a pressure lift]."""
    condenser, evaporator = test.lift_points(n)[kind]
    if kind == "water" or not condenser.endswith("pressure"):
        return test.water_lift(n)
    if kind == "saturation":
        return saturation_lift(test, n)
    return np.where(test.running(n) == 1.0, test[condenser] - test[evaporator], np.nan)


def over_load(test: FunctionalTest, stated: Stated) -> np.ndarray:
    """What a limit of the lift comes to in every row."""
    if stated.full is None:
        return np.full(len(test), stated.low)
    return stated.low + (stated.full - stated.low) * chiller_load(test)


def settled_off(test: FunctionalTest, n: int) -> np.ndarray:
    """The rows in which chiller ``n`` is off, or has just started and builds its lift."""
    return (test.running(n) == 0.0) | (test.since_start(n) < test.limits["lift.start_allowance"])


def _lowest_lift(test: FunctionalTest, request: Request, n: int, kind: str, stated: Stated
                 ) -> Iterator[Finding]:
    """The row in which one kind of lift of a chiller was lowest against its minimum."""
    rows, subject = request.pull_down, f"chiller {n} {kind} lift"
    condenser, evaporator = sensors = test.lift_points(n)[kind]
    by_water = kind == "water" or not condenser.endswith("pressure")
    lift = lift_of(test, n, kind)
    if stated.full is not None and (lacks := test.missing("load")):
        yield not_judged(request.number, request.row, "the minimum is a line over load, and not "
                         f"trended: {', '.join(lacks)}", subject=subject)
        return
    least, off = over_load(test, stated), settled_off(test, n)
    if off[rows].all():
        return
    above, dip = np.where(off, np.nan, lift - least), test.limits["lift.short_dip"]
    found = lowest_kept(above[rows], dip, test.minutes, test.sample_interval(*sensors),
                        (np.isnan(above) & ~off)[rows], above[rows])
    if found is None:
        yield not_judged(request.number, request.row, "the lift has a gap there"
                         if np.isnan(above[rows]).all() else
                         "the chiller ran too briefly to be judged", subject=subject)
        return
    unit, row = "psi" if kind == "pressure" else "degF", request.row + found.row
    shown, wanted = units.symbol(unit), float(least[row])
    doubt, estimated = uncertainty.expanded(test, dict.fromkeys(sensors, 1.0)), ""
    if kind == "saturation" and not by_water:
        fluid, high, low = (test.plant.chiller(n).refrigerant, float(test[condenser][row]),
                            float(test[evaporator][row]))
        share, estimated = refrigerant.ESTIMATED.get(fluid, 0.0), uncertainty.as_estimated(fluid)
        doubt = uncertainty.propagated(
            test, lambda **at: refrigerant.saturation_lift(fluid, at[condenser], at[evaporator]),
            {condenser: high, evaporator: low}) + float(
                refrigerant.saturation_lift(fluid, high * (1 + share), low * (1 - share))
                - refrigerant.saturation_lift(fluid, high, low))
    yield Finding(
        request.number, row,
        f"went down to {wanted + found.value:.1f} {shown} for longer than {dip:.0f} min; " + (
            stated.usual or f"the manufacturer asks for {wanted:.4g} {shown}") + estimated,
        last=request.end, subject=subject, unit=unit, measured=wanted + found.value,
        at_least=wanted, uncertainty=_with_load(test, doubt, wanted, stated, row
                                                ) + found.uncertainty,
        worst_in_gaps=wanted + found.worst_in_gaps, cut_off=request.unseen,
        fail_needs="the manufacturer's own minimum may be lower: state it in the plan"
        if stated.usual else "the pressures are not trended, and the saturation lift is larger "
        "than the water lift" if kind == "saturation" and by_water else
        _warmed(test, evaporator, row),
        quantities={_side("condenser", condenser): float(test[condenser][row]),
                    _side("evaporator", evaporator): float(test[evaporator][row]),
                    f"lift in that row, {shown}": float(lift[row]), **_load(test, stated, row)})


@check("lift.maximum", unit="degF", all_or_none=True,
       needs=("chillers", "chiller_{n}_cw_leaving_temp", "chiller_leaving_water"),
       limits=("lift.short_dip", "lift.start_allowance"))
def maximum(test: FunctionalTest) -> Iterator[Finding]:
    """The highest water lift of every running chiller that lasted, in the whole record, against
    the manufacturer's maximum: one number or a line over load."""
    stated = {n: Stated(chiller.maximum_water_lift, chiller.maximum_lift_full)
              for n in test.chiller_numbers
              if (chiller := test.plant.chiller(n)).maximum_water_lift is not None}
    if not stated:
        raise NotApplicable("the plan states no maximum lift for any chiller")
    if any(each.full is not None for each in stated.values()) and (lacks := test.missing("load")):
        raise NotTested(f"the maximum is a line over load, and not trended: {', '.join(lacks)}")
    for n, line in stated.items():
        sensors = test.water_lift_points(n)
        off = settled_off(test, n)
        if off.all():
            continue
        most, lift = over_load(test, line), test.water_lift(n)
        above, dip = np.where(off, np.nan, lift - most), test.limits["lift.short_dip"]
        found = highest_kept(above, dip, test.minutes, test.sample_interval(*sensors),
                             np.isnan(above) & ~off & ~test.unrecorded)
        if found is None:
            yield not_judged(0, int(off.argmin()), "a gap, or it ran too briefly",
                             subject=f"chiller {n}")
            continue
        row, allowed = found.row, float(most[found.row])
        doubt = uncertainty.expanded(test, dict.fromkeys(sensors, 1.0))
        yield Finding(
            0, row, f"went up to {allowed + found.value:.1f} °F for longer than {dip:.0f} min; the "
            f"manufacturer allows {allowed:.4g} °F", subject=f"chiller {n}",
            measured=allowed + found.value, at_most=allowed,
            uncertainty=_with_load(test, doubt, allowed, line, row) + found.uncertainty,
            worst_in_gaps=allowed + found.worst_in_gaps,
            quantities={"condenser side, °F": float(test[sensors[0]][row]),
                        "evaporator side, °F": float(test[sensors[1]][row]),
                        **_load(test, line, row)})


def _with_load(test: FunctionalTest, doubt: float, limit: float, stated: Stated, row: int
               ) -> float:
    """The lift's uncertainty with that of a limit that is a line over load."""
    if stated.full is None:
        return doubt
    difference = float((test["chw_return_temp"] - test["chw_supply_temp"])[row])
    waters = uncertainty.expanded(test, {"chw_return_temp": 1.0, "chw_supply_temp": -1.0})
    flow = uncertainty.COVERAGE * uncertainty.standard(test, "chw_flow", 1.0)
    return math.hypot(doubt, (limit - stated.low) * math.hypot(
        waters / max(difference, 0.1), flow))


def _load(test: FunctionalTest, stated: Stated, row: int) -> dict[str, float]:
    return {} if stated.full is None else {"load, %": 100.0 * float(chiller_load(test)[row])}


def _warmed(test: FunctionalTest, evaporator: str, row: int) -> str:
    return ("the chiller's own leaving water is not trended, and the exchanger warms the plant's "
            "supply" if evaporator == "chw_supply_temp" and test.exchanger_on[row] else "")


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
        load = load - np.where(flow > 0.0, water.load(
            flow, entering, leaving, *test.plant.fluid("chw")), 0.0)
    return np.asarray(np.clip(load / np.where(capacity > 0.0, capacity, np.nan), 0.0, 1.0))
