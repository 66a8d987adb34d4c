"""The cooling tower: Merkel number, and the approach at another wet bulb and load.

The driving force of a tower is the enthalpy of air saturated at the water's temperature
over that of the air beside it. A tower holds its Merkel number KaV/L at one ratio of
water to air; both move with water flow, fan speed and density of the air.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._arrays import Array, Quantity, floats, refuse
from fptlib.physics.atmosphere import SEA_LEVEL_PRESSURE
from fptlib.physics.errors import TowerInfeasible
from fptlib.physics.moist_air import (
    ABSOLUTE_ZERO,
    LIQUID_WICK,
    humidity_ratio,
    saturated_enthalpy,
    vapor_pressure,
)
from fptlib.physics.water import BTU_PER_TON_HOUR

WATER_TO_AIR = 1.2  # pound per pound, common design
LEAST_APPROACH, GREATEST_APPROACH = 0.01, 80.0  # degF

# Chebyshev's four points stand at 0.1, 0.4, 0.6 and 0.9 of the range. The driving force
# is convex along it and can be lost anywhere, so that it is looked at in eleven places.
_PLACES = np.linspace(0.0, 1.0, 11)
_CHEBYSHEV = [1, 4, 6, 9]
# Air that leaves a tower [degF].
_LEAVING = np.arange(-40.0, 150.0, 0.25)


def merkel(
    hot_water: Quantity,
    cold_water: Quantity,
    wet_bulb: Quantity,
    water_to_air: Quantity = WATER_TO_AIR,
    pressure: Quantity = SEA_LEVEL_PRESSURE,
) -> Array:
    """Merkel number KaV/L that a tower must have for a duty.

    Args:
        hot_water [degF]: water entering the tower, scalar or array.
        cold_water [degF]: water leaving the tower, scalar or array.
        wet_bulb [degF]: of the air entering, scalar or array.
        water_to_air [lb/lb]: water over dry air, scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Merkel number [-].

    Raises:
        ImpossibleState: the range is not above zero, or water leaves below the wet bulb.
        TowerInfeasible: the air would be warmer than the water somewhere in the tower.

    Source: Merkel's equation by four-point Chebyshev integration (CTI ATC-105, from memory).

    >>> round(float(merkel(105.0, 85.0, 78.0, 0.97)), 4)
    1.7104
    """
    hot, cold, air, ratio = floats(hot_water, cold_water, wet_bulb, water_to_air)
    numbers = {"hot": hot, "cold": cold, "wet_bulb": air, "ratio": ratio}
    bad = (hot <= cold) | (cold <= air) | (ratio <= 0.0)
    number, weakest = _number(cold, np.where(bad, np.nan, hot - cold), air, ratio, pressure)
    number = refuse(
        bad, number,
        "water from {hot} to {cold} degF at wet bulb {wet_bulb} degF and L/G {ratio} cannot be",
        **numbers,
    )
    return refuse(
        weakest <= 0.0, number,
        "water {hot} to {cold} degF at wet bulb {wet_bulb} degF and L/G {ratio}: "
        "driving force {weakest:.2f} Btu/lb", TowerInfeasible, weakest=weakest, **numbers,
    )


def approach_at(
    wet_bulb: Quantity,
    cooling_range: Quantity,
    merkel_number: Quantity,
    water_to_air: Quantity = WATER_TO_AIR,
    pressure: Quantity = SEA_LEVEL_PRESSURE,
) -> Array:
    """Approach of a tower of known Merkel number.

    Args:
        wet_bulb [degF]: scalar or array.
        cooling_range [degF]: scalar or array.
        merkel_number [-]: at this ratio of water to air, scalar or array.
        water_to_air [lb/lb]: water over dry air, scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Approach [degF], water leaving minus wet bulb.

    Raises:
        ImpossibleState: range, number or ratio is not above zero.
        TowerInfeasible: no approach from 0.01 to 80 degF fits.

    Source: Merkel's equation solved for the water leaving, by bisection.

    >>> round(float(approach_at(40.0, 10.0, 1.1878)), 2)
    19.66
    """
    air, duty, number, ratio = floats(wet_bulb, cooling_range, merkel_number, water_to_air)
    numbers = {"duty": duty, "number": number, "ratio": ratio, "wet_bulb": air}
    bad = (duty <= 0.0) | (number <= 0.0) | (ratio <= 0.0)
    found = _bisected(air, np.where(bad, np.nan, duty), number, ratio, pressure)
    found = refuse(
        bad, found, "range {duty} degF, KaV/L {number}, L/G {ratio} must be above zero", **numbers
    )
    at_edge = (found < LEAST_APPROACH * 1.001) | (found > GREATEST_APPROACH * 0.999)
    return refuse(
        at_edge, found,
        "no approach fits range {duty} degF, KaV/L {number}, L/G {ratio} at {wet_bulb} degF",
        TowerInfeasible, **numbers,
    )


def air_volume(wet_bulb: Quantity, pressure: Quantity) -> Quantity:
    """Specific volume of saturated air, which sets the mass that a fan moves.

    Args:
        wet_bulb [degF]: scalar or array.
        pressure [psia]: station pressure, scalar or array.

    Returns:
        Volume [ft3/lb] of moist air per pound of dry air.

    Source: ASHRAE Handbook Fundamentals 2017, ch. 1 eq. 26; its table 2 gives 13.329 at 60 degF.

    >>> round(float(air_volume(60.0, 14.696)), 2)
    13.33
    """
    ratio = humidity_ratio(vapor_pressure(wet_bulb), pressure)
    return 53.350 * (wet_bulb - ABSOLUTE_ZERO) * (1.0 + 1.607858 * ratio) / (144.0 * pressure)


def evaporation(
    dry_bulb: Quantity,
    wet_bulb: Quantity,
    cooling_range: Quantity,
    water_to_air: float,
    pressure: float = SEA_LEVEL_PRESSURE,
) -> Array:
    """Water that evaporates for every ton-hour of heat that a tower rejects.

    Args:
        dry_bulb [degF]: of the air entering, scalar or array.
        wet_bulb [degF]: of the air entering, scalar or array.
        cooling_range [degF]: scalar or array.
        water_to_air [lb/lb]: water over dry air.
        pressure [psia]: station pressure.

    Returns:
        Evaporation [lb per ton-hour]; less than 12,000 Btu over the latent heat where air leaves
        warmer than it entered.

    Source: heat balance of a tower whose air leaves saturated, enthalpy of moist air by ASHRAE
    Fundamentals (2017) ch. 1 eq. 30.

    >>> round(float(evaporation(48.0, 42.0, 8.0, 0.6)), 3)
    9.295
    """
    dry, air, duty = floats(dry_bulb, wet_bulb, cooling_range)
    entering = np.maximum(LIQUID_WICK.ratio(dry, air, pressure), 0.0)
    given = 0.240 * dry + entering * (1061.0 + 0.444 * dry) + water_to_air * duty
    leaving = np.interp(given, saturated_enthalpy(_LEAVING, pressure), _LEAVING)
    taken_up = humidity_ratio(vapor_pressure(leaving), pressure) - entering
    return taken_up * BTU_PER_TON_HOUR / (water_to_air * duty)


def _bisected(
    wet_bulb: Array, cooling_range: Array, number: Array, water_to_air: Array, pressure: Quantity
) -> Array:
    """The approach: the closer the water comes, the greater the number needed."""
    rows = np.broadcast(wet_bulb, cooling_range, number, water_to_air, pressure).shape
    low, high = np.full(rows, LEAST_APPROACH), np.full(rows, GREATEST_APPROACH)
    for _ in range(40):
        middle = (low + high) / 2.0
        needed, weakest = _number(
            wet_bulb + middle, cooling_range, wet_bulb, water_to_air, pressure)
        too_close = (weakest <= 0.0) | (needed > number)
        low, high = np.where(too_close, middle, low), np.where(too_close, high, middle)
    missing = np.isnan(needed) | np.isnan(number)
    return np.where(missing, np.nan, (low + high) / 2.0)


def _number(
    cold_water: Array, cooling_range: Array, wet_bulb: Array, water_to_air: Array,
    pressure: Quantity,
) -> tuple[Array, Array]:
    """Merkel number and the weakest driving force along the range."""
    air = saturated_enthalpy(wet_bulb, pressure)
    force = [
        saturated_enthalpy(cold_water + place * cooling_range, pressure)
        - air - water_to_air * place * cooling_range
        for place in _PLACES
    ]
    weakest = np.minimum.reduce(force)
    sound = np.where(weakest > 0.0, 1.0, np.nan)
    number = cooling_range / 4.0 * sum(sound / force[i] for i in _CHEBYSHEV)
    return np.where(weakest <= 0.0, np.inf, number), weakest
