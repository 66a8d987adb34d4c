"""The exchanger against textbook examples, ``ht`` and itself.

HX-05 to HX-10 are computed with the 500 rule, so that the tests use it too.
"""

from __future__ import annotations

import math

import ht
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fptlib.physics import exchanger, water
from fptlib.physics.errors import ImpossibleState

BTU_H = 0.29307107017  # W
exact = settings(derandomize=True, deadline=None, max_examples=80)


def rule_capacity(flow):
    return 500.0 * flow


def rule_of_thumb(flow, entering, leaving):
    """Tons by 500 gpm dT."""
    return rule_capacity(flow) * (entering - leaving) / 12_000.0


def ua(tons, mean_difference):
    """Definition of UA [Btu/h.degF]."""
    return 12_000.0 * tons / mean_difference


def ntu(effectiveness, ratio):
    """Counterflow relation of Kays and London, solved for the transfer units."""
    return ht.NTU_from_effectiveness(effectiveness, ratio, subtype="counterflow")


def standard_uncertainty(function, values, standards):
    """Independent sensors by central differences (JCGM 100:2008 eq. 10)."""
    changes = [(function(*(values + shift)) - function(*(values - shift))) / 0.02
               for shift in 0.01 * np.diag(standards)]
    return math.hypot(*changes)


def test_hx_01_log_mean_difference():
    """Incropera and DeWitt, Example 11.1; in the docstring of ht.LMTD."""
    ends = 100.0, 60.0, 30.0, 40.2
    assert exchanger.lmtd(*ends) == pytest.approx(43.200409, abs=1e-6)


def test_hx_02_oil_cooler():
    """Incropera and DeWitt, Example 11.1: 8524 W, 40.20 degC, LMTD 43.20, length 65.9 m."""
    heat = 0.1 * 2131.0 * 40.0
    leaving = 30.0 + heat / (0.2 * 4178.0)
    difference = exchanger.lmtd(100.0, 60.0, 30.0, leaving)
    assert heat == pytest.approx(8524.0)
    assert leaving == pytest.approx(40.20, abs=0.005)
    assert difference == pytest.approx(43.20, abs=0.01)
    tons = heat / BTU_H / water.BTU_PER_TON_HOUR
    watts_per_kelvin = ua(tons, difference * 1.8) * BTU_H * 1.8
    assert watts_per_kelvin / (38.1 * math.pi * 0.025) == pytest.approx(65.9, abs=0.1)


def test_hx_03_cross_flow_is_worse_than_counterflow():
    """Incropera and DeWitt, Example 11.3, cross-flow: eps .755, C_r .45, NTU 2.08.

    A plate exchanger is counterflow, so cross-flow is not carried; the published row
    stands against ``ht`` and bounds the counterflow answer from above.
    """
    hot = 4197.0 * (125.0 - 35.0) / (300.0 - 100.0)
    most = hot * (300.0 - 35.0)
    effectiveness = 4197.0 * 90.0 / most
    assert hot == pytest.approx(1889.0, abs=1.0)
    assert most == pytest.approx(5.00e5, rel=2e-3)
    assert 4197.0 * 90.0 == pytest.approx(3.777e5, rel=1e-3)
    assert effectiveness == pytest.approx(0.755, abs=5e-4)
    assert hot / 4197.0 == pytest.approx(0.45, abs=5e-4)
    cross = ht.NTU_from_effectiveness(effectiveness, hot / 4197.0, subtype="crossflow")
    assert cross == pytest.approx(2.08, abs=0.01)
    assert ntu(effectiveness, hot / 4197.0) < cross


