"""Glycol on either side: heat, UA and what counts as freezing, against CoolProp's incompressible
mixtures by mass (MPG, MEG), by enthalpy and density and without a function of ours.

Freezing points are those of the reference tables, third set, V2.2: 8.98 °F of 30 % propylene and
12.26 °F of 25 % ethylene; 5 °F above them is common practice, no source (V2.2h).
"""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import at

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.job.schema import Cold, Plant
from fptlib.limits import Limits
from fptlib.physics import exchanger, water
from fptlib.physics.exchanger_curve import ExchangerCurve
from fptlib.procedure import script
from fptlib.procedure.approach_curves import tower_curve
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.instruments import exchanger_heat
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict
from fptlib.trends.mapping import PointMap

PROPYLENE, ETHYLENE = ("propylene", 30.0), ("ethylene", 25.0)
FLUIDS = {PROPYLENE: "INCOMP::MPG-30%", ETHYLENE: "INCOMP::MEG-25%", ("", None): "Water"}
# CoolProp's enthalpies of a mixture are 0.026 % apart from its own heat capacities, integrated.
ACCURACY = 4e-4
GAL_M3, TON_W = 231.0 * 0.0254**3, 3516.8528


def of_coolprop(*asked: str | float) -> float:
    """A property by CoolProp, whose import is a fifth of what collecting all tests takes; only the
    worker that has these tests pays it."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI(*asked)


def tons(flow: float, entering: float, leaving: float, fluid: tuple[str, float | None]) -> float:
    """Heat that a stream gives up by CoolProp, metered on the cold side."""
    warm, cold = ((each + 459.67) / 1.8 for each in (entering, leaving))
    state, name = 0.5e6, FLUIDS[fluid]
    rho = of_coolprop("D", "T", min(warm, cold), "P", state, name)
    drop = (of_coolprop("H", "T", warm, "P", state, name)
            - of_coolprop("H", "T", cold, "P", state, name))
    return flow * GAL_M3 / 60.0 * rho * drop / TON_W


def plant(chw: tuple[str, float | None] = ("", None), cw: tuple[str, float | None] = ("", None),
          **changes: object) -> Plant:
    return replace(drawn.PLANT, chw_glycol=chw[0], chw_glycol_percent=chw[1], cw_glycol=cw[0],
                   cw_glycol_percent=cw[1], **changes)


@pytest.mark.parametrize("fluid", [PROPYLENE, ETHYLENE])
def test_the_load_is_that_of_the_fluid(fluid: tuple[str, float]) -> None:
    test = drawn.case(plant=plant(fluid))
    row = test.grid.row(at("12:00"))
    supply, back = (float(test[name][row]) for name in ("chw_supply_temp", "chw_return_temp"))
    assert test.load[row] == pytest.approx(tons(800.0, back, supply, fluid), rel=ACCURACY)
    assert drawn.case().load[row] / test.load[row] > 1.04


@pytest.mark.parametrize("fluid", [PROPYLENE, ETHYLENE])
def test_a_load_below_the_freezing_point_of_water_is_known(fluid: tuple[str, float]) -> None:
    """Supply of 26 °F and less, where no property was given below 34 before."""
    table = drawn.frame()
    for name in ("chw_supply_temp", "chw_return_temp"):
        table[name] -= 24.0
    test = drawn.case(table, plant=plant(fluid))
    row = test.grid.row(at("12:00"))
    supply, back = (float(test[name][row]) for name in ("chw_supply_temp", "chw_return_temp"))
    assert supply < 32.0 and not np.isnan(test.load).any()
    assert test.load[row] == pytest.approx(tons(800.0, back, supply, fluid), rel=ACCURACY)


def test_a_side_with_glycol_may_be_as_cold_as_it_freezes_at() -> None:
    """Water below 30 °F is a gap; 30 % propylene freezes at 8.98 °F (V2.2)."""
    sources = {name: {"file": "a.csv", "column": name, "unit": "degF"} for name in (
        "chw_supply_temp", "chiller_1_chw_leaving_temp", "chw_reset_setpoint", "cw_supply_temp",
        "basin_temp")}
    held = {"site": {"time_zone": "America/Denver"}, "points": sources,
            "plant": {"chw_glycol": "propylene", "chw_glycol_percent": 30.0}}
    low = {name: each.point.low for name, each in PointMap.from_answers(held).sources.items()}
    assert [low[name] for name in list(sources)[:3]] == pytest.approx([8.98] * 3, abs=0.3)
    assert low["cw_supply_temp"] == low["basin_temp"] == 30.0


@pytest.mark.parametrize("fluid", [PROPYLENE, ETHYLENE])
def test_curves_count_with_the_heat_of_the_fluid(fluid: tuple[str, float]) -> None:
    """Quarter-hours of an exchanger of 2 million Btu/h·°F by a logarithmic mean difference, its
    chilled side filled with glycol, and a tower whose range is heat over flow (CoolProp)."""
    heat = 12_000.0 * tons(1.0, 51.0, 49.0, fluid) / 2.0
    assert plant(fluid).btu_per_gpm("chw") == pytest.approx(heat, rel=2e-3)
    assert plant().btu_per_gpm("chw") == 500.0
    flow, load = np.array([600.0, 700.0, 800.0, 900.0]), np.array([200.0, 250.0, 280.0, 310.0])
    cooled, warmed = load * 12_000.0 / heat / flow, load * 24.0 / 900.0
    mean, apart = load * 12_000.0 / 2e6, cooled - warmed
    # Of cold end a and warm end a + apart the logarithmic mean is apart / ln(1 + apart / a).
    approach = apart / np.expm1(apart / mean)
    blocks = np.column_stack([load, flow, np.full(4, 900.0), approach, cooled])
    of_glycol = ExchangerCurve.fitted(blocks, (plant(fluid).btu_per_gpm("chw"), 500.0))
    of_water = ExchangerCurve.fitted(blocks)
    ratio = (0.5 * ((flow / np.median(flow)) ** -0.7 + 1.0))
    assert of_glycol.ua == pytest.approx(2e6 * np.median(ratio), rel=5e-3)
    assert abs(of_water.ua / of_glycol.ua - 1.0) > 0.015
    test = drawn.case(plant=plant(cw=fluid))
    curve = tower_curve(test)
    assert curve is not None
    assert float(curve.range_at(np.array(300.0))) == pytest.approx(
        300.0 * 12_000.0 / heat / curve.flow, rel=2e-3)


def balanced(chw: tuple[str, float], cw: tuple[str, float | None]) -> FunctionalTest:
    """The drawn plant with as much condenser-water flow as carries the chilled side's heat."""
    table = drawn.frame()
    run = slice(drawn.RECOVERED, drawn.WARM)
    table.loc[run, ["hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
                    "hx_cw_leaving_temp"]] = [60.0, 50.0, 48.0, 56.0]
    table.loc[run, "hx_cw_flow"] = 800.0 * tons(1.0, 60.0, 50.0, chw) / tons(1.0, 56.0, 48.0, cw)
    return drawn.case(table, plant=plant(chw, cw))


