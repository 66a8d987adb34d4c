"""Tower and exchanger approach, stated or from the trends, and the enable condition made of them.

What the job states is the sequence's own number and counts first; without it the approach curves
(``approach_curves``) give the approach of every row, at full fans and open valve. A design value is
less certain than an observed one, and a value that the trends contradict is not believed.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from fptlib.job.schema import Approach
from fptlib.physics.exchanger_curve import ExchangerCurve
from fptlib.physics.tower_curve import TowerCurve
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


Rows = tuple[np.ndarray, np.ndarray]
_Curve = TowerCurve | ExchangerCurve


@dataclass(frozen=True)
class Side:
    """One of the two approaches: as the job states it, and as the trends' curve shows it.

    ``fitted`` gives that curve, ``over`` the columns that it goes over, ``design`` is what a design
    value is known to [degF, k = 2], ``readings`` are the readings in it with their weights.
    """

    test: FunctionalTest
    name: str
    stated: Approach | None
    fitted: Callable[[FunctionalTest], _Curve | None]
    over: Callable[[], tuple[Any, Any]]
    design: float
    readings: dict[str, float]

    @property
    def curve(self) -> _Curve | None:
        """The trends' curve, where they show one."""
        return self.fitted(self.test)

    @property
    def known(self) -> bool:
        """Whether it is stated in the job or to be seen in the trends."""
        return self.stated is not None or self.curve is not None

    @property
    def has_evidence(self) -> bool:
        """Whether it is seen in the trends, or stated with when and how it was observed."""
        return self.known if self.stated is None else (
            self.stated.basis == "observed" and bool(self.stated.remark.strip()))

    @property
    def sensors(self) -> dict[str, float]:
        """The readings in it with their weights; none unless it was observed."""
        return self.readings if self.has_evidence else {}

    @cached_property
    def value(self) -> float:
        """The approach [degF]: as the job states it, else of its curve where the plant usually
        changes over.

        Raises:
            NotTested: it is neither stated in the job nor to be seen in the trends.
        """
        if self.stated is not None:
            return self.stated.value
        if self.curve is None:
            raise NotTested(f"the {self.name} approach is neither stated in the job nor to be seen "
                            "in the trends; observe it near changeover and enter it in the plan")
        at: list[Any] = [None if each is None else np.array(usual(self.test, each))
                         for each in self.over()]
        return round(float(self.curve.approach(*at)), 2)

    @cached_property
    def seen(self) -> Rows | None:
        """What the trends' curve gives for every row, and what it is known to."""
        return None if self.curve is None else (
            self.curve.approach(*self.over()), self.curve.uncertainty(*self.over()))

    @property
    def tolerance(self) -> float:
        """What the sequence adds to it for the sensors' sake [degF]."""
        return self.test.limits[f"enable.{self.name}_tolerance"]

    @cached_property
    def rows(self) -> Rows:
        """The approach of every row and what it is known to, sensors apart [degF, k = 2].

        What is stated counts; where the trends show more, beyond the sequence's own tolerance and
        the curve's uncertainty, it is known no better than that. Raises as ``value``.
        """
        value = self.value
        if self.stated is None:
            assert self.seen is not None
            return self.seen
        doubt = np.full(len(self.test), 0.0 if self.has_evidence else self.design)
        if self.seen is not None:
            more = self.seen[0] - value
            contradicted = more > self.tolerance + self.seen[1]
            doubt = np.where(contradicted, np.maximum(doubt, more + self.seen[1]), doubt)
        return np.full(len(self.test), value), doubt

    def contradiction(self, row: int, sign: float) -> str:
        """By what the trends contradict a stated approach in a row; empty where they do not."""
        if not self.stated or not self.seen:
            return ""
        shown, known = (float(each[row]) for each in self.seen)
        return (f"the {self.name} approach is stated as {self.stated.value:.1f} °F and the trends "
                f"show {shown:.1f} ± {known:.1f}; leave it empty in the plan to use what they "
                "show, or observe it again"
                if sign * (shown - self.stated.value) > self.tolerance + known else "")

    @property
    def basis(self) -> str:
        """Where it comes from, in words."""
        if self.stated is None:
            return f"{self.name}: {self.curve}"
        vague = self.stated.basis == "observed" and not self.has_evidence
        return f"{self.name}: " + ("stated without when and how it was observed" if vague
                                   else self.stated.basis)


