"""Moist air against published values, psychrolib, CoolProp and itself.

Sources beside the rows: "ASHRAE" is Handbook - Fundamentals 2017 chapter 1 as carried in
the test suite of psychrolib (commit 059a99b6); "computed" is PsychroLib 2.5.0 or
CoolProp 8.0.0.
"""

from __future__ import annotations

import math

import numpy as np
import psychrolib
import pytest
from humid_air import humidity_from_ratio, humidity_from_wet_bulb, ratio_from_wet_bulb
from hypothesis import given, settings
from hypothesis import strategies as st

from fptlib.physics import atmosphere, moist_air
from fptlib.physics._arrays import BLOCK
from fptlib.physics.errors import ImpossibleState

PA = 6894.757293168  # per psi
SEA = 14.696
exact = settings(derandomize=True, deadline=None, max_examples=60)


def celsius(fahrenheit):
    return (fahrenheit - 32.0) / 1.8


def fahrenheit(degrees):
    return 1.8 * degrees + 32.0


@pytest.fixture
def reference(monkeypatch):
    """psychrolib tightened, in inch-pound units; its global state is put back."""
    units = psychrolib.GetUnitSystem()
    psychrolib.SetUnitSystem(psychrolib.IP)
    monkeypatch.setattr(psychrolib, "PSYCHROLIB_TOLERANCE", 1e-10)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = units


# ASHRAE prints every equation twice and rounds its SI constants differently. The package carries
# the inch-pound form; the tests put the SI form in its place to hold the solver against SI values.
SI_CURVES = {
    "OVER_LIQUID": (
        -5.8002206e3, (1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8), 6.5459673),
    "OVER_ICE": (
        -5.6745359e3,
        (6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13), 4.1635019),
}
SI_WICKS = {"LIQUID_WICK": (2501.0, 2.326, 4.186), "ICE_WICK": (2830.0, 0.24, 2.1)}


def curve_from_si(reciprocal, powers, logarithm):
    """The curve printed in K and Pa, in degR and psia."""
    constant = powers[0] - math.log(PA) - logarithm * math.log(1.8)
    scaled = (power / 1.8**i for i, power in enumerate(powers[1:], start=1))
    return moist_air.Curve(1.8 * reciprocal, (constant, *scaled), logarithm)


def wick_from_si(latent, slope, sensible):
    """The balance printed in degC and kJ/kg, in degF; dry air 1.006, vapor 1.86 kJ/kg.K."""
    slope, sensible, dry, vapor = (each / 1.8 for each in (slope, sensible, 1.006, 1.86))
    total = latent + (sensible - vapor) * 32.0
    return moist_air.Wick(latent + slope * 32.0, slope, dry, total, vapor, sensible)


def use_si_form(monkeypatch):
    for name, printed in SI_CURVES.items():
        monkeypatch.setattr(moist_air, name, curve_from_si(*printed))
    for name, printed in SI_WICKS.items():
        monkeypatch.setattr(moist_air, name, wick_from_si(*printed))


@pytest.fixture
def si_form(monkeypatch):
    use_si_form(monkeypatch)


@pytest.fixture(params=["inch-pound", "SI"])
def form(request, monkeypatch):
    if request.param == "SI":
        use_si_form(monkeypatch)
    return request.param


def psychrolib_wet_bulbs(form, dry_bulb, humidity, pressure):
    """psychrolib's loop, in its own units of that form, as degF."""
    rows = list(zip(dry_bulb, humidity, np.broadcast_to(pressure, dry_bulb.shape), strict=True))
    if form == "inch-pound":
        return np.array([psychrolib.GetTWetBulbFromRelHum(d, h / 100.0, p) for d, h, p in rows])
    psychrolib.SetUnitSystem(psychrolib.SI)
    psychrolib.PSYCHROLIB_TOLERANCE = 1e-10  # SetUnitSystem sets it back
    return fahrenheit(np.array([
        psychrolib.GetTWetBulbFromRelHum(celsius(d), h / 100.0, p * PA) for d, h, p in rows
    ]))


# PSY-01 to PSY-03, ASHRAE Table 3, rel 3e-4
@pytest.mark.parametrize("temperature, expected", [
    (23.0, 0.058268), (41.0, 0.12656), (77.0, 0.45973), (122.0, 1.79140),
    (212.0, 14.7094), (300.0, 67.0206), (-4.0, 0.014974),
])
def test_saturation_pressure_inch_pound(temperature, expected):
    assert moist_air.vapor_pressure(temperature) == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize("degrees, expected", [
    (-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3),
    (100.0, 101418.0),
])
def test_saturation_pressure_si(degrees, expected):
    found = moist_air.vapor_pressure(fahrenheit(degrees)) * PA
    assert found == pytest.approx(expected, rel=3e-4)


