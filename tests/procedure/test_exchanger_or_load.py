"""Exchanger fouled or small, load too high or water too warm: on the plants of ``winter_plant``."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from grids import grid_of
from winter_plant import (
    FALSE,
    FOULED,
    MINUTES,
    SMALL,
    SOUND,
    STUCK,
    WARM,
    Built,
    approach_of,
    build,
    ua_of,
)

from fptlib.procedure import cause
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Check, Verdict

SHARED = Path(os.environ.get("FPTLIB_SHARED") or Path(__file__).parents[3] / "shared")
VERDICT = {SOUND: "the exchanger carries its load", FALSE: "load too high",
           STUCK: "load too high", FOULED: "exchanger fouled", SMALL: "exchanger small",
           WARM: "water too warm"}


def said(row: Check) -> str:
    return row.events[0].text if row.events else row.reason


CASES = [(kind, seed) for kind in (SOUND, FALSE, STUCK, FOULED, SMALL) for seed in range(20)]


@pytest.mark.parametrize("first", [pytest.param(1000, marks=pytest.mark.full), 5000])
def test_a_hundred_random_plants_get_the_right_one_of_the_verdicts(first: int):
    """Right in at least 95 of 100, wrongly accused at most one, undecided the rest. The rules were
    settled on the first hundred; of the second 7 of 20 sound ones came out undecided before
    supply and UA counted together."""
    right, wrong, why = 0, 0, []
    for kind, seed in CASES:
        row = judge(build(kind, first + seed).test(), "load.cause")
        if said(row).startswith(VERDICT[kind]):
            right += 1
            continue
        wrong += row.verdict is Verdict.FAIL
        why.append(f"{kind} {seed}: {row.verdict}, {said(row)}")
    assert right >= 0.95 * len(CASES), "\n".join(why)
    assert wrong <= 0.01 * len(CASES), "\n".join(why)


def six_handlers(built: Built, seed: int, stuck: tuple[int, ...]) -> Built:
    """Six air handlers by a physics of their own: each mixes outdoor and return air as far as it
    can to what its discharge asks less its fan's heat, and its coil does the rest; stuck dampers
    leave a fifth of outdoor air. Sensors are off by up to half a degree, fans heat by 2.3 to 4.2 °F
    (LAB-01 to LAB-04 of the check values)."""
    rng, table = np.random.default_rng(seed), built.table.copy()
    outdoor = table["outdoor_dry_bulb"].to_numpy()
    for n in range(1, 7):
        back, discharge, fan = rng.uniform(70, 75), rng.uniform(53, 58), rng.uniform(2.3, 4.2)
        share = np.clip((back - (discharge - fan)) / np.maximum(back - outdoor, 1.0), 0.2, 1.0)
        share = np.full(len(table), 0.2) if n in stuck else share
        mixed = back + share * (outdoor - back)
        cooled = np.maximum(mixed + fan - discharge, 0.0)
        for name, value in {"return_temp": back + 0.0 * mixed, "mixed_temp": mixed,
                            "discharge_temp": mixed + fan - cooled}.items():
            table[f"ahu_{n}_{name}"] = value + rng.uniform(-0.5, 0.5) + rng.normal(
                0.0, 0.3, len(table))
        table[f"ahu_{n}_fan_running"], table[f"ahu_{n}_outdoor_damper"] = 1.0, 100.0 * share
        table[f"ahu_{n}_cooling_valve"] = np.clip(5.0 * cooled, 0.0, 100.0)
    return Built(replace(built.plant, air_handlers=6, air_economizer="yes"), table)


def test_two_of_six_stuck_air_side_economizers_are_named_and_no_other():
    """Twenty random plants each: the two that are stuck are found, no sound one is accused."""
    for seed in range(20):
        two = tuple(np.random.default_rng(seed).choice(6, 2, replace=False) + 1)
        for stuck, kind in ((two, STUCK), ((), SOUND)):
            test = six_handlers(build(kind, 5000 + seed), seed, stuck).test()
            failed = {event.subject for id in ("load.air_economizer", "load.air_damper",
                                               "load.air_valve")
                      for event in judge(test, id).events if event.verdict is Verdict.FAIL}
            assert failed == {f"air handler {n}" for n in stuck}, seed
            if stuck:
                assert said(judge(test, "load.cause")).startswith(VERDICT[STUCK]), seed


@pytest.mark.parametrize("seed", range(3))
def test_water_that_towers_keep_too_warm_is_neither_exchanger_nor_load(seed: int):
    assert said(judge(build(WARM, seed).test(), "load.cause")).startswith(VERDICT[WARM])


@pytest.mark.parametrize("seed", [50, 51, 52])
def test_condenser_water_is_not_blamed_for_an_approach_that_the_load_does_not_explain(seed: int):
    """A fouled exchanger at a third of its design load has the approach that a clean one has at
    full load, over condenser water as cold as the sequence asks for."""
    built = build(FOULED, seed)
    design = built.plant.exchanger
    twice = replace(design, load=2.0 * design.load,
                    cw_entering=2.0 * design.cw_entering - design.chw_leaving)
    built.table["chw_supply_temp"] += 2.0
    found = cause.complaint(built.test(plant=replace(built.plant, exchanger=twice)))
    assert len(found.by_exchanger) > 100 and not len(found.by_water)


@pytest.mark.parametrize(("kind", "without", "named"), [
    (SMALL, ("hx_cw_leaving_temp",), "hx_cw_leaving_temp"),
    (FOULED, ("hx_chw_flow",), "hx_chw_flow"),
    (SMALL, ("chw_flow",), "chw_flow"),
    (SMALL, ("outdoor_dry_bulb",), "outdoor_dry_bulb"),
    (SOUND, ("chw_supply_setpoint",), "chw_supply_setpoint")])
def test_without_a_point_it_cannot_be_known_and_is_named(
        kind: str, without: tuple[str, ...], named: str):
    row = judge(build(kind, 50).test(without), "load.cause")
    assert row.verdict is Verdict.NOT_TESTED and named in row.reason
    if kind != SOUND:
        assert row.reason.startswith("cannot be known")


def test_what_a_building_needs_at_night_is_asked_and_never_filled_in():
    """Two official models of one building type differ fourfold (LOA-01 and LOA-04 of the check
    values: 10 and 42 % of the peak)."""
    small = build(SMALL, 50)
    row = judge(small.test(plant=replace(small.plant, base_load=None)), "load.cause")
    assert row.verdict is Verdict.NOT_TESTED and "ask the owner" in row.reason
    assert judge(small.test(plant=replace(small.plant, base_load=None)),
                 "load.base").verdict is Verdict.NOT_TESTED


def test_a_supply_colder_than_the_exchanger_that_makes_it_accuses_no_load():
    """A supply sensor that reads 3 °F low makes a load that is not there."""
    sound = build(SOUND, 5000)
    sound.table["chw_supply_temp"] -= 3.0
    row = judge(sound.test(), "load.base")
    assert row.verdict is Verdict.INDETERMINATE and "leaves the exchanger" in row.reason
    assert judge(sound.test(), "load.cause").verdict is not Verdict.FAIL
    del sound.table["hx_chw_leaving_temp"]
    assert judge(sound.test(), "load.base").verdict is Verdict.FAIL  # nothing contradicts it


def test_reheat_shows_without_a_stated_base_load_where_heating_is_trended():
    """A ton of reheat is a ton of cooling; six tenths of the heating are reheat."""
    found = build(SOUND, 3)
    difference = found.table["chw_return_temp"] - found.table["chw_supply_temp"]
    found.table["chw_flow"] += 24.0 * 0.6 * found.table["heating_load"] / difference
    row = judge(found.test(plant=replace(found.plant, base_load=None)), "load.heating")
    assert row.verdict is Verdict.FAIL
    assert row.measured == pytest.approx(0.6, abs=row.uncertainty)
    assert judge(build(SOUND, 3).test(), "load.heating").verdict is Verdict.PASS


@pytest.mark.parametrize("minutes", [5, 15])
@pytest.mark.parametrize("kind", list(VERDICT))
def test_coarser_rows_say_the_same(kind: str, minutes: int):
    found = build(kind, 60)
    thinned = replace(found, table=found.table.iloc[:: minutes // MINUTES])
    row = judge(thinned.test(minutes=minutes), "load.cause")
    assert said(row).startswith(VERDICT[kind])


# -- one sign after the other ---------------------------------------------------------------


def test_fouling_is_a_rate_with_its_uncertainty():
    """UA that falls by 12 % of design in 30 days, drawn over five weeks of nights."""
    found = in_operation(35)
    row = judge(found.test(), "load.fouling")
    assert row.verdict is Verdict.PASS and abs(row.measured) < 2.0
    dirty = in_operation(35, lost_a_day=0.12 / 30.0)
    row = judge(dirty.test(), "load.fouling")
    assert row.verdict is Verdict.FAIL
    assert row.measured == pytest.approx(12.0, abs=2.0) and row.uncertainty < 2.0


def in_operation(days: int, lost_a_day: float = 0.0) -> Built:
    """A plant at design load and flows for so many days, whose UA falls evenly."""
    base, rng = build(SOUND, 5), np.random.default_rng(9)
    e = base.plant.exchanger
    index = pd.date_range(base.table.index[0], periods=days * 1440 // MINUTES,
                          freq=f"{MINUTES}min")
    day = np.arange(len(index)) * MINUTES / 1440.0
    tons = 0.8 * e.load * (1.0 + 0.1 * np.sin(2.0 * np.pi * day))
    clean = ua_of(e.load, e.chw_flow, e.cw_flow, e.chw_leaving - e.cw_entering)
    over = approach_of(tons, clean * (1.0 - lost_a_day * day), e.chw_flow, e.cw_flow)
    on = (day > 0.2).astype(float)
    water = e.chw_leaving - over
    f = pd.DataFrame({
        "outdoor_dry_bulb": 30.0 + 8.0 * np.sin(2.0 * np.pi * day) + 3.0 * np.sin(day),
        "outdoor_wet_bulb": 27.0 + 6.0 * np.sin(2.0 * np.pi * day) + 3.0 * np.sin(day),
        "chw_supply_setpoint": e.chw_leaving, "chw_reset_setpoint": e.chw_leaving,
        "chw_supply_temp": e.chw_leaving, "chw_flow": e.chw_flow,
        "chw_return_temp": e.chw_leaving + 24.0 * tons / e.chw_flow, "cw_supply_temp": water,
        "hx_chw_entering_temp": e.chw_leaving + 24.0 * tons / e.chw_flow,
        "hx_chw_leaving_temp": e.chw_leaving, "hx_cw_entering_temp": water,
        "hx_cw_leaving_temp": water + 24.0 * tons / e.cw_flow, "hx_chw_flow": on * e.chw_flow,
        "hx_cw_flow": on * e.cw_flow, "economizer_command": on, "chiller_1_running": 1.0 - on,
        "hx_chw_pressure_drop": 8.0 * on, "hx_cw_pressure_drop": 9.0 * on}, index=index)
    for name in f:
        if name.endswith("temp"):
            f[name] += rng.normal(0.0, 0.05, len(f))
    return Built(base.plant, f)


@pytest.mark.parametrize(("drop", "share", "verdict"), [
    (8.0, 1.0, Verdict.PASS), (14.0, 1.0, Verdict.FAIL),
    # Half again the drop at 0.8 of the flow is more than twice the drop at all of it.
    (8.0 * 1.6 * 0.8**1.85, 0.8, Verdict.FAIL), (8.0 * 0.8**1.85, 0.8, Verdict.PASS)])
def test_pressure_drop_is_that_of_design_flow(drop: float, share: float, verdict: Verdict):
    found = in_operation(3)
    found.table["hx_chw_pressure_drop"] = drop
    found.table["hx_chw_flow"] *= share
    plant = replace(found.plant, exchanger=replace(
        found.plant.exchanger, chw_pressure_drop=8.0, cw_pressure_drop=9.0))
    row = judge(found.test(plant=plant), "load.pressure_drop")
    assert row.verdict is verdict
    unstated = judge(found.test(), "load.pressure_drop")
    assert unstated.verdict is Verdict.NOT_TESTED and "not stated in the plan" in unstated.reason


def test_low_delta_t_through_a_bypass_is_found():
    """Coils at 8.1 °F, half the flow through a bypass: the plant sees 4.2 °F (LDT-11 of the check
    values, a public laboratory day)."""
    found = build(SOUND, 7)
    rise = 8.1
    exchanger = replace(found.plant.exchanger,
                        chw_entering=found.plant.exchanger.chw_leaving + rise)
    tons = found.table["chw_flow"] * (
        found.table["chw_return_temp"] - found.table["chw_supply_temp"]) / 24.0
    for plant_rise, verdict in ((8.1, Verdict.PASS), (4.2, Verdict.FAIL)):
        found.table["chw_return_temp"] = found.table["chw_supply_temp"] + plant_rise
        found.table["chw_flow"] = 24.0 * tons / plant_rise
        test = found.test(plant=replace(found.plant, exchanger=exchanger))
        assert judge(test, "load.delta_t").verdict is verdict
        assert np.nanmedian(test.load) == pytest.approx(np.median(tons), rel=0.02)


def test_low_delta_t_of_a_measured_day_is_found_and_its_energy_closes():
    """Medians while the loop runs: coils 9.06 gpm at 8.09 °F, loop 17.65 gpm at 4.2 °F (LDT-11):
    the same energy within 2 %, half the difference."""
    file = SHARED / "real_trends" / "laboratory_atlanta_eff_default.csv.gz"
    if not file.is_file():
        pytest.skip("the measured days are public but not ours to commit")
    raw = pd.read_csv(file, low_memory=False).iloc[:1440]
    raw = raw[raw["sl_f"] > 5.0].reset_index(drop=True)
    supply = raw["pump3_out_rtd"]
    coils = raw["ahu1_f_cc"] + raw["ahu2_f_cc"]
    rise = sum(raw[f"ahu{n}_f_cc"] * (raw[f"ahu{n}_cc_out_rtd"] - supply) for n in (1, 2)) / coils
    found = {}
    for name, flow, back in (("coils", coils, supply + rise),
                             ("loop", raw["sl_f"], raw["ch1_e_in_rtd"])):
        table = pd.DataFrame({"chw_flow": flow, "chw_supply_temp": supply, "chw_return_temp": back,
                              "economizer_command": 0.0, "chiller_1_running": 1.0})
        table.index = pd.date_range("2026-01-08", periods=len(table), freq="min",
                                    tz="America/Denver")
        base = build(SOUND, 7).plant
        plant = replace(base, exchanger=replace(base.exchanger, load=3.0, chw_entering=58.1,
                                                chw_leaving=50.0))
        found[name] = judge(Built(plant, table).test(minutes=1), "load.delta_t")
    assert found["coils"].verdict is Verdict.PASS and found["loop"].verdict is Verdict.FAIL
    rises, flows = ([float(found[name].events[0].quantities[what]) for name in ("coils", "loop")]
                    for what in ("median difference, °F", "median flow, gpm"))
    assert rises == pytest.approx([8.09, 4.22], abs=0.05)
    assert rises[0] * flows[0] == pytest.approx(rises[1] * flows[1], rel=0.025)


def test_a_constant_flow_loop_is_not_accused_of_a_low_delta_t():
    found = build(SOUND, 7)
    found.table["chw_flow"] = 800.0
    assert judge(found.test(), "load.delta_t").verdict is Verdict.NOT_APPLICABLE


def test_flow_without_load():
    found = build(SOUND, 8)
    idle = found.table.index.hour < 6
    found.table.loc[idle, "chw_return_temp"] = found.table["chw_supply_temp"] + 1.0
    for share, verdict in ((0.2, Verdict.PASS), (0.7, Verdict.FAIL)):
        found.table.loc[idle, "chw_flow"] = share * found.plant.exchanger.chw_flow
        assert judge(found.test(), "load.idle_flow").verdict is verdict


@pytest.mark.parametrize(("position", "verdict"), [(88.0, Verdict.PASS), (30.0, Verdict.FAIL)])
def test_water_colder_than_any_valve_asks_for(position: float, verdict: Verdict):
    found = build(SOUND, 8)
    found.table["chw_valve_position"] = position + np.sin(np.arange(len(found.table)))
    assert judge(found.test(), "load.valves").verdict is verdict


def test_return_water_through_the_decoupler():
    """400 of 2000 gpm backward (LDT-08 of the check values) for a fifth of the time."""
    found = build(SOUND, 8)
    flow = found.table["chw_flow"]
    found.table["decoupler_flow"] = 0.1 * flow
    assert judge(found.test(), "load.decoupler").verdict is Verdict.PASS
    busy = (found.table.index.hour >= 12) & (found.table.index.hour < 17)
    found.table.loc[busy, "decoupler_flow"] = -0.2 * flow
    row = judge(found.test(), "load.decoupler")
    assert row.verdict is Verdict.FAIL and row.measured == pytest.approx(100.0 * 5 / 24, abs=1.0)


# -- air handlers ---------------------------------------------------------------------------
# Temperatures as in the vectors G36-06, G36-10 and APR-10 of the check values (from memory there).


def air(handlers: int = 1, **bent: float) -> Built:
    """Air handlers of which the last is bent: by itself outdoor air of 40 °F is mixed with return
    air of 72 °F to 52 °F, and with the fan's three degrees it leaves at 55 °F, valve shut."""
    base, rng = build(SOUND, 8), np.random.default_rng(2)
    sound = {"fan_running": 1.0, "return_temp": 72.0, "mixed_temp": 52.0, "discharge_temp": 55.0,
             "outdoor_damper": 62.0, "cooling_valve": 0.0}
    table = base.table.copy()
    table["outdoor_dry_bulb"] = 40.0 + rng.normal(0.0, 0.3, len(table))
    for n in range(1, handlers + 1):
        for name, value in {**sound, **(bent if n == handlers else {})}.items():
            noise = rng.normal(0.0, 0.3, len(table)) if name.endswith("temp") else 0.0
            table[f"ahu_{n}_{name}"] = value + noise
    return Built(replace(base.plant, air_handlers=handlers, air_economizer="yes"), table)


