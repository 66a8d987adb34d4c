"""Refrigerants: saturation, gauge and absolute pressure, and the three lifts.

Every pressure is absolute [psia] unless its name says gauge. The evaporators of R-123
and R-1233zd(E) run in vacuum, so a negative gauge pressure is normal there.
"""

from __future__ import annotations

import numpy as np
from numpy.polynomial import chebyshev

from fptlib.physics import fits
from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics._saturated_air import ABSOLUTE_ZERO
from fptlib.physics.errors import OutsideRange, UnknownRefrigerant

REFRIGERANTS = tuple(fits.SATURATION)
KW_PER_TON = 3.5168528
PSI_PER_INHG = 0.4911541

_APPROACHES = {"evaporator": (12.0, 1.0), "condenser": (1.0, 12.0)}  # degF below and above
_COLDEST, _WARMEST = (t - ABSOLUTE_ZERO for t in fits.REFRIGERANT_RANGE)  # degR


@any_kind
def saturation_pressure(
    refrigerant: str, temperature: Quantity, dew: bool = False
) -> Quantity:
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

    Source: CoolProp 8, fitted to 1e-6; R-513A by its mixture model, within 1 percent.

    >>> round(saturation_pressure("R-134a", 40.0), 2)
    49.74
    """
    outside = _outside(temperature)
    inside = np.where(outside, 40.0, temperature)
    pressure = np.exp(_log_pressure(_curve(refrigerant, dew), 1.0 / (inside - ABSOLUTE_ZERO)))
    return refuse(
        outside, pressure, "{refrigerant} at {temperature} degF is outside -45 to 150 degF",
        OutsideRange, refrigerant=refrigerant, temperature=temperature,
    )


@any_kind
def saturation_temperature(
    refrigerant: str, pressure: Quantity, dew: bool = False
) -> Quantity:
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

    >>> round(saturation_temperature("R-123", 5.778), 1)
    40.0
    """
    curve = _curve(refrigerant, dew)
    nothing = pressure <= 0.0
    temperature = _invert(curve, np.log(np.where(nothing, 1.0, pressure)))
    temperature = refuse(
        nothing, temperature,
        "{pressure} psia is no absolute pressure; was it a gauge reading?", pressure=pressure,
    )
    return refuse(
        _outside(temperature), temperature,
        "{refrigerant} at {pressure} psia is outside -45 to 150 degF", OutsideRange,
        refrigerant=refrigerant, pressure=pressure,
    )


@any_kind
def absolute(gauge: Quantity, barometer: Quantity) -> Quantity:
    """Absolute pressure from a gauge reading; negative readings are vacuum.

    Args:
        gauge [psig]: scalar or array.
        barometer [psia]: station pressure, scalar or array.

    Returns:
        Absolute pressure [psia].

    Raises:
        ImpossibleState: the vacuum is deeper than the barometer allows.

    Source: definition of gauge pressure.

    >>> round(absolute(-9.0, 14.7), 2)
    5.7
    """
    return refuse(
        gauge + barometer <= 0.0, gauge + barometer,
        "gauge {gauge} psig is below absolute zero pressure at {barometer} psia",
        gauge=gauge, barometer=barometer,
    )


@any_kind
def absolute_from_vacuum(vacuum: Quantity, barometer: Quantity) -> Quantity:
    """Absolute pressure from a vacuum gauge.

    Args:
        vacuum [inHg]: below the barometer, scalar or array.
        barometer [psia]: station pressure, scalar or array.

    Returns:
        Absolute pressure [psia].

    Raises:
        ImpossibleState: the vacuum is deeper than the barometer allows.

    Source: definition of vacuum; 1 inHg is 0.4911541 psi.

    >>> round(absolute_from_vacuum(18.0, 14.696), 2)
    5.86
    """
    return absolute(-PSI_PER_INHG * vacuum, barometer)


def reading_kind(
    refrigerant: str, vessel: str, reading: float, water_temp: float, barometer: float
) -> str:
    """Whether a pressure reading is absolute or gauge, judged by the water beside it.

    A running evaporator saturates up to 12 degF below the chilled water leaving it, a
    condenser up to 12 degF above the condenser water leaving it; a degree is allowed
    the other way for the sensors.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        vessel [-]: "evaporator" or "condenser".
        reading [psi]: as the display shows it, scalar.
        water_temp [degF]: of the water leaving the same vessel, scalar.
        barometer [psia]: station pressure, scalar.

    Returns:
        Kind [-]: "absolute", "gauge", or "undecided" where both or neither fit.

    Raises:
        UnknownRefrigerant: no curve is carried for the name.

    Source: common practice.

    >>> reading_kind("R-134a", "evaporator", 35.0, 44.0, 14.7)
    'gauge'
    """
    below, above = _APPROACHES[vessel]
    low = saturation_pressure(refrigerant, water_temp - below)
    high = saturation_pressure(refrigerant, water_temp + above)
    candidates = {"absolute": reading, "gauge": reading + barometer}
    fitting = [kind for kind, pressure in candidates.items() if low <= pressure <= high]
    return fitting[0] if len(fitting) == 1 else "undecided"


@any_kind
def water_lift(cw_leaving: Quantity, chw_leaving: Quantity) -> Quantity:
    """Water lift of one running chiller.

    Args:
        cw_leaving [degF]: condenser water leaving the chiller, scalar or array.
        chw_leaving [degF]: chilled water leaving the chiller, scalar or array.

    Returns:
        Lift [degF].

    Source: ASHRAE Guideline 36-2021, 5.20.10.2, as documented in Modelica Buildings.

    >>> water_lift(60.0, 42.0)
    18.0
    """
    return cw_leaving - chw_leaving


