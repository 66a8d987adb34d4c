"""The wet bulb of many rows at once, block by block, on both branches of the wick.

The energy balance of a liquid wick (eq. 33 of ASHRAE Fundamentals 2017, chapter 1) and
that of an ice wick (eq. 35) differ at 32 degF by the heat of fusion, so a narrow band of
humidity has a wet bulb on each. Which ones exist follows from the balances at 32 degF;
the wet bulb itself by Newton's method on the same equations.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Array
from fptlib.physics._saturated_air import (
    ABSOLUTE_ZERO,
    FREEZING,
    HIGHEST,
    INCH_POUND,
    LOWEST,
    TRIPLE_POINT,
    Form,
    Saturation,
    Wick,
    log_pressure,
    log_slope,
    ratio_of,
    vapor_pressure,
)

HAS_LIQUID, HAS_ICE = 1, 2

_SETTLED = 5e-3  # degF; Newton's error after such a step is below 5e-7 degF
_HARMLESS = (60.0, 50.0, 14.696)  # stands in for an impossible state until it is refused


def wick_ratio(
    form: Form, wick: Wick, dry_bulb: Array, wet_bulb: Array | float, pressure: Array
) -> Array:
    """Humidity ratio that the energy balance of a wick gives."""
    saturated = ratio_of(vapor_pressure(wet_bulb, form), pressure)
    gain = (wick.latent - wick.slope * wet_bulb) * saturated - wick.dry * (dry_bulb - wet_bulb)
    return gain / (wick.total + wick.vapor * dry_bulb - wick.sensible * wet_bulb)


def impossible(
    dry_bulb: Array, humidity: Array, pressure: Array, saturated: Array | None = None
) -> Array:
    """Rows whose humidity, dry bulb or pressure cannot be; missing rows are possible."""
    saturated = _vapor_in_range(dry_bulb) if saturated is None else saturated
    outside = (dry_bulb < LOWEST) | (dry_bulb > HIGHEST)
    return outside | (pressure <= saturated) | (humidity < 0.0) | (humidity > 100.0)


def harmless(bad: Array, *state: Array) -> tuple[Array, ...]:
    """The state with its impossible rows made possible, for they are refused later."""
    if not np.any(bad):
        return state
    return tuple(np.where(bad, fill, each) for fill, each in zip(_HARMLESS, state, strict=False))


def governing_wet_bulb(
    dry_bulb: Array, humidity: Array, pressure: Array, form: Form
) -> tuple[Array]:
    """The liquid wet bulb where it exists, elsewhere the ice one; impossible is missing."""
    bad, has_liquid, _, state = _balances(dry_bulb, humidity, pressure, form)
    wet_bulb = _solve_where(has_liquid, form, form.liquid_wick, *state)
    if not has_liquid.all():
        frozen = ~has_liquid
        wet_bulb[frozen] = _solve_where(frozen, form, form.ice_wick, *state)[frozen]
    wet_bulb[bad] = np.nan
    return (wet_bulb,)


def both_wet_bulbs(
    dry_bulb: Array, humidity: Array, pressure: Array, form: Form
) -> tuple[Array, Array, Array]:
    """Liquid and ice wet bulb, missing where there is none, and which of them exist."""
    bad, has_liquid, has_ice, state = _balances(dry_bulb, humidity, pressure, form)
    has_liquid, has_ice = has_liquid & ~bad, has_ice & ~bad
    liquid = _solve_where(has_liquid, form, form.liquid_wick, *state)
    ice = _solve_where(has_ice, form, form.ice_wick, *state)
    return liquid, ice, HAS_LIQUID * has_liquid + HAS_ICE * has_ice


def _balances(
    dry_bulb: Array, humidity: Array, pressure: Array, form: Form
) -> tuple[Array, Array, Array, tuple[Array, Array, Array]]:
    """Impossible rows, rows with a liquid and with an ice answer, and the state solved."""
    saturated = _vapor_in_range(dry_bulb, form)
    bad = impossible(dry_bulb, humidity, pressure, saturated)
    if bad.any():
        dry_bulb, humidity, pressure = harmless(bad, dry_bulb, humidity, pressure)
        saturated = vapor_pressure(dry_bulb, form)
    ratio = ratio_of(humidity * (0.01 * saturated), pressure)
    has_liquid = ratio >= wick_ratio(form, form.liquid_wick, dry_bulb, FREEZING, pressure)
    has_ice = ratio < wick_ratio(form, form.ice_wick, dry_bulb, FREEZING, pressure)
    return bad, has_liquid, has_ice, (dry_bulb, ratio, pressure)


def _vapor_in_range(dry_bulb: Array, form: Form = INCH_POUND) -> Array:
    return vapor_pressure(np.clip(dry_bulb, LOWEST, HIGHEST), form)


def _solve_where(
    rows: Array, form: Form, wick: Wick, dry_bulb: Array, ratio: Array, pressure: Array
) -> Array:
    """Wet bulb of the wick for some rows, missing for the others."""
    if rows.all():
        return _solve(form, wick, dry_bulb, ratio, pressure)
    wet_bulb = np.full(dry_bulb.shape, np.nan)
    if rows.any():
        wet_bulb[rows] = _solve(form, wick, dry_bulb[rows], ratio[rows], pressure[rows])
    return wet_bulb


def _solve(form: Form, wick: Wick, dry_bulb: Array, ratio: Array, pressure: Array) -> Array:
    if wick is form.ice_wick:
        return _newton(wick, form.over_ice, dry_bulb, ratio, pressure)
    wet_bulb = _newton(wick, form.over_liquid, dry_bulb, ratio, pressure)
    few = wet_bulb <= TRIPLE_POINT
    if few.any():
        # between 32 degF and the triple point a liquid wick is saturated as over ice
        again = _newton(wick, form.over_ice, dry_bulb[few], ratio[few], pressure[few])
        wet_bulb[few] = np.clip(again, FREEZING, TRIPLE_POINT)
    return wet_bulb


def _newton(
    wick: Wick, saturation: Saturation, dry_bulb: Array, ratio: Array, pressure: Array
) -> Array:
    """Solve the energy balance of the wick for all rows at once.

    The balance is convex and its answer never above the dry bulb: held there, a step too
    far comes back without fail.
    """
    wet_bulb = _first_guess(dry_bulb, ratio, pressure)
    offset = wick.dry * dry_bulb + ratio * (wick.total + wick.vapor * dry_bulb)
    slope = wick.dry + wick.sensible * ratio
    for _ in range(20):
        step = _newton_step(wick, saturation, wet_bulb, offset, slope, pressure)
        wet_bulb = np.minimum(wet_bulb - step, dry_bulb)
        if not np.any(np.abs(step, out=step) > _SETTLED):
            return wet_bulb
    return np.where(np.abs(step) > _SETTLED, np.nan, wet_bulb)


def _newton_step(
    wick: Wick, saturation: Saturation, wet_bulb: Array, offset: Array, slope: Array,
    pressure: Array,
) -> Array:
    absolute = wet_bulb - ABSOLUTE_ZERO
    vapor = np.exp(log_pressure(saturation, absolute))
    saturated = ratio_of(vapor, pressure)
    steepness = log_slope(saturation, absolute) * saturated
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
