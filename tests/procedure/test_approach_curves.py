"""Approach curves against the generator's truth, published models, and what they decide."""

from __future__ import annotations

import dataclasses
import re
from functools import cache

import drawn_plant as drawn
import numpy as np
import pytest
from faulty_case import Run
from plants import BLIND, PLANTS

from fptlib.job.schema import Approach
from fptlib.physics import tower
from fptlib.physics.exchanger_curve import ExchangerCurve
from fptlib.physics.tower_curve import TowerCurve
from fptlib.procedure import approach_curves, enable, sheet_lines
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.sequence import Settings
from fptlib.procedure.verdict import Verdict
from sample_trends.generator import Scenario
from sample_trends.generator.plant import Orders, Plant

ALL = {plant.name: plant for plant in PLANTS + BLIND}


@cache
def seen(name: str, minutes: int = 1) -> FunctionalTest:
    return Run("", name).case(minutes)


def unstated(test: FunctionalTest) -> FunctionalTest:
    return dataclasses.replace(test, plant=dataclasses.replace(
        test.plant, tower_approach=None, exchanger_approach=None))


def true_tower(scenario: Scenario, wet_bulb: float, tons: float, pressure: float) -> float:
    """What the generator's towers reach at full fans when nothing moves any more."""
    plant = Plant(scenario.design, pressure)
    plant.cw_flow, plant.sump = 1050.0 * scenario.design.scale, wet_bulb + 8.0
    for _ in range(600):
        plant.tower_return = plant.sump + tons * 24.0 / plant.cw_flow
        plant._tower(wet_bulb, Orders(fan_speed=1.0, cells_on=scenario.design.tower_cells))
    return plant.sump - wet_bulb


def true_exchanger(scenario: Scenario, tons: float, flow: float) -> float:
    plant = Plant(scenario.design, 14.0)
    plant.hx_flow, plant.hx_cw_flow, plant.sump = flow, 1050.0 * scenario.design.scale, 42.0
    # Heat is in proportion to what enters above the condenser water.
    entering = tons / plant._exchanged(43.0)
    return entering - tons * 24.0 / flow


@pytest.mark.parametrize("name", ALL)
def test_every_sound_plant_yields_its_curves(name: str) -> None:
    test, scenario = unstated(seen(name)), ALL[name]
    towers, exchanger = approach_curves.tower_curve(test), approach_curves.exchanger_curve(test)
    assert towers is not None and exchanger is not None
    pressure = float(np.median(np.atleast_1d(test.pressure)))
    for wet_bulb in (30.0, 34.0, 38.0):
        tons = float(np.interp(wet_bulb, [14.0, 40.0], [200.0, 300.0])) * scenario.design.scale
        found, truth = towers.approach(wet_bulb, tons), true_tower(
            scenario, wet_bulb, tons, pressure)
        assert found == pytest.approx(truth, abs=0.5)
        assert abs(found - truth) <= towers.uncertainty(wet_bulb, tons)
        flow = tons * 2.4
        found, truth = exchanger.approach(tons, flow), true_exchanger(scenario, tons, flow)
        assert found == pytest.approx(truth, abs=0.1)
        assert abs(found - truth) <= exchanger.uncertainty(tons, flow)
    assert enable.condition(test).verdict is Verdict.PASS


@pytest.mark.parametrize("name", [PLANTS[0].name])
def test_the_enable_line_is_that_of_the_true_towers_and_exchanger(name: str) -> None:
    """Wet bulb, what towers and exchanger truly reach there, and 1.5 °F twice are the setpoint."""
    test, scenario = unstated(seen(name)), ALL[name]
    line = sheet_lines.enable_line(test, Settings(0.0, 0.0), test.reset_setpoint)
    pressure = float(np.median(np.atleast_1d(test.pressure)))
    tons = float(line.why.partition(" tons (")[0].split()[-1])
    found = [[float(each) for each in re.findall(r"[0-9.]+", said)]
             for said in line.recommended.split("; ") if not said.startswith("not known")]
    assert len(found) >= 2
    for highest, known, setpoint in found:
        needed = (highest + true_tower(scenario, highest, tons, pressure) + 3.0
                  + true_exchanger(scenario, tons, tons * 2.4))
        assert needed == pytest.approx(setpoint, abs=known) and known < 1.5


