"""Hours of a year in which economizer operation is possible, and what setpoint buys.

Every function counts the rows of one year (or any period) of weather; a row stands for
``hours_each`` hours, and a missing row is counted in none of them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from fptlib.physics._kinds import Array, Quantity, any_kind, refuse


@any_kind
def reset_line(
    dry_bulb: Quantity,
    cold_outdoor: Quantity,
    cold_setpoint: Quantity,
    warm_outdoor: Quantity,
    warm_setpoint: Quantity,
) -> Quantity:
    """Setpoint of a reset by outdoor temperature: a straight line, level at both ends.

    Args:
        dry_bulb [degF]: outdoor, scalar or array.
        cold_outdoor [degF]: below which the setpoint stays, scalar.
        cold_setpoint [degF]: at and below the cold end, scalar.
        warm_outdoor [degF]: above which the setpoint stays, scalar.
        warm_setpoint [degF]: at and above the warm end, scalar.

    Returns:
        Setpoint [degF].

    Raises:
        ImpossibleState: the cold end is not colder than the warm end.

    Source: common practice.

    >>> reset_line(45.0, 30.0, 52.0, 60.0, 44.0)
    48.0
    """
    span = warm_outdoor - cold_outdoor
    share = np.clip((dry_bulb - cold_outdoor) / np.where(span > 0.0, span, 1.0), 0.0, 1.0)
    return refuse(
        span <= 0.0, cold_setpoint + share * (warm_setpoint - cold_setpoint),
        "reset ends {cold} and {warm} degF outdoors are not in order",
        cold=cold_outdoor, warm=warm_outdoor,
    )


def hours_at_or_below(wet_bulb: Any, limit: float, hours_each: float = 1.0) -> float:
    """Hours in which the wet bulb is at or below a limit.

    Args:
        wet_bulb [degF]: array of the period.
        limit [degF]: scalar.
        hours_each [h]: that a row stands for, scalar.

    Returns:
        Hours [h].

    Source: count.

    >>> hours_at_or_below([30.0, 40.0, 50.0], 40.0)
    2.0
    """
    return _count(_floats(wet_bulb) <= limit, hours_each)


def allowed(
    wet_bulb: Any,
    setpoint: Any,
    tower_approach: Any,
    exchanger_approach: Any,
    tolerance: float = 0.0,
) -> Any:
    """Rows in which both approaches fit between wet bulb and setpoint.

    Args:
        wet_bulb [degF]: array of the period.
        setpoint [degF]: scalar, or array such as ``reset_line`` gives.
        tower_approach [degF]: scalar or array.
        exchanger_approach [degF]: scalar or array.
        tolerance [degF]: on both approaches together, scalar.

    Returns:
        True [-] where economizer operation is possible; False where a value is missing.

    Source: definition of the enable condition.

    >>> allowed([30.0, 40.0], 46.0, 10.0, 2.0, 2.0).tolist()
    [True, False]
    """
    needed = _floats(wet_bulb) + _floats(tower_approach) + _floats(exchanger_approach)
    return needed + tolerance <= _floats(setpoint)


def hours_allowed(
    wet_bulb: Any,
    setpoint: Any,
    tower_approach: Any,
    exchanger_approach: Any,
    tolerance: float = 0.0,
    hours_each: float = 1.0,
) -> float:
    """Hours that a setpoint, or a reset line, and a pair of approaches allow.

    Args:
        wet_bulb [degF]: array of the period.
        setpoint [degF]: scalar, or array such as ``reset_line`` gives.
        tower_approach [degF]: scalar or array.
        exchanger_approach [degF]: scalar or array.
        tolerance [degF]: on both approaches together, scalar.
        hours_each [h]: that a row stands for, scalar.

    Returns:
        Hours [h].

    Source: count.

    >>> hours_allowed([30.0, 32.0, 40.0], 46.0, 10.0, 2.0, 2.0)
    2.0
    """
    rows = allowed(wet_bulb, setpoint, tower_approach, exchanger_approach, tolerance)
    return _count(rows, hours_each)


def worth_of_setpoint(
    wet_bulb: Any,
    setpoint: Any,
    raises: Any,
    tower_approach: Any,
    exchanger_approach: Any,
    tolerance: float = 0.0,
    hours_each: float = 1.0,
) -> Any:
    """Hours won over the setpoint as it is by raising it.

    Args:
        wet_bulb [degF]: array of the period.
        setpoint [degF]: as it is, scalar, or array such as ``reset_line`` gives.
        raises [degF]: array of raises to try; a negative one lowers the setpoint.
        tower_approach [degF]: scalar or array.
        exchanger_approach [degF]: scalar or array.
        tolerance [degF]: on both approaches together, scalar.
        hours_each [h]: that a row stands for, scalar.

    Returns:
        Hours won [h], one per raise.

    Source: count.

    >>> worth_of_setpoint([30.0, 31.0, 40.0], 44.0, [1.0, 2.0], 10.0, 2.0, 2.0).tolist()
    [1.0, 1.0]
    """
    now = _floats(setpoint)
    fixed = (tower_approach, exchanger_approach, tolerance, hours_each)
    base = hours_allowed(wet_bulb, now, *fixed)
    return np.array([
        hours_allowed(wet_bulb, now + step, *fixed) - base for step in _floats(raises)
    ])


def hours_missing(wet_bulb: Any, hours_each: float = 1.0) -> float:
    """Hours whose wet bulb is missing, and that no count contains.

    Args:
        wet_bulb [degF]: array of the period.
        hours_each [h]: that a row stands for, scalar.

    Returns:
        Hours [h].

    Source: count.

    >>> hours_missing([30.0, float("nan")])
    1.0
    """
    return _count(np.isnan(_floats(wet_bulb)), hours_each)


def _floats(values: Any) -> Array:
    return np.asarray(values, dtype=float)


def _count(rows: Array, hours_each: float) -> float:
    return float(np.count_nonzero(rows)) * hours_each
