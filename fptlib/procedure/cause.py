"""Step 7a, the verdict: exchanger fouled, exchanger small, load too high, or water too warm.

An accusation rests on a check of its own, each with its uncertainty; what none of them proves
cannot be known, and the row says what it would take.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.physics import exchanger as physics
from fptlib.physics import water as fluid
from fptlib.procedure import air_handlers, approaches, load, running, uncertainty
from fptlib.procedure.functional_test import STEADY_MINUTES, FunctionalTest, cached
from fptlib.procedure.judge import CheckOf, Finding, check
from fptlib.procedure.measures import median
from fptlib.procedure.reset_setpoint import BACK_WITHIN
from fptlib.procedure.verdict import Check, NotTested, Verdict

_NEEDS = ("request", "chillers", "chw_supply_temp", "chw_supply_setpoint", "reset_setpoint",
          "cw_supply_temp")
SIGNS = (*load.SIGNS, air_handlers.economizer, air_handlers.valve)
# Without both of these a load that should not be there cannot be ruled out.
_RULED_OUT_BY = (load.base, load.weather)


@dataclass(frozen=True, slots=True)
class Complaint:
    """The rows of economizer operation in which the supply was too warm: those in which the
    exchanger and what it carries explain it, and those in which its condenser water does."""

    rows: np.ndarray
    by_exchanger: np.ndarray
    by_water: np.ndarray


@cached
def complaint(test: FunctionalTest) -> Complaint:
    """Too warm is above the active setpoint, once that is back at the reset setpoint, by more than
    the band. The condenser water explains it where it was above that setpoint minus the clean
    exchanger's approach, and the supply within a band of that approach over it; the exchanger and
    what it carries explain the rest. At less than its design load a clean exchanger's approach is
    that share of the design approach: Q = UA x LMTD at the design flows.

    Raises:
        NotTested: the design temperatures are not stated, or no run is long enough.
    """
    design, band = test.plant.exchanger, test.limits["running.supply_band"]
    if design.chw_leaving is None or design.cw_entering is None:
        raise NotTested("the exchanger's design temperatures are not stated in the plan (step 0)")
    known = ~np.isnan(test["chw_supply_temp"] + test["chw_supply_setpoint"]
                      + test["cw_supply_temp"])
    carried = test.within(test.settled(run) for run in test.runs)
    # A temporary setpoint that was not released asks for water that no exchanger is for.
    released = test["chw_supply_setpoint"] >= test.reset_setpoint - BACK_WITHIN
    rows = np.flatnonzero(carried & known & released)
    if len(rows) * test.minutes < STEADY_MINUTES:
        raise NotTested("less than an hour of economizer operation has supply, setpoint and "
                        "condenser water")
    share = np.ones(len(rows))
    if design.load is not None and not test.missing("load"):
        share = np.fmin(test.load[rows] / design.load, 1.0)
    approach = (design.chw_leaving - design.cw_entering) * share
    supply, setpoint, water = (test[name][rows] for name in (
        "chw_supply_temp", "chw_supply_setpoint", "cw_supply_temp"))
    warm = supply - setpoint > band
    by_water = ((water > setpoint - approach + test.limits["running.tower_band"])
                & (supply - water <= approach + band))
    return Complaint(rows, rows[warm & ~by_water], rows[warm & by_water])


@cached
def _row(test: FunctionalTest, of: CheckOf) -> Check:
    return of(test)


@check("load.cause", unit="min", needs=_NEEDS, limits=(
    "load.too_warm", "running.supply_band", "running.tower_band", "running.share"))
def cause(test: FunctionalTest) -> Finding:
    """Fouled where the exchanger's UA fails; else too high a load where one of its signs fails;
    else, where the supply was too warm: water too warm where towers could have made it colder,
    exchanger small where it has its UA, no sign of a false load was found and the load was above
    its design load. Where the supply was not too warm, a UA that is on the good side of its limit
    within its uncertainty is enough. What cannot be shown is said with what is missing."""
    found, least = complaint(test), test.limits["load.too_warm"]
    ua = _row(test, running.exchanger)
    signs = [row for each in SIGNS if (row := _row(test, each)).verdict is Verdict.FAIL]
    said: list[str] = []
    if ua.verdict is Verdict.FAIL:
        said.append(f"exchanger fouled: {ua.reason}")
    if signs:
        said.append("load too high: " + "; ".join(
            event.text for row in signs for event in row.events if event.verdict is Verdict.FAIL))
    # Water that is too warm now and then, and mostly not the reason, is no cause.
    mostly = len(found.by_water) > max(
        len(found.by_exchanger), (1.0 - test.limits["running.share"] / 100.0) * len(found.rows))
    if mostly and (colder := _could_be_colder(test, found)):
        said.append(f"water too warm: {colder}")
    if said:
        return _finding(test, found, Verdict.FAIL, "; also ".join(said))
    by_exchanger, by_water = (len(rows) * test.minutes for rows in (
        found.by_exchanger, found.by_water))
    # A small approach leaves UA known to no better than 15 to 20 %. What was never too warm proves
    # with it, where it lies on the good side of its limit, that the exchanger carries its load.
    likely = by_exchanger <= least and ua.verdict is Verdict.INDETERMINATE and (
        ua.margin is not None and ua.margin >= 0.0)
    open_ = [f"{row.id} ({row.reason})" for row in (
        *([] if likely else [ua]), *(_row(test, each) for each in _RULED_OUT_BY))
        if row.verdict is not Verdict.PASS]
    if mostly and (lacks := test.missing("wet_bulb")):
        open_.append("whether towers could have made colder water (not trended: "
                     + ", ".join(lacks) + ")")
    if open_:
        raise NotTested(f"cannot be known: the supply was too warm for {by_exchanger:.0f} min; to "
                        f"know why, or what it hides, takes {'; '.join(open_)}")
    if by_exchanger > least:
        return _finding(test, found, Verdict.FAIL, _small(test, found))
    return _finding(test, found, Verdict.PASS, "the exchanger carries its load: the supply was too "
                    f"warm for {by_exchanger:.0f} min, apart from {by_water:.0f} min in weather "
                    "too warm for it" + (f"; its UA alone proves less: {ua.reason}" if likely
                                         else ""))


def _could_be_colder(test: FunctionalTest, found: Complaint) -> str:
    """Whether the wet bulb allowed colder water in most of these rows, beyond doubt."""
    if test.missing("wet_bulb"):
        return ""
    try:
        margin = approaches.enable_margin(test) - approaches.enable_uncertainty(test)
    except NotTested:
        return ""
    able = found.by_water[margin[found.by_water] > 0.0]
    if len(able) * test.minutes <= test.limits["load.too_warm"]:
        return ""
    return (f"for {len(able) * test.minutes:.0f} min the wet bulb, "
            f"{median(test.wet_bulb[able]):.1f} °F, allowed colder condenser water than "
            f"{median(test['cw_supply_temp'][able]):.1f} °F")


def _small(test: FunctionalTest, found: Complaint) -> str:
    """What is proven of an exchanger that has its UA and no false load.

    Raises:
        NotTested: the load was not above its design load either.
    """
    design, tons = load.design_load(test), median(test.load[found.by_exchanger])
    if tons * (1.0 - uncertainty.of_load(test, load.winter(test).rows)) <= design:
        raise NotTested(
            f"cannot be known: the exchanger has its UA, the load is within design ({tons:.0f} of "
            f"{design:.0f} tons), no sign of a false load was found, and the supply was too warm: "
            "look for warm water that passes the exchanger, through idle chillers or a bypass")
    return (f"exchanger small: with its design UA and no sign of a false load it had "
            f"{tons:.0f} tons to carry where {design:.0f} were designed")


def _finding(test: FunctionalTest, found: Complaint, verdict: Verdict, text: str) -> Finding:
    rows = np.sort(np.concatenate([found.by_exchanger, found.by_water]))
    shown = rows if len(rows) else found.rows
    light = test.light_load(slice(int(found.rows[0]), int(found.rows[-1]) + 1))
    if verdict is Verdict.PASS and light:
        verdict, text = Verdict.DEFERRED, f"{text}; but {light}"
    return Finding(
        0, int(shown[0]), text, last=int(shown[-1]), subject="verdict", verdict=verdict,
        quantities={"operation judged, h": len(found.rows) * test.minutes / 60.0,
                    "too warm by exchanger and load, min": len(found.by_exchanger) * test.minutes,
                    "too warm by its water, min": len(found.by_water) * test.minutes,
                    **_parts(test, found.by_exchanger)})


def _parts(test: FunctionalTest, rows: np.ndarray) -> dict[str, float]:
    """What the approach was made of in these rows [°F]: the design approach, what the load adds
    with the design UA, and the rest: fouling, mixing, sensors."""
    design = test.plant.exchanger
    if not len(rows) or test.missing("load", "exchanger_flows"):
        return {}
    chw, cw = (median(test[name][rows]) for name in ("hx_chw_flow", "hx_cw_flow"))
    tons, seen = median(test.load[rows]), median(
        test["chw_supply_temp"][rows] - test["cw_supply_temp"][rows])
    if not (chw > 0.0 and cw > 0.0 and tons > 0.0 and design.chw_flow and design.cw_flow):
        return {}
    try:
        clean = physics.expected_ua(running.design_ua(test), chw / design.chw_flow,
                                    cw / design.cw_flow)
    except NotTested:
        return {}
    at = median(test["chw_supply_temp"][rows])
    chw_capacity, cw_capacity = (
        flow * float(fluid.heat_factor(at, *test.plant.fluid(side)))
        for flow, side in ((chw, "chw"), (cw, "cw")))
    expected = float(physics.predicted_approach(tons, clean, chw_capacity, cw_capacity))
    return {"approach seen, °F": seen, "approach at that load with the design UA, °F": expected,
            "design approach, °F": (design.chw_leaving or math.nan) - (
                design.cw_entering or math.nan)}


CHECKS = (cause,)
