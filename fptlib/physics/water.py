"""Water and glycol: density, heat capacity, and the load of a stream in tons.

All at 0.5 MPa, about 58 psig; from 15 to 145 psia the heat factor moves by 0.05 percent.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.polynomial import chebyshev

from fptlib.physics import fits
from fptlib.physics._arrays import Array, Flags, Quantity, floats, in_blocks, refuse
from fptlib.physics.errors import OutsideRange

BTU_PER_TON_HOUR = 12_000.0
# A gpm of water takes so much heat with one degree F [Btu/h], as the trade counts it: 8.33 lb/gal
# times 60 min/h times 1 Btu/lb.
BTU_PER_GPM = 500.0
FT3_PER_HOUR_PER_GPM = 60.0 * 231.0 / 1728.0
GLYCOLS = tuple(fits.GLYCOL_DENSITY)


class Fluid(NamedTuple):
    """What flows in a loop: water, or a glycol with its mass per cent."""

    glycol: str | None = None
    percent: float = 0.0


WATER = Fluid()

_Fit = tuple[float, ...]
_Row = TypeVar("_Row")


def density(temperature: Quantity, glycol: str | None = None, percent: float = 0.0) -> Array:
    """Density of water, or of a glycol mixture.

    Args:
        temperature [degF]: 32 to 140, glycol from its freezing point; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50.

    Returns:
        Density [lb/ft3].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: CoolProp, IAPWS-95 for water and its incompressible mixtures for glycol.

    >>> round(float(density(44.0)), 3)
    62.435
    """
    return _property(fits.WATER_DENSITY, fits.GLYCOL_DENSITY, temperature, glycol, percent)


def heat_capacity(temperature: Quantity, glycol: str | None = None, percent: float = 0.0) -> Array:
    """Heat capacity of water, or of a glycol mixture.

    Args:
        temperature [degF]: 32 to 140, glycol from its freezing point; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50.

    Returns:
        Heat capacity [Btu/lb.degF].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: CoolProp, IAPWS-95 for water and its incompressible mixtures for glycol.

    >>> round(float(heat_capacity(44.0)), 4)
    1.0031
    """
    return _property(
        fits.WATER_HEAT_CAPACITY, fits.GLYCOL_HEAT_CAPACITY, temperature, glycol, percent)


def heat_factor(temperature: Quantity, glycol: str | None = None, percent: float = 0.0) -> Array:
    """Heat that one gallon per minute carries per degree; "500" by the rule of thumb.

    Args:
        temperature [degF]: 32 to 140, glycol from its freezing point; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50.

    Returns:
        Heat factor [Btu/h per gpm.degF].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: density times heat capacity; 1 gal is 231 cubic inches.

    >>> round(float(heat_factor(50.0)), 2), round(float(heat_factor(50.0, "propylene", 25.0)), 1)
    (501.49, 476.7)
    """
    stream = temperature, glycol, percent
    return FT3_PER_HOUR_PER_GPM * density(*stream) * heat_capacity(*stream)


def load(
    flow: Quantity,
    entering: Quantity,
    leaving: Quantity,
    glycol: str | None = None,
    percent: float = 0.0,
) -> Array:
    """Heat that a stream gives up, from the properties of the fluid.

    Negative where the stream is heated. The flow meter is on the cold side. The heat capacity
    is integrated from leaving to entering by two-point Gauss.

    Args:
        flow [gpm]: scalar or array.
        entering [degF]: scalar or array.
        leaving [degF]: scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50.

    Returns:
        Load [tons].

    Raises:
        ImpossibleState: the flow is negative.
        OutsideRange: temperature or percent is outside the fit.

    Source: enthalpy difference at constant pressure (CoolProp, IAPWS-95).

    >>> round(float(load(2400.0, 56.0, 44.0)), 2)
    1203.91
    """

    def tons(flow: Array, entering: Array, leaving: Array) -> Array:
        middle, half = (entering + leaving) / 2.0, (entering - leaving) / 2.0
        drop = half * (heat_capacity(middle - half / np.sqrt(3.0), glycol, percent)
                       + heat_capacity(middle + half / np.sqrt(3.0), glycol, percent))
        cold = np.minimum(entering, leaving)
        mass_flow = FT3_PER_HOUR_PER_GPM * flow * density(cold, glycol, percent)
        return refuse(flow < 0.0, mass_flow * drop / BTU_PER_TON_HOUR,
                      "flow {flow} gpm is negative", flow=flow)

    states = floats(flow, entering, leaving)
    # A number that stands alone is refused where it is impossible; within rows it becomes NaN.
    alone = any(np.ndim(state) == 0 for state in states)
    return tons(*states) if alone else in_blocks(tons, *states)


def freezing_point(glycol: str, percent: float) -> float:
    """Temperature at which a glycol mixture begins to freeze.

    Args:
        glycol [-]: "propylene" or "ethylene".
        percent [mass %]: of glycol, 10 to 50.

    Returns:
        Freezing point [degF].

    Raises:
        OutsideRange: the percent is outside the fit.

    Source: CoolProp incompressible mixtures. Against the tables of ASHRAE Fundamentals ch. 31 they
    freeze up to 2.4 degF warmer (propylene) and 3.9 degF colder (ethylene): keep a distance.

    >>> round(freezing_point("propylene", 25.0), 1)
    14.4
    """
    fit = _of_glycol(fits.GLYCOL_FREEZING, glycol, percent)
    return float(chebyshev.chebval(_scaled(percent, fits.PERCENT_RANGE), fit))


def _property(
    water: _Fit, mixtures: Mapping[str, tuple[_Fit, ...]],
    temperature: Quantity, glycol: str | None, percent: float,
) -> Array:
    limits, low, fit = fits.WATER_RANGE, fits.WATER_RANGE[0], water
    if glycol is not None:
        rows, share = _of_glycol(mixtures, glycol, percent), _scaled(percent, fits.PERCENT_RANGE)
        limits, fit = fits.GLYCOL_RANGE, tuple(float(chebyshev.chebval(share, r)) for r in rows)
        # CoolProp's own polynomials are of a lower degree, so they go on below the fitted range.
        low = freezing_point(glycol, percent)
    found = np.asarray(chebyshev.chebval(_scaled(temperature, limits), fit), dtype=float)
    return refuse(
        _outside(temperature, (low, limits[1])), found,
        "{temperature} degF is outside {low:.0f} to {high:.0f} degF", OutsideRange,
        temperature=temperature, low=low, high=limits[1],
    )


def _of_glycol(mixtures: Mapping[str, _Row], glycol: str, percent: float) -> _Row:
    if glycol not in mixtures:
        raise OutsideRange(f"glycol {glycol!r} is none of {', '.join(GLYCOLS)}")
    if _outside(percent, fits.PERCENT_RANGE):
        raise OutsideRange(f"{percent} mass % is outside 10 to 50")
    return mixtures[glycol]


def _scaled(value: Quantity, limits: tuple[float, float]) -> Quantity:
    low, high = limits
    return (2.0 * value - low - high) / (high - low)


def _outside(value: Quantity, limits: tuple[float, float]) -> bool | Flags:
    return (value < limits[0] - 0.05) | (value > limits[1] + 0.05)