# PSY-04, ASHRAE Table 2
@pytest.mark.parametrize("temperature, expected, rel", [
    (-4.0, 0.0006373, 0.01), (23.0, 0.0024863, 0.005), (41.0, 0.005425, 0.005),
    (77.0, 0.020173, 0.005), (122.0, 0.086863, 0.01),
])
def test_saturated_humidity_ratio(temperature, expected, rel):
    vapor = moist_air.vapor_pressure(temperature)
    assert moist_air.humidity_ratio(vapor, SEA) == pytest.approx(expected, rel=rel)


# PSY-05, ASHRAE Table 2
@pytest.mark.parametrize("temperature, expected, rel", [
    (23.0, 8.186, 0.03), (41.0, 15.699, 0.01), (77.0, 40.576, 0.01), (122.0, 126.066, 0.01),
])
def test_saturated_enthalpy(temperature, expected, rel):
    assert moist_air.saturated_enthalpy(temperature, SEA) == pytest.approx(expected, rel=rel)


def test_example_1_inch_pound():
    """PSY-06, ASHRAE Example 1: 100 degF, 65 degF wet bulb."""
    ratio = ratio_from_wet_bulb(100.0, 65.0, SEA)
    assert ratio == pytest.approx(0.00523, abs=1e-4)
    assert ratio == pytest.approx(0.005190, abs=1e-6)  # computed, psychrolib
    assert humidity_from_ratio(100.0, ratio, SEA) == pytest.approx(13.0, abs=1.0)


def test_example_1_si():
    """PSY-07, ASHRAE Example 1: 40 degC, 20 degC wet bulb, 101325 Pa."""
    dry_bulb, wet_bulb, pressure = fahrenheit(40.0), fahrenheit(20.0), 101325.0 / PA
    ratio = ratio_from_wet_bulb(dry_bulb, wet_bulb, pressure)
    assert ratio == pytest.approx(0.0065, abs=1e-4)
    assert humidity_from_ratio(dry_bulb, ratio, pressure) == pytest.approx(14.0, abs=1.0)


def test_example_1_reversed():
    """PSY-08: 100 degF with the humidity of PSY-06 gives a wet bulb of 65 degF."""
    humidity = humidity_from_ratio(100.0, 0.005190, SEA)
    assert moist_air.wet_bulb(100.0, humidity, SEA) == pytest.approx(65.0, abs=0.1)


def test_liquid_wick_above_freezing():
    """PSY-09, ASHRAE eq. 33: a worked sheet, rel 3e-4."""
    assert ratio_from_wet_bulb(86.0, 77.0, 14.175) == pytest.approx(0.0187193288, rel=3e-4)


def test_ice_wick_below_freezing():
    """PSY-10, ASHRAE eq. 35, rel 3e-4; the inverse within 0.001 degF."""
    found = ratio_from_wet_bulb(30.2, 23.0, 14.175)
    assert found == pytest.approx(0.00114657481, rel=3e-4)
    humidity = humidity_from_ratio(30.2, found, 14.175)
    assert moist_air.wet_bulb(30.2, humidity, 14.175) == pytest.approx(23.0, abs=0.001)


def test_ice_wick_below_freezing_si(si_form):
    """PSY-11, the same in SI: -1 degC, -5 degC wet bulb, 95461 Pa, rel 3e-4."""
    state = 30.2, 23.0, 95461.0 / PA
    found = ratio_from_wet_bulb(*state)
    assert found == pytest.approx(0.00120399820, rel=3e-4)
    humidity = humidity_from_ratio(30.2, found, state[2])
    assert moist_air.wet_bulb(30.2, humidity, state[2]) == pytest.approx(23, abs=0.001)


def is_ambiguous(dry_bulb, humidity, pressure):
    """Whether a state lies in the band near 32 degF that has two wet bulbs."""
    liquid, ice = moist_air.wet_bulb_branches(dry_bulb, humidity, pressure)
    return np.isfinite(liquid) & np.isfinite(ice)


