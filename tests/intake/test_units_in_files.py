"""Units as files write them."""

from __future__ import annotations

import pytest

from fptlib import points, units
from fptlib.trends.cells import Cell, cell, number, split_unit


@pytest.mark.parametrize("text, wanted, unit", [
    ("°F", "degF", "degF"), ("deg C", "degF", "degC"), ("ºC", "degF", "degC"), ("K", "degF", "K"),
    ("%", "%RH", "%RH"), ("% RH", "%RH", "%RH"), ("%", "%", "%"), ("PSI", "psi", "psi"),
    ("psig", "psia", "psig"), ("psi", "psia", ""), ("kPa", "psia", "kPa"), ("m³/h", "gpm", "m3/h"),
    ("L/s", "gpm", "L/s"), ("GPM", "gpm", "gpm"), ("kW", "kW", "kW"), ("kW", "tons", "kW"),
    ("tons", "tons", "tons"), ("Amps", "A", "A"), ("", "degF", ""), ("furlongs", "gpm", ""),
    ("gpm", "degF", ""), ("in.Hg", "psia", "inHg"),
])
def test_alias(text: str, wanted: str, unit: str) -> None:
    assert units.alias(text, wanted) == unit


@pytest.mark.parametrize("header, name, unit", [
    ("CHWS (°F)", "CHWS", "°F"), ("Flow [L/s]", "Flow", "L/s"), ("chwst_C", "chwst", "C"),
    ("CHWS", "CHWS", ""), ("Chiller (north)", "Chiller (north)", ""), ("x_kg_s", "x", "kg/s"),
])
def test_unit_in_the_header(header: str, name: str, unit: str) -> None:
    assert split_unit(header) == (name, unit)


@pytest.mark.parametrize("text, decimal, value", [
    ("1,234.5", ".", 1234.5), ("1.234,5", ",", 1234.5), ("1'234.5", ".", 1234.5),
    ("1 234,5", ",", 1234.5), ("12,34.5", ".", None), ("1.23.4", ".", None), ("-0.5", ".", -0.5),
    ("1,234,567", ".", 1234567.0), ("1,2345", ".", None), (".5", ".", 0.5), ("5.", ".", 5.0),
])
def test_number(text: str, decimal: str, value: float | None) -> None:
    assert number(text, decimal) == value


def test_cell() -> None:
    assert cell("44.5 °F", ".", frozenset()) == Cell(44.5, "°F")
    assert cell("n/a", ".", frozenset(["n/a"])) is not None
    assert cell("forty", ".", frozenset()) is None


def test_gauge_units_are_offered_for_an_absolute_pressure_alone() -> None:
    assert set(units.offered("psia")) - set(units.choices("psia")) == {"psig", "kPag", "barg"}
    assert units.offered("psi") == units.choices("psi")


def test_gauge_pressure() -> None:
    assert units.is_gauge("psig", "psia") and not units.is_gauge("psig", "psi")
    assert units.scale("psig", "psia", "", 12.0)(10.0) == pytest.approx(22.0)
    assert units.scale("kPag", "psia", "", 12.0)(100.0) == pytest.approx(26.5038, abs=1e-4)


@pytest.mark.parametrize(("stated", "wanted", "half_width"), [
    ("degC", "degF", 1.8), ("K", "degF", 1.8), ("degF", "degF", 1.0),
    ("m3/h", "gpm", 4.402868), ("hPa", "psia", 0.0145038), ("psig", "psia", 1.0),
    ("psi", "psia", 1.0), ("kPag", "psia", 0.145038), ("% of reading", "gpm", 2.0),
    ("gpm", "degF", None), ("furlong", "degF", None),
])
def test_a_half_width_has_no_offset(stated: str, wanted: str, half_width: float | None) -> None:
    """Factors of NIST SP 811, appendix B, from memory; per cent of a reading of -200."""
    found = units.half_width(1.0, stated, wanted, -200.0)
    assert found == (half_width and pytest.approx(half_width, rel=1e-5))


def test_every_unit_of_a_half_width_fits_a_point() -> None:
    wanted = {point.unit for point in points.GLOSSARY}
    for stated in units.half_width_units():
        assert any(units.half_width(1.0, stated, unit, 1.0) for unit in wanted), stated
