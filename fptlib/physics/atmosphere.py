"""The atmosphere's pressure at an altitude."""

from __future__ import annotations

from fptlib.physics.errors import ImpossibleState

SEA_LEVEL_PRESSURE = 14.696  # psia


def pressure_at(altitude: float) -> float:
    """Standard barometric pressure at an altitude.

    Args:
        altitude [ft]: -16,000 to 36,000.

    Returns:
        Pressure [psia].

    Raises:
        ImpossibleState: the altitude is outside the formula's range.

    Source: ASHRAE Fundamentals (2017) ch. 1 eq. 3.

    >>> round(pressure_at(5280.0), 4)
    12.1002
    """
    if altitude < -16_000.0 or altitude > 36_000.0:
        raise ImpossibleState(f"altitude {altitude} ft is outside -16000 to 36000 ft")
    return float(SEA_LEVEL_PRESSURE * (1.0 - 6.8754e-6 * altitude) ** 5.2559)
