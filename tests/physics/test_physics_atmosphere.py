"""The atmosphere's pressure against published values.

Sources beside the rows: "ASHRAE" is Handbook - Fundamentals 2017 chapter 1 as carried in
the test suite of psychrolib (commit 059a99b6).
"""

from __future__ import annotations

import pytest

from fptlib.physics import atmosphere
from fptlib.physics.errors import ImpossibleState

PA = 6894.757293168  # per psi


# PSY-12, ASHRAE Table 1, within 1 Pa; above 1000 m the rounding of the inch-pound
# constants adds up to 0.3 Pa
@pytest.mark.parametrize("metres, expected", [
    (-500, 107478), (0, 101325), (500, 95461), (1000, 89875), (4000, 61640), (10000, 26436),
])
def test_pressure_at_altitude_si(metres, expected):
    found = atmosphere.pressure_at(metres / 0.3048) * PA
    assert found == pytest.approx(expected, abs=1.0 if metres <= 1000 else 1.5)


# PSY-13, ASHRAE Table 1, within 0.003 psi; the upstream test allows 1 psi, which tests nothing
@pytest.mark.parametrize("altitude, expected", [
    (-1000.0, 15.236), (0.0, 14.696), (1000.0, 14.175), (3000.0, 13.173), (10000.0, 10.108),
])
def test_pressure_at_altitude(altitude, expected):
    assert atmosphere.pressure_at(altitude) == pytest.approx(expected, abs=0.003)


# ASHRAE eq. 3, computed, within 0.001 psia
@pytest.mark.parametrize("altitude, expected", [
    (1000.0, 14.1726), (2000.0, 13.6644), (3000.0, 13.1711), (4000.0, 12.6923),
    (5000.0, 12.2277), (5280.0, 12.1001), (6000.0, 11.7770), (7000.0, 11.3398),
    (8000.0, 10.9159), (10000.0, 10.1065),
])
def test_pressure_by_formula(altitude, expected):
    assert atmosphere.pressure_at(altitude) == pytest.approx(expected, abs=0.001)


def test_an_impossible_altitude_is_refused():
    with pytest.raises(ImpossibleState):
        atmosphere.pressure_at(99_999.0)
