"""Moist air at station pressure: its wet bulb, on both branches of the wick.

The energy balance of a liquid wick (eq. 33) and that of an ice wick (eq. 35) differ at 32 degF
by the heat of fusion, so near there one dry bulb and humidity have two wet bulbs.
``wet_bulb`` gives the liquid one, the higher and for the enable test the safer of the two.

Equations and constants: ASHRAE Handbook - Fundamentals (2017), chapter 1, inch-pound form. The
handbook rounds its SI form differently: its wet bulb is up to 0.03 degF higher.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fptlib.physics._arrays import Array, Flags, Quantity, floats, in_blocks
from fptlib.physics.errors import ImpossibleState

FREEZING = 32.0
TRIPLE_POINT = 32.018  # where the two curves meet; the handbook has them meet at 32 degF
ABSOLUTE_ZERO = -459.67
MOLAR_MASS_RATIO = 0.621945
LOWEST, HIGHEST = -148.0, 392.0  # range of the two curves, degF

_SETTLED = 5e-3  # degF; Newton's error after such a step is below 5e-7 degF


class Curve(NamedTuple):
    """Saturation: ln p = reciprocal/T + sum(powers[i] T^i) + logarithm ln T, psia and degR."""

    reciprocal: float
    powers: tuple[float, ...]
    logarithm: float

    def log_pressure(self, absolute: Array) -> Array:
        """Logarithm of the pressure at an absolute temperature, by the curve's powers."""
        total = self.powers[-1] * absolute
        for power in self.powers[-2:0:-1]:
            total = (total + power) * absolute
        total += self.powers[0]
        total += self.reciprocal / absolute
        total += self.logarithm * np.log(absolute)
        return total

    def log_slope(self, absolute: Array) -> Array:
        """Derivative of ``log_pressure`` by absolute temperature."""
        powers = self.powers
        total = (len(powers) - 1) * powers[-1] * absolute
        for exponent in range(len(powers) - 2, 1, -1):
            total = (total + exponent * powers[exponent]) * absolute
        total += powers[1]
        total += (self.logarithm - self.reciprocal / absolute) / absolute
        return total


class Wick(NamedTuple):
    """(latent - slope wb) Ws - dry (db - wb) = W (total + vapor db - sensible wb)."""

    latent: float
    slope: float
    dry: float
    total: float
    vapor: float
    sensible: float

    def ratio(self, dry_bulb: Quantity, wet_bulb: Quantity, pressure: Quantity) -> Array:
        """Humidity ratio W that the balance gives."""
        saturated = humidity_ratio(vapor_pressure(wet_bulb), pressure)
        gain = (self.latent - self.slope * wet_bulb) * saturated - self.dry * (dry_bulb - wet_bulb)
        return gain / (self.total + self.vapor * dry_bulb - self.sensible * wet_bulb)


OVER_ICE = Curve(  # eq. 5
    -1.0214165e4,
    (-4.8932428, -5.3765794e-3, 1.9202377e-7, 3.5575832e-10, -9.0344688e-14), 4.1635019)
OVER_LIQUID = Curve(  # eq. 6
    -1.0440397e4, (-1.1294650e1, -2.7022355e-2, 1.2890360e-5, -2.4780681e-9), 6.5459673)
LIQUID_WICK = Wick(1093.0, 0.556, 0.240, 1093.0, 0.444, 1.0)  # eq. 33
ICE_WICK = Wick(1220.0, 0.04, 0.240, 1220.0, 0.444, 0.48)  # eq. 35


def vapor_pressure(temperature: Quantity) -> Array:
    """Vapor pressure of saturated air, over ice up to the triple point, over liquid above it.

    Args:
        temperature [degF]: scalar or array, -148 to 392.

    Returns:
        Vapor pressure [psia].

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 5 and 6.

    >>> round(float(vapor_pressure(77.0)), 5)
    0.45966
    """
    absolute = np.asarray(temperature, dtype=float) - ABSOLUTE_ZERO
    frozen = absolute <= TRIPLE_POINT - ABSOLUTE_ZERO
    if frozen.all():
        return np.exp(OVER_ICE.log_pressure(absolute))
    logarithm = OVER_LIQUID.log_pressure(absolute)
    if frozen.any():
        logarithm[frozen] = OVER_ICE.log_pressure(absolute[frozen])
    return np.exp(logarithm)


def humidity_ratio(vapor: Quantity, pressure: Quantity) -> Array:
    """Humidity ratio of air with a vapor pressure.

    Args:
        vapor [psia]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Humidity ratio [lb/lb] of water to dry air.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 20.

    >>> round(float(humidity_ratio(0.2375, 14.696)), 5)
    0.01022
    """
    vapor, pressure = floats(vapor, pressure)
    return MOLAR_MASS_RATIO * vapor / (pressure - vapor)


def saturated_enthalpy(temperature: Quantity, pressure: Quantity) -> Array:
    """Enthalpy of air saturated at a temperature, as it stands over tower water.

    Args:
        temperature [degF]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Enthalpy [Btu/lb] of dry air, NaN where the water would boil.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 20 and 30.

    >>> round(float(saturated_enthalpy(78.0, 14.696)), 2)
    41.49
    """
    vapor = vapor_pressure(temperature)
    ratio = humidity_ratio(vapor, np.where(vapor < pressure, pressure, np.nan))
    return 0.240 * temperature + ratio * (1061.0 + 0.444 * temperature)


def wet_bulb(dry_bulb: Quantity, humidity: Quantity, pressure: Quantity) -> Array:
    """Wet bulb from dry bulb and humidity; the liquid one where there are two.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Wet bulb [degF].

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35 solved for the wet bulb.

    >>> round(float(wet_bulb(78.0, 50.0, 14.696)), 3)
    65.018
    """
    liquid, ice = wet_bulb_branches(dry_bulb, humidity, pressure)
    return np.where(np.isnan(liquid), ice, liquid)[()]


