"""Refrigerants: saturation, and the lift between two saturation temperatures.

Every pressure is absolute [psia]. The evaporators of R-123, R-1233zd(E) and R-514A run in vacuum.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import chebyshev

from fptlib.physics import fits
from fptlib.physics._arrays import Array, Flags, Quantity, floats, refuse
from fptlib.physics.errors import OutsideRange, UnknownRefrigerant
from fptlib.physics.moist_air import ABSOLUTE_ZERO

REFRIGERANTS = tuple(fits.SATURATION)
# Curves by mixing rules alone, and the share of the pressure within which they hold.
ESTIMATED = {"R-514A": 0.02}

_COLDEST, _WARMEST = (t - ABSOLUTE_ZERO for t in fits.REFRIGERANT_RANGE)  # degR


def saturation_pressure(refrigerant: str, temperature: Quantity, dew: bool = False) -> Array:
    """Pressure at which a refrigerant is saturated.

    A blend has two: its liquid leaves a condenser at the bubble point, its vapor leaves
    an evaporator at the dew point.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        temperature [degF]: -45 to 150, scalar or array.
        dew [-]: of a blend, the dew point instead of the bubble point.

    Returns:
        Absolute pressure [psia].

    Raises:
        UnknownRefrigerant: no curve is carried for the name.
        OutsideRange: the temperature is outside the fit.

    Source: CoolProp 8, fitted to 1e-6; R-513A by its mixture model, within 1 percent; R-514A is
    an estimate, within 2 percent.

    >>> round(float(saturation_pressure("R-134a", 40.0)), 2)
    49.74
    """
    outside = _outside(temperature)
    inverse = 1.0 / (np.where(outside, 40.0, temperature) - ABSOLUTE_ZERO)
    low, high = 1.0 / _WARMEST, 1.0 / _COLDEST
    scaled = (2.0 * inverse - low - high) / (high - low)
    return refuse(
        outside, np.exp(chebyshev.chebval(scaled, _curve(refrigerant, dew))),
        "{refrigerant} at {temperature} degF is outside -45 to 150 degF",
        OutsideRange, refrigerant=refrigerant, temperature=temperature,
    )


def saturation_temperature(refrigerant: str, pressure: Quantity, dew: bool = False) -> Array:
    """Temperature at which a refrigerant is saturated, of a blend bubble or dew point.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        pressure [psia]: absolute, scalar or array.
        dew [-]: of a blend, the dew point instead of the bubble point.

    Returns:
        Temperature [degF].

    Raises:
        UnknownRefrigerant: no curve is carried for the name.
        ImpossibleState: the absolute pressure is not above zero.
        OutsideRange: the temperature would be outside -45 to 150 degF.

    Source: ``saturation_pressure`` solved for temperature.

    >>> round(float(saturation_temperature("R-123", 5.778)), 1)
    40.0
    """
    curve = _curve(refrigerant, dew)
    (pressure,) = floats(pressure)
    nothing = pressure <= 0.0
    temperature = refuse(
        nothing, _inverted(curve, np.log(np.where(nothing, 1.0, pressure))),
        "{pressure} psia is no absolute pressure; was it a gauge reading?", pressure=pressure,
    )
    return refuse(
        _outside(temperature), temperature,
        "{refrigerant} at {pressure} psia is outside -45 to 150 degF", OutsideRange,
        refrigerant=refrigerant, pressure=pressure,
    )


def saturation_lift(
    refrigerant: str, condenser_pressure: Quantity, evaporator_pressure: Quantity
) -> Array:
    """Saturation-temperature lift: water lift plus both approaches of the chiller.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        condenser_pressure [psia]: absolute, scalar or array.
        evaporator_pressure [psia]: absolute, scalar or array.

    Returns:
        Lift [degF].

    Raises:
        UnknownRefrigerant: no curve is carried for the name.
        ImpossibleState: an absolute pressure is not above zero.
        OutsideRange: a saturation temperature would be outside -45 to 150 degF.

    Source: definition.

    >>> round(float(saturation_lift("R-134a", 72.105, 49.741)), 2)
    20.0
    """
    condensing = saturation_temperature(refrigerant, condenser_pressure)
    return condensing - saturation_temperature(refrigerant, evaporator_pressure, dew=True)


def _curve(refrigerant: str, dew: bool) -> tuple[float, ...]:
    if refrigerant not in fits.SATURATION:
        raise UnknownRefrigerant(f"{refrigerant!r} is none of {', '.join(REFRIGERANTS)}")
    bubble = fits.SATURATION[refrigerant]
    return fits.DEW.get(refrigerant, bubble) if dew else bubble


def _outside(temperature: Quantity) -> bool | Flags:
    low, high = fits.REFRIGERANT_RANGE
    return (temperature < low - 1e-6) | (temperature > high + 1e-6)


def _inverted(curve: tuple[float, ...], wanted: Array) -> Array:
    """Newton in ln p against 1/T, nearly a straight line; the range is left by little."""
    slope = chebyshev.chebder(np.array(curve))
    x = (wanted - curve[0]) / curve[1]
    for _ in range(6):
        x = np.clip(x, -1.1, 1.1)
        x = x - (chebyshev.chebval(x, curve) - wanted) / chebyshev.chebval(x, slope)
    low, high = 1.0 / _WARMEST, 1.0 / _COLDEST
    return 2.0 / (low + high + x * (high - low)) + ABSOLUTE_ZERO