# HX-04, Kays and London, computed, within 5e-5
@pytest.mark.parametrize("ratio, units, expected", [
    (0, 1, 0.6321), (0.25, 1, 0.5983), (0.5, 1, 0.5647), (0.75, 1, 0.5319), (0.9, 3, 0.7777),
    (0.5, 2, 0.7746), (0.75, 4, 0.8730), (1, 1, 0.5), (1, 3, 0.75), (1, 5, 0.8333), (1, 8, 0.8889),
])
def test_hx_04_effectiveness(ratio, units, expected):
    assert exchanger.effectiveness(units, ratio) == pytest.approx(expected, abs=5e-5)
    found = exchanger.effectiveness(units, ratio)
    assert ntu(found, ratio) == pytest.approx(units, rel=1e-9)


def test_hx_05_balanced_plate():
    heat = rule_of_thumb(1200.0, 54.0, 44.0)
    difference = exchanger.lmtd(54.0, 44.0, 42.0, 52.0)
    found = ua(heat, difference)
    assert (heat, difference) == (500.0, 2.0)
    assert found == pytest.approx(3.0e6)
    assert found / rule_capacity(1200.0) == pytest.approx(5.0)
    assert exchanger.effectiveness(5.0, 1.0) == pytest.approx(0.83333, abs=5e-6)
    approach = exchanger.predicted_approach(500.0, found, *2 * [rule_capacity(1200.0)])
    assert approach == pytest.approx(2.0)


def test_hx_06_unbalanced_plate():
    heat = rule_of_thumb(1200.0, 56.0, 44.0)
    leaving = 41.0 + 12_000.0 * heat / rule_capacity(1500.0)
    difference = exchanger.lmtd(56.0, 44.0, 41.0, leaving)
    found = ua(heat, difference)
    assert leaving == pytest.approx(50.60, rel=1e-6)
    assert difference == pytest.approx(4.083114, rel=1e-6)
    assert found == pytest.approx(1_763_360, rel=1e-6)
    assert exchanger.effectiveness(2.938933, 0.8) == pytest.approx(0.8, rel=1e-6)
    assert ntu(0.8, 0.8) == pytest.approx(2.938933, rel=1e-6)
    approach = exchanger.predicted_approach(
        heat, found, rule_capacity(1200.0), rule_capacity(1500.0))
    assert 41.0 + approach == pytest.approx(44.0, rel=1e-6)


def test_hx_07_as_found():
    """UA from the mean heat of both sides; NTU from UA, not from effectiveness."""
    hot = rule_of_thumb(1200.0, 54.5, 45.2)
    cold = -rule_of_thumb(1500.0, 42.1, 49.6)
    difference = exchanger.lmtd(54.5, 45.2, 42.1, 49.6)
    found = ua((hot + cold) / 2.0, difference)
    assert (hot, cold) == (pytest.approx(465.0), pytest.approx(468.75))
    assert 200.0 * (hot - cold) / (hot + cold) == pytest.approx(-0.803, abs=5e-4)
    assert difference == pytest.approx(3.931564, rel=1e-6)
    assert found == pytest.approx(1_425_005.5, rel=1e-6)
    assert found / 1_763_360 == pytest.approx(0.808, abs=5e-4)
    share = 12_000.0 * (hot + cold) / 2.0 / (rule_capacity(1200.0) * 12.4)
    assert share == pytest.approx(0.75302, abs=5e-6)
    assert found / rule_capacity(1200.0) == pytest.approx(2.37501, abs=5e-6)
    assert ntu(share, 0.8) == pytest.approx(2.38054, abs=5e-5)


# HX-08, near-equal ends
@pytest.mark.parametrize("more, expected", [
    (0.0, 2.0), (1e-9, 2.0000000005), (1e-6, 2.0000005), (1e-3, 2.0004999583),
])
def test_hx_08_near_equal_ends(more, expected):
    """The row's value at 1e-9, 1.9999999995, is rounding noise; the exact one is above 2."""
    assert exchanger.lmtd(54.0 + more, 44.0, 42.0, 52.0) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("share, approach", [(1.0, 2.0), (0.75, 1.5), (0.5, 1.0), (0.25, 0.5)])
