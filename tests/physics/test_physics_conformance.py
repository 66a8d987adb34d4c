"""The probability that a limit is kept, against the rows of standards and computed ones."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fptlib.physics import conformance, moist_air, water
from fptlib.physics.errors import ImpossibleState

exact = settings(derandomize=True, deadline=None, max_examples=60)


def false_accept_at(guard, standard):
    """Probability that the limit is not kept by what was measured a guard band inside it."""
    return 1.0 - conformance.conformance_probability(guard, standard, lower=0.0)


def standard_uncertainty(function, values, standards):
    """Independent sensors by central differences (JCGM 100:2008 eq. 10)."""
    values = np.array(values, dtype=float)
    changes = [(function(*(values + shift)) - function(*(values - shift))) / 0.02
               for shift in 0.01 * np.diag(standards)]
    return math.hypot(*changes)


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
    guard = guard_in_expanded * 2.0 * standard
    assert false_accept_at(guard, standard) == pytest.approx(false_accept, abs=6e-6)


def test_guard_bands_published():
    """ILAC-G8: simple acceptance at most 50 percent, w = U at most 2.5 percent."""
    assert false_accept_at(0.0, 1.0) <= 0.50
    assert false_accept_at(2.0, 1.0) <= 0.025


def test_from_memory_guard_bands():
    """ISO 14253-1: w = .83 U at most 5 percent; 1.5 U .16 percent; 3 U below 1 ppm."""
    assert false_accept_at(1.66, 1.0) <= 0.05
    assert false_accept_at(3.0, 1.0) <= 0.0016
    assert false_accept_at(6.0, 1.0) < 1e-6


def test_covariance_of_the_enable_test():
    """Approaches observed with the sensors that test the condition: u .289, P .9997.

    Wet bulb 36, tower 7, exchanger 2, tolerances 1 and 1, against 48 degF. Root sum of
    squares of three terms as if independent: u 1.046, P .830. With design approaches
    nothing cancels.
    """
    sensors, standards = [36.0, 43.0, 45.0], [0.65, 0.2887, 0.2887]

    def shared(wet_bulb, basin, leaving):
        return wet_bulb + (basin - wet_bulb) + (leaving - basin) + 2.0

    assert shared(*sensors) == pytest.approx(47.0)
    standard = standard_uncertainty(shared, sensors, standards)
    assert standard == pytest.approx(0.289, abs=5e-4)
    found = conformance.conformance_probability(47.0, standard, upper=48.0)
    assert found == pytest.approx(0.9997, abs=5e-5)
    naive = math.hypot(0.65, math.hypot(0.65, 0.2887), math.hypot(0.2887, 0.2887))
    assert naive == pytest.approx(1.046, abs=1e-3)
    found = conformance.conformance_probability(47.0, naive, upper=48.0)
    assert found == pytest.approx(0.830, abs=1e-3)


def expanded_percent_of_load(difference, accuracy):
    """k = 2; flow 2 percent, both accuracies rectangular."""
    state = 1000.0, 44.0 + difference, 44.0
    standards = [each / math.sqrt(3.0) for each in (20.0, accuracy, accuracy)]
    return 200.0 * standard_uncertainty(water.load, state, standards) / water.load(*state)


# Load, k = 2, flow 2 percent; unmatched 0.5 degF and matched 0.1 degF sensors (computed)
@pytest.mark.parametrize("difference, unmatched, matched", [
    (2, 40.9, 8.5), (4, 20.5, 4.7), (6, 13.8, 3.6), (10, 8.5, 2.8), (12, 7.2, 2.7),
])
def test_uncertainty_of_load(difference, unmatched, matched):
    assert expanded_percent_of_load(difference, 0.5) == pytest.approx(unmatched, abs=0.06)
    assert expanded_percent_of_load(difference, 0.1) == pytest.approx(matched, abs=0.06)


# Wet bulb from 0.5 degF dry bulb and 3 %RH, both k = 1 (computed)
@pytest.mark.parametrize("dry_bulb, humidity, low, high", [
    (50.0, 60.0, 0.6, 0.7), (45.0, 60.0, 0.6, 0.7), (100.0, 13.0, 1.75, 1.85),
])
def test_uncertainty_of_wet_bulb(dry_bulb, humidity, low, high):
    def wet_bulb(dry_bulb, humidity):
        return moist_air.wet_bulb(dry_bulb, humidity, 14.696)

    found = standard_uncertainty(wet_bulb, [dry_bulb, humidity], [0.5, 3.0])
    assert low <= found <= high + 0.005


@exact
@given(st.floats(-20.0, 20.0), st.floats(0.01, 5.0))
def test_conformance_adds_up(value, standard):
    below = conformance.conformance_probability(value, standard, upper=1.0)
    above = conformance.conformance_probability(value, standard, lower=1.0)
    assert below + above == pytest.approx(1.0)
    both = conformance.conformance_probability(value, standard, lower=-1.0, upper=1.0)
    assert 0.0 <= both <= below + 1e-12


def test_what_uncertainty_cannot_be():
    with pytest.raises(ImpossibleState):
        conformance.conformance_probability(0.0, -1.0)
    with pytest.raises(ImpossibleState):
        conformance.conformance_probability(0.0, 1.0, lower=2.0, upper=1.0)
    assert conformance.conformance_probability(1.0, 0.0, upper=1.0) == 1.0