def test_the_two_printed_forms_differ_by_little(monkeypatch):
    """ASHRAE rounds eq. 33 and 35 differently in its two systems: up to 0.025 degF."""
    dry_bulb, humidity = np.meshgrid(np.arange(0.0, 116.0, 5.0), np.arange(5.0, 101.0, 5.0))
    first = moist_air.wet_bulb_branches(dry_bulb, humidity, 13.0)
    use_si_form(monkeypatch)
    second = moist_air.wet_bulb_branches(dry_bulb, humidity, 13.0)
    same = np.all([np.isnan(one) == np.isnan(other)
                   for one, other in zip(first, second, strict=True)], axis=0)
    found = [np.where(np.isnan(liquid), ice, liquid) for liquid, ice in (first, second)]
    assert np.abs(found[1] - found[0])[same].max() < 0.025


# Computed with psychrolib in SI, within 0.01 degF; the last column is CoolProp, within 0.06 degF
SPOTS = [
    (0, 100, 13, 65.134, 65.104), (0, 95, 40, 75.082, 75.075), (0, 78, 50, 65.023, 65.012),
    (0, 60, 50, 50.234, 50.220), (0, 50, 60, 43.666, 43.655), (0, 45, 60, 39.308, 39.297),
    (0, 40, 70, 36.236, 36.228), (0, 35, 80, 32.799, 32.794), (0, 40, 30, 30.247, 30.217),
    (0, 30, 80, 28.034, 28.027), (0, 20, 70, 17.826, 17.817), (0, 10, 60, 7.985, 7.976),
    (1100, 55, 25, 40.773, 40.747), (1100, 50, 30, 38.156, 38.134),
    (1100, 45, 35, 35.238, 35.218), (5280, 60, 20, 41.743, 41.715),
    (5280, 50, 30, 37.164, 37.141), (5280, 45, 40, 35.272, 35.255),
    (5280, 40, 50, 32.852, 32.838), (5280, 35, 60, 29.764, 29.750),
    (5280, 25, 70, 22.115, 22.106), (5280, 95, 15, 61.275, 61.250),
    (0, 50, 69.2, 45.188, None),
]


@pytest.mark.parametrize("altitude, dry_bulb, humidity, expected, coolprop", SPOTS)
def test_wet_bulb_spot(monkeypatch, altitude, dry_bulb, humidity, expected, coolprop):
    state = dry_bulb, humidity, atmosphere.pressure_at(altitude)
    if coolprop is not None:
        assert moist_air.wet_bulb(*state) == pytest.approx(coolprop, abs=0.06)
    use_si_form(monkeypatch)
    assert moist_air.wet_bulb(*state) == pytest.approx(expected, abs=0.01)


# Computed: sensitivities of the spot table by humidity, dry bulb and one percent of pressure
@pytest.mark.parametrize("altitude, dry_bulb, humidity, by_humidity, by_dry_bulb, by_pressure", [
    (0, 100, 13, 0.595, 0.562, 0.117), (0, 95, 40, 0.415, 0.775, 0.055),
    (0, 78, 50, 0.298, 0.821, 0.044), (0, 60, 50, 0.215, 0.824, 0.043),
    (0, 50, 60, 0.168, 0.868, 0.032), (0, 45, 60, 0.149, 0.874, 0.030),
    (0, 40, 70, 0.129, 0.912, 0.021), (0, 35, 80, 0.113, 0.945, 0.013),
    (0, 40, 30, 0.144, 0.720, 0.054), (0, 30, 80, 0.100, 0.945, 0.012),
    (0, 20, 70, 0.074, 0.927, 0.014), (0, 10, 60, 0.051, 0.921, 0.016),
    (1100, 55, 25, 0.216, 0.707, 0.073), (1100, 50, 30, 0.188, 0.742, 0.063),
    (1100, 45, 35, 0.164, 0.775, 0.055), (5280, 60, 20, 0.274, 0.657, 0.085),
    (5280, 50, 30, 0.207, 0.734, 0.065), (5280, 45, 40, 0.177, 0.790, 0.051),
    (5280, 40, 50, 0.152, 0.837, 0.039), (5280, 35, 60, 0.133, None, 0.026),
    (5280, 25, 70, 0.099, 0.915, 0.017), (5280, 95, 15, 0.590, 0.585, 0.107),
])
def test_wet_bulb_sensitivity(
    altitude, dry_bulb, humidity, by_humidity, by_dry_bulb, by_pressure
):
    pressure = atmosphere.pressure_at(altitude)

    def at(more_dry_bulb=0.0, more_humidity=0.0, more_pressure=0.0):
        return moist_air.wet_bulb(
            dry_bulb + more_dry_bulb, humidity + more_humidity, pressure * (1 + more_pressure)
        )

    assert (at(0, 0.05) - at(0, -0.05)) / 0.1 == pytest.approx(by_humidity, abs=0.002)
    if by_dry_bulb is not None:  # the table gives none for this row
        assert (at(0.05) - at(-0.05)) / 0.1 == pytest.approx(by_dry_bulb, abs=0.002)
    assert at(0, 0, 0.01) - at() == pytest.approx(by_pressure, abs=0.002)