def test_hx_09_approach_by_load_at_constant_flow(share, approach):
    capacity = rule_capacity(1200.0)
    found = exchanger.predicted_approach(500.0 * share, 3.0e6, capacity, capacity)
    assert found == pytest.approx(approach)


@pytest.mark.parametrize("share, approach", [(1.0, 2.000), (0.75, 1.835), (0.5, 1.625)])
def test_hx_10_approach_by_load_with_both_flows(share, approach):
    """U by flow^0.7, all resistance in the films."""
    capacity = rule_capacity(1200.0 * share)
    clean = exchanger.expected_ua(3.0e6, share, share, 0.7, wall_share=0.0)
    found = exchanger.predicted_approach(500.0 * share, clean, capacity, capacity)
    assert found == pytest.approx(approach, abs=5e-4)


# V3.3, computed with ht.effectiveness_from_NTU, within 2e-5
EFFECTIVENESS_AT = [0.5, 1.5, 2.5, 3.5, 4, 6, 7, 10]
EFFECTIVENESS = [
    (0.25, [0.37759, 0.73500, 0.88040, 0.94467, 0.96219, 0.99165, 0.99606, 0.99959]),
    (0.5, [0.36227, 0.69079, 0.83280, 0.90485, 0.92742, 0.97447, 0.98467, 0.99662]),
    (0.6, [0.35630, 0.67270, 0.81117, 0.88423, 0.90811, 0.96162, 0.97475, 0.99259]),
    (0.7, [0.35042, 0.65450, 0.78829, 0.86096, 0.88550, 0.94392, 0.95982, 0.98452]),
    (0.8, [0.34463, 0.63627, 0.76435, 0.83522, 0.85970, 0.92064, 0.93856, 0.96965]),
    (0.9, [0.33894, 0.61808, 0.73960, 0.80735, 0.83103, 0.89155, 0.91021, 0.94500]),
    (0.95, [0.33612, 0.60902, 0.72700, 0.79274, 0.81577, 0.87496, 0.89341, 0.92844]),
    (0.99, [0.33389, 0.60180, 0.71684, 0.78080, 0.80319, 0.86080, 0.87880, 0.91317]),
    (1, [0.33333, 0.60000, 0.71429, 0.77778, 0.80000, 0.85714, 0.87500, 0.90909]),
]


@pytest.mark.parametrize("ratio, expected", EFFECTIVENESS)
def test_effectiveness_table(ratio, expected):
    found = exchanger.effectiveness(np.array(EFFECTIVENESS_AT), ratio)
    assert found == pytest.approx(expected, abs=2e-5)


# V3.3, computed: UA over design UA by flow shares, equal films and no wall, exponents 0.6, 0.7, 0.8
@pytest.mark.parametrize("chw, cw, shares", [
    (0.75, 1, [0.9139, 0.8997, 0.8854]), (0.5, 1, [0.7950, 0.7620, 0.7296]),
    (0.75, 0.75, [0.8415, 0.8176, 0.7944]), (0.5, 0.5, [0.6598, 0.6156, 0.5743]),
    (1, 1.25, [1.0668, 1.0779, 1.0890]), (0.6, 1, [0.8479, 0.8231, 0.7985]),
    (0.3, 1, [0.6537, 0.6019, 0.5525]),
])
def test_ua_by_flow(chw, cw, shares):
    for exponent, share in zip((0.6, 0.7, 0.8), shares, strict=True):
        found = exchanger.expected_ua(1.0, chw, cw, exponent, wall_share=0.0)
        assert found == pytest.approx(share, abs=6e-5)


