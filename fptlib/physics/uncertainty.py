"""Measurement uncertainty: sensors with shared causes, expanded and effective samples.

Every function of this package takes numbers made by ``sensor`` and carries their
uncertainty, and their correlation where they share a sensor, to its result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.polynomial.legendre import leggauss

from fptlib.physics._kinds import not_negative
from fptlib.physics.errors import OutsideRange, TooFewSamples

COVERAGE = 2.0


def from_limits(half_width: float) -> float:
    """Standard uncertainty of a reading known only to lie within plus or minus a limit.

    Args:
        half_width [any]: the stated accuracy, in the unit of the reading.

    Returns:
        Standard uncertainty [any], half width over root three.

    Raises:
        ImpossibleState: the half width is negative.

    Source: JCGM 100:2008 (GUM) 4.3.7, rectangular distribution.

    >>> round(from_limits(0.5), 4)
    0.2887
    """
    return not_negative("accuracy", half_width) / math.sqrt(3.0)


def from_resolution(resolution: float) -> float:
    """Standard uncertainty from the smallest step a display or trend shows.

    Args:
        resolution [any]: the step, in the unit of the reading.

    Returns:
        Standard uncertainty [any], step over root twelve.

    Raises:
        ImpossibleState: the resolution is negative.

    Source: JCGM 100:2008 (GUM) F.2.2.1.

    >>> round(from_resolution(1.0), 4)
    0.2887
    """
    return not_negative("resolution", resolution) / math.sqrt(12.0)


def sensor(value: float, accuracy: float, resolution: float = 0.0, name: str = "") -> Any:
    """A reading that carries its uncertainty; use one object per physical sensor.

    The same object used twice cancels where its error cancels.

    Args:
        value [any]: the reading.
        accuracy [any]: half width of the stated accuracy, in the unit of the reading.
        resolution [any]: step of display or trend, in the unit of the reading.
        name [-]: of the sensor, shown in an uncertainty budget.

    Returns:
        Number [any] with uncertainty, of the package ``uncertainties``.

    Raises:
        ImpossibleState: accuracy or resolution is negative.

    Source: JCGM 100:2008 (GUM) 4.3.7 and 5.1.2.

    >>> wet_bulb = sensor(36.0, 1.0)
    >>> (wet_bulb + 7.0 - wet_bulb).std_dev
    0.0
    """
    from uncertainties import ufloat

    standard = math.hypot(from_limits(accuracy), from_resolution(resolution))
    return ufloat(value, standard, name or None)


def offset(accuracy: float, name: str = "") -> Any:
    """The unknown error of one sensor, zero with uncertainty, to add to its readings.

    Readings of the same sensor at two moments share this one cause.

    Args:
        accuracy [any]: half width of the stated accuracy, in the unit of the reading.
        name [-]: of the sensor, shown in an uncertainty budget.

    Returns:
        Number [any] with uncertainty, of the package ``uncertainties``.

    Raises:
        ImpossibleState: the accuracy is negative.

    Source: JCGM 100:2008 (GUM) F.1.2.3, correlation through a common cause.

    >>> error = offset(0.5)
    >>> ((54.0 + error) - (44.0 + error)).std_dev
    0.0
    """
    return sensor(0.0, accuracy, name=name)


def correlated(values: Sequence[float], standards: Sequence[float], correlations: Any) -> tuple:
    """Numbers whose uncertainties are correlated.

    Args:
        values [any]: one per quantity.
        standards [any]: standard uncertainty of each.
        correlations [-]: square matrix of correlation coefficients.

    Returns:
        Numbers [any] with uncertainty, of the package ``uncertainties``.

    Source: JCGM 100:2008 (GUM) 5.2.

    >>> a, b = correlated([1.0, 1.0], [0.1, 0.1], [[1.0, 1.0], [1.0, 1.0]])
    >>> round((a - b).std_dev, 6)
    0.0
    """
    from uncertainties import correlated_values_norm

    return correlated_values_norm(
        list(zip(values, standards, strict=True)), np.asarray(correlations)
    )


def means_of(*observations: Sequence[float]) -> tuple:
    """Means of quantities observed together, with their correlation.

    Args:
        observations [any]: one sequence per quantity, taken at the same moments.

    Returns:
        Numbers [any] with uncertainty, of the package ``uncertainties``.

    Raises:
        TooFewSamples: fewer than two observations.

    Source: JCGM 100:2008 (GUM) 4.2.3, 5.2.3 and example H.2.

    >>> voltage, current = means_of([5.0, 5.1, 4.9], [1.0, 1.02, 0.98])
    >>> round((voltage / current).std_dev, 6)
    0.0
    """
    from uncertainties import correlated_values

    table = np.asarray(observations, dtype=float)
    count = table.shape[1]
    if count < 2:
        raise TooFewSamples(f"{count} observation: a spread needs two")
    return correlated_values(table.mean(axis=1), np.atleast_2d(np.cov(table)) / count)


def calibration_line(
    reference: Sequence[float], correction: Sequence[float], origin: float
) -> tuple:
    """Straight line through the corrections of a sensor, with correlated coefficients.

    Args:
        reference [any]: readings at which the sensor was compared.
        correction [any]: reference minus reading.
        origin [any]: reading at which the first coefficient stands.

    Returns:
        Intercept at the origin [any] and slope [-], correlated numbers with uncertainty.

    Raises:
        TooFewSamples: fewer than three points.

    Source: JCGM 100:2008 (GUM) example H.3.

    >>> at_50, slope = calibration_line([40.0, 50.0, 60.0], [0.1, 0.2, 0.31], 50.0)
    >>> round(at_50.nominal_value, 3), round(slope.nominal_value, 4)
    (0.203, 0.0105)
    """
    from uncertainties import correlated_values

    x, y = np.asarray(reference, dtype=float) - origin, np.asarray(correction, dtype=float)
    if len(x) < 3:
        raise TooFewSamples(f"{len(x)} points: a line with uncertainty needs three")
    columns = np.stack([np.ones_like(x), x], axis=1)
    inverse = np.linalg.inv(columns.T @ columns)
    line = inverse @ columns.T @ y
    residual = y - columns @ line
    return correlated_values(line, inverse * (residual @ residual) / (len(x) - 2))


def expanded(standard: float, coverage: float = COVERAGE) -> float:
    """Expanded uncertainty.

    Args:
        standard [any]: standard uncertainty.
        coverage [-]: coverage factor k.

    Returns:
        Expanded uncertainty [any].

    Raises:
        ImpossibleState: the standard uncertainty is negative.

    Source: JCGM 100:2008 (GUM) 6.2.1.

    >>> expanded(0.25)
    0.5
    """
    return coverage * not_negative("standard uncertainty", standard)


def effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Effective degrees of freedom of a combined uncertainty.

    Args:
        contributions [any]: standard uncertainties, each already times its sensitivity.
        dofs [-]: degrees of freedom of each.

    Returns:
        Degrees of freedom [-].

    Source: Welch-Satterthwaite, JCGM 100:2008 (GUM) G.4.1.

    >>> round(effective_dof([1.0, 1.0], [10.0, 10.0]))
    20
    """
    shares = np.asarray(contributions, dtype=float)
    return float((shares**2).sum() ** 2 / (shares**4 / np.asarray(dofs)).sum())


