"""From what is to what is trended: offset, noise, steps, wrong meters, reports on change."""

from __future__ import annotations

import numpy as np

from .model import Fault, Plant

# name ending: (accuracy, noise, display step); relative ones are shares of the reading
KINDS = {
    "wet_bulb": (0.4, 0.06, 0.1), "dry_bulb": (0.4, 0.06, 0.1), "humidity": (2.0, 0.3, 0.1),
    "temp": (0.2, 0.03, 0.1), "pressure": (0.3, 0.02, 0.01), "flow": (0.015, 0.004, 1.0),
    "power": (0.01, 0.003, 0.1), "load": (0.025, 0.006, 0.1), "amps": (0.015, 0.004, 0.1),
    "speed": (0.5, 0.0, 0.1), "valve": (1.0, 0.0, 0.5),
}
RELATIVE = ("flow", "power", "load", "amps")
# increments of a change-of-value log, the same endings; anything else reports every change
INCREMENTS = {
    "wet_bulb": 0.3, "dry_bulb": 0.3, "humidity": 1.0, "temp": 0.1, "pressure": 0.3, "flow": 15.0,
    "power": 2.0, "load": 3.0, "amps": 3.0, "speed": 1.0, "valve": 1.0,
}


def kind_of(name: str) -> str | None:
    return next((k for k in KINDS if name.endswith(k)), None)


class Sensors:
    """All sensors of a plant; a name's readings do not depend on which others are asked."""

    def __init__(self, plant: Plant, fault: Fault, seed: int, minutes: int) -> None:
        self.plant, self.fault, self.seed, self.minutes = plant, fault, seed, minutes

    def errors(self, name: str) -> tuple[np.ndarray, float, float]:
        """(additions, factor, display step) of a sensor."""
        kind = kind_of(name)
        if kind is None:
            return np.zeros(self.minutes), 1.0, 0.0
        accuracy, noise, step = KINDS[kind]
        rng = np.random.default_rng([self.seed, 7, *name.encode()])
        offset = accuracy * float(rng.uniform(-0.6, 0.6))
        steady = rng.normal(0.0, noise, self.minutes)
        if kind in RELATIVE:
            return steady, (1 + offset) * self.fault.scale.get(name, 1.0), step
        return steady + offset + self.fault.offset.get(name, 0.0), 1.0, step

    def reader(self, name: str):
        """A function (minute, true value) -> reading, for the controller's loop."""
        added, factor, step = self.errors(name)
        values = added.tolist()
        relative = kind_of(name) in RELATIVE
        frozen = self.fault.frozen.get(name)
        last = [0.0]

        def read(minute: int, true: float) -> float:
            if frozen and frozen[0] <= minute < frozen[1]:
                return last[0]
            value = true * (factor + values[minute]) if relative else true + values[minute]
            last[0] = round(value / step) * step
            return last[0]

        return read

    def series(self, name: str, true: np.ndarray) -> np.ndarray:
        """Readings of a whole true course, the very ones that ``reader`` gives."""
        added, factor, step = self.errors(name)
        if step == 0.0:
            return np.array(true, float)
        value = true * (factor + added) if kind_of(name) in RELATIVE else true + added
        value = np.round(value / step) * step
        if kind_of(name) in ("speed", "valve"):
            value = np.clip(np.where(true <= 0.0, 0.0, value), 0.0, 100.0)
        if name in self.fault.frozen:
            a, b = self.fault.frozen[name]
            value[a:b] = value[a - 1]
        return np.round(value, 4)


def reports(name: str, readings: np.ndarray) -> np.ndarray:
    """Which minutes a change-of-value log writes: the first, and each beyond the increment."""
    increment = INCREMENTS.get(kind_of(name) or "", 0.0)
    written = np.zeros(len(readings), bool)
    last = None
    for i, value in enumerate(readings.tolist()):
        if last is None or abs(value - last) > max(increment - 1e-9, 0.0) and value != last:
            written[i], last = True, value
    return written
