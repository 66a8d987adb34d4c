"""Saturation of moist air over ice and over liquid water, and its inverse.

Source: ASHRAE Handbook - Fundamentals (2017), chapter 1, eq. 5 and 6, with the two
meeting at the triple point instead of at 32 degF. The handbook prints every equation
twice, and its inch-pound and SI constants are rounded differently: ``FORMS`` keeps both.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from fptlib.physics._kinds import Array

FREEZING = 32.0
TRIPLE_POINT = 32.018
ABSOLUTE_ZERO = -459.67
MOLAR_MASS_RATIO = 0.621945
PA_PER_PSI = 6894.757293168
LOWEST, HIGHEST = -148.0, 392.0  # range of the two formulas, degF


class Saturation(NamedTuple):
    """ln p = reciprocal/T + sum(powers[i] T^i) + logarithm ln T, psia and degR."""

    reciprocal: float
    powers: tuple[float, ...]
    logarithm: float


class Wick(NamedTuple):
    """(latent - slope wb) Ws - dry (db - wb) = W (total + vapor db - sensible wb)."""

    latent: float
    slope: float
    dry: float
    total: float
    vapor: float
    sensible: float


class Form(NamedTuple):
    """The equations as printed in one system of units, all carried in degF and psia."""

    over_liquid: Saturation
    over_ice: Saturation
    liquid_wick: Wick
    ice_wick: Wick


def _saturation_from_si(
    reciprocal: float, powers: tuple[float, ...], logarithm: float
) -> Saturation:
    """The curve printed in K and Pa, in degR and psia."""
    constant = powers[0] - math.log(PA_PER_PSI) - logarithm * math.log(1.8)
    scaled = (power / 1.8**i for i, power in enumerate(powers[1:], start=1))
    return Saturation(1.8 * reciprocal, (constant, *scaled), logarithm)


def _wick_from_si(latent: float, slope: float, sensible: float) -> Wick:
    """The balance printed in degC and kJ/kg, in degF; dry air 1.006, vapor 1.86 kJ/kg.K."""
    slope, sensible, dry, vapor = (each / 1.8 for each in (slope, sensible, 1.006, 1.86))
    total = latent + (sensible - vapor) * FREEZING
    return Wick(latent + slope * FREEZING, slope, dry, total, vapor, sensible)


FORMS = {
    "inch-pound": Form(
        Saturation(
            -1.0440397e4,
            (-1.1294650e1, -2.7022355e-2, 1.2890360e-5, -2.4780681e-9),
            6.5459673,
        ),
        Saturation(
            -1.0214165e4,
            (-4.8932428, -5.3765794e-3, 1.9202377e-7, 3.5575832e-10, -9.0344688e-14),
            4.1635019,
        ),
        Wick(1093.0, 0.556, 0.240, 1093.0, 0.444, 1.0),  # eq. 33
        Wick(1220.0, 0.04, 0.240, 1220.0, 0.444, 0.48),  # eq. 35
    ),
    "SI": Form(
        _saturation_from_si(
            -5.8002206e3, (1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8), 6.5459673
        ),
        _saturation_from_si(
            -5.6745359e3,
            (6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13),
            4.1635019,
        ),
        _wick_from_si(2501.0, 2.326, 4.186),  # eq. 33
        _wick_from_si(2830.0, 0.24, 2.1),  # eq. 35
    ),
}
INCH_POUND = FORMS["inch-pound"]


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


def vapor_pressure(temperature: Array | float, form: Form = INCH_POUND) -> Array:
    """Vapor pressure [psia] over ice up to the triple point, over liquid above it."""
    absolute = np.asarray(temperature) - ABSOLUTE_ZERO
    frozen = absolute <= TRIPLE_POINT - ABSOLUTE_ZERO
    if frozen.all():
        return np.exp(log_pressure(form.over_ice, absolute))
    logarithm = log_pressure(form.over_liquid, absolute)
    if frozen.any():
        logarithm[frozen] = log_pressure(form.over_ice, absolute[frozen])
    return np.exp(logarithm)


def ratio_of(vapor: Array, pressure: Array) -> Array:
    """Humidity ratio of a vapor pressure."""
    return MOLAR_MASS_RATIO * vapor / (pressure - vapor)


def saturation_temperature(vapor: Array) -> Array:
    """Inverse of ``vapor_pressure``."""
    freezes = vapor <= vapor_pressure(TRIPLE_POINT)
    frozen = _temperature(INCH_POUND.over_ice, vapor)
    return np.where(freezes, frozen, _temperature(INCH_POUND.over_liquid, vapor))


def _temperature(curve: Saturation, vapor: Array) -> Array:
    """Newton in ln p against 1/T, nearly a straight line."""
    wanted = np.log(vapor)
    inverse = 1.0 / (TRIPLE_POINT - ABSOLUTE_ZERO) - (wanted + 2.42) / 11_000.0
    for _ in range(6):
        absolute = 1.0 / inverse
        miss = log_pressure(curve, absolute) - wanted
        inverse = inverse + miss / (log_slope(curve, absolute) * absolute**2)
    return 1.0 / inverse + ABSOLUTE_ZERO
