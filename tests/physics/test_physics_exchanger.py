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
