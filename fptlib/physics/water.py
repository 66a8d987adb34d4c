"""Water: density, heat capacity, and the load of a stream in tons.

All at 0.5 MPa, about 58 psig; from 15 to 145 psia the heat factor moves by 0.05 percent.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import chebyshev

from fptlib.physics import fits
from fptlib.physics._arrays import Array, Quantity, floats, in_blocks, refuse
from fptlib.physics.errors import OutsideRange

BTU_PER_TON_HOUR = 12_000.0
FT3_PER_HOUR_PER_GPM = 60.0 * 231.0 / 1728.0


def density(temperature: Quantity) -> Array:
    """Density of water.

    Args:
        temperature [degF]: 32 to 140, scalar or array.

    Returns:
        Density [lb/ft3].

    Raises:
        OutsideRange: the temperature is outside the fit.

    Source: CoolProp, IAPWS-95.

    >>> round(float(density(44.0)), 3)
    62.435
    """
    return _property(fits.WATER_DENSITY, temperature)


def heat_capacity(temperature: Quantity) -> Array:
    """Heat capacity of water.

    Args:
        temperature [degF]: 32 to 140, scalar or array.

    Returns:
        Heat capacity [Btu/lb.degF].

    Raises:
        OutsideRange: the temperature is outside the fit.

    Source: CoolProp, IAPWS-95.

    >>> round(float(heat_capacity(44.0)), 4)
    1.0031
    """
    return _property(fits.WATER_HEAT_CAPACITY, temperature)


def heat_factor(temperature: Quantity) -> Array:
    """Heat that one gallon per minute carries per degree; "500" by the rule of thumb.

    Args:
        temperature [degF]: 32 to 140, scalar or array.

    Returns:
        Heat factor [Btu/h per gpm.degF].

    Raises:
        OutsideRange: the temperature is outside the fit.

    Source: density times heat capacity; 1 gal is 231 cubic inches.

    >>> round(float(heat_factor(50.0)), 2)
    501.49
    """
    return FT3_PER_HOUR_PER_GPM * density(temperature) * heat_capacity(temperature)


def load(flow: Quantity, entering: Quantity, leaving: Quantity) -> Array:
    """Heat that a stream of water gives up.

    Negative where the stream is heated. The flow meter is on the cold side. The heat capacity
    is integrated from leaving to entering by two-point Gauss.

    Args:
        flow [gpm]: scalar or array.
        entering [degF]: scalar or array.
        leaving [degF]: scalar or array.

    Returns:
        Load [tons].

    Raises:
        ImpossibleState: the flow is negative.
        OutsideRange: the temperature is outside the fit.

    Source: enthalpy difference at constant pressure (CoolProp, IAPWS-95).

    >>> round(float(load(2400.0, 56.0, 44.0)), 2)
    1203.91
    """

    def tons(flow: Array, entering: Array, leaving: Array) -> Array:
        middle, half = (entering + leaving) / 2.0, (entering - leaving) / 2.0
        drop = half * (heat_capacity(middle - half / np.sqrt(3.0))
                       + heat_capacity(middle + half / np.sqrt(3.0)))
        cold = np.minimum(entering, leaving)
        mass_flow = FT3_PER_HOUR_PER_GPM * flow * density(cold)
        return refuse(flow < 0.0, mass_flow * drop / BTU_PER_TON_HOUR,
                      "flow {flow} gpm is negative", flow=flow)

    states = floats(flow, entering, leaving)
    # A number that stands alone is refused where it is impossible; within rows it becomes NaN.
    alone = any(np.ndim(state) == 0 for state in states)
    return tons(*states) if alone else in_blocks(tons, *states)


def _property(fit: tuple[float, ...], temperature: Quantity) -> Array:
    low, high = fits.WATER_RANGE
    scaled = (2.0 * temperature - low - high) / (high - low)
    return refuse(
        (temperature < low - 0.05) | (temperature > high + 0.05),
        np.asarray(chebyshev.chebval(scaled, fit), dtype=float),
        "{temperature} degF is outside {low:.0f} to {high:.0f} degF", OutsideRange,
        temperature=temperature, low=low, high=high,
    )
