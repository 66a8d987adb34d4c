"""The generator's own physics against figures that it did not make itself."""

from __future__ import annotations

import numpy as np
import pytest

from sample_trends.generator import air
from sample_trends.generator.refrigerant import saturation_pressure
from sample_trends.generator.run import simulate
from sample_trends.generator.samples import SOUND


# Dry bulb, relative humidity, altitude, wet bulb: PsychroLib 2.5.0, ASHRAE equations.
@pytest.mark.parametrize(
    ("altitude", "dry", "humidity", "wet"),
    [(0, 50, 60, 43.666), (0, 95, 40, 75.082), (1100, 45, 35, 35.238), (5280, 50, 30, 37.164),
     (5280, 45, 40, 35.272), (0, 20, 70, 17.826), (5280, 25, 70, 22.115)],
)
def test_wet_bulb(altitude, dry, humidity, wet):
    pressure = air.station_pressure(altitude)
    vapour = air.saturation_over_water(float(dry)) * humidity / 100.0
    if dry < 32:
        vapour = air.saturation_over_ice(float(dry)) * humidity / 100.0
    ratio = 0.62198 * vapour / (pressure - vapour)
    found = air.wet_bulb(np.array([float(dry)]), np.array([ratio]), pressure)[0]
    assert found == pytest.approx(wet, abs=0.08)


# ASHRAE equation 3 by PsychroLib 2.5.0.
@pytest.mark.parametrize(("feet", "psia"), [(0, 14.696), (4000, 12.6923), (7000, 11.3398)])
def test_station_pressure(feet, psia):
    assert air.station_pressure(feet) == pytest.approx(psia, abs=0.002)


# CoolProp 8.0.0; the fits were made at 36, 60 and 95 degF, so these lie between.
@pytest.mark.parametrize(
    ("refrigerant", "temperature", "psia"),
    [("R-134a", 40, 49.741), ("R-134a", 50, 60.134), ("R-134a", 85, 109.935),
     ("R-134a", 105, 149.653), ("R-513A", 40, 54.564), ("R-513A", 85, 116.672),
     ("R-1233zd(E)", 50, 10.708), ("R-1233zd(E)", 85, 22.092)],
)
def test_saturation_pressure(refrigerant, temperature, psia):
    assert saturation_pressure(refrigerant, temperature) == pytest.approx(psia, rel=5e-3)


@pytest.fixture(scope="module")
def actual():
    return simulate(SOUND).actual


def test_no_chiller_beats_the_ideal_machine(actual):
    for n in (1, 2):
        on = actual[f"chiller_{n}_running"] > 0
        settled = on & (on.rolling(30).min() > 0) & (actual["economizer_active"] == 0)
        cold = actual[f"chiller_{n}_chw_leaving_temp"][settled] + 459.67
        lift = actual[f"chiller_{n}_cw_leaving_temp"][settled] + 459.67 - cold
        share = actual["plant_load"][settled] / actual.filter(regex="chiller_._running").sum(
            axis=1
        )[settled]
        power = actual[f"chiller_{n}_power"][settled] / share
        assert (power > 3.517 * lift / cold).all()
        assert power.between(0.1, 0.9).all()


def test_the_exchanger_gives_what_it_takes(actual):
    calm = actual["cw_supply_temp"].diff().abs() < 0.02
    run = actual[(actual["hx_valve"].rolling(30).min() == 100) & calm]
    assert len(run) > 1000
    given = run["hx_chw_flow"] * (run["hx_chw_entering_temp"] - run["hx_chw_leaving_temp"])
    taken = run["hx_cw_flow"] * (run["hx_cw_leaving_temp"] - run["hx_cw_entering_temp"])
    assert np.allclose(given, taken, rtol=0.02)
    assert (run["hx_chw_leaving_temp"] > run["hx_cw_entering_temp"]).all()


def test_the_tower_never_passes_the_wet_bulb(actual):
    assert (actual["cw_supply_temp"] > actual["outdoor_wet_bulb"] + 1.0).all()


def test_pressures_are_those_of_the_temperatures(actual):
    for n in (1, 2):
        on = actual[actual[f"chiller_{n}_running"].rolling(30).min() > 0]
        warmest = on[f"chiller_{n}_chw_leaving_temp"].map(
            lambda t: saturation_pressure("R-134a", t)
        )
        assert (on[f"chiller_{n}_evaporator_pressure"] < warmest).all()
        assert (on[f"chiller_{n}_evaporator_pressure"] > 0.9 * warmest).all()


def test_plant_power_is_the_sum(actual):
    parts = actual.filter(regex="chiller_._power|tower_fan_power|_pump_power").sum(axis=1)
    assert np.allclose(actual["plant_power"] - parts, 6.0)
