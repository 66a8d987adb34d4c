"""The plate exchanger: mean difference, effectiveness, UA, approach.

Hot and cold are the two streams in counterflow. Where chilled and condenser water are
named, chilled water is the hot one. Capacity is flow times heat factor, [Btu/h.degF].
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._arrays import Array, Quantity, floats, refuse
from fptlib.physics.water import BTU_PER_TON_HOUR, WATER, Fluid, load

_NEARLY_EQUAL = 1e-4  # relative difference of the two ends below which a series is exact
FILM_EXPONENT = 0.7


def lmtd(
    hot_entering: Quantity, hot_leaving: Quantity, cold_entering: Quantity, cold_leaving: Quantity
) -> Array:
    """Log mean temperature difference in counterflow.

    Args:
        hot_entering [degF]: scalar or array.
        hot_leaving [degF]: scalar or array.
        cold_entering [degF]: scalar or array.
        cold_leaving [degF]: scalar or array.

    Returns:
        Mean difference [degF].

    Raises:
        ImpossibleState: the streams cross, one end has no difference left.

    Source: Incropera and DeWitt, ch. 11; a series where the ends are nearly equal.

    >>> round(float(lmtd(54.0, 44.0, 42.0, 52.0)), 6)
    2.0
    """
    one, other = floats(hot_entering - cold_leaving, hot_leaving - cold_entering)
    bad = (one <= 0.0) | (other <= 0.0)
    a, b = np.where(bad, 1.0, one), np.where(bad, 1.0, other)
    # Near equal ends the mean is (1 - x^2/3 - ...) of x = half the relative difference.
    mean, x = (a + b) / 2.0, (a - b) / (a + b)
    near = np.abs(x) < _NEARLY_EQUAL / 2.0
    apart = np.where(near, 0.5, x)
    return refuse(
        bad, mean * np.where(near, 1.0 - x * x / 3.0, apart / np.arctanh(apart)),
        "the streams cross: differences {one} and {other} degF at the ends "
        "(hot {hot_in} to {hot_out}, cold {cold_in} to {cold_out})",
        one=one, other=other, hot_in=hot_entering, hot_out=hot_leaving,
        cold_in=cold_entering, cold_out=cold_leaving,
    )


def effectiveness(ntu: Quantity, capacity_ratio: Quantity) -> Array:
    """Effectiveness of a counterflow exchanger.

    Args:
        ntu [-]: number of transfer units, scalar or array.
        capacity_ratio [-]: smaller over larger capacity, 0 to 1, scalar or array.

    Returns:
        Effectiveness [-].

    Raises:
        ImpossibleState: negative transfer units or a ratio outside 0 to 1.

    Source: Kays and London, Compact Heat Exchangers.

    >>> round(float(effectiveness(5.0, 1.0)), 5)
    0.83333
    """
    units, ratio = floats(ntu, capacity_ratio)
    bad = (units < 0.0) | (ratio < 0.0) | (ratio > 1.0)
    units, ratio = np.where(bad, 0.0, units), np.where(bad, 0.0, ratio)
    x = units * (1.0 - ratio)
    equal = x < 1e-9  # both capacities: the fraction is nothing over nothing
    reach = units * np.where(equal, 1.0 - x / 2.0, -np.expm1(-x) / np.where(equal, 1.0, x))
    return refuse(bad, reach / (reach + np.exp(-x)),
                  "ntu {ntu} at capacity ratio {ratio} cannot be", ntu=ntu, ratio=capacity_ratio)


def observed_ua(
    chw_flow: Quantity,
    chw_entering: Quantity,
    chw_leaving: Quantity,
    cw_flow: Quantity,
    cw_entering: Quantity,
    cw_leaving: Quantity,
    *,
    chw_fluid: Fluid = WATER,
    cw_fluid: Fluid = WATER,
) -> Array:
    """UA as found, from the mean heat of both sides.

    Args:
        chw_flow [gpm]: scalar or array.
        chw_entering [degF]: scalar or array.
        chw_leaving [degF]: scalar or array.
        cw_flow [gpm]: scalar or array.
        cw_entering [degF]: scalar or array.
        cw_leaving [degF]: scalar or array.
        chw_fluid [-]: water, or a glycol with its mass per cent.
        cw_fluid [-]: likewise.

    Returns:
        UA [Btu/h.degF].

    Raises:
        ImpossibleState: reversed approach, reversed range or negative flow.
        OutsideRange: a temperature or percent is outside the fit of its fluid.

    Source: definition of UA, heat by the properties of the fluids.

    >>> round(float(observed_ua(1200.0, 54.0, 44.0, 1200.0, 42.0, 52.0) / 1e6), 3)
    3.011
    """
    given_up = load(chw_flow, chw_entering, chw_leaving, *chw_fluid)
    taken_up = -load(cw_flow, cw_entering, cw_leaving, *cw_fluid)
    difference = lmtd(chw_entering, chw_leaving, cw_entering, cw_leaving)
    return refuse(
        (given_up <= 0.0) | (taken_up <= 0.0),
        BTU_PER_TON_HOUR * (given_up + taken_up) / 2.0 / difference,
        "the chilled water gives up {chw:.0f} tons and the condenser water takes up {cw:.0f}; "
        "both must be above zero: look at which temperature enters and which leaves",
        chw=given_up, cw=taken_up,
    )


def expected_ua(
    design_ua: Quantity,
    chw_share: Quantity,
    cw_share: Quantity,
    exponent: float = FILM_EXPONENT,
    wall_share: float = 0.0,
) -> Array:
    """UA a clean exchanger has at other flows than design.

    The films of both sides share equally what the wall leaves of the design resistance.

    Args:
        design_ua [Btu/h.degF]: at design flows, scalar or array.
        chw_share [-]: chilled-water flow over its design flow, scalar or array.
        cw_share [-]: condenser-water flow over its design flow, scalar or array.
        exponent [-]: of a film coefficient on its flow, 0.6 to 0.8.
        wall_share [-]: of the design resistance that lies in the plates, where it is known.

    Returns:
        UA [Btu/h.degF].

    Raises:
        ImpossibleState: a flow or the UA is not above zero.

    Source: resistances in series; the exponent is common practice.

    >>> round(float(expected_ua(3.0e6, 0.5, 0.5) / 3.0e6), 4)
    0.6156
    """
    design_ua, chw_share, cw_share = floats(design_ua, chw_share, cw_share)
    extra = _film_growth(chw_share, cw_share, exponent, wall_share)
    return refuse(
        (chw_share <= 0.0) | (cw_share <= 0.0) | (design_ua <= 0.0), design_ua / (1.0 + extra),
        "UA {design} at {chw} and {cw} of the design flows cannot be",
        design=design_ua, chw=chw_share, cw=cw_share,
    )


def corrected_ua(
    observed: Quantity,
    design_ua: Quantity,
    chw_share: Quantity,
    cw_share: Quantity,
    exponent: float = FILM_EXPONENT,
    wall_share: float = 0.0,
) -> Array:
    """UA as found, brought to design flows; fouling stays as it is.

    Args:
        observed [Btu/h.degF]: as found, scalar or array.
        design_ua [Btu/h.degF]: at design flows, scalar or array.
        chw_share [-]: chilled-water flow over its design flow, scalar or array.
        cw_share [-]: condenser-water flow over its design flow, scalar or array.
        exponent [-]: of a film coefficient on its flow, 0.6 to 0.8.
        wall_share [-]: of the design resistance that lies in the plates, where it is known.

    Returns:
        UA [Btu/h.degF].

    Raises:
        ImpossibleState: the films alone would resist more than all that was found.

    Source: resistances in series; the exponent is common practice.

    >>> found = expected_ua(3.0e6, 0.5, 0.7)
    >>> round(corrected_ua(found, 3.0e6, 0.5, 0.7))
    3000000
    """
    observed, design_ua, chw_share, cw_share = floats(observed, design_ua, chw_share, cw_share)
    bad = (observed <= 0.0) | (chw_share <= 0.0) | (cw_share <= 0.0)
    extra = _film_growth(chw_share, cw_share, exponent, wall_share) / design_ua
    resistance = 1.0 / np.where(bad, 1.0, observed) - extra
    bad |= resistance <= 0.0
    return refuse(
        bad, 1.0 / np.where(bad, 1.0, resistance),
        "UA {observed} at {chw} and {cw} of the design flows exceeds clean films",
        observed=observed, chw=chw_share, cw=cw_share,
    )


def predicted_approach(
    load: Quantity, ua: Quantity, chw_capacity: Quantity, cw_capacity: Quantity
) -> Array:
    """Exchanger approach at another load: chilled water leaving minus condenser entering.

    Args:
        load [tons]: scalar or array.
        ua [Btu/h.degF]: at those flows, scalar or array.
        chw_capacity [Btu/h.degF]: scalar or array.
        cw_capacity [Btu/h.degF]: scalar or array.

    Returns:
        Approach [degF].

    Raises:
        ImpossibleState: the load is negative, or a UA or capacity is not above zero.

    Source: effectiveness-NTU (Kays and London) solved for the approach.

    >>> round(float(predicted_approach(250.0, 3.0e6, 6.0e5, 6.0e5)), 6)
    1.0
    """
    load, ua, chw, cw = floats(load, ua, chw_capacity, cw_capacity)
    bad = (load < 0.0) | (ua <= 0.0) | (chw <= 0.0) | (cw <= 0.0)
    chw, cw = np.where(bad, 1.0, chw), np.where(bad, 1.0, cw)
    smaller = np.minimum(chw, cw)
    share = effectiveness(np.where(bad, 1.0, ua) / smaller, smaller / np.maximum(chw, cw))
    # Chilled water is cooled by this share of the difference between both entering waters.
    share = share * smaller / chw
    return refuse(
        bad, BTU_PER_TON_HOUR * load / chw * (1.0 - share) / share,
        "{load} tons with UA {ua}, capacities {chw} and {cw} cannot be",
        load=load, ua=ua, chw=chw_capacity, cw=cw_capacity,
    )


def _film_growth(chw_share: Array, cw_share: Array, exponent: float, wall_share: float) -> Array:
    """Growth of the films' resistance off design flow, as a share of the design resistance."""
    chw, cw = (np.where(share > 0.0, share, 1.0) for share in (chw_share, cw_share))
    return (1.0 - wall_share) / 2.0 * (chw**-exponent + cw**-exponent - 2.0)