# V3.3, computed: the exchanger of HX-06 (UA 1 763 360, 1200 and 1500 gpm, 56 and 41 degF entering):
# leaving chilled water in degF and tons by flow shares, for exponents 0.6, 0.7 and 0.8
@pytest.mark.parametrize("chw, cw, states", [
    (1, 1, [(44.000, 600.00)] * 3),
    (0.75, 1, [(42.672, 499.81), (42.716, 498.15), (42.761, 496.44)]),
    (0.5, 1, [(41.559, 361.03), (41.630, 359.26), (41.708, 357.29)]),
    (0.5, 0.5, [(43.187, 320.33), (43.377, 315.57), (43.576, 310.59)]),
    (1, 0.75, [(45.336, 533.19), (45.381, 530.96), (45.426, 528.70)]),
    (1.25, 1, [(45.276, 670.28), (45.244, 672.25), (45.213, 674.19)]),
    (0.3, 1, [(41.088, 223.68), (41.129, 223.06), (41.187, 222.19)]),
])
def test_clean_exchanger_at_other_flows(chw, cw, states):
    for exponent, (leaving, tons) in zip((0.6, 0.7, 0.8), states, strict=True):
        clean = exchanger.expected_ua(1_763_360.0, chw, cw, exponent, wall_share=0.0)
        approach = exchanger.predicted_approach(
            tons, clean, rule_capacity(1200.0 * chw), rule_capacity(1500.0 * cw))
        assert 41.0 + approach == pytest.approx(leaving, abs=1e-3)


# V3.3, computed: the same exchanger fouled: UA share, tons, rise of the leaving chilled water
@pytest.mark.parametrize("share, tons, rise", [
    (0.9569, 592.93, 0.141), (0.9174, 586.02, 0.280), (0.8163, 566.13, 0.677),
    (0.6897, 535.67, 1.287),
])
def test_fouled_exchanger(share, tons, rise):
    approach = exchanger.predicted_approach(
        tons, share * 1_763_360.0, rule_capacity(1200.0), rule_capacity(1500.0))
    assert approach == pytest.approx(3.0 + rise, abs=2e-3)


# Uncertainty of UA, k = 1, flow 1 percent
@pytest.mark.parametrize("state, sensor, percent", [
    ((1200, 54, 44, 1200, 42, 52), 0.05, 2.8), ((1200, 54, 44, 1200, 42, 52), 0.1, 5.3),
    ((1200, 54, 44, 1200, 42, 52), 0.289, 15.0), ((1200, 56, 44, 1500, 41, 50.6), 0.05, 1.8),
    ((1200, 56, 44, 1500, 41, 50.6), 0.1, 3.1), ((1200, 56, 44, 1500, 41, 50.6), 0.289, 8.6),
])
def test_uncertainty_of_ua(state, sensor, percent):
    """The rows take the heat of the chilled-water side alone; the mean of both is better."""
    values = np.array(state, dtype=float)
    accuracy = np.array([values[0] / 100.0, sensor, sensor, values[3] / 100.0, sensor, sensor])

    def of_one_side(flow, entering, leaving, _, cw_entering, cw_leaving):
        return ua(rule_of_thumb(flow, entering, leaving),
                  exchanger.lmtd(entering, leaving, cw_entering, cw_leaving))

    one_side, both_sides = (
        100.0 * standard_uncertainty(function, values, accuracy) / function(*values)
        for function in (of_one_side, exchanger.observed_ua))
    assert one_side == pytest.approx(percent, abs=0.06)
    assert 0.85 * one_side < both_sides < one_side


temperatures = st.floats(1.0, 30.0)


@exact
@given(temperatures, temperatures, st.floats(35.0, 60.0), st.floats(0.1, 20.0))
def test_log_mean_against_ht(one_end, other_end, cold_entering, cold_range):
    cold_leaving = cold_entering + cold_range
    ends = cold_leaving + one_end, cold_entering + other_end, cold_entering, cold_leaving
    found = exchanger.lmtd(*ends)
    if abs(one_end - other_end) > 1e-3:  # ht loses its digits where the ends are equal
        assert found == pytest.approx(ht.LMTD(*ends), rel=1e-7)
    tiny = 1.0 + 1e-9
    assert math.sqrt(one_end * other_end) <= found * tiny
    assert found <= (one_end + other_end) / 2 * tiny