# Computed: what sea-level pressure does at 5280 ft
@pytest.mark.parametrize("dry_bulb, humidity, too_high", [
    (45, 40, 0.97), (50, 40, 1.02), (60, 30, 1.34), (90, 20, 1.84),
])
def test_sea_level_pressure_at_altitude_overstates(dry_bulb, humidity, too_high):
    right = moist_air.wet_bulb(dry_bulb, humidity, atmosphere.pressure_at(5280.0))
    assert moist_air.wet_bulb(dry_bulb, humidity, SEA) - right == pytest.approx(too_high, abs=0.01)


# Computed: humidity band with two answers, and the extreme answers at its ends
BANDS = [
    (2.0, 101325, 68.1, 70.2, -0.14, 0.14), (5.0, 101325, 32.7, 37.0, -0.35, 0.34),
    (5.0, 84556, 38.9, 42.5, -0.32, 0.32), (8.0, 101325, 8.4, 14.0, -0.57, 0.55),
    (10.0, 84556, 5.6, 10.7, -0.65, 0.63),
]


@pytest.mark.parametrize("degrees, pascal, bottom, top, ice_at_bottom, liquid_at_top", BANDS)
def test_two_branch_band(
    si_form, degrees, pascal, bottom, top, ice_at_bottom, liquid_at_top
):
    dry_bulb, pressure = fahrenheit(degrees), pascal / PA
    humidity = np.arange(bottom - 2.0, top + 2.0, 0.01)
    liquid, ice = moist_air.wet_bulb_branches(dry_bulb, humidity, pressure)
    inside = np.flatnonzero(np.isfinite(liquid) & np.isfinite(ice))
    assert humidity[inside[0]] == pytest.approx(bottom, abs=0.06)
    assert humidity[inside[-1]] == pytest.approx(top, abs=0.06)
    assert celsius(ice[inside[0]]) == pytest.approx(ice_at_bottom, abs=0.01)
    assert celsius(liquid[inside[-1]]) == pytest.approx(liquid_at_top, abs=0.01)
    assert np.isnan(liquid[: inside[0]]).all() and np.isnan(ice[inside[-1] + 1 :]).all()
    assert np.all(np.diff(inside) == 1)


def test_every_row_of_the_band_solves_both_balances():
    dry_bulb = np.linspace(32.05, 52.0, 300)[:, None]
    humidity = np.linspace(2.0, 100.0, 400)[None, :]
    pressure = 12.2637
    liquid, ice = moist_air.wet_bulb_branches(dry_bulb, humidity, pressure)
    assert np.all(np.isfinite(liquid) | np.isfinite(ice))
    assert np.all(liquid[np.isfinite(liquid)] >= 32.0)
    assert np.all(ice[np.isfinite(ice)] < 32.0)
    for answer in (liquid, ice):
        there = np.isfinite(answer)
        state = np.broadcast_to(dry_bulb, answer.shape)[there], answer[there]
        back = humidity_from_wet_bulb(*state, pressure)
        wanted = np.broadcast_to(humidity, answer.shape)[there]
        assert np.nanmax(np.abs(back - wanted)) < 1e-4
    governing = moist_air.wet_bulb(dry_bulb, humidity, pressure)
    assert np.allclose(governing, np.where(np.isnan(liquid), ice, liquid), atol=1e-6)


def test_wet_bulb_against_psychrolib_outside_the_band(reference, form):
    """Within 1e-6 degC of psychrolib tightened to 1e-10, on 3000 random states."""
    random = np.random.default_rng(1)
    dry_bulb = random.uniform(-20.0, 115.0, 3000)
    humidity = random.uniform(1.0, 100.0, 3000)
    pressure = random.uniform(10.5, 15.0, 3000)
    ours = moist_air.wet_bulb(dry_bulb, humidity, pressure)
    theirs = psychrolib_wet_bulbs(form, dry_bulb, humidity, pressure)
    outside = ~is_ambiguous(dry_bulb, humidity, pressure)
    assert outside.sum() > 2900
    assert np.abs(ours - theirs)[outside].max() / 1.8 < 1e-6


