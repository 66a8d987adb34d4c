"""Tower and exchanger approach, stated or observed, and the enable condition made of them.

Observed near changeover, in steady state, at full fan speed. The rule that picks the minutes is
common practice, no source: economizer run with the setpoint recovered, wet bulb within three
degrees of one at which the plant changed over, condenser water within half a degree over a
quarter of an hour, load of at least the share of the exchanger's design load that the limits ask
for, and, for the tower, every running fan at full speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.job.schema import Approach
from fptlib.procedure import uncertainty
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotTested

NEAR_CHANGEOVER = 3.0
STEADY_BAND = 0.5
STEADY_MINUTES = 15.0
FEWEST_MINUTES = 30.0
SLOPE_SPAN = 3.0


@dataclass(frozen=True, slots=True)
class Observed:
    """An observed approach with the conditions it holds for.

    ``value`` and ``spread`` (5th to 95th percentile) in degF, ``tolerance`` what the
    spread recommends; load in tons, wet bulb and range in degF, fan speed in %.
    Conditions that are not trended are NaN. ``slope`` is how the approach changes with the
    wet bulb [degF per degF], NaN where the wet bulb hardly moved.
    """

    value: float
    spread: float
    tolerance: float
    minutes: float
    wet_bulb: float
    load: float
    range: float
    fan_speed: float
    cells: float
    slope: float

    def __str__(self) -> str:
        parts = [f"{self.minutes:.0f} steady minutes", f"spread {self.spread:.1f} °F",
                 f"wet bulb {self.wet_bulb:.1f} °F"]
        parts += [f"{text} {value:.{digits}f} {unit}" for text, value, digits, unit in (
            ("load", self.load, 0, "tons"), ("range", self.range, 1, "°F"),
            ("fan speed", self.fan_speed, 0, "%"), ("cells", self.cells, 0, "running"),
            ("slope", self.slope, 2, "°F per °F of wet bulb"),
        ) if np.isfinite(value)]
        return ", ".join(parts)


@cached
def tower(test: FunctionalTest) -> Approach | None:
    """Tower approach [degF]: as the job states it, else as observed, else ``None``."""
    if test.plant.tower_approach:
        return test.plant.tower_approach
    found = observe_tower(test)
    return None if found is None else Approach(found.value, "observed", str(found))


@cached
def exchanger(test: FunctionalTest) -> Approach | None:
    """Exchanger approach [degF]: as the job states it, else as observed, else ``None``."""
    if test.plant.exchanger_approach:
        return test.plant.exchanger_approach
    found = observe_exchanger(test)
    return None if found is None else Approach(found.value, "observed", str(found))


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


# -- the enable condition ------------------------------------------------------------------


@cached
def needed_setpoint(test: FunctionalTest) -> np.ndarray:
    """The lowest reset setpoint at which the enable condition holds [degF].

    Wet bulb + tower approach + tolerance + exchanger approach + tolerance.
    """
    adders = (need_tower(test) + test.limits["enable.tower_tolerance"]
              + need_exchanger(test) + test.limits["enable.exchanger_tolerance"])
    return test.wet_bulb + adders


@cached
def enable_margin(test: FunctionalTest) -> np.ndarray:
    """Reset setpoint minus the needed one [degF]; the condition holds from zero up.

    Rounded, or the sums of tenths would part what is equal by a last binary digit.
    """
    return np.round(test.reset_setpoint - needed_setpoint(test), 6)


@cached
def enable_uncertainty(test: FunctionalTest) -> float:
    """Expanded uncertainty of the enable margin [degF].

    What the approaches were observed with enters twice with opposite signs and cancels; where
    one sensor reads the condenser water of both, the exchanger's leaving sensor alone remains.
    An approach taken from design cancels nothing.
    """
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
    if approach is None or approach.basis != "observed":
        return {}
    return {"cw_supply_temp": 1.0, "wet_bulb": -1.0}


def exchanger_sensors(test: FunctionalTest) -> dict[str, float]:
    """The readings in the exchanger approach with their weights; none unless observed."""
    approach = exchanger(test)
    if approach is None or approach.basis != "observed":
        return {}
    return {"hx_chw_leaving_temp": 1.0, _entering(test): -1.0}


# -- as observed ---------------------------------------------------------------------------


def observe_tower(test: FunctionalTest) -> Observed | None:
    """Condenser water leaving the towers minus wet bulb, at full fan speed."""
    if test.missing("wet_bulb", "cw_supply_temp"):
        return None
    approach = test["cw_supply_temp"] - test.wet_bulb
    return _observed(test, approach, qualifying(test) & full_fans(test))


def observe_exchanger(test: FunctionalTest) -> Observed | None:
    """Chilled water leaving minus condenser water entering the exchanger."""
    entering = _entering(test)
    if test.missing("hx_chw_leaving_temp", entering, "cw_supply_temp"):
        return None
    return _observed(test, test["hx_chw_leaving_temp"] - test[entering], qualifying(test))


def _entering(test: FunctionalTest) -> str:
    return "hx_cw_entering_temp" if test.has("hx_cw_entering_temp") else "cw_supply_temp"


def qualifying(test: FunctionalTest) -> np.ndarray:
    """The rows the rule picks, without the condition on the fans."""
    rows = test.within(test.settled(run) for run in test.runs)
    rows &= _steady(test["cw_supply_temp"], test.rows(STEADY_MINUTES))
    if not test.missing("wet_bulb"):
        changed = test.wet_bulb[[request.row for request in test.requests]]
        if not np.isnan(changed).all():
            rows &= ((test.wet_bulb >= np.nanmin(changed) - NEAR_CHANGEOVER)
                     & (test.wet_bulb <= np.nanmax(changed) + NEAR_CHANGEOVER))
    if not test.missing("load") and test.plant.exchanger.load:
        rows &= test.load >= test.limits["conditions.load_low"] / 100.0 * test.plant.exchanger.load
    return rows


def _steady(values: np.ndarray, rows: int) -> np.ndarray:
    """Where the last so many rows, without a gap, lie within the band."""
    steady = np.zeros(len(values), dtype=bool)
    if len(values) >= rows:
        window = sliding_window_view(values, rows)
        steady[rows - 1 :] = window.max(axis=1) - window.min(axis=1) <= STEADY_BAND
    return steady


def full_fans(test: FunctionalTest) -> np.ndarray:
    """Rows in which every running fan is at full speed; none where speed is not trended."""
    return _fan_speeds(test, np.fmin) >= test.limits["exit.fans_at_maximum"]


def _fan_speeds(test: FunctionalTest, over: np.ufunc) -> np.ndarray:
    """Speed over the turning fans by ``over`` [%]; NaN where none is known to turn."""
    speeds = [test[name] for n in test.tower_numbers
              if test.has(name := f"tower_{n}_fan_speed")]
    turning = [np.where(speed > 1.0, speed, np.nan) for speed in speeds]
    return over.reduce(turning, axis=0) if turning else np.full(len(test), np.nan)


def _observed(test: FunctionalTest, approach: np.ndarray, rows: np.ndarray) -> Observed | None:
    rows = rows & ~np.isnan(approach)
    values = approach[rows]
    if len(values) * test.minutes < FEWEST_MINUTES:
        return None
    low, middle, high = np.percentile(values, [5, 50, 95])
    water_range = math.nan if test.missing("cw_return_temp") else median(
        (test["cw_return_temp"] - test["cw_supply_temp"])[rows])
    # Half the spread covers nineteen of twenty minutes; never less than half a degree.
    return Observed(
        round(float(middle), 2), float(high - low), max(0.5, float(high - middle)),
        len(values) * test.minutes,
        math.nan if test.missing("wet_bulb") else median(test.wet_bulb[rows]),
        math.nan if test.missing("load") else median(test.load[rows]),
        water_range, *_fans(test, rows), _slope(test, values, rows))


def _fans(test: FunctionalTest, rows: np.ndarray) -> tuple[float, float]:
    """Median of the turning fans' mean speed [%] and of their number."""
    names = [name for n in test.tower_numbers if test.has(name := f"tower_{n}_fan_speed")]
    if not names:
        return math.nan, math.nan
    speeds = np.array([test[name][rows] for name in names])
    turning = speeds > 1.0
    count = turning.sum(axis=0)
    total = np.where(turning, speeds, 0.0).sum(axis=0)
    mean = np.divide(total, count, out=np.full(len(count), np.nan), where=count > 0)
    return median(mean), float(np.median(count))


def _slope(test: FunctionalTest, values: np.ndarray, rows: np.ndarray) -> float:
    if test.missing("wet_bulb"):
        return math.nan
    air = test.wet_bulb[rows]
    if np.nanmax(air) - np.nanmin(air) < SLOPE_SPAN:
        return math.nan
    return float(np.polyfit(air, values, 1)[0])
