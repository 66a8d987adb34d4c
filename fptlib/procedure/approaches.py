"""Tower and exchanger approach, stated or from the trends, and the enable condition made of them.

What the job states is the sequence's own number and counts first; without it the approach curves
(``approach_curves``) give the approach of every row, at full fans and open valve. A design value is
less certain than an observed one, and a value that the trends contradict is not believed.
"""

from __future__ import annotations

import math

import numpy as np

from fptlib.job.schema import Approach
from fptlib.points import point
from fptlib.procedure import uncertainty
from fptlib.procedure.approach_curves import exchanger_curve, tower_curve
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotTested

# What a design approach, or one stated as observed without saying when and how, is known to
# [degF, k = 2]: five published tower models that agree at design part by a standard deviation of
# up to 0.9 at economizer wet bulbs; for the exchanger common practice, no source.
DESIGN_TOWER, DESIGN_EXCHANGER = 1.8, 1.0


@cached
def tower(test: FunctionalTest) -> Approach | None:
    """Tower approach [degF]: as the job states it, else of its curve where the plant usually
    changes over, else ``None``."""
    curve = None if test.plant.tower_approach else tower_curve(test)
    if curve is None:
        return test.plant.tower_approach
    value = curve.approach(np.array(usual(test, test.wet_bulb)), _usual_load(test))
    return Approach(round(float(value), 2), "observed", str(curve))


@cached
def exchanger(test: FunctionalTest) -> Approach | None:
    """Exchanger approach [degF]: as the job states it, else of its curve where the plant usually
    changes over, else ``None``."""
    curve = None if test.plant.exchanger_approach else exchanger_curve(test)
    if curve is None:
        return test.plant.exchanger_approach
    value = curve.approach(np.array(usual(test, test.load)),
                           np.array(usual(test, test["chw_flow"])))
    return Approach(round(float(value), 2), "observed", str(curve))


def usual(test: FunctionalTest, values: np.ndarray) -> float:
    """What is usual where the plant changes over: the median at the enables; where there
    is none, over the runs."""
    seen = median(values[[request.row for request in test.requests]])
    within = test.within(test.settled(run) for run in test.runs)
    return median(values[within]) if math.isnan(seen) else seen


def _usual_load(test: FunctionalTest) -> np.ndarray | None:
    return None if test.missing("load") else np.array(usual(test, test.load))


def need(approach: Approach | None, name: str) -> Approach:
    """The approach, stated or observed, that a check cannot do without.

    Raises:
        NotTested: it is neither stated in the job nor to be seen in the trends.
    """
    if approach is None:
        raise NotTested(f"the {name} approach is neither stated in the job nor to be seen in the "
                        "trends; observe it near changeover and enter it in the plan")
    return approach


def need_tower(test: FunctionalTest) -> float:
    """The tower approach [degF]; raises ``NotTested`` where there is none."""
    return need(tower(test), "tower").value


def need_exchanger(test: FunctionalTest) -> float:
    """The exchanger approach [degF]; raises ``NotTested`` where there is none."""
    return need(exchanger(test), "exchanger").value


# -- row by row ----------------------------------------------------------------------------


Rows = tuple[np.ndarray, np.ndarray]


@cached
def tower_rows(test: FunctionalTest) -> Rows:
    """The tower approach of every row and what it is known to, sensors apart [degF, k = 2]."""
    need(tower(test), "tower")
    return _stated_or_seen(test, test.plant.tower_approach, tower_seen(test), DESIGN_TOWER,
                           "enable.tower_tolerance")


@cached
def exchanger_rows(test: FunctionalTest) -> Rows:
    """The exchanger approach of every row and what it is known to, sensors apart."""
    need(exchanger(test), "exchanger")
    return _stated_or_seen(test, test.plant.exchanger_approach, exchanger_seen(test),
                           DESIGN_EXCHANGER, "enable.exchanger_tolerance")


