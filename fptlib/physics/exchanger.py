"""The plate exchanger: mean difference, effectiveness, conductance, approach.

Hot and cold are the two streams in counterflow. Where chilled and condenser water are
named, chilled water is the hot one. Capacity is flow times heat factor, [Btu/h.degF].
"""

from __future__ import annotations

import numpy as np

from fptlib.physics._kinds import Array, Quantity, any_kind, refuse
from fptlib.physics.errors import Undecidable
from fptlib.physics.water import BTU_PER_TON_HOUR, heat_factor, load

_NEARLY_EQUAL = 1e-4  # relative difference of the two ends below which a series is exact
FILM_EXPONENT = 0.7
WALL_SHARE = 0.1


@any_kind
def lmtd(
    hot_entering: Quantity,
    hot_leaving: Quantity,
    cold_entering: Quantity,
    cold_leaving: Quantity,
    parallel: bool = False,
) -> Quantity:
    """Log mean temperature difference, counterflow unless told otherwise.

    Args:
        hot_entering [degF]: scalar or array.
        hot_leaving [degF]: scalar or array.
        cold_entering [degF]: scalar or array.
        cold_leaving [degF]: scalar or array.
        parallel [-]: both streams enter at the same end.

    Returns:
        Mean difference [degF].

    Raises:
        ImpossibleState: the streams cross, one end has no difference left.

    Source: Incropera and DeWitt, ch. 11; a series where the ends are nearly equal.

    >>> lmtd(54.0, 44.0, 42.0, 52.0)
    2.0
    """
    one_end, other_end = hot_entering - cold_leaving, hot_leaving - cold_entering
    if parallel:
        one_end, other_end = hot_entering - cold_entering, hot_leaving - cold_leaving
    bad = (one_end <= 0.0) | (other_end <= 0.0)
    mean = _log_mean(np.where(bad, 1.0, one_end), np.where(bad, 1.0, other_end))
    return refuse(
        bad, mean,
        "the streams cross: differences {one} and {other} degF at the ends "
        "(hot {hot_in} to {hot_out}, cold {cold_in} to {cold_out})",
        one=one_end, other=other_end, hot_in=hot_entering, hot_out=hot_leaving,
        cold_in=cold_entering, cold_out=cold_leaving,
    )


@any_kind
def effectiveness(ntu: Quantity, capacity_ratio: Quantity) -> Quantity:
    """Effectiveness of a counterflow exchanger.

    Args:
        ntu [-]: number of transfer units, scalar or array.
        capacity_ratio [-]: smaller over larger capacity, 0 to 1, scalar or array.

    Returns:
        Effectiveness [-].

    Raises:
        ImpossibleState: negative transfer units or a ratio outside 0 to 1.

    Source: Kays and London, Compact Heat Exchangers.

    >>> round(effectiveness(5.0, 1.0), 5)
    0.83333
    """
    bad = (ntu < 0.0) | (capacity_ratio < 0.0) | (capacity_ratio > 1.0)
    units, ratio = np.where(bad, 0.0, ntu), np.where(bad, 0.0, capacity_ratio)
    exponent = units * (1.0 - ratio)
    reach = units * _expm1_over(-exponent)  # exact where both capacities are equal
    return refuse(
        bad, reach / (reach + np.exp(-exponent)),
        "ntu {ntu} at capacity ratio {ratio} cannot be", ntu=ntu, ratio=capacity_ratio,
    )


@any_kind
def ntu(effectiveness: Quantity, capacity_ratio: Quantity) -> Quantity:
    """Number of transfer units of a counterflow exchanger.

    Args:
        effectiveness [-]: 0 to below 1, scalar or array.
        capacity_ratio [-]: smaller over larger capacity, 0 to 1, scalar or array.

    Returns:
        Number of transfer units [-].

    Raises:
        ImpossibleState: an effectiveness no exchanger has, or a ratio outside 0 to 1.

    Source: Kays and London, Compact Heat Exchangers.

    >>> round(ntu(0.8, 0.8), 4)
    2.9389
    """
    bad = (effectiveness < 0.0) | (effectiveness >= 1.0)
    bad = bad | (capacity_ratio < 0.0) | (capacity_ratio > 1.0)
    share, ratio = np.where(bad, 0.0, effectiveness), np.where(bad, 0.0, capacity_ratio)
    reach = share / (1.0 - share)
    return refuse(
        bad, reach * _log1p_over(reach * (1.0 - ratio)),
        "effectiveness {share} at capacity ratio {ratio} cannot be",
        share=effectiveness, ratio=capacity_ratio,
    )


