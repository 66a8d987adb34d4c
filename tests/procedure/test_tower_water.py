"""Tower water: what evaporates in economizer mode, and the make-up by cycles of concentration."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pytest

from fptlib.job.schema import Tariff
from fptlib.procedure import tower_water
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.record import owners_page

QUESTION = "How much water do the towers take in economizer mode?"


def of_record(test: FunctionalTest) -> tower_water.Evaporated:
    rows = (test.commanded == 1.0) & (test.chillers_on == 0.0)
    found = tower_water.evaporated(test, test.load[rows], test["outdoor_dry_bulb"][rows],
                                   test.wet_bulb[rows], test.minutes / 60.0)
    assert found is not None
    return found


@pytest.mark.parametrize(("cycles", "expected", "blowdown"), [
    (4.0, 152_064.0, 23_760.0), (8.0, 130_341.0, 2_037.0)])
def test_make_up_by_the_gemi_water_planner(
    cycles: float, expected: float, blowdown: float
) -> None:
    """Evaporation of 114,048 gpd: make-up 152,064 at 4 cycles and 130,341 at 8, of it windage of
    14,256 with a blowdown of 23,760 or 2,037 (GEMI, Water Sustainability Planner, calculations for
    cooling towers)."""
    made, away = tower_water.make_up(114_048.0, cycles)
    assert made == pytest.approx(expected, abs=1.0)
    assert away == pytest.approx(14_256.0 + blowdown, abs=1.0)


@pytest.mark.parametrize(("cycles", "over"), [(2, 2.0), (3, 1.5), (5, 1.25), (10, 1.111111)])
def test_make_up_over_evaporation(cycles: float, over: float) -> None:
    """C/(C - 1), by hand."""
    assert tower_water.make_up(1.0, cycles)[0] == pytest.approx(over, rel=1e-6)


def test_evaporation_lies_between_that_of_the_two_ratios_and_below_the_rule_of_summer() -> None:
    """11.48 lb per ton-hour if all heat were latent (CoolProp, 85 degF); the drawn winter day
    takes less, and its uncertainty holds the balance at either ratio of water to air."""
    test = drawn.case()
    found = of_record(test)
    rows = (test.commanded == 1.0) & (test.chillers_on == 0.0)
    tons = float(np.nansum(test.load[rows])) / 60.0
    per_ton = found.gallons * 8.345 / tons
    assert 5.0 < per_ton < 11.48
    assert 0.05 < found.uncertainty / found.gallons < 0.3


def test_chillers_reject_their_own_power_too() -> None:
    """180 kW beside 320 tons: 180 / (3.517 * 320) more heat."""
    test = drawn.case()
    found, rows = of_record(test), test.chiller_mode & ~test.changing
    assert found.more == pytest.approx(180.0 / 3.5168528 / float(np.nanmean(test.load[rows])))


def test_the_owner_reads_evaporation_and_with_cycles_the_make_up() -> None:
    def said(tariff: Tariff) -> str:
        rows = owners_page.worth(replace(drawn.case(), tariff=tariff))
        return next(row["answer"] for row in rows if row["question"] == QUESTION)

    assert "make-up not known: no cycles of concentration are stated" in said(Tariff())
    assert "make-up at 4 cycles" in said(Tariff(cycles=4.0))
    assert "of it blowdown and drift" in said(Tariff(cycles=4.0))
    assert "USD" not in said(Tariff(cycles=4.0, water_price=12.0))
    assert "USD" in said(Tariff(cycles=4.0, water_price=12.0, currency="USD"))


def test_without_the_towers_range_the_water_is_not_known() -> None:
    table = drawn.frame().drop(columns=["cw_return_temp", "hx_cw_leaving_temp"])
    assert tower_water.problem(drawn.case(table)) == (
        "the trends show no steady range of the towers")
