"""Uncertainty against the examples of the GUM and the rows computed from them.

The GUM's examples (JCGM 100:2008, annex H) are recalled and reproduced.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from uncertainties import correlation_matrix, umath

from fptlib.physics import conformance, moist_air, uncertainty, water
from fptlib.physics.errors import ImpossibleState, OutsideRange, TooFewSamples

exact = settings(derandomize=True, deadline=None, max_examples=60)


def test_gum_h1_gauge_block():
    """Effective degrees of freedom 16, k for 99 percent 2.92 (terms in nm from memory)."""
    dof = uncertainty.effective_dof([25.0, 9.7, 2.9, 16.6], [18.0, 25.6, 50.0, 2.0])
    assert math.floor(dof) == 16
    assert uncertainty.coverage_factor(16.0, 0.99) == pytest.approx(2.92, abs=0.005)


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPS = [19.663, 19.639, 19.640, 19.685, 19.678]
PHASE = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def impedance(volts, amps, phase):
    size = volts / amps
    return size * umath.cos(phase), size * umath.sin(phase), size


def test_gum_h2_correlated_impedance():
    observed = uncertainty.means_of(VOLTS, [i / 1000.0 for i in MILLIAMPS], PHASE)
    inputs = correlation_matrix(observed)
    assert inputs[0, 1] == pytest.approx(-0.36, abs=0.006)
    assert inputs[0, 2] == pytest.approx(0.86, abs=0.006)
    assert inputs[1, 2] == pytest.approx(-0.65, abs=0.006)
    found = impedance(*observed)
    for result, value, standard in zip(
        found, [127.732, 219.847, 254.260], [0.071, 0.295, 0.236], strict=True
    ):
        assert result.nominal_value == pytest.approx(value, abs=6e-4)
        assert result.std_dev == pytest.approx(standard, abs=8e-4)
    outputs = correlation_matrix(found)
    assert outputs[0, 1] == pytest.approx(-0.588, abs=6e-4)
    assert outputs[0, 2] == pytest.approx(-0.485, abs=6e-4)
    assert outputs[1, 2] == pytest.approx(0.993, abs=6e-4)


def test_gum_h2_fails_when_correlations_are_dropped():
    observed = uncertainty.means_of(VOLTS, [i / 1000.0 for i in MILLIAMPS], PHASE)
    alone = uncertainty.correlated(
        [q.nominal_value for q in observed], [q.std_dev for q in observed], np.eye(3))
    naive = [result.std_dev for result in impedance(*alone)]
    assert naive == pytest.approx([0.1945, 0.2009, 0.2041], abs=1e-4)
    right = [0.071, 0.295, 0.236]
    assert all(abs(n - r) / r > 0.13 for n, r in zip(naive, right, strict=True))


def test_gum_h3_thermometer_calibration():
    reading = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010,
               26.511]
    correction = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161,
                  -0.160]
    at_20, slope = uncertainty.calibration_line(reading, correction, 20.0)
    assert at_20.nominal_value == pytest.approx(-0.1712, abs=6e-5)
    assert at_20.std_dev == pytest.approx(0.0029, abs=6e-5)
    assert slope.nominal_value == pytest.approx(0.00218, abs=6e-6)
    assert slope.std_dev == pytest.approx(0.00067, abs=6e-6)
    assert correlation_matrix([at_20, slope])[0, 1] == pytest.approx(-0.930, abs=6e-4)
    at_30 = at_20 + slope * 10.0
    assert at_30.nominal_value == pytest.approx(-0.1494, abs=6e-5)
    assert at_30.std_dev == pytest.approx(0.0041, abs=6e-5)
    mean_square = np.square(
        np.array(correction) - at_20.nominal_value
        - slope.nominal_value * (np.array(reading) - 20.0)).sum() / 9.0
    assert math.sqrt(mean_square) == pytest.approx(0.0035, abs=6e-5)


def test_gum_table_g2():
    assert uncertainty.coverage_factor(10.0) == pytest.approx(2.228, abs=5e-4)


@pytest.mark.parametrize("dof", [1.0, 2.0, 3.7, 16.0, 60.0, 199.0, 201.0, 5000.0])
@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.99])
def test_coverage_factor_against_scipy(dof, confidence):
    expected = stats.t.ppf((1.0 + confidence) / 2.0, dof)
    assert uncertainty.coverage_factor(dof, confidence) == pytest.approx(expected, rel=1e-6)


def test_from_memory_jcgm_106_breakdown_voltage():
    """Measured -5.47 V, u 0.05, upper limit -5.40: z 1.40, conformance .9192."""
    found = conformance.conformance_probability(-5.47, 0.05, upper=-5.40)
    assert found == pytest.approx(0.9192, abs=5e-5)


# ILAC-G8:09/2019; exact one-sided at the acceptance limit for k = 2 (computed)
@pytest.mark.parametrize("guard_in_expanded, false_accept", [
    (0.0, 0.50000), (0.83, 0.04846), (1.0, 0.02275), (1.5, 0.00135), (3.0, 1e-9),
])
def test_false_acceptance(guard_in_expanded, false_accept):
    standard = 0.37
    guard = guard_in_expanded * uncertainty.expanded(standard)
    found = conformance.false_accept_at(guard, standard)
    assert found == pytest.approx(false_accept, abs=6e-6)
    if 0.001 < false_accept < 0.5:
        assert conformance.guard_band(standard, found) == pytest.approx(guard, rel=1e-9)


def test_guard_bands_published():
    """ILAC-G8: simple acceptance at most 50 percent, w = U at most 2.5 percent."""
    assert conformance.false_accept_at(0.0, 1.0) <= 0.50
    assert conformance.false_accept_at(uncertainty.expanded(1.0), 1.0) <= 0.025


def test_from_memory_guard_bands():
    """ISO 14253-1: w = .83 U at most 5 percent; 1.5 U .16 percent; 3 U below 1 ppm."""
    assert conformance.false_accept_at(1.66, 1.0) <= 0.05
    assert conformance.false_accept_at(3.0, 1.0) <= 0.0016
    assert conformance.false_accept_at(6.0, 1.0) < 1e-6


def test_from_memory_autocorrelated_samples():
    """ASHRAE Guideline 14-2014: n (1 - r) / (1 + r)."""
    assert uncertainty.effective_count(300, 0.875) == pytest.approx(20.0)


def test_300_monitored_points_are_worth_about_20():
    """RP-1139 (Reddy, Andersen and Niebur, HVAC&R Research 9(4) 2003)."""
    random = np.random.default_rng(0)
    counts = []
    for _ in range(60):
        series = np.zeros(300)
        for i in range(1, 300):
            series[i] = 0.875 * series[i - 1] + random.normal()
        counts.append(uncertainty.effective_samples(series))
    assert np.mean(counts) == pytest.approx(20.0, abs=5.0)


def test_covariance_of_the_enable_test():
    """Approaches observed with the sensors that test the condition: u .289, P .9997.

    Wet bulb 36, tower 7, exchanger 2, tolerances 1 and 1, against 48 degF. Root sum of
    squares of three terms as if independent: u 1.046, P .830. With design approaches
    nothing cancels.
    """
    wet_bulb, basin, leaving = (
        uncertainty.correlated([36.0, 43.0, 45.0], [0.65, 0.2887, 0.2887], np.eye(3)))
    tower, exchanger = basin - wet_bulb, leaving - basin
    shared = wet_bulb + tower + exchanger + 2.0
    assert shared.nominal_value == pytest.approx(47.0)
    assert shared.std_dev == pytest.approx(0.289, abs=5e-4)
    found = conformance.conformance_probability(
        shared.nominal_value, shared.std_dev, upper=48.0)
    assert found == pytest.approx(0.9997, abs=5e-5)
    naive = math.sqrt(wet_bulb.std_dev**2 + tower.std_dev**2 + exchanger.std_dev**2)
    assert naive == pytest.approx(1.046, abs=1e-3)
    found = conformance.conformance_probability(47.0, naive, upper=48.0)
    assert found == pytest.approx(0.830, abs=1e-3)
    designed = wet_bulb + 7.0 + 2.0 + 2.0
    assert designed.std_dev == pytest.approx(0.65)


def percent_of_load(difference, accuracy):
    flow = uncertainty.sensor(1000.0, 20.0)
    entering = uncertainty.sensor(44.0 + difference, accuracy)
    load = water.load_rule_of_thumb(flow, entering, uncertainty.sensor(44.0, accuracy))
    return load, 100.0 * uncertainty.expanded(load.std_dev) / load.nominal_value


# Load, k = 2, flow 2 percent; unmatched 0.5 degF and matched 0.1 degF sensors (computed)
@pytest.mark.parametrize("difference, unmatched, matched", [
    (2, 40.9, 8.5), (4, 20.5, 4.7), (6, 13.8, 3.6), (10, 8.5, 2.8), (12, 7.2, 2.7),
])
def test_uncertainty_of_load(difference, unmatched, matched):
    assert percent_of_load(difference, 0.5)[1] == pytest.approx(unmatched, abs=0.06)
    assert percent_of_load(difference, 0.1)[1] == pytest.approx(matched, abs=0.06)


def test_uncertainty_of_power_per_load():
    """Power 1.5 percent added: 20.6 percent on kW/ton at 4 degF (computed)."""
    load, _ = percent_of_load(4.0, 0.5)
    ratio = uncertainty.sensor(100.0, 1.5) / load
    assert 200.0 * ratio.std_dev / ratio.nominal_value == pytest.approx(20.6, abs=0.06)


# Wet bulb from 0.5 degF dry bulb and 3 %RH, both k = 1 (computed)
@pytest.mark.parametrize("dry_bulb, humidity, low, high", [
    (50.0, 60.0, 0.6, 0.7), (45.0, 60.0, 0.6, 0.7), (100.0, 13.0, 1.75, 1.85),
])
def test_uncertainty_of_wet_bulb(dry_bulb, humidity, low, high):
    state = uncertainty.correlated([dry_bulb, humidity], [0.5, 3.0], np.eye(2))
    found = moist_air.wet_bulb(*state, 14.696)
    assert low <= found.std_dev <= high + 0.005


def test_one_sensor_at_two_moments_cancels():
    error = uncertainty.offset(0.5, "supply")
    assert ((54.0 + error) - (44.0 + error)).std_dev == 0.0
    combined = uncertainty.sensor(50.0, 0.5, resolution=1.0)
    assert combined.std_dev == pytest.approx(math.sqrt(0.5**2 / 3.0 + 1.0 / 12.0))


@exact
@given(st.floats(-20.0, 20.0), st.floats(0.01, 5.0))
def test_conformance_adds_up(value, standard):
    below = conformance.conformance_probability(value, standard, upper=1.0)
    above = conformance.conformance_probability(value, standard, lower=1.0)
    assert below + above == pytest.approx(1.0)
    both = conformance.conformance_probability(value, standard, lower=-1.0, upper=1.0)
    assert 0.0 <= both <= below + 1e-12


@exact
@given(st.floats(2.0, 1e5), st.floats(-1.0, 1.0))
def test_effective_count_is_bounded(count, correlation):
    assert 1.0 <= uncertainty.effective_count(count, correlation) <= count


def test_gaps_do_not_make_samples():
    values = np.array([1.0, np.nan, 2.0, 1.5, 1.0, np.nan, 2.0, 1.0, 1.4])
    assert uncertainty.effective_samples(values) <= 7.0
    assert uncertainty.lag_correlation(np.full(10, 3.0)) == 0.0


def test_what_uncertainty_cannot_be():
    for wrong in (lambda: uncertainty.from_limits(-0.5), lambda: uncertainty.from_resolution(-1.0),
                  lambda: uncertainty.expanded(-1.0), lambda: conformance.guard_band(-1.0),
                  lambda: conformance.conformance_probability(0.0, -1.0),
                  lambda: conformance.conformance_probability(0.0, 1.0, lower=2.0, upper=1.0)):
        with pytest.raises(ImpossibleState):
            wrong()
    for wrong in (lambda: uncertainty.coverage_factor(0.0), lambda: conformance.guard_band(1.0, 0),
                  lambda: uncertainty.effective_count(10, 1.5)):
        with pytest.raises(OutsideRange):
            wrong()
    for wrong in (lambda: uncertainty.lag_correlation([1.0, 2.0]),
                  lambda: uncertainty.means_of([1.0], [2.0]),
                  lambda: uncertainty.calibration_line([1.0, 2.0], [0.0, 0.1], 1.0)):
        with pytest.raises(TooFewSamples):
            wrong()
    assert conformance.conformance_probability(1.0, 0.0, upper=1.0) == 1.0
