"""Moist air at station pressure: wet bulb, humidity, dew point, enthalpy.

Near 32 degF one dry bulb and humidity have two wet bulbs, one of a wick that is
liquid and one of a wick that is ice. Both are kept; ``wet_bulb`` gives the liquid one,
the higher and for the enable test the safer of the two.

Formulas: ASHRAE Handbook - Fundamentals (2017), chapter 1, inch-pound form. The balances
of the wick may also be had in their SI form, which the handbook rounds differently: its
wet bulb is up to 0.03 degF higher.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from fptlib.physics import _wet_bulb
from fptlib.physics._blocks import in_blocks
from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics._saturated_air import (
    ABSOLUTE_ZERO,
    FORMS,
    FREEZING,
    HIGHEST,
    LOWEST,
    MOLAR_MASS_RATIO,
    ratio_of,
    saturation_temperature,
    vapor_pressure,
)

LIQUID, ICE, AMBIGUOUS, MISSING = "liquid", "ice", "ambiguous", "missing"

# what the rounding of the printed constants may do to perfectly dry or saturated air
_LEAST_RATIO = 1e-7  # lb/lb
_ROUNDING = 0.01  # %RH


@any_kind
def saturation_pressure(temperature: Quantity) -> Quantity:
    """Vapor pressure of saturated air, over ice below the triple point.

    Args:
        temperature [degF]: scalar or array, -148 to 392.

    Returns:
        Vapor pressure [psia].

    Raises:
        ImpossibleState: the temperature is outside the formula's range.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 5 and 6.

    >>> round(saturation_pressure(77.0), 5)
    0.45966
    """
    outside = (temperature < LOWEST) | (temperature > HIGHEST)
    return refuse(
        outside, vapor_pressure(np.where(outside, FREEZING, temperature)),
        "temperature {temperature} degF is outside -148 to 392 degF", temperature=temperature,
    )


@any_kind
def humidity_ratio(dry_bulb: Quantity, humidity: Quantity, pressure: Quantity) -> Quantity:
    """Humidity ratio from relative humidity.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Humidity ratio [lb/lb] of water to dry air.

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 20 and 22.

    >>> round(humidity_ratio(78.0, 50.0, 14.696), 5)
    0.01022
    """
    bad = _wet_bulb.impossible(dry_bulb, humidity, pressure)
    sound, share, air = _wet_bulb.harmless(bad, dry_bulb, humidity, pressure)
    ratio = ratio_of(share * (0.01 * vapor_pressure(sound)), air)
    return _refuse_humidity(bad, ratio, dry_bulb, humidity, pressure)


@any_kind
def humidity_from_ratio(
    dry_bulb: Quantity, humidity_ratio: Quantity, pressure: Quantity
) -> Quantity:
    """Relative humidity from humidity ratio.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity_ratio [lb/lb]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Relative humidity [%RH].

    Raises:
        ImpossibleState: the ratio is negative or above saturation.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 20 and 22 solved for humidity.

    >>> round(humidity_from_ratio(78.0, 0.01022, 14.696), 1)
    50.0
    """
    vapor = pressure * humidity_ratio / (MOLAR_MASS_RATIO + humidity_ratio)
    humidity = 100.0 * vapor / vapor_pressure(dry_bulb)
    bad = (humidity_ratio < 0.0) | (humidity > 100.0 + _ROUNDING)
    return refuse(
        bad, np.minimum(humidity, 100.0),
        "humidity ratio {humidity_ratio} gives {humidity} %RH at {dry_bulb} degF, {pressure} psia",
        humidity_ratio=humidity_ratio, humidity=humidity, dry_bulb=dry_bulb, pressure=pressure,
    )


@any_kind
def enthalpy(dry_bulb: Quantity, humidity_ratio: Quantity) -> Quantity:
    """Enthalpy of moist air per pound of dry air, zero for dry air at 0 degF.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity_ratio [lb/lb]: scalar or array.

    Returns:
        Enthalpy [Btu/lb].

    Raises:
        ImpossibleState: the humidity ratio is negative.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 30.

    >>> round(enthalpy(100.0, 0.00523), 2)
    29.78
    """
    return refuse(
        humidity_ratio < 0.0, 0.240 * dry_bulb + humidity_ratio * (1061.0 + 0.444 * dry_bulb),
        "humidity ratio {humidity_ratio} lb/lb is negative", humidity_ratio=humidity_ratio,
    )


@any_kind
def saturated_enthalpy(temperature: Quantity, pressure: Quantity) -> Quantity:
    """Enthalpy of air saturated at a temperature, as it stands over tower water.

    Args:
        temperature [degF]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Enthalpy [Btu/lb].

    Raises:
        ImpossibleState: the water would boil at this pressure.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 21 and 30.

    >>> round(saturated_enthalpy(78.0, 14.696), 2)
    41.49
    """
    vapor = vapor_pressure(temperature)
    boils = vapor >= pressure
    ratio = ratio_of(vapor, np.where(boils, np.inf, pressure))
    return refuse(
        boils, 0.240 * temperature + ratio * (1061.0 + 0.444 * temperature),
        "water at {temperature} degF boils at {pressure} psia",
        temperature=temperature, pressure=pressure,
    )


@any_kind
def volume(dry_bulb: Quantity, humidity_ratio: Quantity, pressure: Quantity) -> Quantity:
    """Specific volume of moist air per pound of dry air.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity_ratio [lb/lb]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Volume [ft3/lb].

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 26.

    >>> round(volume(100.0, 0.00523, 14.696), 2)
    14.23
    """
    absolute = dry_bulb - ABSOLUTE_ZERO
    return 53.350 * absolute * (1.0 + 1.607858 * humidity_ratio) / (144.0 * pressure)


@any_kind
def dew_point(dry_bulb: Quantity, humidity: Quantity) -> Quantity:
    """Dew point, or frost point below the triple point.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: above 0 and up to 100, scalar or array.

    Returns:
        Dew point [degF].

    Raises:
        ImpossibleState: humidity or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 5 and 6 solved for temperature.

    >>> round(dew_point(78.0, 50.0), 2)
    57.87
    """
    bad = _wet_bulb.impossible(dry_bulb, humidity, np.asarray(np.inf)) | (humidity == 0.0)
    sound, share = _wet_bulb.harmless(bad, dry_bulb, humidity)
    point = np.minimum(saturation_temperature(share * (0.01 * vapor_pressure(sound))), sound)
    return refuse(
        bad | (point < LOWEST), point,
        "{humidity} %RH at {dry_bulb} degF has no dew point",
        humidity=humidity, dry_bulb=dry_bulb,
    )


@any_kind
def humidity_ratio_from_wet_bulb(
    dry_bulb: Quantity, wet_bulb: Quantity, pressure: Quantity, form: str = "inch-pound"
) -> Quantity:
    """Humidity ratio from dry and wet bulb; the wick is ice below 32 degF.

    Args:
        dry_bulb [degF]: scalar or array.
        wet_bulb [degF]: scalar or array.
        pressure [psia]: station pressure, scalar or array.
        form [-]: "inch-pound" or "SI", whose constants are used.

    Returns:
        Humidity ratio [lb/lb].

    Raises:
        ImpossibleState: the wet bulb is above the dry bulb, or lower than dry air gives.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35.

    >>> round(humidity_ratio_from_wet_bulb(100.0, 65.0, 14.696), 5)
    0.00519
    """
    printed = FORMS[form]
    ratio = np.where(
        wet_bulb >= FREEZING,
        _wet_bulb.wick_ratio(printed, printed.liquid_wick, dry_bulb, wet_bulb, pressure),
        _wet_bulb.wick_ratio(printed, printed.ice_wick, dry_bulb, wet_bulb, pressure),
    )
    bad = (wet_bulb > dry_bulb) | (ratio < -_LEAST_RATIO) | (pressure <= vapor_pressure(dry_bulb))
    return refuse(
        bad, np.maximum(ratio, 0.0),
        "wet bulb {wet_bulb} degF cannot stand beside dry bulb {dry_bulb} degF at {pressure} psia",
        wet_bulb=wet_bulb, dry_bulb=dry_bulb, pressure=pressure,
    )


@any_kind
def humidity_from_wet_bulb(
    dry_bulb: Quantity, wet_bulb: Quantity, pressure: Quantity, form: str = "inch-pound"
) -> Quantity:
    """Relative humidity from dry and wet bulb; the wick is ice below 32 degF.

    Args:
        dry_bulb [degF]: scalar or array.
        wet_bulb [degF]: scalar or array.
        pressure [psia]: station pressure, scalar or array.
        form [-]: "inch-pound" or "SI", whose constants are used.

    Returns:
        Relative humidity [%RH].

    Raises:
        ImpossibleState: the wet bulb is above the dry bulb, or lower than dry air gives.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 22, 33 and 35.

    >>> round(humidity_from_wet_bulb(100.0, 65.0, 14.696), 1)
    12.8
    """
    ratio = humidity_ratio_from_wet_bulb(dry_bulb, wet_bulb, pressure, form)
    return humidity_from_ratio(dry_bulb, ratio, pressure)


@any_kind
def wet_bulb(
    dry_bulb: Quantity, humidity: Quantity, pressure: Quantity, form: str = "inch-pound"
) -> Quantity:
    """Wet bulb from dry bulb and humidity; the liquid one where there are two.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.
        form [-]: "inch-pound" or "SI", whose constants are used.

    Returns:
        Wet bulb [degF].

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35 solved for the wet bulb.

    >>> round(wet_bulb(78.0, 50.0, 14.696), 3)
    65.018
    """
    _refuse_single(dry_bulb, humidity, pressure)
    solve = partial(_wet_bulb.governing_wet_bulb, form=FORMS[form])
    return in_blocks(solve, dry_bulb, humidity, pressure)[0]


@any_kind
def wet_bulb_branches(
    dry_bulb: Quantity, humidity: Quantity, pressure: Quantity, form: str = "inch-pound"
) -> tuple[Quantity, Quantity, Quantity]:
    """Both wet bulbs and which of them stands.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.
        form [-]: "inch-pound" or "SI", whose constants are used.

    Returns:
        The liquid wet bulb [degF], the ice wet bulb [degF], each missing where it does
        not exist, and the branch: "liquid", "ice", "ambiguous" where both exist, or
        "missing" where the input is.

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35 solved for the wet bulb.

    >>> liquid, ice, branch = wet_bulb_branches(50.0, 8.0, 12.2637)
    >>> round(liquid, 2), round(ice, 2), branch
    (32.54, 31.37, 'ambiguous')
    """
    _refuse_single(dry_bulb, humidity, pressure)
    solve = partial(_wet_bulb.both_wet_bulbs, form=FORMS[form])
    liquid, ice, which = in_blocks(solve, dry_bulb, humidity, pressure)
    return liquid, ice, np.array([MISSING, LIQUID, ICE, AMBIGUOUS])[which]


def is_ambiguous(
    dry_bulb: Quantity, humidity: Quantity, pressure: Quantity, form: str = "inch-pound"
) -> Quantity:
    """Whether a state lies in the band near 32 degF that has two wet bulbs.

    Args:
        dry_bulb [degF]: scalar or array.
        humidity [%RH]: 0 to 100, scalar or array.
        pressure [psia]: station pressure, scalar or array.
        form [-]: "inch-pound" or "SI", whose constants are used.

    Returns:
        True [-] inside the band.

    Raises:
        ImpossibleState: humidity, pressure or dry bulb cannot be.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 33 and 35, both at 32 degF.

    >>> is_ambiguous(50.0, 8.0, 12.2637), is_ambiguous(50.0, 60.0, 12.2637)
    (True, False)
    """
    return wet_bulb_branches(dry_bulb, humidity, pressure, form)[2] == AMBIGUOUS


def _refuse_single(dry_bulb: Array, humidity: Array, pressure: Array) -> None:
    """Raise for a single impossible reading; arrays get theirs as missing rows."""
    if max(np.ndim(dry_bulb), np.ndim(humidity), np.ndim(pressure)) == 0:
        bad = _wet_bulb.impossible(dry_bulb, humidity, pressure)
        _refuse_humidity(bad, None, dry_bulb, humidity, pressure)


def _refuse_humidity(
    bad: Array, result: Array | None, dry_bulb: Array, humidity: Array, pressure: Array
) -> Array:
    return refuse(
        bad, result,
        "{humidity} %RH at {dry_bulb} degF and {pressure} psia cannot be",
        humidity=humidity, dry_bulb=dry_bulb, pressure=pressure,
    )