@cached
def tower_seen(test: FunctionalTest) -> Rows | None:
    """What the trends' curve gives for every row, and what it is known to."""
    curve, load = tower_curve(test), None if test.missing("load") else test.load
    return None if curve is None else (
        curve.approach(test.wet_bulb, load), curve.uncertainty(test.wet_bulb, load))


@cached
def exchanger_seen(test: FunctionalTest) -> Rows | None:
    """What the trends' curve gives for every row, and what it is known to."""
    curve = exchanger_curve(test)
    return None if curve is None else (
        curve.approach(test.load, test["chw_flow"]), curve.uncertainty(test.load, test["chw_flow"]))


def _stated_or_seen(test: FunctionalTest, stated: Approach | None, seen: Rows | None,
                    design: float, tolerance: str) -> Rows:
    """What is stated counts; where the trends show more, beyond the sequence's own tolerance and
    the curve's uncertainty, it is known no better than that."""
    if stated is None:
        assert seen is not None
        return seen
    known = 0.0 if _has_evidence(stated) else design
    value, doubt = np.full(len(test), stated.value), np.full(len(test), known)
    if seen is not None:
        more = seen[0] - stated.value
        contradicted = more > test.limits[tolerance] + seen[1]
        doubt = np.where(contradicted, np.maximum(doubt, more + seen[1]), doubt)
    return value, doubt


def _has_evidence(stated: Approach) -> bool:
    return stated.basis == "observed" and bool(stated.remark.strip())


def basis(test: FunctionalTest) -> str:
    """Where the approaches come from, in words."""
    said = []
    for name, stated, curve in (
            ("tower", test.plant.tower_approach, tower_curve(test)),
            ("exchanger", test.plant.exchanger_approach, exchanger_curve(test))):
        said.append(f"{name}: {curve}" if stated is None else f"{name}: " + (
            "stated without when and how it was observed"
            if stated.basis == "observed" and not _has_evidence(stated) else stated.basis))
    return "; ".join(said)


def contradiction(test: FunctionalTest, row: int, sign: float) -> str:
    """Which stated approach the trends contradict in a row, and by what; empty where none.

    ``sign`` is 1 where they show more than is stated (no pass rests on it), -1 where they show
    less, as they do at light load (no fail rests on it).
    """
    said = []
    for name, stated, rows, seen, tolerance in (
            ("tower", test.plant.tower_approach, tower_rows(test), tower_seen(test),
             "enable.tower_tolerance"),
            ("exchanger", test.plant.exchanger_approach, exchanger_rows(test),
             exchanger_seen(test), "enable.exchanger_tolerance")):
        if stated and seen and sign * (seen[0][row] - rows[0][row]) > (
                test.limits[tolerance] + seen[1][row]):
            said.append(f"the {name} approach is stated as {stated.value:.1f} °F and the trends "
                        f"show {seen[0][row]:.1f} ± {seen[1][row]:.1f}; leave it empty in the plan "
                        "to use what they show, or observe it again")
    return "; ".join(said)


# -- the enable condition ------------------------------------------------------------------


@cached
def needed_setpoint(test: FunctionalTest) -> np.ndarray:
    """The lowest reset setpoint at which the enable condition holds [degF].

    Wet bulb + tower approach + tolerance + exchanger approach + tolerance.
    """
    adders = (tower_rows(test)[0] + test.limits["enable.tower_tolerance"]
              + exchanger_rows(test)[0] + test.limits["enable.exchanger_tolerance"])
    return np.asarray(test.wet_bulb + adders)


@cached
def enable_margin(test: FunctionalTest) -> np.ndarray:
    """Reset setpoint minus the needed one [degF]; the condition holds from zero up.

    Rounded, or the sums of tenths would part what is equal by a last binary digit.
    """
    return np.round(test.reset_setpoint - needed_setpoint(test), 6)


@cached
def sequence_margin(test: FunctionalTest) -> np.ndarray:
    """By how much the sequence's own enable condition holds [degF], from zero up: the enable
    margin, or the fixed wet bulb that it goes by minus the wet bulb."""
    fixed = test.sequence.enable.wet_bulb
    return enable_margin(test) if fixed is None else np.round(fixed - test.wet_bulb, 6)


