"""Step 7a, the exchanger: how fast its UA falls, and its pressure drop."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fptlib.procedure import uncertainty
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.instruments import EXCHANGER, balanced
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median
from fptlib.procedure.running import (
    EXCHANGER_NEEDS,
    design_ua,
    flow_shares,
    of_design,
    some_may_idle,
)
from fptlib.procedure.verdict import Deferred, NotTested

# Days with an hour of operation, and the time between the first and the last of them, that a trend
# needs; days in which the rate is stated (common practice, no source).
LEAST_DAYS, LEAST_SPAN, MONTH = 5, 10.0, 30.0
# Turbulent pressure drop goes with flow to the power 1.7 to 2.0 (plate correlations, from memory);
# below this share of design flow that reaches too far (common practice, no source).
LOW_EXPONENT, HIGH_EXPONENT, LEAST_FLOW = 1.7, 2.0, 0.6


@check("load.fouling", unit="%/30 days", needs=EXCHANGER_NEEDS, limits=("load.fouling",))
def fouling(test: FunctionalTest) -> Finding:
    """Loss of UA in 30 days, in per cent of the design UA: the slope of a straight line through
    each day's median UA, corrected to design flow, over the days. The sensors' constant errors
    do not tilt it; how the days scatter about the line is its uncertainty (k = 2)."""
    clean, rows = design_ua(test), _steady_rows(test)
    day = np.floor(rows * test.minutes / 1440.0)
    found = {float(each): of_design(
        test, {name: test[name][rows[day == each]] for name in EXCHANGER}, clean)
        for each in np.unique(day) if (day == each).sum() * test.minutes >= 60.0}
    days = np.array([each for each, share in found.items() if not np.isnan(share)])
    if len(days) < LEAST_DAYS or np.ptp(days) < LEAST_SPAN:
        raise Deferred(
            f"{len(days)} days have an hour of steady economizer operation; {LEAST_DAYS} over at "
            f"least {LEAST_SPAN:.0f} days are needed: trend the exchanger for some weeks")
    shares = np.array([found[float(each)] for each in days])
    line, covariance = np.polyfit(days, shares, 1, cov=True)
    loss, doubt = -MONTH * line[0], 2.0 * MONTH * float(np.sqrt(covariance[0, 0]))
    return Finding(
        0, int(rows[0]),
        f"the UA goes from {np.polyval(line, days[0]):.0f} to {np.polyval(line, days[-1]):.0f} % "
        f"of design in {np.ptp(days):.0f} days", last=int(rows[-1]), subject="exchanger",
        measured=loss, at_most=test.limits["load.fouling"], uncertainty=doubt,
        fail_needs=some_may_idle(test, float(np.quantile(flow_shares(
            test, {name: test[name][rows] for name in EXCHANGER}), 0.1, axis=1).min())),
        quantities={"days judged": len(days), "first day's UA, %": shares[0],
                    "last day's UA, %": shares[-1],
                    "scatter about the line, %": float(np.std(shares - np.polyval(line, days)))})


def _steady_rows(test: FunctionalTest) -> np.ndarray:
    """The settled rows of every run whose heat balance closes.

    Raises:
        NotTested: there is none.
    """
    judged = [steady for run in test.runs if run.number in balanced(test)
              and (steady := test.steady(run)) is not None]
    known = ~np.isnan([test[name] for name in EXCHANGER]).any(axis=0)
    rows = np.flatnonzero(test.within(judged) & known)
    if not len(rows):
        raise NotTested("no steady run with a heat balance that closes")
    return rows


@check("load.pressure_drop", unit="%", limits=("load.pressure_drop",),
       needs=("chillers", "request", "exchanger_pressure_drop"))
def pressure_drop(test: FunctionalTest) -> Iterator[Finding]:
    """Median pressure drop of each side in steady operation, corrected to design flow, as a share
    of the design pressure drop."""
    sides = {"chw": "chilled-water side", "cw": "condenser-water side"}
    trended = [side for side in sides if test.has(f"hx_{side}_pressure_drop", f"hx_{side}_flow")]
    found = [rows for run in test.runs if (rows := test.steady(run)) is not None]
    if not found:
        raise NotTested("no run with an hour of steady operation")
    for side in trended:
        yield _of_side(test, side, sides[side], np.flatnonzero(test.within(found)))


def _of_side(test: FunctionalTest, side: str, subject: str, rows: np.ndarray) -> Finding:
    exchanger = test.plant.exchanger
    design, design_flow = (getattr(exchanger, f"{side}_{what}") for what in (
        "pressure_drop", "flow"))
    if not design or not design_flow:
        return not_judged(0, rows[0], "design flow and pressure drop are not stated in the plan "
                          "(step 0)", subject=subject)
    drop = test[f"hx_{side}_pressure_drop"][rows]
    share = test[f"hx_{side}_flow"][rows] / design_flow
    enough = (share >= LEAST_FLOW) & ~np.isnan(drop)
    if enough.sum() * test.minutes < 60.0:
        return not_judged(0, rows[0], f"less than an hour of steady operation has "
                          f"{100.0 * LEAST_FLOW:.0f} % of the design flow", subject=subject)
    low, high = (100.0 * median((drop / share**exponent)[enough]) / design
                 for exponent in (LOW_EXPONENT, HIGH_EXPONENT))
    sensor = 200.0 * uncertainty.standard(
        test, f"hx_{side}_pressure_drop", median(drop[enough])) / design
    found = (low + high) / 2.0
    return Finding(
        0, int(rows[enough][0]), f"{found:.0f} % of the design pressure drop at design flow",
        last=int(rows[enough][-1]), subject=subject, measured=found,
        at_most=test.limits["load.pressure_drop"],
        uncertainty=float(np.hypot(sensor, (high - low) / 2.0)),
        fail_needs=some_may_idle(test, float(np.quantile(share[enough], 0.1))),
        quantities={"rows judged": int(enough.sum()), "median drop, psi": median(drop[enough]),
                    "median flow of design, %": 100.0 * median(share[enough]),
                    "design drop, psi": design})


CHECKS = (fouling, pressure_drop)