@exact
@given(st.floats(0.01, 12.0), st.floats(0.01, 0.99))
def test_effectiveness_against_ht(units, ratio):
    found = exchanger.effectiveness(units, ratio)
    assert found == pytest.approx(
        ht.effectiveness_from_NTU(units, ratio, subtype="counterflow"), rel=1e-9)
    assert ntu(found, ratio) == pytest.approx(units, rel=1e-5)


@exact
@given(st.floats(2e5, 6e6), st.floats(300.0, 3000.0), st.floats(300.0, 3000.0),
       st.floats(2.0, 25.0))
def test_prediction_gives_the_ua_back(design, chw_flow, cw_flow, cooling_range):
    chw, cw = rule_capacity(chw_flow), rule_capacity(cw_flow)
    heat = chw * cooling_range / 12_000.0
    leaving = 42.0 + exchanger.predicted_approach(heat, design, chw, cw)
    entering, cw_leaving = leaving + cooling_range, 42.0 + 12_000.0 * heat / cw
    assert leaving > 42.0
    if leaving - 42.0 > 1e-3 and entering - cw_leaving > 1e-3:
        mean = exchanger.lmtd(entering, leaving, 42.0, cw_leaving)
        assert ua(heat, mean) == pytest.approx(design, rel=1e-6)


@exact
@given(st.floats(0.3, 1.3), st.floats(0.3, 1.3), st.floats(0.6, 0.8), st.floats(0.0, 0.3))
def test_correction_gives_a_clean_exchanger_its_design_back(chw, cw, exponent, wall):
    found = exchanger.expected_ua(3.0e6, chw, cw, exponent, wall)
    back = exchanger.corrected_ua(found, 3.0e6, chw, cw, exponent, wall)
    assert back == pytest.approx(3.0e6)
    fouled = 1.0 / (1.0 / found + 0.25 / 3.0e6)
    back = exchanger.corrected_ua(fouled, 3.0e6, chw, cw, exponent, wall)
    assert back == pytest.approx(3.0e6 / 1.25)


def test_observed_ua_uses_the_properties():
    found = exchanger.observed_ua(1200.0, 54.0, 44.0, 1200.0, 42.0, 52.0)
    assert found == pytest.approx(3.0e6, rel=5e-3)


def test_impossible_exchangers_are_refused():
    with pytest.raises(ImpossibleState, match="41.5"):
        exchanger.lmtd(54.0, 41.5, 42.0, 52.0)  # chilled water leaves below condenser water
    with pytest.raises(ImpossibleState):
        exchanger.observed_ua(1200.0, 44.0, 54.0, 1200.0, 42.0, 43.0)  # range reversed
    with pytest.raises(ImpossibleState):
        exchanger.observed_ua(1200.0, 54.0, 44.0, 1200.0, 42.0, 41.0)
    with pytest.raises(ImpossibleState):
        exchanger.effectiveness(-1.0, 0.5)
    with pytest.raises(ImpossibleState):
        exchanger.expected_ua(3.0e6, 0.0, 1.0)
    with pytest.raises(ImpossibleState, match="exceeds clean films"):
        exchanger.corrected_ua(9.0e6, 3.0e6, 0.3, 0.3)
    with pytest.raises(ImpossibleState):
        exchanger.predicted_approach(-1.0, 3.0e6, 6.0e5, 6.0e5)
    with pytest.raises(ImpossibleState):
        exchanger.predicted_approach(1.0, 3.0e6, 0.0, 6.0e5)


def test_impossible_rows_of_an_array_go_missing():
    leaving = np.array([44.0, 41.5, np.nan])
    found = exchanger.observed_ua(1200.0, 54.0, leaving, 1200.0, 42.0, 52.0)
    assert np.isnan(found).tolist() == [False, True, True]
    alone = exchanger.observed_ua(1200.0, 54.0, 44.0, 1200.0, 42.0, 52.0)
    assert found[0] == pytest.approx(alone)