@cached
def approach_uncertainty(test: FunctionalTest) -> np.ndarray:
    """What both approaches of every row are known to, sensors apart [degF, k = 2]."""
    return np.hypot(tower_rows(test)[1], exchanger_rows(test)[1])


@cached
def margin_noise(test: FunctionalTest) -> float:
    """What one sample of the margin is known to beside the next [degF, k = 2]: weather moves in
    lines, so its bends over three samples are noise, of six times the variance of one; by their
    median, which is 0.6745 of the standard deviation."""
    margin = enable_margin(test)[:: test.rows(test.sample_interval("wet_bulb", "reset_setpoint"))]
    bends = median(np.abs(np.diff(margin, 2)))
    return uncertainty.COVERAGE * bends / 0.6745 / math.sqrt(6.0)


@cached
def own_spread(test: FunctionalTest) -> np.ndarray:
    """What the sequence's own condition is known to in every row, its sensors' errors being in the
    trends too [degF]: a stated approach the sequence uses itself, that of a curve it may not, a
    fixed wet bulb takes none; and a log of changes shows no smaller one."""
    curves = [] if test.sequence.enable.wet_bulb is not None else [
        rows(test)[1] for rows, stated in (
            (tower_rows, test.plant.tower_approach),
            (exchanger_rows, test.plant.exchanger_approach)) if stated is None]
    shown = uncertainty.resolution(test, *(
        name for name in test.in_use("wet_bulb")
        if test.logged_on_change(name) and point(name).unit == "degF"))
    return np.asarray(np.hypot.reduce(np.array([np.full(len(test), shown), *curves])))


@cached
def enable_uncertainty(test: FunctionalTest) -> np.ndarray:
    """Expanded uncertainty of the enable margin of every row [degF].

    What the approaches were observed with enters twice with opposite signs and cancels; where
    one sensor reads the condenser water of both, the exchanger's leaving sensor alone remains.
    An approach taken from design cancels nothing.
    """
    return np.hypot(enable_sensors(test), approach_uncertainty(test))


def enable_sensors(test: FunctionalTest) -> float:
    """That of the sensors alone [degF]."""
    weights = uncertainty.added({"wet_bulb": 1.0}, tower_sensors(test), exchanger_sensors(test))
    air = weights.pop("wet_bulb")
    return math.hypot(air * uncertainty.wet_bulb(test) if air else 0.0,
                      uncertainty.expanded(test, weights))


def season_to_wait_for(test: FunctionalTest) -> str:
    """The weather to wait for, where it never allowed economizer operation; else empty."""
    needs = ("wet_bulb", "reset_setpoint", "request", "chillers")
    if test.changeovers or test.missing(*needs) or not (tower(test) and exchanger(test)):
        return ""
    margin = enable_margin(test)
    if np.isnan(margin).all() or (margin >= 0.0).any():
        return ""
    needed = float(np.nanmin(test.wet_bulb) + np.nanmax(margin))
    return ("it was never cold enough for economizer operation; repeat the test when the "
            f"wet bulb is at or below {needed:.0f} °F")


def tower_sensors(test: FunctionalTest) -> dict[str, float]:
    """The readings in the tower approach with their weights; none unless it was observed."""
    approach = tower(test)
    if approach is None or not _has_evidence(approach):
        return {}
    return {"cw_supply_temp": 1.0, "wet_bulb": -1.0}


def exchanger_sensors(test: FunctionalTest) -> dict[str, float]:
    """The readings in the exchanger approach with their weights; none unless observed."""
    approach = exchanger(test)
    if approach is None or not _has_evidence(approach):
        return {}
    entering = "hx_cw_entering_temp" if test.has("hx_cw_entering_temp") else "cw_supply_temp"
    return {"hx_chw_leaving_temp": 1.0, entering: -1.0}
