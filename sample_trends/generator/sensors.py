"""Sensors: what the building system reads of the truth, with noise, steps and faults."""

from __future__ import annotations

import numpy as np

from sample_trends.generator.noise import Chance
from sample_trends.generator.scenario import SensorError

DAY = 1440
# By the last word of a point's name: (standard deviation, relative part, decimals).
_KINDS = {
    "temp": (0.02, 0.0, 1),
    "bulb": (0.02, 0.0, 1),
    "setpoint": (0.0, 0.0, 2),
    "humidity": (0.15, 0.0, 1),
    "pressure": (0.03, 0.0, 2),
    "flow": (0.5, 0.002, 0),
    "power": (0.05, 0.002, 1),
    "amps": (0.1, 0.002, 1),
    "speed": (0.0, 0.0, 1),
    "valve": (0.0, 0.0, 0),
    "load": (0.1, 0.002, 1),
}


class Sensor:
    """One sensor over the whole time; ``read`` gives the minute's reading."""

    def __init__(self, point: str, count: int, chance: Chance, error: SensorError) -> None:
        spread, self._relative, self._decimals = _KINDS.get(_kind(point), (0.0, 0.0, 0))
        self._noise = chance.bell(point, count, 1.0)
        self._added = (spread * self._noise + error.bias).tolist()
        self._spread = spread
        self._error = error
        self._kept: float | None = None

    def read(self, minute: int, truth: float) -> float:
        """The reading of one minute."""
        stuck = self._error.stuck
        if stuck and stuck[0] * DAY <= minute < stuck[1] * DAY and self._kept is not None:
            return self._kept
        self._kept = round(truth * self._error.factor + self._added[minute], self._decimals)
        return self._kept

    def read_all(self, truth: np.ndarray) -> np.ndarray:
        """Every reading at once, for points the controller does not use."""
        values = truth * self._error.factor * (1.0 + self._relative * self._noise)
        at_rest = (truth == 0.0) & (self._error.bias == 0.0)
        values = np.where(at_rest, 0.0, values + self._error.bias + self._spread * self._noise)
        return self._hold(np.round(values, self._decimals) + 0.0)

    def _hold(self, values: np.ndarray) -> np.ndarray:
        if self._error.stuck:
            first, last = (int(day * DAY) for day in self._error.stuck)
            values[first:last] = values[first]
        return values


def decimals(point: str) -> int:
    """How many decimals a point is trended with."""
    return _KINDS.get(_kind(point), (0.0, 0.0, 0))[2]


def _kind(point: str) -> str:
    for ending in ("running", "command", "active", "alarm"):
        if point.endswith(ending):
            return "status"
    return point.rsplit("_", 1)[-1]
