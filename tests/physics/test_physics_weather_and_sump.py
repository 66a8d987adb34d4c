"""Weather hours of three typical years, and the sump.

Weather: NREL TMY3, wet bulb from humidity and station pressure; counts of 8760 hours
computed with psychrolib, within 10 hours, within 80 near 32 degF.
"""

from __future__ import annotations

import os
import runpy
from pathlib import Path

import numpy as np
import pytest

from fptlib.physics import moist_air, sump
from fptlib.physics.errors import ImpossibleState

DATA = Path(__file__).with_name("data") / "typical_years.npz"
TUCSON, DENVER, CHICAGO = "722745", "724695", "725300"


@pytest.fixture(scope="module")
def years():
    """Dry bulb [degF], humidity [%RH] and pressure [psia] of each station."""
    with np.load(DATA) as data:
        return {
            name[1:]: (data[name][:, 0] * 0.18 + 32.0, data[name][:, 1] * 1.0,
                       data[name][:, 2] / 6894.757293168)
            for name in data.files
        }


@pytest.fixture(scope="module")
def wet_bulbs(years):
    return {name: moist_air.wet_bulb(*year) for name, year in years.items()}


def hours_at_or_below(wet_bulb, limit):
    return np.count_nonzero(wet_bulb <= limit)


def hours_allowed(wet_bulb, setpoint, tower, exchanger, tolerance=0.0):
    return hours_at_or_below(wet_bulb + tower + exchanger + tolerance, setpoint)


def hours_won(wet_bulb, setpoint, step, *approaches):
    return (hours_allowed(wet_bulb, setpoint + step, *approaches)
            - hours_allowed(wet_bulb, setpoint, *approaches))


LIMITS = [32, 35, 38, 40, 42, 45, 48, 50]


@pytest.mark.parametrize("station, hours", [
    (TUCSON, [135, 280, 576, 837, 1213, 1856, 2827, 3475]),
    (DENVER, [2493, 3184, 3921, 4385, 4872, 5383, 5930, 6318]),
    (CHICAGO, [2457, 2916, 3295, 3546, 3808, 4194, 4601, 4872]),
])
def test_hours_below_a_wet_bulb(wet_bulbs, station, hours):
    for limit, expected in zip(LIMITS, hours, strict=True):
        found = hours_at_or_below(wet_bulbs[station], limit)
        assert found == pytest.approx(expected, abs=80 if limit <= 35 else 10)
    assert not np.isnan(wet_bulbs[station]).any()


SETPOINTS = [44, 46, 48, 50, 52, 54, 56]
ALLOWED = [
    (TUCSON, [89, 135, 211, 342, 576, 837, 1213]),
    (DENVER, [1942, 2493, 2955, 3462, 3921, 4385, 4872]),
    (CHICAGO, [2040, 2457, 2786, 3058, 3295, 3546, 3808]),
]


@pytest.mark.parametrize("station, hours", ALLOWED)
def test_hours_that_a_setpoint_allows(wet_bulbs, station, hours):
    """Tower 10, exchanger 2, tolerances 2 degF."""
    for setpoint, expected in zip(SETPOINTS, hours, strict=True):
        found = hours_allowed(wet_bulbs[station], setpoint, 10.0, 2.0, 2.0)
        assert found == pytest.approx(expected, abs=80 if setpoint in (46, 48) else 10)


@pytest.mark.parametrize("station, least, most", [
    (TUCSON, 36, 376), (DENVER, 382, 551), (CHICAGO, 237, 417)])
def test_two_degrees_of_setpoint_buy_hundreds_of_hours(wet_bulbs, station, least, most):
    """Not more than a thousand, which some say."""
    won = [
        hours_won(wet_bulbs[station], setpoint, 2.0, 10.0, 2.0, 2.0)
        for setpoint in range(44, 55, 2)
    ]
    assert max(won) == pytest.approx(most, abs=80)  # the largest step ends at 32 degF
    assert min(won) == pytest.approx(least, abs=80)
    assert max(won) < 1000.0


