"""The common sump: what the towers took out while they pulled it cold."""

from __future__ import annotations

from fptlib.physics.errors import ImpossibleState
from fptlib.physics.water import BTU_PER_TON_HOUR

LB_PER_GALLON = 8.345


def net_rejection(volume: float, temperature_drop: float, minutes: float) -> float:
    """What towers took out beyond the heat that arrived while they pulled the water cold.

    Args:
        volume [gal]: of all the water that is cooled.
        temperature_drop [degF]: negative where the water warmed.
        minutes [min]: that it took.

    Returns:
        Net rejection [tons].

    Raises:
        ImpossibleState: volume or time is not above zero.

    Source: heat balance of mixed water, 8.345 lb/gal and 1 Btu/lb.degF.

    >>> round(net_rejection(10_000.0, 10.0, 20.9))
    200
    """
    if volume <= 0.0 or minutes <= 0.0:
        raise ImpossibleState(f"{volume} gal in {minutes} min have no net rejection")
    return 60.0 * volume * LB_PER_GALLON * temperature_drop / BTU_PER_TON_HOUR / minutes