@pytest.mark.parametrize(("check", "bent", "verdict"), [
    ("load.air_economizer", {}, Verdict.PASS),
    # The damper stays at a fifth of outdoor air, and the coil does what air could.
    ("load.air_economizer", {"mixed_temp": 65.6, "outdoor_damper": 20.0, "cooling_valve": 60.0},
     Verdict.FAIL),
    ("load.air_damper", {"mixed_temp": 41.0, "outdoor_damper": 100.0}, Verdict.PASS),
    ("load.air_damper", {"mixed_temp": 65.6, "outdoor_damper": 100.0}, Verdict.FAIL),
    ("load.air_damper", {}, Verdict.NOT_TESTED),
    # The fan's heat is 2.3 to 4.2 °F on measured days without a fault (LAB-01 to LAB-04).
    ("load.air_valve", {"discharge_temp": 54.3}, Verdict.PASS),
    ("load.air_valve", {"discharge_temp": 56.2}, Verdict.PASS),
    ("load.air_valve", {"mixed_temp": 62.0, "discharge_temp": 56.0}, Verdict.FAIL)])
def test_air_handlers(check: str, bent: dict[str, float], verdict: Verdict):
    row = judge(air(6, **bent).test(), check)
    assert row.verdict is verdict
    assert verdict is not Verdict.FAIL or "air handler 6" in row.reason