@any_kind
def capacity(
    flow: Quantity, temperature: Quantity, glycol: str | None = None, percent: Quantity = 0.0
) -> Quantity:
    """Capacity of a stream: the heat it carries per degree.

    Args:
        flow [gpm]: scalar or array.
        temperature [degF]: mean of the stream, scalar or array.
        glycol [-]: "propylene", "ethylene" or None for water.
        percent [mass %]: of glycol, 10 to 50, scalar or array.

    Returns:
        Capacity [Btu/h.degF].

    Raises:
        ImpossibleState: the flow is not above zero.
        OutsideRange: temperature or percent is outside the fit.

    Source: flow times heat factor.

    >>> round(capacity(1200.0, 50.0))
    601787
    """
    return refuse(
        flow <= 0.0, flow * heat_factor(temperature, glycol, percent),
        "flow {flow} gpm is not above zero", flow=flow,
    )


@any_kind
def conductance(heat: Quantity, mean_difference: Quantity) -> Quantity:
    """Conductance UA from the heat exchanged and the log mean difference.

    Args:
        heat [tons]: scalar or array.
        mean_difference [degF]: from ``lmtd``, scalar or array.

    Returns:
        Conductance [Btu/h.degF].

    Raises:
        ImpossibleState: heat flows against the temperatures, or not at all.

    Source: definition of UA.

    >>> conductance(500.0, 2.0)
    3000000.0
    """
    bad = (heat <= 0.0) | (mean_difference <= 0.0)
    return refuse(
        bad, BTU_PER_TON_HOUR * heat / np.where(bad, 1.0, mean_difference),
        "{heat} tons at a mean difference of {difference} degF cannot be",
        heat=heat, difference=mean_difference,
    )


@any_kind
def observed_conductance(
    chw_flow: Quantity,
    chw_entering: Quantity,
    chw_leaving: Quantity,
    cw_flow: Quantity,
    cw_entering: Quantity,
    cw_leaving: Quantity,
) -> Quantity:
    """Conductance as found, from the mean heat of both sides.

    Args:
        chw_flow [gpm]: scalar or array.
        chw_entering [degF]: scalar or array.
        chw_leaving [degF]: scalar or array.
        cw_flow [gpm]: scalar or array.
        cw_entering [degF]: scalar or array.
        cw_leaving [degF]: scalar or array.

    Returns:
        Conductance [Btu/h.degF].

    Raises:
        ImpossibleState: reversed approach, reversed range or negative flow.
        OutsideRange: a temperature is outside the fit of water.

    Source: definition of UA, heat by the properties of water.

    >>> round(observed_conductance(1200.0, 54.0, 44.0, 1200.0, 42.0, 52.0) / 1e6, 3)
    3.011
    """
    given_up = load(chw_flow, chw_entering, chw_leaving)
    taken_up = -load(cw_flow, cw_entering, cw_leaving)
    difference = lmtd(chw_entering, chw_leaving, cw_entering, cw_leaving)
    bad = (given_up <= 0.0) | (taken_up <= 0.0)
    heat = refuse(
        bad, (given_up + taken_up) / 2.0,
        "the chilled water gives up {chw:.0f} tons and the condenser water takes up {cw:.0f}; "
        "both must be above zero: look at which temperature enters and which leaves",
        chw=given_up, cw=taken_up,
    )
    return conductance(heat, difference)


@any_kind
def expected_conductance(
    design_conductance: Quantity,
    chw_share: Quantity,
    cw_share: Quantity,
    exponent: float = FILM_EXPONENT,
    wall_share: float = WALL_SHARE,
) -> Quantity:
    """Conductance a clean exchanger has at other flows than design.

    The films of both sides share equally what the wall leaves of the design resistance.

    Args:
        design_conductance [Btu/h.degF]: at design flows, scalar or array.
        chw_share [-]: chilled-water flow over its design flow, scalar or array.
        cw_share [-]: condenser-water flow over its design flow, scalar or array.
        exponent [-]: of a film's conductance on its flow, 0.6 to 0.8.
        wall_share [-]: of the design resistance that lies in the plates.

    Returns:
        Conductance [Btu/h.degF].

    Raises:
        ImpossibleState: a flow or the conductance is not above zero.

    Source: resistances in series; exponent and wall share are common practice.

    >>> round(expected_conductance(3.0e6, 0.5, 0.5, wall_share=0.0) / 3.0e6, 4)
    0.6156
    """
    extra = _film_growth(chw_share, cw_share, exponent, wall_share)
    bad = (chw_share <= 0.0) | (cw_share <= 0.0) | (design_conductance <= 0.0)
    return refuse(
        bad, design_conductance / (1.0 + extra),
        "conductance {design} at {chw} and {cw} of the design flows cannot be",
        design=design_conductance, chw=chw_share, cw=cw_share,
    )