@any_kind
def saturation_lift(
    refrigerant: str, condenser_pressure: Quantity, evaporator_pressure: Quantity
) -> Quantity:
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

    >>> round(saturation_lift("R-134a", 72.105, 49.741), 2)
    20.0
    """
    condensing = saturation_temperature(refrigerant, condenser_pressure)
    return condensing - saturation_temperature(refrigerant, evaporator_pressure, dew=True)


@any_kind
def pressure_lift(condenser_pressure: Quantity, evaporator_pressure: Quantity) -> Quantity:
    """Pressure lift: what oil return, motor cooling and refrigerant metering need.

    Args:
        condenser_pressure [psia]: absolute, scalar or array.
        evaporator_pressure [psia]: absolute, scalar or array.

    Returns:
        Lift [psi].

    Raises:
        ImpossibleState: an absolute pressure is not above zero.

    Source: definition.

    >>> round(pressure_lift(72.1, 49.7), 1)
    22.4
    """
    return refuse(
        (condenser_pressure <= 0.0) | (evaporator_pressure <= 0.0),
        condenser_pressure - evaporator_pressure,
        "{condenser} and {evaporator} psia are not both absolute pressures",
        condenser=condenser_pressure, evaporator=evaporator_pressure,
    )


@any_kind
def pressure_lift_between(
    refrigerant: str, condensing_temp: Quantity, evaporating_temp: Quantity
) -> Quantity:
    """Pressure lift between two saturation temperatures.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        condensing_temp [degF]: scalar or array.
        evaporating_temp [degF]: scalar or array.

    Returns:
        Lift [psi].

    Raises:
        UnknownRefrigerant: no curve is carried for the name.
        OutsideRange: a temperature is outside -45 to 150 degF.

    Source: ``saturation_pressure``.

    >>> round(pressure_lift_between("R-134a", 60.0, 40.0), 2)
    22.36
    """
    condensing = saturation_pressure(refrigerant, condensing_temp)
    return condensing - saturation_pressure(refrigerant, evaporating_temp, dew=True)


@any_kind
def saturation_lift_for(
    refrigerant: str, pressure_lift: Quantity, evaporating_temp: Quantity
) -> Quantity:
    """Saturation-temperature lift that a pressure lift stands for.

    Args:
        refrigerant [-]: one of ``REFRIGERANTS``.
        pressure_lift [psi]: scalar or array.
        evaporating_temp [degF]: scalar or array.

    Returns:
        Lift [degF].

    Raises:
        UnknownRefrigerant: no curve is carried for the name.
        OutsideRange: a temperature is outside -45 to 150 degF.

    Source: ``saturation_pressure`` and ``saturation_temperature``.

    >>> round(saturation_lift_for("R-1233zd(E)", 5.0, 36.0), 1)
    21.9
    """
    condensing = saturation_pressure(refrigerant, evaporating_temp, dew=True) + pressure_lift
    return saturation_temperature(refrigerant, condensing) - evaporating_temp


@any_kind
def carnot_floor(chw_leaving: Quantity, cw_leaving: Quantity) -> Quantity:
    """The kW/ton that no chiller can beat; a lower reading is an instrument error.

    Args:
        chw_leaving [degF]: chilled water leaving the chiller, scalar or array.
        cw_leaving [degF]: condenser water leaving the chiller, scalar or array.

    Returns:
        Power per load [kW/ton], zero where the condenser water is the colder one.

    Source: Carnot; 1 ton is 3.5168528 kW.

    >>> round(carnot_floor(44.0, 85.0), 4)
    0.2863
    """
    lift = np.maximum(cw_leaving - chw_leaving, 0.0)
    return KW_PER_TON * lift / (chw_leaving - ABSOLUTE_ZERO)


def _curve(refrigerant: str, dew: bool) -> tuple[float, ...]:
    if refrigerant not in fits.SATURATION:
        raise UnknownRefrigerant(f"{refrigerant!r} is none of {', '.join(REFRIGERANTS)}")
    bubble = fits.SATURATION[refrigerant]
    return fits.DEW.get(refrigerant, bubble) if dew else bubble


def _outside(temperature: Array) -> Array:
    low, high = fits.REFRIGERANT_RANGE
    return (temperature < low - 1e-6) | (temperature > high + 1e-6)


def _log_pressure(curve: tuple[float, ...], inverse: Array) -> Array:
    return chebyshev.chebval(_scaled(inverse), curve)


def _scaled(inverse: Array) -> Array:
    low, high = 1.0 / _WARMEST, 1.0 / _COLDEST
    return (2.0 * inverse - low - high) / (high - low)


def _invert(curve: tuple[float, ...], wanted: Array) -> Array:
    """Newton in ln p against 1/T, nearly a straight line; the range is left by little."""
    slope = chebyshev.chebder(np.array(curve))
    x = (wanted - curve[0]) / curve[1]
    for _ in range(6):
        x = np.clip(x, -1.1, 1.1)
        x = x - (chebyshev.chebval(x, curve) - wanted) / chebyshev.chebval(x, slope)
    low, high = 1.0 / _WARMEST, 1.0 / _COLDEST
    return 2.0 / (low + high + x * (high - low)) + ABSOLUTE_ZERO
