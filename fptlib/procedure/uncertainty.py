"""Sensor errors as they enter a verdict: one shared variable per sensor.

A sensor's error is the same in every place its reading is used, so it cancels where the
same reading enters twice. Accuracy limits are rectangular (u = a / sqrt 3), resolution is
(u = r / sqrt 12), as JCGM 100:2008 4.3.7 has it, from memory. Expanded uncertainty is k = 2.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from fptlib import points
from fptlib.physics import moist_air, water
from fptlib.physics.errors import ImpossibleState
from fptlib.physics.refrigerant import ESTIMATED
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import between_rows, median

COVERAGE = 2.0

# Samples to either side of a moment that show how a value swings between them, and hours in which
# a swing as long as the samples' interval shows itself (common practice, no source).
NEARBY, SWING_HOURS = 3, 3.0


def standard(test: FunctionalTest, name: str, reading: float = 0.0) -> float:
    """Standard uncertainty of one reading of a point, in the point's unit."""
    sensor = test.sensor(name)
    half_width = sensor.accuracy * (abs(reading) if sensor.relative else 1.0)
    return math.hypot(half_width / math.sqrt(3.0), sensor.resolution / math.sqrt(12.0))


def expanded(test: FunctionalTest, weights: Mapping[str, float]) -> float:
    """Expanded uncertainty of a weighted sum of readings, one weight per sensor.

    For sensors with an absolute accuracy. A sensor that enters twice has its weights added
    first: that is how its error cancels.
    """
    return COVERAGE * math.hypot(*(w * standard(test, name) for name, w in weights.items()))


def propagated(test: FunctionalTest, function: Callable[..., np.ndarray],
               readings: Mapping[str, float]) -> float:
    """Expanded uncertainty of ``function(**readings)``, by central differences.

    Each argument is the reading of the point of that name. ``function`` takes arrays, is
    smooth over the sensors' accuracy (first order, JCGM 100:2008 5.1.2, from memory), and is
    called once with every reading moved up and down in turn.

    Raises:
        ImpossibleState: within the sensors' accuracy there is no value.
    """
    moved = {name: np.full(2 * len(readings), value) for name, value in readings.items()}
    for at, (name, value) in enumerate(readings.items()):
        moved[name][2 * at : 2 * at + 2] += np.array([1.0, -1.0]) * standard(test, name, value)
    up, down = np.reshape(function(**moved), (-1, 2)).T
    if np.isnan(up - down).any():
        raise ImpossibleState("within the sensors' accuracy there is no such state")
    return COVERAGE * math.hypot(*((up - down) / 2.0))


def resolution(test: FunctionalTest, *names: str) -> float:
    """Expanded uncertainty from the display steps alone.

    For what a controller does with its own readings: its sensors' errors are in both the
    readings and the action, so only the rounding of the trends is left.
    """
    steps = [test.sensor(name).resolution for name in names]
    return COVERAGE * math.hypot(*(step / math.sqrt(12.0) for step in steps))


def of_load(test: FunctionalTest, rows: np.ndarray) -> float:
    """Expanded uncertainty of the load by flow and temperatures, as a share of it, at the median
    of some rows."""
    usual = {name: median(test[name][rows])
             for name in ("chw_flow", "chw_return_temp", "chw_supply_temp")}

    def tons(chw_flow: np.ndarray, chw_return_temp: np.ndarray, chw_supply_temp: np.ndarray
             ) -> np.ndarray:
        return np.asarray(water.load(chw_flow, chw_return_temp, chw_supply_temp,
                                     *test.plant.fluid("chw")))

    return propagated(test, tons, usual) / float(tons(
        **{name: np.array(value) for name, value in usual.items()}))


def as_estimated(refrigerant: str) -> str:
    """What is said of a number that rests on an estimated curve; nothing of the others."""
    if not (share := ESTIMATED.get(refrigerant)):
        return ""
    return f"; saturation of {refrigerant} is an estimate, within {100 * share:.0f} %"


@cached
def calculated_wet_bulb(test: FunctionalTest) -> float:
    """Expanded uncertainty of the calculated wet bulb at the trends' median [degF]."""
    pressure = median(np.atleast_1d(test.pressure))

    def wet_bulb(outdoor_dry_bulb: np.ndarray, outdoor_humidity: np.ndarray) -> np.ndarray:
        # A step of the sensor's error may leave the range that air can have.
        possible = np.clip(outdoor_humidity, 0.0, 100.0)
        return np.asarray(moist_air.wet_bulb(outdoor_dry_bulb, possible, pressure))

    return propagated(test, wet_bulb, {
        name: median(test[name]) for name in ("outdoor_dry_bulb", "outdoor_humidity")})


def wet_bulb(test: FunctionalTest) -> float:
    """Expanded uncertainty of the wet bulb in use [degF]."""
    if test.wet_bulb_point == "outdoor_wet_bulb":
        return expanded(test, {"outdoor_wet_bulb": 1.0})
    return calculated_wet_bulb(test)


def added(*weights: Mapping[str, float]) -> dict[str, float]:
    """The weight of each reading in a sum of quantities."""
    return {name: sum(each.get(name, 0.0) for each in weights)
            for name in dict.fromkeys(name for each in weights for name in each)}


@dataclass(frozen=True, slots=True)
class AtMoment:
    """A trend's ``value`` at a moment, by how much it ``moved`` around it to either side, and how
    far it may have been away ``between`` samples; NaN where there are too few of them to tell."""

    value: float
    moved: float
    between: float


def at_moment(test: FunctionalTest, point: str, time: datetime) -> AtMoment | None:
    """The trend at a moment: on the line between the samples before and after it where they are
    rows of a momentary value, else that of its row; ``None`` where that is a gap."""
    row, every = test.grid.row(time), test.sample_interval(point)
    if not test.has(point) or not 0 <= row < len(test):
        return None
    values = test.grid.columns[point]
    if math.isnan(value := float(values[row])):
        return None
    near = values[test.window(row - test.rows(every), row + test.rows(every) + 1)]
    between = between_rows(near, every)
    # A meter's trend is a mean.
    if test.minutes <= 1.0 or every != test.minutes or points.point(point).unit == "kW":
        known = near[~np.isnan(near)]
        return AtMoment(value, float(np.ptp(known)) / 2.0, between)
    if row + 1 < len(test) and not math.isnan(values[row + 1]):
        past = (time - test.time(row)).total_seconds() / 60.0 / test.minutes
        value += past * float(values[row + 1] - values[row])
    # Half the sharpest bend of the samples around holds the swing of anything slower than two
    # samples. A faster one may look like none for a while: nine tenths of the bends of the hours
    # around it count, too.
    few, many = (np.abs(np.diff(values[test.window(row - rows, row + rows + 2)], n=2))
                 for rows in (NEARBY, test.rows(SWING_HOURS * 60.0)))
    bend = math.inf if np.isnan(few).all() else max(
        float(np.nanmax(few)), float(np.nanquantile(many, 0.9))) / 2.0
    return AtMoment(value, 0.0, math.nan if math.isnan(between) else bend)