@any_kind
def corrected_conductance(
    observed: Quantity,
    design_conductance: Quantity,
    chw_share: Quantity,
    cw_share: Quantity,
    exponent: float = FILM_EXPONENT,
    wall_share: float = WALL_SHARE,
) -> Quantity:
    """Conductance as found, brought to design flows; fouling stays as it is.

    Args:
        observed [Btu/h.degF]: as found, scalar or array.
        design_conductance [Btu/h.degF]: at design flows, scalar or array.
        chw_share [-]: chilled-water flow over its design flow, scalar or array.
        cw_share [-]: condenser-water flow over its design flow, scalar or array.
        exponent [-]: of a film's conductance on its flow, 0.6 to 0.8.
        wall_share [-]: of the design resistance that lies in the plates.

    Returns:
        Conductance [Btu/h.degF].

    Raises:
        ImpossibleState: the films alone would resist more than all that was found.

    Source: resistances in series; exponent and wall share are common practice.

    >>> found = expected_conductance(3.0e6, 0.5, 0.7)
    >>> round(corrected_conductance(found, 3.0e6, 0.5, 0.7))
    3000000
    """
    extra = _film_growth(chw_share, cw_share, exponent, wall_share) / design_conductance
    resistance = 1.0 / observed - extra
    bad = (observed <= 0.0) | (resistance <= 0.0) | (chw_share <= 0.0) | (cw_share <= 0.0)
    return refuse(
        bad, 1.0 / np.where(bad, 1.0, resistance),
        "conductance {observed} at {chw} and {cw} of the design flows exceeds clean films",
        observed=observed, chw=chw_share, cw=cw_share,
    )


@any_kind
def predicted_chw_leaving(
    conductance: Quantity,
    chw_capacity: Quantity,
    chw_entering: Quantity,
    cw_capacity: Quantity,
    cw_entering: Quantity,
) -> Quantity:
    """Chilled water leaving the exchanger at other flows and temperatures.

    Args:
        conductance [Btu/h.degF]: at those flows, scalar or array.
        chw_capacity [Btu/h.degF]: scalar or array.
        chw_entering [degF]: scalar or array.
        cw_capacity [Btu/h.degF]: scalar or array.
        cw_entering [degF]: scalar or array.

    Returns:
        Temperature [degF].

    Raises:
        ImpossibleState: a conductance or capacity is not above zero, or condenser water
            enters warmer than chilled water.

    Source: effectiveness-NTU (Kays and London).

    >>> round(predicted_chw_leaving(3.0e6, 6.0e5, 54.0, 6.0e5, 42.0), 6)
    44.0
    """
    share = _reach(conductance, chw_capacity, cw_capacity)
    leaving = chw_entering - share * (chw_entering - cw_entering)
    return refuse(
        cw_entering > chw_entering, leaving,
        "condenser water enters at {cw} degF, warmer than chilled water at {chw} degF",
        cw=cw_entering, chw=chw_entering,
    )


@any_kind
def predicted_approach(
    load: Quantity, conductance: Quantity, chw_capacity: Quantity, cw_capacity: Quantity
) -> Quantity:
    """Exchanger approach at another load: chilled water leaving minus condenser entering.

    Args:
        load [tons]: scalar or array.
        conductance [Btu/h.degF]: at those flows, scalar or array.
        chw_capacity [Btu/h.degF]: scalar or array.
        cw_capacity [Btu/h.degF]: scalar or array.

    Returns:
        Approach [degF].

    Raises:
        ImpossibleState: the load is negative, or a conductance or capacity is not above zero.

    Source: effectiveness-NTU (Kays and London) solved for the approach.

    >>> round(predicted_approach(250.0, 3.0e6, 6.0e5, 6.0e5), 6)
    1.0
    """
    share = _reach(conductance, chw_capacity, cw_capacity)
    chw_range = BTU_PER_TON_HOUR * load / chw_capacity
    return refuse(
        load < 0.0, chw_range * (1.0 - share) / share, "load {load} tons is negative", load=load
    )


@any_kind
def heat_balance(chw_load: Quantity, cw_load: Quantity) -> Quantity:
    """How far the heat of the two sides differs, in percent of their mean.

    Args:
        chw_load [tons]: given up by chilled water, scalar or array.
        cw_load [tons]: taken up by condenser water, scalar or array.

    Returns:
        Imbalance [%], negative where condenser water carries more.

    Raises:
        ImpossibleState: a side carries no heat, or in the wrong sense.

    Source: conservation of energy.

    >>> round(heat_balance(465.0, 468.75), 3)
    -0.803
    """
    bad = (chw_load <= 0.0) | (cw_load <= 0.0)
    mean = np.where(bad, 1.0, (chw_load + cw_load) / 2.0)
    return refuse(
        bad, 100.0 * (chw_load - cw_load) / mean,
        "the sides carry {chw} and {cw} tons", chw=chw_load, cw=cw_load,
    )