# Approach by the Merkel model of section 3 of the check values (V3.02 to V3.27), computed there;
# wet bulb, range, share of flow, share of air, approach.
MERKEL = np.array([
    (65, 10, 1, 1, 10.67), (55, 10, 1, 1, 14.00), (48, 8, 1, 1, 14.04), (45, 8, 1, 1, 15.02),
    (42, 10, 1, 1, 18.86), (42, 6, 1, 1, 12.80), (36, 8, 1, 1, 18.10), (36, 4, 1, 1, 10.31),
    (48, 8, .75, 1, 10.88), (36, 8, .75, 1, 14.25), (78, 10, 1, .8, 8.89), (48, 8, 1, .8, 16.94),
    (48, 8, 1, .6, 21.30), (36, 6, 1, .8, 17.40), (36, 6, 1, .6, 21.82), (42, 6, .75, .75, 12.80)])


def test_a_curve_fitted_to_a_published_model_returns_it() -> None:
    air, cooling, flow, fans, approach = MERKEL.T
    # The published fan moves a mass that goes with its speed; ours a volume.
    dense = tower.air_volume(air, 14.696) / tower.air_volume(
        40.0, 14.696)
    blocks = np.column_stack([air, cooling, approach, fans * dense, 1000.0 * flow])
    curve = TowerCurve.fitted(blocks, 14.696, 2, 0.0)
    assert curve.scatter < 0.15
    tons = 1000.0 * 6.0 / 24.0
    assert curve.approach(36.0, tons) == pytest.approx(14.47, abs=0.3)
    # What published models disagree by is not accuracy: without flow nothing moves.
    assert curve.uncertainty(30.0, tons) > curve.uncertainty(36.0, tons)


def test_the_exchanger_curve_returns_computed_effectiveness() -> None:
    """Section 3.3 of the check values: UA 1,763,360 at 1,200 and 1,500 gpm, 56 and 41 degF
    entering, films to the power 0.7: leaving water at shares of both flows."""
    shares = np.array([(1, 1, 44.0), (.75, 1, 42.716), (.5, 1, 41.630), (.5, .5, 43.377),
                       (1, .75, 45.381)])
    chw, cw, leaving = 1200.0 * shares[:, 0], 1500.0 * shares[:, 1], shares[:, 2]
    load = chw * (56.0 - leaving) / 24.0
    curve = ExchangerCurve.fitted(
        np.column_stack([load, chw, cw, leaving - 41.0, 56.0 - leaving]))
    assert curve.scatter < 0.06
    assert curve.approach(600.0, 1200.0) == pytest.approx(3.0, abs=0.06)
    assert curve.approach(0.3 * 1200.0 * (56.0 - 41.129) / 24.0, 360.0) == pytest.approx(
        0.129, abs=0.05)


def stated(value: float, basis: str, remark: str, name: str = PLANTS[0].name) -> FunctionalTest:
    test = seen(name)
    return dataclasses.replace(test, plant=dataclasses.replace(
        test.plant, tower_approach=Approach(value, basis, remark)))


def test_what_is_typed_is_believed_no_further_than_its_evidence() -> None:
    observed, design, typed = (enable.condition(stated(7.0, *each)) for each in (
        ("observed", "3 January, fans at 100 %"), ("design", ""), ("observed", "")))
    assert observed.verdict is Verdict.PASS
    assert observed.uncertainty < design.uncertainty == typed.uncertainty
    # The trends show 6.5 degF: more than the tolerance and the curve's uncertainty away.
    wrong = enable.condition(stated(3.0, "observed", "somebody said so"))
    assert wrong.verdict is Verdict.NOT_TESTED
    assert "stated as 3.0 °F and the trends show 6.5 ±" in wrong.reason


def test_an_approach_far_off_accuses_nobody() -> None:
    """Towers rated at full load do better at the load of the night: that proves no fail, and
    takes no pass."""
    assert enable.condition(stated(13.0, "design", "")).verdict is Verdict.INDETERMINATE
    assert enable.condition(stated(9.5, "observed", "at full load")).verdict is not Verdict.FAIL


def test_beyond_what_was_seen_the_curve_says_that_it_knows_less() -> None:
    curve = approach_curves.tower_curve(seen(PLANTS[0].name))
    assert curve is not None
    inside, outside = (float(curve.uncertainty(at, 240.0)) for at in (36.0, 10.0))
    assert outside > inside + 2.0
    assert "wet bulb 33 to 40" in str(curve)


def test_without_fans_there_is_no_curve() -> None:
    table = drawn.frame().drop(columns=[f"tower_{n}_fan_{what}" for n in (1, 2)
                                        for what in ("speed", "running")])
    assert approach_curves.tower_curve(drawn.case(table)) is None
