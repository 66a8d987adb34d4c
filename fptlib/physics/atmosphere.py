"""The atmosphere's pressure: standard at an altitude, and as weather services reduce it."""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics._saturated_air import ABSOLUTE_ZERO

SEA_LEVEL_PRESSURE = 14.696


@any_kind
def pressure_at(altitude: Quantity) -> Quantity:
    """Standard barometric pressure at an altitude.

    Args:
        altitude [ft]: scalar or array, -16,000 to 36,000.

    Returns:
        Pressure [psia].

    Raises:
        ImpossibleState: the altitude is outside the formula's range.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 3.

    >>> round(pressure_at(5280.0), 4)
    12.1002
    """
    outside = (altitude < -16_000.0) | (altitude > 36_000.0)
    base = 1.0 - 6.8754e-6 * np.where(outside, 0.0, altitude)
    return refuse(
        outside, SEA_LEVEL_PRESSURE * base**5.2559,
        "altitude {altitude} ft is outside -16000 to 36000 ft", altitude=altitude,
    )


@any_kind
def standard_temperature(altitude: Quantity) -> Quantity:
    """Temperature of the standard atmosphere at an altitude.

    Args:
        altitude [ft]: scalar or array.

    Returns:
        Temperature [degF].

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 4.

    >>> round(standard_temperature(1000.0), 3)
    55.434
    """
    return 59.0 - 0.00356620 * altitude


@any_kind
def sea_level_pressure(pressure: Quantity, altitude: Quantity, dry_bulb: Quantity) -> Quantity:
    """Sea-level pressure, as weather services report it, from station pressure.

    Args:
        pressure [psia]: station pressure, scalar or array.
        altitude [ft]: scalar or array.
        dry_bulb [degF]: at the station, scalar or array.

    Returns:
        Pressure reduced to sea level [psia].

    Source: hydrostatic column of 3.6 degF per 1000 ft; J. M. Wallace and P. V. Hobbs,
    Atmospheric Science.

    >>> round(sea_level_pressure(12.1, 5280.0, 50.0), 3)
    14.641
    """
    return pressure * _column_ratio(altitude, dry_bulb)


@any_kind
def station_pressure(
    sea_level_pressure: Quantity, altitude: Quantity, dry_bulb: Quantity
) -> Quantity:
    """Station pressure from the sea-level pressure that weather services report.

    Args:
        sea_level_pressure [psia]: scalar or array.
        altitude [ft]: scalar or array.
        dry_bulb [degF]: at the station, scalar or array.

    Returns:
        Station pressure [psia].

    Source: inverse of ``sea_level_pressure``.

    >>> round(station_pressure(14.641, 5280.0, 50.0), 3)
    12.1
    """
    return sea_level_pressure / _column_ratio(altitude, dry_bulb)


def _column_ratio(altitude: Array, dry_bulb: Array) -> Array:
    """Pressure at sea level over pressure at the station, by the height of the column."""
    column = dry_bulb + 0.0036 * altitude / 2.0
    return np.exp(altitude / (53.351 * (column - ABSOLUTE_ZERO)))
