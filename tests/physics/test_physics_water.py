"""Water and glycol against IAPWS-95 and CoolProp's incompressible mixtures.

Rows without another source are computed with CoolProp 8.0.0 at 0.5 MPa.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fptlib.physics import water
from fptlib.physics.errors import ImpossibleState, OutsideRange

KG_M3 = 0.45359237 / 0.3048**3
J_KGK = 4186.8
exact = settings(derandomize=True, deadline=None, max_examples=60)

def rule_of_thumb(flow, entering, leaving):
    """Tons by the rule of the trade; 0.8 percent low at 35 degF, 0.65 percent high at 95 degF."""
    return 500.0 * flow * (entering - leaving) / 12_000.0


# degF, kg/m3, J/kgK, Btu/h per gpm.degF, gpm.degF per ton, error of "500" in percent
WATER = [
    (35, 1000.1315, 4212.15, 503.822, 23.8179, -0.76),
    (40, 1000.1698, 4204.65, 502.944, 23.8595, -0.585),
    (44, 1000.1128, 4199.68, 502.322, 23.8891, -0.462),
    (50, 999.8929, 4193.65, 501.490, 23.9287, -0.297),
    (55, 999.5958, 4189.69, 500.867, 23.9585, -0.173),
    (60, 999.2027, 4186.52, 500.292, 23.9860, -0.058),
    (70, 998.1532, 4182.09, 499.238, 24.0366, 0.153),
    (75, 997.5071, 4180.63, 498.740, 24.0606, 0.253),
    (85, 995.9938, 4178.85, 497.771, 24.1075, 0.448),
    (95, 994.2093, 4178.23, 496.806, 24.1543, 0.643),
]


@pytest.mark.parametrize("temperature, rho, cp, factor, per_ton, error", WATER)
def test_water_properties(temperature, rho, cp, factor, per_ton, error):
    assert water.density(temperature) * KG_M3 == pytest.approx(rho, rel=1e-6)
    assert water.heat_capacity(temperature) * J_KGK == pytest.approx(cp, rel=2e-6)
    assert water.heat_factor(temperature) == pytest.approx(factor, rel=2e-6)
    assert 12_000.0 / water.heat_factor(temperature) == pytest.approx(per_ton, rel=1e-5)
    assert 100.0 * (500.0 / water.heat_factor(temperature) - 1.0) == pytest.approx(error, abs=0.005)


def test_pressure_of_the_loop_matters_little():
    """At 101325 Pa and 40 degF: 999.9731 kg/m3, 4206.38 J/kgK, 503.053 (computed)."""
    assert water.heat_factor(40.0) == pytest.approx(503.053, rel=5e-4)


def test_density_maximum_at_39_degf():
    """39.16 degF at atmospheric pressure, a little lower at 0.5 MPa."""
    temperature = np.arange(33.0, 46.0, 0.01)
    warmest = temperature[np.argmax(water.density(temperature))]
    assert warmest == pytest.approx(39.16, abs=0.3)


# Whole loads from the enthalpy difference, meter on the cold side, within 0.01 percent
@pytest.mark.parametrize("flow, entering, leaving, tons, rule", [
    (1000, 54, 44, 418.106, 416.667), (2400, 56, 44, 1203.905, 1200.0),
    (1500, 50, 42, 502.093, 500.0), (2400, 60, 48, 1202.812, 1200.0),
    (3000, 95, 85, 1244.311, 1250.0),
])
def test_load(flow, entering, leaving, tons, rule):
    assert water.load(flow, entering, leaving) == pytest.approx(tons, rel=1e-4)
    assert rule_of_thumb(flow, entering, leaving) == pytest.approx(rule, rel=1e-5)


# Glycol at 50 degF, CoolProp INCOMP: heat factor and freezing point
@pytest.mark.parametrize("glycol, percent, factor, freezing", [
    ("propylene", 20, 481.6, 19.1), ("propylene", 25, 476.7, 14.4), ("propylene", 30, 470.9, 9.0),
    ("propylene", 40, 456.0, -5.0), ("ethylene", 20, 476.3, 17.7), ("ethylene", 30, 459.6, 5.8),
])
def test_glycol(glycol, percent, factor, freezing):
    assert water.heat_factor(50.0, glycol, percent) == pytest.approx(factor, abs=0.06)
    assert water.freezing_point(glycol, percent) == pytest.approx(freezing, abs=0.06)


# V2.2, CoolProp INCOMP by mass, within 0.05 degF: 10, 15, ... 50 percent
@pytest.mark.parametrize("glycol, points", [
    ("propylene", [26.84, 23.23, 19.09, 14.39, 8.98, 2.62, -5.02, -14.38, -25.95]),
    ("ethylene", [25.96, 22.20, 17.69, 12.26, 5.76, -1.91, -10.86, -21.14, -32.79]),
])
def test_freezing_points(glycol, points):
    found = [water.freezing_point(glycol, percent) for percent in range(10, 51, 5)]
    assert found == pytest.approx(points, abs=0.06)


# V2.2a, ASHRAE Fundamentals ch. 31 by mass at 20, 30, 40 and 50 percent, recalled and reproduced
@pytest.mark.parametrize("glycol, table, colder, warmer", [
    ("propylene", [19.2, 9.2, -6.0, -28.3], 0.25, 2.4),
    ("ethylene", [17.9, 6.7, -8.1, -28.9], 3.9, 0.0),
])
def test_freezing_points_against_the_handbook(glycol, table, colder, warmer):
    """The two families of mixtures part: the docstring says by how much."""
    found = np.array([water.freezing_point(glycol, percent) for percent in (20, 30, 40, 50)])
    assert np.all(found - table >= -colder) and np.all(found - table <= warmer)


def test_glycol_taken_for_water_overstates_the_load():
    """25 percent propylene glycol: 4.9 percent by the rule of thumb (computed)."""
    factor = water.heat_factor(50.0, "propylene", 25.0)
    assert 500.0 / factor - 1 == pytest.approx(0.049, abs=5e-4)
    loads = rule_of_thumb(1000.0, 54.0, 46.0), water.load(
        1000.0, 54.0, 46.0, "propylene", 25.0)
    assert loads[0] / loads[1] - 1 == pytest.approx(0.049, abs=1e-3)


def test_water_against_iapws():
    from iapws import IAPWS97

    for temperature in np.linspace(32.5, 110.0, 12):
        state = IAPWS97(T=(temperature + 459.67) / 1.8, P=0.5)
        assert water.density(temperature) * KG_M3 == pytest.approx(state.rho, rel=1e-5)
        assert water.heat_capacity(temperature) * J_KGK == pytest.approx(1000 * state.cp, rel=4e-4)


def test_water_against_coolprop_between_the_nodes():
    from CoolProp.CoolProp import PropsSI

    temperature = np.linspace(32.05, 139.9, 200)
    kelvin = (temperature + 459.67) / 1.8
    rho = PropsSI("D", "T", kelvin, "P", 0.5e6, "Water")
    cp = PropsSI("C", "T", kelvin, "P", 0.5e6, "Water")
    assert np.abs(water.density(temperature) * KG_M3 / rho - 1).max() < 1e-6
    assert np.abs(water.heat_capacity(temperature) * J_KGK / cp - 1).max() < 1e-5


@pytest.mark.parametrize("glycol, fluid", [("propylene", "MPG"), ("ethylene", "MEG")])
def test_glycol_against_coolprop_between_the_nodes(glycol, fluid):
    from CoolProp.CoolProp import PropsSI

    for percent in (10.0, 17.5, 33.3, 50.0):
        coldest = water.freezing_point(glycol, percent) + 0.1
        for temperature in (coldest, (coldest + 34.0) / 2.0, 34.5, 47.0, 95.0):
            state = "T", (temperature + 459.67) / 1.8, "P", 0.5e6, f"INCOMP::{fluid}-{percent}%"
            rho, cp = PropsSI("D", *state), PropsSI("C", *state)
            found = water.density(temperature, glycol, percent) * KG_M3
            assert found == pytest.approx(rho, rel=1e-6)
            found = water.heat_capacity(temperature, glycol, percent) * J_KGK
            assert found == pytest.approx(cp, rel=1e-6)


@exact
@given(st.floats(0.0, 20_000.0), st.floats(33.0, 110.0), st.floats(33.0, 110.0))
def test_a_heated_stream_carries_the_negative_load(flow, one, other):
    assert water.load(flow, one, other) == pytest.approx(-water.load(flow, other, one))
    rule = rule_of_thumb(flow, one, other)
    assert abs(water.load(flow, one, other) - rule) <= 0.012 * abs(rule) + 1e-9


def test_array_and_scalar_agree():
    flow = np.array([1000.0, 0.0, np.nan])
    found = water.load(flow, 54.0, 44.0)
    assert np.isnan(found).tolist() == [False, False, True]
    assert water.load(1000.0, 54.0, 44.0) == found[0]
    assert isinstance(water.load(1000, 54, 44), float)
    mixed = water.heat_factor(np.array([50.0, 60.0]), "propylene", 25.0)
    assert mixed[1] == pytest.approx(water.heat_factor(60.0, "propylene", 25.0))


def test_what_water_cannot_be():
    with pytest.raises(ImpossibleState, match="-5"):
        water.load(-5.0, 54.0, 44.0)
    with pytest.raises(OutsideRange, match="30"):
        water.density(30.0)
    with pytest.raises(OutsideRange, match="55"):
        water.density(50.0, "propylene", 55.0)
    with pytest.raises(OutsideRange, match="methanol"):
        water.density(50.0, "methanol", 20.0)
    with pytest.raises(OutsideRange, match="5"):
        water.freezing_point("ethylene", 5.0)
    found = water.load(np.array([1000.0, -1.0, 1000.0]), 54.0, np.array([44.0, 44.0, 20.0]))
    assert np.isnan(found).tolist() == [False, True, True]
