"""Water and glycol: density, heat capacity, and the load of a stream in tons.

All at 0.5 MPa, about 58 psig; from 15 to 145 psia the heat factor moves by 0.05 percent.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import chebyshev

from fptlib.physics import fits
from fptlib.physics._blocks import in_blocks
from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics.errors import OutsideRange

BTU_PER_TON_HOUR = 12_000.0
FT3_PER_HOUR_PER_GPM = 60.0 * 231.0 / 1728.0
RULE_OF_THUMB_FACTOR = 500.0
GLYCOLS = tuple(fits.GLYCOL_DENSITY)


@any_kind
def density(
    temperature: Quantity, glycol: str | None = None, percent: Quantity = 0.0
) -> Quantity:
    """Density of water, or of a glycol mixture.

    Args:
        temperature [degF]: 32 to 140, from 34 for glycol; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Density [lb/ft3].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: CoolProp, IAPWS-95 for water and its incompressible mixtures for glycol.

    >>> round(density(44.0), 3)
    62.435
    """
    return _property(fits.WATER_DENSITY, fits.GLYCOL_DENSITY, temperature, glycol, percent)


@any_kind
def heat_capacity(
    temperature: Quantity, glycol: str | None = None, percent: Quantity = 0.0
) -> Quantity:
    """Heat capacity of water, or of a glycol mixture.

    Args:
        temperature [degF]: 32 to 140, from 34 for glycol; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Heat capacity [Btu/lb.degF].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: CoolProp, IAPWS-95 for water and its incompressible mixtures for glycol.

    >>> round(heat_capacity(44.0), 4)
    1.0031
    """
    return _property(
        fits.WATER_HEAT_CAPACITY, fits.GLYCOL_HEAT_CAPACITY, temperature, glycol, percent
    )


@any_kind
def heat_factor(
    temperature: Quantity, glycol: str | None = None, percent: Quantity = 0.0
) -> Quantity:
    """Heat that one gallon per minute carries per degree; "500" by the rule of thumb.

    Args:
        temperature [degF]: 32 to 140, from 34 for glycol; scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Heat factor [Btu/h per gpm.degF].

    Raises:
        OutsideRange: temperature or percent is outside the fit.

    Source: density times heat capacity; 1 gal is 231 cubic inches.

    >>> round(heat_factor(50.0), 2), round(heat_factor(50.0, "propylene", 25.0), 1)
    (501.49, 476.7)
    """
    stream = temperature, glycol, percent
    return FT3_PER_HOUR_PER_GPM * density(*stream) * heat_capacity(*stream)


@any_kind
def load(
    flow: Quantity,
    entering: Quantity,
    leaving: Quantity,
    glycol: str | None = None,
    percent: Quantity = 0.0,
) -> Quantity:
    """Heat that a stream gives up, from the properties of the fluid.

    Negative where the stream is heated. The flow meter stands on the cold side.

    Args:
        flow [gpm]: scalar or array.
        entering [degF]: scalar or array.
        leaving [degF]: scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Load [tons].

    Raises:
        ImpossibleState: the flow is negative.
        OutsideRange: temperature or percent is outside the fit.

    Source: enthalpy difference at constant pressure (CoolProp, IAPWS-95).

    >>> round(load(2400.0, 56.0, 44.0), 2)
    1203.91
    """

    def solve(flow: Array, entering: Array, leaving: Array) -> tuple[Array]:
        cold = np.minimum(entering, leaving)
        mass_flow = FT3_PER_HOUR_PER_GPM * flow * density(cold, glycol, percent)
        tons = mass_flow * _enthalpy_drop(entering, leaving, glycol, percent) / BTU_PER_TON_HOUR
        return (refuse(flow < 0.0, tons, "flow {flow} gpm is negative", flow=flow),)

    states = flow, entering, leaving
    # A number that stands alone is refused where it is impossible; within rows it goes missing.
    alone = glycol is not None or any(np.ndim(state) == 0 for state in states)
    return solve(*states)[0] if alone else in_blocks(solve, *states)[0]


@any_kind
def load_rule_of_thumb(flow: Quantity, entering: Quantity, leaving: Quantity) -> Quantity:
    """Heat that a stream gives up by 500 gpm dT, to be shown beside ``load``.

    Args:
        flow [gpm]: scalar or array.
        entering [degF]: scalar or array.
        leaving [degF]: scalar or array.

    Returns:
        Load [tons].

    Raises:
        ImpossibleState: the flow is negative.

    Source: rule of the trade; 0.8 percent low at 35 degF, 0.65 percent high at 95 degF.

    >>> load_rule_of_thumb(2400.0, 56.0, 44.0)
    1200.0
    """
    tons = RULE_OF_THUMB_FACTOR * flow * (entering - leaving) / BTU_PER_TON_HOUR
    return refuse(flow < 0.0, tons, "flow {flow} gpm is negative", flow=flow)


@any_kind
def freezing_point(glycol: str, percent: Quantity) -> Quantity:
    """Temperature at which a glycol mixture begins to freeze.

    Args:
        glycol [-]: "propylene" or "ethylene".
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Freezing point [degF].

    Raises:
        OutsideRange: the percent is outside the fit.

    Source: CoolProp incompressible mixtures.

    >>> round(freezing_point("propylene", 25.0), 1)
    14.4
    """
    outside = _outside(percent, fits.PERCENT_RANGE)
    point = chebyshev.chebval(_scaled(percent, fits.PERCENT_RANGE), _fit_of(
        fits.GLYCOL_FREEZING, glycol))
    return refuse(
        outside, point, "{percent} mass % is outside 10 to 50", OutsideRange, percent=percent
    )


@any_kind
def pressure_of_head(head: Quantity, temperature: Quantity = 60.0) -> Quantity:
    """Pressure of a column of water.

    Args:
        head [ft]: scalar or array.
        temperature [degF]: 32 to 140, scalar or array.

    Returns:
        Pressure [psi].

    Raises:
        OutsideRange: the temperature is outside the fit.

    Source: hydrostatics; 144 square inches to the square foot.

    >>> round(pressure_of_head(15.0), 2)
    6.5
    """
    return head * density(temperature) / 144.0


def _property(
    water: tuple, mixtures: dict, temperature: Array, glycol: str | None, percent: Array
) -> Array:
    if glycol is None:
        value = chebyshev.chebval(_scaled(temperature, fits.WATER_RANGE), water)
        return _in_range(value, temperature, fits.WATER_RANGE)
    rows = _fit_of(mixtures, glycol)
    share = _scaled(percent, fits.PERCENT_RANGE)
    by_power = [chebyshev.chebval(share, row) for row in rows]
    value = _clenshaw(_scaled(temperature, fits.GLYCOL_RANGE), by_power)
    value = _in_range(value, temperature, fits.GLYCOL_RANGE)
    outside = _outside(percent, fits.PERCENT_RANGE)
    return refuse(
        outside, value, "{percent} mass % is outside 10 to 50", OutsideRange, percent=percent
    )


def _clenshaw(x: Array, coefficients: list[Array]) -> Array:
    """Chebyshev sum whose coefficients are arrays themselves."""
    later, last = 0.0 * x, 0.0 * x
    for coefficient in reversed(coefficients[1:]):
        later, last = coefficient + 2.0 * x * later - last, later
    return coefficients[0] + x * later - last


def _enthalpy_drop(
    entering: Array, leaving: Array, glycol: str | None, percent: Array
) -> Array:
    """Integral of heat capacity from leaving to entering, by two-point Gauss."""
    middle, half = (entering + leaving) / 2.0, (entering - leaving) / 2.0
    capacity = [
        heat_capacity(middle + side * half / np.sqrt(3.0), glycol, percent)
        for side in (-1.0, 1.0)
    ]
    return half * (capacity[0] + capacity[1])


def _fit_of(mixtures: dict, glycol: str) -> tuple:
    if glycol not in mixtures:
        raise OutsideRange(f"glycol {glycol!r} is none of {', '.join(GLYCOLS)}")
    return mixtures[glycol]


def _scaled(value: Array, limits: tuple[float, float]) -> Array:
    low, high = limits
    return (2.0 * value - low - high) / (high - low)


def _outside(value: Array, limits: tuple[float, float]) -> Array:
    return (value < limits[0] - 0.05) | (value > limits[1] + 0.05)


def _in_range(value: Array, temperature: Array, limits: tuple[float, float]) -> Array:
    return refuse(
        _outside(temperature, limits), value,
        "{temperature} degF is outside {low:.0f} to {high:.0f} degF", OutsideRange,
        temperature=temperature, low=limits[0], high=limits[1],
    )
