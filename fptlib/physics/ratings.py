"""What a chiller's rating allows: tolerances and the integrated part-load value.

No rated point exists at the lifts of economizer changeover.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Quantity, any_kind, refuse


@any_kind
def part_load_value(
    full: Quantity, at_75: Quantity, at_50: Quantity, at_25: Quantity
) -> Quantity:
    """Integrated part-load value from kW/ton at four loads.

    Args:
        full [kW/ton]: at full load.
        at_75 [kW/ton]: at 75 percent.
        at_50 [kW/ton]: at 50 percent.
        at_25 [kW/ton]: at 25 percent.

    Returns:
        Integrated value [kW/ton].

    Raises:
        ImpossibleState: a value is not above zero.

    Source: AHRI 550/590.

    >>> round(part_load_value(0.576, 0.5, 0.4, 0.45), 5)
    0.44464
    """
    bad = (full <= 0.0) | (at_75 <= 0.0) | (at_50 <= 0.0) | (at_25 <= 0.0)
    sound = [np.where(bad, 1.0, value) for value in (full, at_75, at_50, at_25)]
    weighed = [w / value for w, value in zip((0.01, 0.42, 0.45, 0.12), sound, strict=True)]
    return refuse(
        bad, 1.0 / np.sum(weighed, axis=0),
        "{full}, {at_75}, {at_50}, {at_25} kW/ton are not all above zero",
        full=full, at_75=at_75, at_50=at_50, at_25=at_25,
    )


@any_kind
def rating_tolerance(load_share: Quantity, full_load_range: Quantity) -> Quantity:
    """By how much a tested chiller may miss its rating.

    Args:
        load_share [-]: of full load, above zero, scalar or array.
        full_load_range [degF]: chilled-water range at full load.

    Returns:
        Tolerance [%].

    Raises:
        ImpossibleState: load share or range is not above zero.

    Source: AHRI 550/590, tolerance 1 (from memory).

    >>> round(rating_tolerance(0.5, 10.0), 2)
    10.0
    """
    return _tolerance(load_share, full_load_range, 0.105, 0.07, 0.15)


@any_kind
def energy_balance_tolerance(load_share: Quantity, full_load_range: Quantity) -> Quantity:
    """By how much the energy balance of a tested chiller may be open.

    Args:
        load_share [-]: of full load, above zero, scalar or array.
        full_load_range [degF]: chilled-water range at full load.

    Returns:
        Tolerance [%].

    Raises:
        ImpossibleState: load share or range is not above zero.

    Source: AHRI 550/590, tolerance 4 (from memory).

    >>> round(energy_balance_tolerance(0.5, 10.0), 2)
    7.05
    """
    return _tolerance(load_share, full_load_range, 0.074, 0.049, 0.105)


def _tolerance(
    load_share: Quantity, full_load_range: Quantity, base: float, fall: float, rise: float
) -> Quantity:
    bad = (load_share <= 0.0) | (full_load_range <= 0.0)
    product = np.where(bad, 1.0, load_share * full_load_range)
    return refuse(
        bad, 100.0 * (base - fall * load_share + rise / product),
        "load share {share} or range {full_range} degF is not above zero",
        share=load_share, full_range=full_load_range,
    )