def test_four_degrees_in_the_upper_forties_buy_a_thousand_in_tucson(wet_bulbs):
    """46 to 50 degF of wet bulb: 1335 hours."""
    won = hours_won(wet_bulbs[TUCSON], 46.0, 4.0, 0.0, 0.0)
    assert won == pytest.approx(1335.0, abs=10)


def test_hours_of_the_energy_standard(years, wet_bulbs):
    """ASHRAE 90.1: wet bulb at most 45 and dry bulb at most 50 degF."""
    for station, expected in [(TUCSON, 928), (DENVER, 4476), (CHICAGO, 4057)]:
        dry_bulb = years[station][0]
        cold = np.where(dry_bulb <= 50.0 + 1e-9, wet_bulbs[station], np.nan)
        assert hours_at_or_below(cold, 45.0) == pytest.approx(expected, abs=10)


def test_hours_in_or_near_the_two_branch_band(wet_bulbs):
    """Within 1.3 degF of 32: Tucson 64, Denver 588 hours a year."""
    for station, expected, within in [(TUCSON, 64, 10), (DENVER, 588, 80)]:
        near = np.abs(wet_bulbs[station] - 32.0) <= 1.3
        assert near.sum() == pytest.approx(expected, abs=within)


def test_sea_level_pressure_loses_hours_at_altitude(years, wet_bulbs):
    """127 to 257 hours in Denver."""
    dry_bulb, humidity, _ = years[DENVER]
    wrong = moist_air.wet_bulb(dry_bulb, humidity, 14.696)
    for limit in (35.0, 40.0, 45.0):
        lost = hours_at_or_below(wet_bulbs[DENVER], limit)
        lost -= hours_at_or_below(wrong, limit)
        assert 120.0 <= lost <= 265.0


def test_reset_line_allows_more_than_its_coldest_setpoint(years, wet_bulbs):
    line = np.interp(years[DENVER][0], [30.0, 60.0], [52.0, 44.0])
    hours = [hours_allowed(wet_bulbs[DENVER], s, 10.0, 2.0, 2.0)
             for s in (44.0, line, 52.0)]
    assert hours[0] <= hours[1] <= hours[2]
    won = [hours_won(wet_bulbs[DENVER], line, step, 10.0, 2.0, 2.0)
           for step in np.arange(-2.0, 5.0)]
    assert np.all(np.diff(won) >= 0.0) and won[2] == 0.0


def test_extract_is_that_of_the_weather_files():
    """Only where the EPW files lie at hand, in the folder named by FPTLIB_EPW."""
    folder = os.environ.get("FPTLIB_EPW")
    if not folder:
        pytest.skip("FPTLIB_EPW does not name a folder with the three EPW files")
    maker = runpy.run_path(str(DATA.parent.parent / "make_weather_extract.py"))
    with np.load(DATA) as data:
        for name, path in maker["files"](Path(folder)).items():
            assert np.array_equal(data[f"s{name}"], maker["hours"](path))


# Computed: V 8.345 dT / (net tons 12000) 60
@pytest.mark.parametrize("volume, drop, net, minutes", [
    (10_000, 10, 200, 20.9), (20_000, 15, 400, 31.3), (5_000, 8, 100, 16.7),
])
def test_net_rejection_is_that_of_the_pull_down_time(volume, drop, net, minutes):
    exact = volume * 8.345 * drop / (net * 12_000.0) * 60.0
    assert exact == pytest.approx(minutes, abs=0.05)
    assert sump.net_rejection(volume, drop, exact) == pytest.approx(net, rel=1e-12)


# V4.1, computed: rate = tons 200 / (gal 8.345) degF/min
@pytest.mark.parametrize("volume, net, rate", [
    (10_000, 200, 0.4793), (10_000, 50, 0.1198), (20_000, 400, 0.4793), (8_000, 600, 1.7975),
    (12_000, -150, -0.2996),
])
def test_net_rejection_from_the_rate(volume, net, rate):
    assert sump.net_rejection(volume, 10.0 * rate, 10.0) == pytest.approx(net, rel=5e-4)


def test_no_net_rejection_without_time():
    with pytest.raises(ImpossibleState, match="net rejection"):
        sump.net_rejection(10_000.0, 10.0, 0.0)