def test_a_stuck_air_side_economizer_is_where_the_load_comes_from():
    stuck = {"mixed_temp": 65.6, "outdoor_damper": 20.0, "cooling_valve": 60.0}
    row = judge(air(6, **stuck).test(), "load.cause")
    assert row.verdict is Verdict.FAIL and said(row).startswith("load too high")
    assert "20 % outdoor air" in said(row)


@pytest.mark.parametrize(("has", "verdict"), [
    ("yes", Verdict.FAIL), ("not stated", Verdict.INDETERMINATE), ("no", Verdict.NOT_APPLICABLE)])
def test_no_unit_is_accused_that_may_have_no_economizer(has: str, verdict: Verdict):
    stuck = air(2, mixed_temp=65.6, outdoor_damper=20.0, cooling_valve=60.0)
    plant = replace(stuck.plant, air_economizer=has)
    assert judge(stuck.test(plant=plant), "load.air_economizer").verdict is verdict


def test_a_fan_that_stands_still_accuses_nobody():
    row = judge(air(1, fan_running=0.0, mixed_temp=66.0).test(), "load.air_valve")
    assert row.verdict is Verdict.NOT_TESTED


def test_an_air_handler_lacks_a_point():
    row = judge(air(2).test(("ahu_2_mixed_temp",)), "load.air_damper")
    assert row.verdict is Verdict.NOT_TESTED and row.missing == ("ahu_2_mixed_temp",)
    none = judge(build(SOUND, 8).test(), "load.air_damper")
    assert "the plan (step 0) lists no air handler with trends" in none.reason