def wet_bulb_branches(
    dry_bulb: Quantity, humidity: Quantity, pressure: Quantity
) -> tuple[Array, Array]:
    """Wet bulb of a liquid and of an ice wick.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        The liquid and the ice wet bulb [degF], each NaN where it does not exist.

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35 solved for the wet bulb.

    >>> [round(float(each), 2) for each in wet_bulb_branches(50.0, 8.0, 12.2637)]
    [32.54, 31.37]
    """
    state = np.broadcast_arrays(*floats(dry_bulb, humidity, pressure))
    alone = state[0].ndim == 0
    if alone and _impossible(state[0], state[1], state[2], vapor_pressure(_in_range(state[0]))):
        raise ImpossibleState(
            f"{humidity} %RH at {dry_bulb} degF and {pressure} psia cannot be")
    liquid, ice = in_blocks(_both, *state)
    return liquid, ice


def _both(dry_bulb: Array, humidity: Array, pressure: Array) -> Array:
    """Liquid and ice wet bulb of a block; which exist follows from the balances at 32 degF."""
    saturated = vapor_pressure(_in_range(dry_bulb))
    bad = _impossible(dry_bulb, humidity, pressure, saturated)
    humidity = np.where(bad, np.nan, humidity)
    with np.errstate(divide="ignore"):  # an impossible pressure may be that of the vapor
        ratio = humidity_ratio(humidity * (0.01 * saturated), pressure)
    has_liquid = ratio >= LIQUID_WICK.ratio(dry_bulb, FREEZING, pressure)
    has_ice = ~has_liquid | (ratio < ICE_WICK.ratio(dry_bulb, FREEZING, pressure))
    state = dry_bulb, ratio, pressure
    return np.stack([_solve_where(has_liquid, LIQUID_WICK, *state),
                     _solve_where(has_ice, ICE_WICK, *state)])


def _in_range(temperature: Array) -> Array:
    return np.clip(temperature, LOWEST, HIGHEST)


def _impossible(dry_bulb: Array, humidity: Array, pressure: Array, saturated: Array) -> Flags:
    outside = (dry_bulb < LOWEST) | (dry_bulb > HIGHEST)
    return outside | (pressure <= saturated) | (humidity < 0.0) | (humidity > 100.0)


def _solve_where(
    rows: Flags, wick: Wick, dry_bulb: Array, ratio: Array, pressure: Array
) -> Array:
    """Wet bulb of the wick in some rows, NaN in the others."""
    if rows.all():
        return _solve(wick, dry_bulb, ratio, pressure)
    wet_bulb = np.full(dry_bulb.shape, np.nan)
    if rows.any():
        wet_bulb[rows] = _solve(wick, dry_bulb[rows], ratio[rows], pressure[rows])
    return wet_bulb


def _solve(wick: Wick, dry_bulb: Array, ratio: Array, pressure: Array) -> Array:
    if wick is ICE_WICK:
        return _newton(wick, OVER_ICE, dry_bulb, ratio, pressure)
    wet_bulb = _newton(wick, OVER_LIQUID, dry_bulb, ratio, pressure)
    few = wet_bulb <= TRIPLE_POINT
    if few.any():
        # between 32 degF and the triple point a liquid wick is saturated as over ice
        again = _newton(wick, OVER_ICE, dry_bulb[few], ratio[few], pressure[few])
        wet_bulb[few] = np.clip(again, FREEZING, TRIPLE_POINT)
    return wet_bulb


def _newton(wick: Wick, curve: Curve, dry_bulb: Array, ratio: Array, pressure: Array) -> Array:
    """Solve the energy balance of the wick for all rows at once.

    The balance is convex and its answer never above the dry bulb: held there, a step too
    far comes back without fail.
    """
    wet_bulb = _first_guess(dry_bulb, ratio, pressure)
    offset = wick.dry * dry_bulb + ratio * (wick.total + wick.vapor * dry_bulb)
    slope = wick.dry + wick.sensible * ratio
    for _ in range(20):
        step = _newton_step(wick, curve, wet_bulb, offset, slope, pressure)
        wet_bulb = np.minimum(wet_bulb - step, dry_bulb)
        if not np.any(np.abs(step, out=step) > _SETTLED):
            return wet_bulb
    return np.where(np.abs(step) > _SETTLED, np.nan, wet_bulb)


def _newton_step(
    wick: Wick, curve: Curve, wet_bulb: Array, offset: Array, slope: Array, pressure: Array
) -> Array:
    absolute = wet_bulb - ABSOLUTE_ZERO
    vapor: Array = np.exp(curve.log_pressure(absolute))
    saturated = humidity_ratio(vapor, pressure)
    steepness = curve.log_slope(absolute) * saturated
    steepness *= pressure / (pressure - vapor)
    latent = wick.latent - wick.slope * wet_bulb
    miss = latent * saturated + slope * wet_bulb - offset
    return miss / (latent * steepness - wick.slope * saturated + slope)


def _first_guess(dry_bulb: Array, ratio: Array, pressure: Array) -> Array:
    """Saturated air of the same enthalpy, fitted to about 1 degF over -40 to 95 degF."""
    enthalpy = 0.240 * dry_bulb + ratio * (1061.0 + 0.444 * dry_bulb)
    root = np.sqrt(np.maximum(enthalpy + 15.0, 0.0))
    fitted = 42.19 * root - 174.6 + 0.669 * pressure + (0.0261 * pressure - 2.163) * enthalpy
    return np.clip(fitted, LOWEST, dry_bulb)