@cached
def tower(test: FunctionalTest) -> Side:
    """The tower approach, over wet bulb and load where that is known."""
    return Side(test, "tower", test.plant.tower_approach, tower_curve,
                lambda: (test.wet_bulb, None if test.missing("load") else test.load),
                DESIGN_TOWER, {"cw_supply_temp": 1.0, "wet_bulb": -1.0})


@cached
def exchanger(test: FunctionalTest) -> Side:
    """The exchanger approach, over load and chilled-water flow."""
    entering = "hx_cw_entering_temp" if test.has("hx_cw_entering_temp") else "cw_supply_temp"
    return Side(test, "exchanger", test.plant.exchanger_approach, exchanger_curve,
                lambda: (test.load, test["chw_flow"]),
                DESIGN_EXCHANGER, {"hx_chw_leaving_temp": 1.0, entering: -1.0})


def sides(test: FunctionalTest) -> tuple[Side, Side]:
    """Both approaches, that of the towers first."""
    return tower(test), exchanger(test)


def known(test: FunctionalTest) -> bool:
    """Whether both approaches are stated in the job or to be seen in the trends."""
    return all(side.known for side in sides(test))


def basis(test: FunctionalTest) -> str:
    """Where both approaches come from, in words."""
    return "; ".join(side.basis for side in sides(test))


def usual(test: FunctionalTest, values: np.ndarray) -> float:
    """What is usual where the plant changes over: the median at the enables; where there
    is none, over the runs."""
    seen = median(values[[request.row for request in test.requests]])
    within = test.within(test.settled(run) for run in test.runs)
    return median(values[within]) if math.isnan(seen) else seen


def contradiction(test: FunctionalTest, row: int, sign: float) -> str:
    """Which stated approach the trends contradict in a row, and by what; empty where none.

    ``sign`` is 1 where they show more than is stated (no pass rests on it), -1 where they show
    less, as they do at light load (no fail rests on it).
    """
    return "; ".join(filter(None, (side.contradiction(row, sign) for side in sides(test))))


# -- the enable condition ------------------------------------------------------------------


@cached
def needed_setpoint(test: FunctionalTest) -> np.ndarray:
    """The lowest reset setpoint at which the enable condition holds [degF].

    Wet bulb + tower approach + tolerance + exchanger approach + tolerance.
    """
    towers, plates = sides(test)
    adders = towers.rows[0] + towers.tolerance + plates.rows[0] + plates.tolerance
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
        side.rows[1] for side in sides(test) if side.stated is None]
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
    return np.hypot(enable_sensors(test), np.hypot(*(side.rows[1] for side in sides(test))))


def enable_sensors(test: FunctionalTest) -> float:
    """That of the sensors alone [degF]."""
    weights = uncertainty.added({"wet_bulb": 1.0}, *(side.sensors for side in sides(test)))
    air = weights.pop("wet_bulb")
    return math.hypot(air * uncertainty.wet_bulb(test) if air else 0.0,
                      uncertainty.expanded(test, weights))


def season_to_wait_for(test: FunctionalTest) -> str:
    """The weather to wait for, where it never allowed economizer operation; else empty."""
    needs = ("wet_bulb", "reset_setpoint", "request", "chillers")
    if test.changeovers or test.missing(*needs) or not known(test):
        return ""
    margin = enable_margin(test)
    if np.isnan(margin).all() or (margin >= 0.0).any():
        return ""
    needed = float(np.nanmin(test.wet_bulb) + np.nanmax(margin))
    return ("it was never cold enough for economizer operation; repeat the test when the "
            f"wet bulb is at or below {needed:.0f} °F")