@pytest.mark.parametrize("day", ["atlanta_eff_default", "buffalo_eff_typshldr"])
def test_two_measured_air_handlers_without_a_fault_are_not_accused(day: str):
    """A public laboratory's days with nothing wrong (LAB-01 to LAB-04 of the check values: strict
    rules would cry fault for 118 minutes of them). Its units are run at minimum outdoor air."""
    file = SHARED / "real_trends" / f"laboratory_{day}.csv.gz"
    if not file.is_file():
        pytest.skip("the measured days are public but not ours to commit")
    raw = pd.read_csv(file).iloc[:1440]
    table = pd.DataFrame({"outdoor_dry_bulb": raw["oau_out_rtd"]})
    for n, coil, out in ((1, "v12", "d6"), (2, "v13", "d7")):
        table[f"ahu_{n}_fan_running"] = (raw[f"ahu{n}_fan_power"] > 50.0).astype(float)
        table[f"ahu_{n}_return_temp"] = raw[f"ahu{n}_t_ra"]
        table[f"ahu_{n}_mixed_temp"] = raw[f"ahu{n}_in_rtd"]
        table[f"ahu_{n}_discharge_temp"] = raw[f"ahu{n}_out_rtd"]
        table[f"ahu_{n}_cooling_valve"] = raw[f"{coil}_pos_fb"] * 10.0
        table[f"ahu_{n}_outdoor_damper"] = (raw[f"{out}_pos_fb"] - 2.0) / 8.0 * 100.0
    table.index = pd.date_range("2026-01-08", periods=len(table), freq="min", tz="America/Denver")
    plant = replace(build(SOUND, 8).plant, air_handlers=2)
    test = FunctionalTest(grid_of(table.astype(float), pd.Timedelta(minutes=1)), plant)
    found = {id: judge(test, id) for id in ("load.air_economizer", "load.air_damper",
                                            "load.air_valve")}
    assert not [row.reason for row in found.values() if row.verdict is Verdict.FAIL]
