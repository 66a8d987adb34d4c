"""The common sump: how long a pull-down takes and how often the loop has turned over."""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Quantity, any_kind, refuse
from fptlib.physics.water import BTU_PER_TON_HOUR

LB_PER_GALLON = 8.345
VERDICT_TURNOVERS = 3.0  # common practice


@any_kind
def pull_down_time(
    volume: Quantity, temperature_drop: Quantity, rejection: Quantity, load: Quantity
) -> Quantity:
    """Time to pull sump, piping and chiller barrels cold while heat still arrives.

    Args:
        volume [gal]: of all the water that is cooled, scalar or array.
        temperature_drop [degF]: scalar or array.
        rejection [tons]: what the towers take out, scalar or array.
        load [tons]: heat that arrives meanwhile, compressors included; scalar or array.

    Returns:
        Time [min].

    Raises:
        ImpossibleState: rejection does not exceed load, or volume or drop is negative.

    Source: heat balance of mixed water, 8.345 lb/gal and 1 Btu/lb.degF.

    >>> round(pull_down_time(10_000.0, 10.0, 700.0, 500.0), 1)
    20.9
    """
    net = rejection - load
    heat = volume * LB_PER_GALLON * temperature_drop
    bad = (net <= 0.0) | (volume < 0.0) | (temperature_drop < 0.0)
    return refuse(
        bad, 60.0 * heat / BTU_PER_TON_HOUR / np.where(bad, 1.0, net),
        "{volume} gal cannot be pulled down {drop} degF by {rejection} tons against {load} tons",
        volume=volume, drop=temperature_drop, rejection=rejection, load=load,
    )


@any_kind
def net_rejection(volume: Quantity, temperature_drop: Quantity, minutes: Quantity) -> Quantity:
    """What towers took out beyond the heat that arrived while they pulled the water cold.

    Args:
        volume [gal]: of all the water that is cooled, scalar or array.
        temperature_drop [degF]: scalar or array; negative where the water warmed.
        minutes [min]: that it took, scalar or array.

    Returns:
        Net rejection [tons].

    Raises:
        ImpossibleState: volume or time is not above zero.

    Source: heat balance of mixed water, the inverse of ``pull_down_time``.

    >>> round(net_rejection(10_000.0, 10.0, 20.9), 0)
    200.0
    """
    bad = (volume <= 0.0) | (minutes <= 0.0)
    heat = volume * LB_PER_GALLON * temperature_drop
    return refuse(
        bad, 60.0 * heat / BTU_PER_TON_HOUR / np.where(bad, 1.0, minutes),
        "{volume} gal in {minutes} min have no net rejection", volume=volume, minutes=minutes,
    )


@any_kind
def residence_time(volume: Quantity, flow: Quantity) -> Quantity:
    """Time in which the flow replaces the volume of a loop once.

    Args:
        volume [gal]: scalar or array.
        flow [gpm]: scalar or array.

    Returns:
        Time [min].

    Raises:
        ImpossibleState: volume or flow is not above zero.

    Source: definition.

    >>> round(residence_time(20_000.0, 3600.0), 1)
    5.6
    """
    bad = (volume <= 0.0) | (flow <= 0.0)
    return refuse(
        bad, volume / np.where(bad, 1.0, flow),
        "{volume} gal at {flow} gpm has no residence time", volume=volume, flow=flow,
    )


@any_kind
def turnovers(volume: Quantity, flow: Quantity, minutes: Quantity) -> Quantity:
    """How often the flow has replaced the volume of a loop.

    Args:
        volume [gal]: scalar or array.
        flow [gpm]: scalar or array.
        minutes [min]: elapsed, scalar or array.

    Returns:
        Turnovers [-].

    Raises:
        ImpossibleState: volume or flow is not above zero, or time is negative.

    Source: definition.

    >>> round(turnovers(20_000.0, 3600.0, 30.0), 1)
    5.4
    """
    done = minutes / residence_time(volume, flow)
    return refuse(minutes < 0.0, done, "{minutes} min is negative", minutes=minutes)


@any_kind
def verdict_time(
    volume: Quantity, flow: Quantity, needed_turnovers: float = VERDICT_TURNOVERS
) -> Quantity:
    """Time after the last chiller stops before a verdict on the supply means anything.

    Args:
        volume [gal]: of the chilled-water loop, scalar or array.
        flow [gpm]: scalar or array.
        needed_turnovers [-]: before the stored cold no longer hides a failure.

    Returns:
        Time [min].

    Raises:
        ImpossibleState: volume or flow is not above zero.

    Source: common practice, three turnovers.

    >>> round(verdict_time(20_000.0, 3600.0), 1)
    16.7
    """
    return needed_turnovers * residence_time(volume, flow)
