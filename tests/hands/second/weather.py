"""Outdoor air of the second plant: weeks of typical years, made winters, and moist air.

Temperatures are °F, pressures psia, humidity ratios lb/lb. Moist-air formulas: ASHRAE
Handbook, Fundamentals, ch. 1 (saturation over water and ice, wet-bulb equations 33 and 35).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

WEEKS = Path(__file__).parent.parent / "data" / "winter_weeks.csv"


@dataclass(frozen=True)
class Air:
    """Outdoor air minute by minute."""

    dry_bulb: np.ndarray
    humidity: np.ndarray
    wet_bulb: np.ndarray
    pressure: np.ndarray


def saturation_pressure(t):
    """Pressure of saturated vapor, psia, over water above 32 °F and over ice below."""
    t = np.asarray(t, float)
    k = t + 459.67
    water = np.exp(
        -1.0440397e4 / k - 1.1294650e1 - 2.7022355e-2 * k + 1.2890360e-5 * k**2
        - 2.4780681e-9 * k**3 + 6.5459673 * np.log(k)
    )
    ice = np.exp(
        -1.0214165e4 / k - 4.8932428 - 5.3765794e-3 * k + 1.9202377e-7 * k**2
        + 3.5575832e-10 * k**3 - 9.0344688e-14 * k**4 + 4.1635019 * np.log(k)
    )
    return np.where(t > 32.0, water, ice)


def saturated(t, pressure):
    """Humidity ratio of saturated air."""
    vapor = saturation_pressure(t)
    return 0.621945 * vapor / (pressure - vapor)


def _ratio_of_wet_bulb(dry, wet, pressure, ice):
    full = saturated(wet, pressure)
    if ice:
        return ((1220 - 0.04 * wet) * full - 0.240 * (dry - wet)) / (
            1220 + 0.444 * dry - 0.48 * wet
        )
    return ((1093 - 0.556 * wet) * full - 0.240 * (dry - wet)) / (1093 + 0.444 * dry - wet)


def wet_bulb(dry, ratio, pressure):
    """Wet bulb of air; of two answers about 32 °F the liquid one."""
    dry, ratio = np.asarray(dry, float), np.asarray(ratio, float)
    answers = []
    for ice in (False, True):
        low, high = dry - 60.0, dry.copy()
        for _ in range(26):
            middle = (low + high) / 2
            over = _ratio_of_wet_bulb(dry, middle, pressure, ice) > ratio
            low, high = np.where(over, low, middle), np.where(over, middle, high)
        answers.append((low + high) / 2)
    return np.where(answers[0] > 32.0, answers[0], np.minimum(answers[1], 32.0))


@cache
def _week(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    with WEEKS.open() as handle:
        rows = [r for r in csv.reader(handle) if r[0] == name]
    numbers = np.array([[float(x) for x in r[3:]] for r in rows])
    return numbers[:, 0] * 1.8 + 32, numbers[:, 1], numbers[:, 2] / 6894.757293168


def _made(days: int, seed: int, mean: float, swing: float, damp: float, altitude: float):
    """A winter of fronts and days, hourly: mean and daily swing °F, mean humidity %."""
    rng = np.random.default_rng(seed)
    hour = np.arange(days * 24 + 24)
    front = sum(
        a * np.sin(2 * np.pi * (hour / (24 * d) + rng.uniform()))
        for a, d in ((4.0, 7.1), (3.0, 4.3), (2.0, 2.9))
    )
    dry = mean + front - swing / 2 * np.cos(2 * np.pi * (hour - 4) / 24)
    humidity = np.clip(damp - 1.6 * (dry - mean) + 6 * np.sin(2 * np.pi * hour / 61), 12, 96)
    standard = 14.696 * (1 - 6.8754e-6 * altitude) ** 5.2559
    return dry, humidity, np.full(hour.shape, standard)


def _smooth(hourly, minutes: int):
    """Cubic (Catmull-Rom) course through hourly values, one a minute."""
    at = np.arange(minutes) / 60.0
    i = np.minimum(at.astype(int), len(hourly) - 2)
    x = at - i
    p = [hourly[np.clip(i + k, 0, len(hourly) - 1)] for k in (-1, 0, 1, 2)]
    a, b = (p[2] - p[0]) / 2, (p[3] - p[1]) / 2
    return (
        (2 * x**3 - 3 * x**2 + 1) * p[1] + (x**3 - 2 * x**2 + x) * a
        + (3 * x**2 - 2 * x**3) * p[2] + (x**3 - x**2) * b
    )


def wander(rng, minutes: int, sigma: float, minutes_of_memory: float):
    """A slow random course of mean 0 (first-order, exact standard deviation)."""
    keep = np.exp(-1.0 / minutes_of_memory)
    kick = rng.normal(0, sigma * np.sqrt(1 - keep**2), minutes).tolist()
    out, value = [], float(rng.normal(0, sigma))
    for k in kick:
        value = keep * value + k
        out.append(value)
    return np.array(out)


def air(source: str, minutes: int, seed: int, warmer: float = 0.0, first: int = 0) -> Air:
    """Minutes of outdoor air.

    ``source`` is a week of the data file ("denver_03") or "made:mean:swing:damp:altitude".
    ``warmer`` is added to the dry bulb, °F; the first row is ``first`` hours into the week.
    """
    if source.startswith("made:"):
        mean, swing, damp, altitude = (float(x) for x in source.split(":")[1:])
        dry, humidity, pressure = _made(minutes // 1440, seed, mean, swing, damp, altitude)
    else:
        dry, humidity, pressure = _week(source)
    dry, humidity, pressure = dry[first:], humidity[first:], pressure[first:]
    rng = np.random.default_rng([seed, 11])
    ratio = humidity / 100 * saturated(dry, pressure)
    dry = _smooth(dry, minutes) + warmer + wander(rng, minutes, 0.25, 20)
    pressure = _smooth(pressure, minutes)
    full = saturated(dry, pressure)
    ratio = _smooth(ratio, minutes) * (1 + wander(rng, minutes, 0.008, 25))
    ratio = np.clip(ratio, 0.08 * full, 0.995 * full)
    vapor = pressure * ratio / (0.621945 + ratio)
    humid = 100 * vapor / saturation_pressure(dry)
    return Air(dry, humid, wet_bulb(dry, ratio, pressure), pressure)