@pytest.mark.parametrize(("chw", "cw"), [(PROPYLENE, ("", None)), (ETHYLENE, ("", None)),
                                         (ETHYLENE, PROPYLENE)])
def test_the_heat_balance_closes_for_the_fluids_stated(
    chw: tuple[str, float], cw: tuple[str, float | None]
) -> None:
    test = balanced(chw, cw)
    values = {name: test[name][[test.grid.row(at("12:00"))]] for name in (
        "hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_flow",
        "hx_cw_leaving_temp", "hx_cw_entering_temp")}
    given, taken = (float(each[0]) for each in exchanger_heat(test, values))
    assert given == pytest.approx(taken, rel=ACCURACY)
    assert given == pytest.approx(tons(800.0, 60.0, 50.0, chw), rel=ACCURACY)


@pytest.mark.parametrize(("chw", "cw"), [(PROPYLENE, ("", None)), (ETHYLENE, PROPYLENE)])
def test_ua_is_that_of_the_fluids(chw: tuple[str, float], cw: tuple[str, float | None]) -> None:
    """UA is heat over the logarithmic mean difference: 4 and 2 °F here."""
    heat = (tons(800.0, 60.0, 50.0, chw) + tons(900.0, 56.0, 48.0, cw)) / 2.0
    expected = 12_000.0 * heat / ((4.0 - 2.0) / np.log(4.0 / 2.0))
    stated = plant(chw, cw)
    found = exchanger.observed_ua(800.0, 60.0, 50.0, 900.0, 48.0, 56.0,
                                  chw_fluid=stated.fluid("chw"), cw_fluid=stated.fluid("cw"))
    assert float(found) == pytest.approx(expected, rel=ACCURACY)


@pytest.mark.parametrize(("fluid", "name", "table"), [(PROPYLENE, "MPG", 8.98),
                                                      (ETHYLENE, "MEG", 12.26)])
def test_a_limit_for_water_is_as_far_above_the_fluids_freezing_point(
    fluid: tuple[str, float], name: str, table: float
) -> None:
    point = of_coolprop("T_FREEZE", "T", 300, "P", 101325, f"INCOMP::{name}-{fluid[1]:g}%")
    degf = point * 1.8 - 459.67
    assert degf == pytest.approx(table, abs=0.06)
    assert plant(fluid).above_freezing(38.0, "chw") == pytest.approx(degf + 6.0, abs=0.06)
    assert plant(fluid).above_freezing(33.0, "chw") == pytest.approx(degf + 5.0, abs=0.06)
    assert plant(fluid).above_freezing(33.0, "cw") == 33.0