def coverage_factor(dof: float, confidence: float = 0.95) -> float:
    """Two-sided coverage factor of Student's distribution.

    Args:
        dof [-]: degrees of freedom, above zero.
        confidence [-]: 0 to 1.

    Returns:
        Coverage factor [-].

    Raises:
        OutsideRange: degrees of freedom or confidence cannot be.

    Source: JCGM 100:2008 (GUM) table G.2.

    >>> round(coverage_factor(10.0), 3)
    2.228
    """
    if not (dof > 0.0 and 0.0 < confidence < 1.0):
        raise OutsideRange(f"confidence {confidence} with {dof} degrees of freedom")
    if dof > 200.0:  # Cornish-Fisher, exact to 1e-6 here
        z = NormalDist().inv_cdf((1.0 + confidence) / 2.0)
        return z + (z**3 + z) / (4.0 * dof) + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96 * dof**2)
    low, high = 0.0, math.pi / 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _student_within(middle, dof) < confidence else (low, middle)
    return math.sqrt(dof) * math.tan(low)


def lag_correlation(values: Any) -> float:
    """Correlation of a series with itself one sample later; missing samples are left out.

    Args:
        values [any]: evenly spaced, one-dimensional.

    Returns:
        Correlation [-], from -1 to 1; zero for a constant series.

    Raises:
        TooFewSamples: fewer than three pairs of neighbours.

    Source: definition.

    >>> round(lag_correlation([1.0, -1.0, 1.0, -1.0, 1.0, -1.0]), 2)
    -1.0
    """
    series = np.asarray(values, dtype=float)
    series = series - np.nanmean(series)
    pairs = ~np.isnan(series[:-1]) & ~np.isnan(series[1:])
    if pairs.sum() < 3:
        raise TooFewSamples(f"{pairs.sum()} pairs of neighbouring samples")
    earlier, later = series[:-1][pairs], series[1:][pairs]
    scale = math.sqrt(float((earlier**2).sum() * (later**2).sum()))
    return float((earlier * later).sum()) / scale if scale > 0.0 else 0.0


def effective_count(count: float, correlation: float) -> float:
    """Independent samples that correlated ones are worth.

    Args:
        count [-]: samples taken.
        correlation [-]: of neighbouring samples.

    Returns:
        Effective count [-], from 1 to the samples taken.

    Raises:
        OutsideRange: the correlation is outside -1 to 1.

    Source: ASHRAE Guideline 14-2014, from memory.

    >>> round(effective_count(300, 0.875), 6)
    20.0
    """
    if not -1.0 <= correlation <= 1.0:
        raise OutsideRange(f"correlation {correlation} is outside -1 to 1")
    held = max(correlation, 0.0)
    return min(max(count * (1.0 - held) / (1.0 + held), 1.0), float(count))


def effective_samples(values: Any) -> float:
    """Independent samples that an evenly spaced series is worth.

    Args:
        values [any]: evenly spaced, one-dimensional; missing samples are left out.

    Returns:
        Effective count [-].

    Raises:
        TooFewSamples: fewer than three pairs of neighbours.

    Source: ASHRAE Guideline 14-2014, from memory.

    >>> effective_samples([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    6.0
    """
    count = float(np.isfinite(np.asarray(values, dtype=float)).sum())
    return effective_count(count, lag_correlation(values))


def _student_within(angle: float, dof: float) -> float:
    """Probability that Student's t lies within sqrt(dof) tan(angle), both sides."""
    places, weights = leggauss(64)
    density = np.cos(angle * (places + 1.0) / 2.0) ** (dof - 1.0)
    scale = math.lgamma((dof + 1.0) / 2.0) - math.lgamma(dof / 2.0)
    return float((weights * density).sum()) * angle * math.exp(scale) / math.sqrt(math.pi)