def test_wet_bulb_against_psychrolib_around_freezing(reference, form):
    """The same on a fine grid of dry bulbs from 31.9 to 33 degF, where saturation changes."""
    grid = np.meshgrid(np.linspace(31.9, 33.0, 45), np.linspace(80.0, 100.0, 21))
    dry_bulb, humidity = (axis.ravel() for axis in grid)
    ours = moist_air.wet_bulb(dry_bulb, humidity, SEA)
    theirs = psychrolib_wet_bulbs(form, dry_bulb, humidity, SEA)
    outside = ~is_ambiguous(dry_bulb, humidity, SEA)
    assert np.abs(ours - theirs)[outside].max() / 1.8 < 1e-6


def test_wet_bulb_against_coolprop_over_the_grid():
    """Within 0.06 degF outside the band, -20 to 45 degC, 5 to 100 %RH, 0 to 2500 m."""
    from CoolProp.CoolProp import HAPropsSI

    grid = np.meshgrid(
        np.arange(-20.0, 45.1, 2.5), [5.0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100],
        np.arange(0.0, 2501.0, 500.0), indexing="ij",
    )
    degrees, humidity, metres = (axis.ravel() for axis in grid)
    pressure = np.array([atmosphere.pressure_at(each / 0.3048) for each in metres])
    theirs = HAPropsSI(
        "B", "T", degrees + 273.15, "R", humidity / 100.0, "P", pressure * PA
    )
    ours = moist_air.wet_bulb(fahrenheit(degrees), humidity, pressure)
    outside = ~is_ambiguous(fahrenheit(degrees), humidity, pressure)
    difference = ours - fahrenheit(np.asarray(theirs) - 273.15)
    assert outside.sum() > 0.99 * outside.size
    assert np.abs(difference[outside]).max() < 0.06


# Stull (2011), the single formula, from memory: reproduced only to show why it is not used
def stull(degrees, humidity):
    return (
        degrees * np.arctan(0.151977 * np.sqrt(humidity + 8.313659))
        + np.arctan(degrees + humidity) - np.arctan(humidity - 1.676331)
        + 0.00391838 * humidity**1.5 * np.arctan(0.023101 * humidity) - 4.686035
    )


def test_from_memory_stull_formula_is_not_acceptable():
    assert stull(20.0, 50.0) == pytest.approx(13.70, abs=0.005)
    assert celsius(moist_air.wet_bulb(68.0, 50.0, SEA)) == pytest.approx(13.783, abs=0.005)
    grid = np.meshgrid(np.arange(-20.0, 45.1, 2.5), np.arange(5.0, 99.1, 2.0))
    true = celsius(moist_air.wet_bulb(fahrenheit(grid[0]), grid[1], SEA))
    error = stull(*grid) - true
    assert error.min() < -1.0 and error.max() > 3.5  # computed: -1.16 to +3.87 degC


def test_solver_converges_over_the_whole_range_of_the_formulas(form):
    """Forward and back from -148 to 392 degF, dry to saturated, 6 to 30 psia."""
    grid = np.meshgrid(
        np.append(np.arange(-148.0, 392.0, 3.7), [32.0, 32.01, 32.018]),
        [0.0, 0.001, 0.1, 1.0, 5.0, 20.0, 50.0, 80.0, 95.0, 99.9, 100.0],
        [6.0, 8.0, 10.0, 12.0, 14.7, 16.0, 30.0],
    )
    dry_bulb, humidity, pressure = (axis.ravel() for axis in grid)
    found = moist_air.wet_bulb(dry_bulb, humidity, pressure)
    possible = pressure > moist_air.vapor_pressure(dry_bulb)
    assert np.array_equal(np.isfinite(found), possible)
    back = humidity_from_wet_bulb(dry_bulb, found, pressure)
    warm = possible & (dry_bulb > -40.0)
    assert np.abs(back - humidity)[warm].max() < 0.02


dry_bulbs = st.floats(-30.0, 120.0)
humidities = st.floats(1.0, 100.0)
pressures = st.floats(10.0, 15.5)


@exact
@given(dry_bulbs, humidities, pressures)
def test_dew_point_below_wet_bulb_below_dry_bulb(dry_bulb, humidity, pressure):
    """At its dew point the air's own vapor saturates."""
    wet_bulb = moist_air.wet_bulb(dry_bulb, humidity, pressure)
    vapor = humidity / 100.0 * moist_air.vapor_pressure(dry_bulb)
    assert vapor <= moist_air.vapor_pressure(wet_bulb + 2e-4)
    assert wet_bulb + 2e-4 <= dry_bulb + 4e-4


