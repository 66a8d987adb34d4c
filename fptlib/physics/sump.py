"""The common sump and the loop: what towers took out, and how long stored cold lasts."""

from __future__ import annotations

from fptlib.physics.errors import ImpossibleState
from fptlib.physics.water import BTU_PER_TON_HOUR

LB_PER_GALLON = 8.345
VERDICT_TURNOVERS = 3.0  # common practice


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


def verdict_time(volume: float, flow: float, turnovers: float = VERDICT_TURNOVERS) -> float:
    """Time after the last chiller stops before a verdict on the supply means anything.

    Args:
        volume [gal]: of the chilled-water loop.
        flow [gpm]: in it.
        turnovers [-]: before the stored cold no longer hides a failure.

    Returns:
        Time [min].

    Raises:
        ImpossibleState: volume or flow is not above zero.

    Source: common practice, three turnovers.

    >>> round(verdict_time(20_000.0, 3600.0), 1)
    16.7
    """
    if volume <= 0.0 or flow <= 0.0:
        raise ImpossibleState(f"{volume} gal at {flow} gpm has no residence time")
    return turnovers * (volume / flow)