def conductance_uncertainty(
    chw_flow: float,
    chw_entering: float,
    chw_leaving: float,
    cw_flow: float,
    cw_entering: float,
    cw_leaving: float,
    flow_uncertainty: float,
    temperature_uncertainty: float,
) -> float:
    """Standard uncertainty of ``observed_conductance`` from independent sensors.

    Args:
        chw_flow [gpm]: scalar.
        chw_entering [degF]: scalar.
        chw_leaving [degF]: scalar.
        cw_flow [gpm]: scalar.
        cw_entering [degF]: scalar.
        cw_leaving [degF]: scalar.
        flow_uncertainty [%]: standard uncertainty of each flow, of reading, scalar.
        temperature_uncertainty [degF]: standard uncertainty of each sensor, scalar.

    Returns:
        Standard uncertainty of the conductance [%], k = 1.

    Raises:
        ImpossibleState: reversed approach, reversed range or negative flow.

    Source: JCGM 100:2008 eq. 10.

    >>> round(conductance_uncertainty(1200, 54, 44, 1200, 42, 52, 1.0, 0.289))
    15
    """
    from uncertainties import ufloat

    def sensor(value: float) -> object:
        return ufloat(value, temperature_uncertainty)

    def meter(value: float) -> object:
        return ufloat(value, value * flow_uncertainty / 100.0)

    found = observed_conductance(
        meter(chw_flow), sensor(chw_entering), sensor(chw_leaving),
        meter(cw_flow), sensor(cw_entering), sensor(cw_leaving),
    )
    return float(100.0 * found.std_dev / found.nominal_value)


def require_decidable(uncertainty: float, limit: float, coverage: float = 2.0) -> None:
    """Refuse a conductance so uncertain that clean and fouled cannot be told apart.

    Args:
        uncertainty [%]: standard uncertainty of the conductance, scalar.
        limit [%]: share of design the conductance must reach, scalar.
        coverage [-]: coverage factor, scalar.

    Raises:
        Undecidable: expanded, it is wider than the distance from clean to the limit.

    Source: JCGM 106:2012, the tolerance must exceed the guard band.

    >>> require_decidable(5.3, 80.0)
    """
    expanded, room = coverage * uncertainty, 100.0 - limit
    if not expanded < room:
        raise Undecidable(
            f"conductance is uncertain by {expanded:.1f} % (k = {coverage:g}), "
            f"the limit lies only {room:.1f} % below design"
        )


def _log_mean(one: Array, other: Array) -> Array:
    """Near equal ends mean (1 - x^2/3 - ...) of x = half the relative difference."""
    mean, x = (one + other) / 2.0, (one - other) / (one + other)
    near = np.abs(x) < _NEARLY_EQUAL / 2.0
    apart = np.where(near, 0.5, x)
    return mean * np.where(near, 1.0 - x * x / 3.0, apart / np.arctanh(apart))


def _expm1_over(x: Array) -> Array:
    near = np.abs(x) < 1e-9
    return np.where(near, 1.0 + x / 2.0, np.expm1(x) / np.where(near, 1.0, x))


def _log1p_over(x: Array) -> Array:
    near = np.abs(x) < 1e-9
    return np.where(near, 1.0 - x / 2.0, np.log1p(x) / np.where(near, 1.0, x))


def _film_growth(chw_share: Array, cw_share: Array, exponent: float, wall_share: float) -> Array:
    """Growth of the films' resistance off design flow, as a share of the design resistance."""
    film = (1.0 - wall_share) / 2.0
    shares = [np.where(share > 0.0, share, 1.0) for share in (chw_share, cw_share)]
    return film * (shares[0] ** -exponent + shares[1] ** -exponent - 2.0)


def _reach(conductance: Array, chw_capacity: Array, cw_capacity: Array) -> Array:
    """Share of the entering difference by which chilled water is cooled."""
    bad = (conductance <= 0.0) | (chw_capacity <= 0.0) | (cw_capacity <= 0.0)
    smaller = np.where(bad, 1.0, np.minimum(chw_capacity, cw_capacity))
    ratio = np.where(bad, 1.0, smaller / np.maximum(chw_capacity, cw_capacity))
    share = effectiveness(np.where(bad, 1.0, conductance) / smaller, ratio)
    return refuse(
        bad, share * smaller / np.where(bad, 1.0, chw_capacity),
        "conductance {conductance}, capacities {chw} and {cw} must be above zero",
        conductance=conductance, chw=chw_capacity, cw=cw_capacity,
    )