@exact
@given(dry_bulbs, humidities, pressures)
def test_wet_bulb_inverts(dry_bulb, humidity, pressure):
    wet_bulb = moist_air.wet_bulb(dry_bulb, humidity, pressure)
    back = humidity_from_wet_bulb(dry_bulb, wet_bulb, pressure)
    assert back == pytest.approx(humidity, abs=2e-3)


@exact
@given(dry_bulbs, st.floats(1.0, 98.0), pressures, st.floats(0.1, 2.0))
def test_wet_bulb_rises_with_humidity_and_pressure_outside_the_band(
    dry_bulb, humidity, pressure, more
):
    state, moister = (dry_bulb, humidity, pressure), (dry_bulb, humidity + more, pressure)
    denser = (dry_bulb, humidity, pressure * 1.01)
    branches = {tuple(np.isfinite(moist_air.wet_bulb_branches(*each)))
                for each in (state, moister, denser)}
    if len(branches) == 1 and (True, True) not in branches:
        base = moist_air.wet_bulb(*state)
        assert moist_air.wet_bulb(*moister) > base
        assert moist_air.wet_bulb(*denser) >= base - 1e-6


@exact
@given(dry_bulbs, pressures)
def test_saturated_air_has_its_dry_bulb_as_wet_bulb(dry_bulb, pressure):
    # The printed wick equation over ice gives a slightly other ratio than saturation at the
    # same temperature: at most 1.4e-4 degF over this grid, at low pressure near -20 degF.
    assert moist_air.wet_bulb(dry_bulb, 100.0, pressure) == pytest.approx(dry_bulb, abs=1.5e-4)


def test_array_and_scalar_agree():
    dry_bulb, humidity = np.array([95.0, 45.0, 20.0]), np.array([40.0, 60.0, 70.0])
    rows = moist_air.wet_bulb(dry_bulb, humidity, 14.0)
    for row in range(3):
        alone = moist_air.wet_bulb(float(dry_bulb[row]), float(humidity[row]), 14.0)
        assert isinstance(alone, float)
        assert alone == pytest.approx(rows[row], abs=1e-6)


def test_blocks_agree_with_rows():
    """More rows than a block holds, in two dimensions."""
    humidity = np.linspace(5.0, 100.0, 3 * BLOCK // 2 * 2).reshape(2, -1)
    found = moist_air.wet_bulb(50.0, humidity, 14.0)
    picked = [0, BLOCK - 1, BLOCK, -1]
    assert found[1, picked] == pytest.approx(
        moist_air.wet_bulb(50.0, humidity[1, picked], 14.0), abs=1e-6)


@pytest.mark.parametrize("dry_bulb, humidity, pressure", [
    (70.0, 101.0, 14.7), (70.0, -1.0, 14.7), (500.0, 50.0, 14.7), (70.0, 50.0, 0.0),
    (200.0, 50.0, 11.0),
])
def test_impossible_air_raises_with_numbers_or_goes_missing(dry_bulb, humidity, pressure):
    with pytest.raises(ImpossibleState, match=str(humidity)):
        moist_air.wet_bulb(dry_bulb, humidity, pressure)
    among = moist_air.wet_bulb(
        np.array([70.0, dry_bulb]), np.array([50.0, humidity]), np.array([14.7, pressure]))
    assert np.isnan(among).tolist() == [False, True]
    liquid, ice = moist_air.wet_bulb_branches(
        np.array([70.0, dry_bulb]), np.array([50.0, humidity]), np.array([14.7, pressure]))
    assert np.isnan(liquid).tolist() == [False, True] and np.isnan(ice).all()


def test_missing_stays_missing():
    assert np.isnan(moist_air.wet_bulb(np.nan, 50.0, 14.7))
    assert np.isnan(moist_air.wet_bulb(np.array([70.0, np.nan]), 50.0, 14.7)).tolist() == [0, 1]
    assert np.isnan(moist_air.wet_bulb_branches(50.0, np.nan, 14.7)).all()
    assert moist_air.wet_bulb(np.array([]), 50.0, 14.7).size == 0


def test_water_that_boils_has_no_saturated_air():
    assert np.isnan(moist_air.saturated_enthalpy(250.0, 14.7))
    assert np.isnan(moist_air.saturated_enthalpy(np.array([78.0, 250.0]), 14.7)).tolist() == [0, 1]
