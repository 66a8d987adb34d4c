"""Guideline 36 setpoints and ratings, the rows of standards that are physics.

Guideline 36-2021 as documented in the open Modelica Buildings library; numbers computed.
"""

from __future__ import annotations

import numpy as np
import pytest

from fptlib.physics import guideline36, ratings
from fptlib.physics.errors import ImpossibleState


# Exchanger 3 degF, tower 7 degF, design wet bulb 45 degF
@pytest.mark.parametrize("wet_bulb, share, tuning, expected", [
    (40, 0.8, 0.0, 49.4), (40, 0.8, 0.2, 50.4), (40, 0.8, -0.2, 48.4), (40, 1.3, 0.0, 50.0),
    (35, 0.8, 0.5, 49.4), (45, 1.0, 0.0, 55.0),
])
def test_predicted_exchanger_leaving(wet_bulb, share, tuning, expected):
    found = guideline36.predicted_exchanger_leaving(wet_bulb, share, 3.0, 7.0, 45.0, tuning)
    assert found == pytest.approx(expected)


# Setpoint 44, least lift 15, design condenser return 95, lowest chilled-water supply 42 degF
@pytest.mark.parametrize("part_load, expected", [
    (1.0, 97.0), (0.9, 92.82), (0.5, 76.1), (0.25, 65.65), (0.1, 59.38), (0.05, 59.0), (0.0, 59.0),
])
def test_condenser_return_setpoint(part_load, expected):
    found = guideline36.condenser_return_setpoint(44.0, part_load, 15.0, 95.0 - 42.0)
    # the row at 0.05 says "at most 59.0"
    assert found == pytest.approx(expected)


def test_part_load_value():
    """AHRI 550/590, computed: (.576, .5, .4, .45) gives .44464 kW/ton."""
    assert ratings.part_load_value(0.576, 0.5, 0.4, 0.45) == pytest.approx(0.44464, abs=5e-6)


@pytest.mark.parametrize("share, tolerance, balance", [
    (1.00, 5.00, 3.55), (0.75, 7.25, 5.13), (0.50, 10.00, 7.05), (0.25, 14.75, 10.38),
])
def test_from_memory_rating_tolerances(share, tolerance, balance):
    """AHRI 550/590 at a range of 10 degF."""
    assert ratings.rating_tolerance(share, 10.0) == pytest.approx(tolerance, abs=0.006)
    assert ratings.energy_balance_tolerance(share, 10.0) == pytest.approx(balance, abs=0.006)


def test_impossible_inputs():
    with pytest.raises(ImpossibleState):
        guideline36.predicted_exchanger_leaving(40.0, -0.1, 3.0, 7.0, 45.0)
    with pytest.raises(ImpossibleState):
        guideline36.condenser_return_setpoint(44.0, 0.5, 20.0, 10.0)
    with pytest.raises(ImpossibleState):
        ratings.part_load_value(0.0, 0.5, 0.4, 0.45)
    with pytest.raises(ImpossibleState):
        ratings.rating_tolerance(0.0, 10.0)
    found = ratings.energy_balance_tolerance(np.array([0.5, 0.0]), 10.0)
    assert np.isnan(found).tolist() == [False, True]
