"""Invented winter weather, minute by minute: the wet bulb crosses the changeover both ways.

Each day has a low near half past six and a high near two in the afternoon. Humidity is
chosen so that the wet bulb is the same at every altitude; so are the changeovers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_trends.generator.air import (
    humidity_ratio_wet,
    relative_humidity,
    station_pressure,
    wet_bulb,
)
from sample_trends.generator.noise import Chance, ease

DAY = 1440
_LOW_MINUTE, _HIGH_MINUTE = 390, 840

# (low, high) of each day [degF].
_DAYS = {
    "changing": (
        (49, 66), (30, 59), (28, 57), (29, 58), (24, 38), (15, 31), (21, 59),
        (49, 65), (30, 57), (27, 57), (20, 36), (17, 33), (24, 58), (31, 64),
        (48, 60), (47, 60),
    ),
    "hovering": ((41, 44),) * 16,
}


@dataclass(frozen=True)
class Weather:
    """Outdoor air, one value a minute: degF, %, psia."""

    dry: np.ndarray
    wet: np.ndarray
    humidity: np.ndarray
    pressure: np.ndarray


def weather(kind: str, days: int, altitude: float, chance: Chance) -> Weather:
    """The weather of a scenario."""
    count = days * DAY
    dry = _dry_bulb(_DAYS[kind], count) + chance.slow("dry", count, 0.5, 150)
    wanted = dry - _depression(dry) + chance.slow("wet", count, 0.25, 200)
    if kind == "hovering":
        wanted += _swing(count)
    pressure = station_pressure(altitude)
    ratio = humidity_ratio_wet(dry, np.minimum(wanted, dry - 0.3), pressure)
    wet = wet_bulb(dry, ratio, pressure)
    swing = chance.slow("pressure", count, 0.05, 900)
    return Weather(dry, wet, relative_humidity(dry, ratio, pressure), pressure + swing)


def _dry_bulb(days: tuple, count: int) -> np.ndarray:
    knots, values = [-540.0], [days[0][1] - 2.0]
    for day in range(count // DAY + 2):
        low, high = days[day % len(days)]
        knots += [day * DAY + _LOW_MINUTE, day * DAY + _HIGH_MINUTE]
        values += [low, high]
    return ease(np.array(knots), np.array(values, dtype=float), np.arange(count, dtype=float))


def _swing(count: int) -> np.ndarray:
    """Up and down by 3 degF every three and a half hours."""
    turn = np.abs((np.arange(count, dtype=float) / 210.0) % 1.0 - 0.5)
    return 12.0 * (turn - 0.25)


def _depression(dry: np.ndarray) -> np.ndarray:
    """Wet bulb below dry bulb: little in the cold, much on a mild, dry afternoon."""
    return np.maximum(1.5, 4.0 + 0.42 * (dry - 30.0))
