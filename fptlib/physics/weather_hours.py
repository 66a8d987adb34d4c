"""Hours of a typical year in which economizer operation is possible."""

from __future__ import annotations

import numpy as np

from fptlib.physics._arrays import Array, Quantity


def hours_allowed(
    wet_bulb: Array,
    setpoint: Quantity,
    tower_approach: Quantity,
    exchanger_approach: Quantity,
    tolerance: float = 0.0,
) -> int:
    """Hours in which both approaches fit between wet bulb and setpoint.

    Args:
        wet_bulb [degF]: array, one per hour; one that is NaN counts in nothing.
        setpoint [degF]: scalar, or array as a reset line gives it.
        tower_approach [degF]: scalar or array.
        exchanger_approach [degF]: scalar or array.
        tolerance [degF]: on both approaches together.

    Returns:
        Hours [h].

    Source: count by the definition of the enable condition.

    >>> hours_allowed(np.array([30.0, 32.0, 40.0]), 46.0, 10.0, 2.0, 2.0)
    2
    """
    needed = wet_bulb + tower_approach + exchanger_approach + tolerance
    return int(np.count_nonzero(needed <= setpoint))