# R-134a at 25 and 15 °F: 36.800 and 29.759 psia (CoolProp 8.0).
@pytest.mark.parametrize(("fluid", "psia", "verdict"), [
    (ETHYLENE, 36.80, Verdict.PASS), (ETHYLENE, 29.76, Verdict.FAIL),
    (("", None), 36.80, Verdict.FAIL)])
def test_the_evaporator_may_be_as_cold_as_its_fluid_allows(
    fluid: tuple[str, float | None], psia: float, verdict: Verdict
) -> None:
    table = drawn.frame()
    table["chiller_1_evaporator_pressure"] = 49.741
    table.loc[at("03:10") : at("03:20"), "chiller_1_evaporator_pressure"] = psia
    found = judge(drawn.case(table, plant=plant(fluid)), "lift.evaporator")
    assert found.verdict is verdict, found.reason


def test_the_floor_follows_the_fluid_and_the_cutout_stays() -> None:
    """Cutouts of 22 °F and 4 °F above them are 26; the limit of 38 is 14.98 with propylene."""
    chillers = tuple(replace(one, cutout=22.0) for one in drawn.PLANT.chillers)
    assert drawn.case(plant=plant(PROPYLENE, chillers=chillers)).floor == 26.0
    assert drawn.case(plant=plant(chillers=chillers)).floor == 38.0
    assert drawn.case(plant=plant(PROPYLENE)).floor == 38.0


@pytest.mark.parametrize("minutes", [1, 5, 15])
@pytest.mark.parametrize(("chw", "cw", "flow", "verdict"), [
    # Water beside the cold glycol freezes, the more so where it does not flow.
    (("", None), ETHYLENE, 0.0, Verdict.FAIL), (("", None), ETHYLENE, 800.0, Verdict.FAIL),
    # Glycol in the chilled loop alone saves no condenser water.
    (PROPYLENE, ("", None), 800.0, Verdict.FAIL),
    (PROPYLENE, ETHYLENE, 0.0, Verdict.PASS)])
def test_the_exchanger_freezes_by_what_stands_in_it(
    chw: tuple[str, float | None], cw: tuple[str, float | None], flow: float, verdict: Verdict,
    minutes: int,
) -> None:
    table = drawn.frame()
    rows = slice(at("06:00"), at("07:00"))
    table.loc[rows, ["hx_cw_entering_temp", "hx_chw_flow"]] = [31.0, flow]
    found = judge(drawn.case(table, minutes, plant=plant(chw, cw)), "cold.exchanger")
    if minutes == 1 or verdict is Verdict.FAIL:
        assert found.verdict is verdict, found.reason
    assert found.verdict is not Verdict.FAIL or verdict is Verdict.FAIL
    if verdict is Verdict.FAIL:
        first = next(e for e in found.events if e.verdict is Verdict.FAIL)
        assert abs(first.start - at("06:00")) <= minutes * pd.Timedelta(minutes=1)


def test_condenser_water_with_glycol_has_its_own_minimum() -> None:
    table = drawn.frame()
    table.loc[at("06:00") : at("07:00"), "cw_supply_temp"] = 32.5
    found = judge(drawn.case(table, plant=plant(cw=PROPYLENE)), "cold.condenser_water")
    assert found.verdict is Verdict.PASS and found.limit == pytest.approx(14.0, abs=0.1)
    steps = script.script(plant(cw=PROPYLENE, cold=Cold()), drawn.SEQUENCE, Limits(), (), "", "")
    towers = next(row for row in steps if "louvers" in row["action"])
    assert "at least 13.98 °F" in towers["expected"]
    sample = next(row for row in steps if "refractometer" in row["action"])
    assert "30 % propylene glycol by mass" in sample["expected"] and "9 °F" in sample["expected"]
    assert "gloves" in sample["action"]
    water_only = script.script(plant(), drawn.SEQUENCE, Limits(), (), "", "")
    assert not any("refractometer" in row["action"] for row in water_only)


def test_half_an_answer_on_glycol_is_refused() -> None:
    stated = {"site": {"altitude": 0.0, "time_zone": drawn.ZONE}}
    for half in ({"chw_glycol": "propylene"}, {"cw_glycol_percent": 30.0}):
        with pytest.raises(JobError, match=r"only one of kind and share .* or neither for water"):
            answers.plant({**stated, "plant": half})
    whole = answers.plant({**stated, "plant": {"chw_glycol": "ethylene",
                                               "chw_glycol_percent": 25.0}})
    assert whole.fluid("chw") == water.Fluid("ethylene", 25.0)
    assert whole.fluid("cw") == water.WATER
