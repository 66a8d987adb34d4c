"""Whether a limit is kept: its probability."""

from __future__ import annotations

import math

from fptlib.physics.errors import ImpossibleState


def conformance_probability(
    value: float,
    standard: float,
    lower: float = -math.inf,
    upper: float = math.inf,
) -> float:
    """Probability that the true value lies within the limits.

    Args:
        value [any]: as measured.
        standard [any]: standard uncertainty.
        lower [any]: lower limit, none unless given.
        upper [any]: upper limit, none unless given.

    Returns:
        Probability [-].

    Raises:
        ImpossibleState: the standard uncertainty is negative, or the limits are crossed.

    Source: JCGM 106:2012 7.2 to 7.4, normal distribution.

    >>> round(conformance_probability(-5.47, 0.05, upper=-5.40), 4)
    0.9192
    """
    if lower > upper:
        raise ImpossibleState(f"lower limit {lower} is above upper limit {upper}")
    if standard < 0.0:
        raise ImpossibleState(f"standard uncertainty {standard} is negative")
    if standard == 0.0:
        return float(lower <= value <= upper)
    return _normal((upper - value) / standard) - _normal((lower - value) / standard)


def _normal(z: float) -> float:
    return math.erfc(-z / math.sqrt(2.0)) / 2.0
