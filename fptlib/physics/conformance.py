"""Whether a limit is kept: its probability, and guard bands that keep false acceptance rare."""

from __future__ import annotations

import math
from statistics import NormalDist

from fptlib.physics._kinds import not_negative
from fptlib.physics.errors import ImpossibleState, OutsideRange


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
    if not_negative("standard uncertainty", standard) == 0.0:
        return float(lower <= value <= upper)
    return _normal((upper - value) / standard) - _normal((lower - value) / standard)


def guard_band(standard: float, false_accept: float = 0.0227501319481792) -> float:
    """How far inside a limit to accept, so that few accepted at the edge are false.

    Args:
        standard [any]: standard uncertainty.
        false_accept [-]: greatest probability of false acceptance; the default is that
            of a guard band of the expanded uncertainty at k = 2.

    Returns:
        Guard band [any].

    Raises:
        ImpossibleState: the standard uncertainty is negative.
        OutsideRange: the probability is not between 0 and 1.

    Source: JCGM 106:2012 8.3.2; ILAC-G8:09/2019.

    >>> round(guard_band(0.25), 4)
    0.5
    """
    if not 0.0 < false_accept < 1.0:
        raise OutsideRange(f"probability of false acceptance {false_accept}")
    return -NormalDist().inv_cdf(false_accept) * not_negative("standard uncertainty", standard)


def false_accept_at(guard: float, standard: float) -> float:
    """Greatest probability of false acceptance under a guard band.

    Args:
        guard [any]: guard band.
        standard [any]: standard uncertainty, above zero.

    Returns:
        Probability [-] for a value measured at the acceptance limit.

    Raises:
        ImpossibleState: the standard uncertainty is negative.

    Source: JCGM 106:2012 8.3.2; ILAC-G8:09/2019.

    >>> round(false_accept_at(0.5, 0.25), 5)
    0.02275
    """
    return _normal(-guard / not_negative("standard uncertainty", standard))


def _normal(z: float) -> float:
    return math.erfc(-z / math.sqrt(2.0)) / 2.0
