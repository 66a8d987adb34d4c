"""The approach curves against the truth of plants of another hand, at three wet bulbs each.

What the sensors themselves are off is in the trends and is no fault of the curve: it is taken out.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fptlib.job.folder import Job
from fptlib.procedure.approach_curves import exchanger_curve, tower_curve
from fptlib.procedure.assemble import assemble
from tests.hands.second import Scenario, run, scenarios
from tests.hands.second.job import write
from tests.hands.second.physics import WATER, exchanger_tons, tower_balance

# It never changes over, so its trends show no approach.
SOUND = [each for each in scenarios() if each.sound and each.name != "sound_too_warm"]
# Fans that cool in two steps, and fans below half speed all season, show less of their towers.
LITTLE_SEEN = {"sound_lake", "sound_coast"}


def exchanger_approach(scenario: Scenario, tons: float, flow: float) -> float:
    """What the clean exchanger leaves above its condenser water at a load and flow [degF]."""
    p = scenario.plant
    carried = exchanger_tons(p.clean_ua(flow, p.cw_exchanger), flow, p.cw_exchanger, 1.0, 0.0)
    return tons / carried - tons * WATER / flow


def error(read: np.ndarray, truth: np.ndarray, rows: np.ndarray) -> float:
    """What a sensor is off in these rows (median)."""
    return float(np.nanmedian((read - truth)[rows]))


@pytest.mark.parametrize("scenario", [
    pytest.param(each, id=each.name, marks=[] if each.name == "sound_hill" else pytest.mark.full)
    for each in SOUND])
def test_a_sound_plant_yields_its_curves(scenario: Scenario, tmp_path: Path) -> None:
    result, p = run(scenario), scenario.plant
    write(result, tmp_path, 1)
    test = assemble(Job(tmp_path), keep=False)
    test = replace(test, plant=replace(test.plant, tower_approach=None, exchanger_approach=None))
    towers, exchanger = tower_curve(test), exchanger_curve(test)
    assert towers is not None
    runs = test.within(each.rows for each in test.runs)
    tons, pressure = np.nanmedian(test.load[runs]), float(np.median(np.atleast_1d(test.pressure)))
    water, air = (error(read, result.states[truth], runs) for read, truth in (
        (test["cw_supply_temp"], "sump"), (test.wet_bulb, "wet")))
    for wet in np.nanquantile(test.wet_bulb[runs], [0.1, 0.5, 0.9]):
        reached = tower_balance(p.tower(pressure), tons, wet, p.cw_exchanger, (1.0,) * p.cells)
        off = abs(towers.approach(wet, tons) - (water - air) - (reached - wet))
        assert off <= towers.uncertainty(wet, tons)
        assert off <= 0.5 or scenario.name in LITTLE_SEEN
    # Three plants do not trend what the exchanger's curve needs.
    if exchanger is not None:
        flow = np.nanmedian(test["chw_flow"][runs])
        if test.has("hx_cw_entering_temp"):
            water = error(test["hx_cw_entering_temp"], result.states["sump"], runs)
        leaving = error(test["hx_chw_leaving_temp"], result.states["hx_out"], runs)
        off = abs(exchanger.approach(tons, flow) - (leaving - water)
                  - exchanger_approach(scenario, tons, flow))
        assert off <= min(0.5, exchanger.uncertainty(tons, flow))
