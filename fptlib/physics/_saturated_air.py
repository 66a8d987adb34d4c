"""Saturation of moist air over ice and over liquid water, and its inverse.

Source: ASHRAE Handbook - Fundamentals (2017), chapter 1, eq. 5 and 6, in degR and psia,
with the two meeting at the triple point instead of at 32 degF.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fptlib.physics._kinds import Array

FREEZING = 32.0
TRIPLE_POINT = 32.018
ABSOLUTE_ZERO = -459.67
MOLAR_MASS_RATIO = 0.621945
LOWEST, HIGHEST = -148.0, 392.0  # range of the two formulas, degF


class Saturation(NamedTuple):
    """ln p = reciprocal/T + sum(powers[i] T^i) + logarithm ln T, psia and degR."""

    reciprocal: float
    powers: tuple[float, ...]
    logarithm: float


OVER_ICE = Saturation(
    -1.0214165e4,
    (-4.8932428, -5.3765794e-3, 1.9202377e-7, 3.5575832e-10, -9.0344688e-14),
    4.1635019,
)
OVER_LIQUID = Saturation(
    -1.0440397e4, (-1.1294650e1, -2.7022355e-2, 1.2890360e-5, -2.4780681e-9), 6.5459673
)


def log_pressure(curve: Saturation, absolute: Array) -> Array:
    total = curve.powers[-1] * absolute
    for power in curve.powers[-2:0:-1]:
        total = (total + power) * absolute
    total += curve.powers[0]
    total += curve.reciprocal / absolute
    total += curve.logarithm * np.log(absolute)
    return total


def log_slope(curve: Saturation, absolute: Array) -> Array:
    """Derivative of ``log_pressure`` by absolute temperature."""
    powers = curve.powers
    total = (len(powers) - 1) * powers[-1] * absolute
    for exponent in range(len(powers) - 2, 1, -1):
        total = (total + exponent * powers[exponent]) * absolute
    total += powers[1]
    total += (curve.logarithm - curve.reciprocal / absolute) / absolute
    return total


def vapor_pressure(temperature: Array | float) -> Array:
    """Vapor pressure [psia] over ice up to the triple point, over liquid above it."""
    absolute = np.asarray(temperature) - ABSOLUTE_ZERO
    frozen = absolute <= TRIPLE_POINT - ABSOLUTE_ZERO
    if frozen.all():
        return np.exp(log_pressure(OVER_ICE, absolute))
    logarithm = log_pressure(OVER_LIQUID, absolute)
    if frozen.any():
        logarithm[frozen] = log_pressure(OVER_ICE, absolute[frozen])
    return np.exp(logarithm)


def ratio_of(vapor: Array, pressure: Array) -> Array:
    """Humidity ratio of a vapor pressure."""
    return MOLAR_MASS_RATIO * vapor / (pressure - vapor)


def saturation_temperature(vapor: Array) -> Array:
    """Inverse of ``vapor_pressure``."""
    freezes = vapor <= vapor_pressure(TRIPLE_POINT)
    return np.where(freezes, _temperature(OVER_ICE, vapor), _temperature(OVER_LIQUID, vapor))


def _temperature(curve: Saturation, vapor: Array) -> Array:
    """Newton in ln p against 1/T, nearly a straight line."""
    wanted = np.log(vapor)
    inverse = 1.0 / (TRIPLE_POINT - ABSOLUTE_ZERO) - (wanted + 2.42) / 11_000.0
    for _ in range(6):
        absolute = 1.0 / inverse
        miss = log_pressure(curve, absolute) - wanted
        inverse = inverse + miss / (log_slope(curve, absolute) * absolute**2)
    return 1.0 / inverse + ABSOLUTE_ZERO
