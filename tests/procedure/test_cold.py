"""Cold weather on the drawn plant: what trends show of towers, basin, exchanger and the space.

Lowest tower water 36 to 40 °F and 36.5 to 41 °F are two manufacturers' manuals (reference tables,
third set, V2.1a); no ice on plates while condenser water enters at 32 °F or above, and 34 °F
without proven flow, is V2.3 there; basin heaters at 40 °F and 60 %RH are common practice.
"""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, at

from fptlib.job import answers
from fptlib.job.schema import Cold, Sequence
from fptlib.limits import Limits
from fptlib.procedure import script
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Check, Verdict

MINUTE = pd.Timedelta(minutes=1)
ICY = slice(at("06:00"), at("07:00"))


def case(table: pd.DataFrame, minutes: int = 1, **cold: object) -> FunctionalTest:
    return drawn.case(table, minutes, plant=replace(drawn.PLANT, cold=Cold(**cold)))


def bent(rows: slice = ICY, **columns: float) -> pd.DataFrame:
    """The drawn plant with other values in some rows."""
    table = drawn.frame()
    for name, value in columns.items():
        table.loc[rows, name] = value
    return table


def failed_at(found: Check, moment: pd.Timestamp, minutes: int) -> None:
    assert found.verdict is Verdict.FAIL, found.reason
    first = next(event for event in found.events if event.verdict is Verdict.FAIL)
    assert abs(first.start - moment) <= minutes * MINUTE, first.start


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_condenser_water_near_freezing_is_found_though_fans_are_at_minimum(minutes: int) -> None:
    table = bent(cw_supply_temp=32.5, tower_1_fan_speed=25.0, tower_2_fan_speed=25.0)
    failed_at(judge(case(table, minutes), "cold.condenser_water"), at("06:00"), minutes)
    # Ten minutes are not to be known from samples of a quarter-hour.
    fans = judge(case(table, minutes), "cold.fans").verdict
    assert fans is (Verdict.INDETERMINATE if minutes == 15 else Verdict.PASS)
    # The tower manufacturer's own number counts before the limit; a jump hides what lies between.
    stated = judge(case(table, minutes, water_minimum=30.0), "cold.condenser_water").verdict
    assert stated is Verdict.PASS if minutes == 1 else stated is not Verdict.FAIL
    assert judge(case(drawn.frame(), minutes), "cold.condenser_water").verdict is Verdict.PASS


def test_water_that_stands_is_not_the_towers() -> None:
    """A drained pipe in a plant that is off reads the cold air."""
    table = bent(slice(at("03:00", 1), at("05:00", 1)), cw_supply_temp=20.0, chiller_1_running=0.0,
                 chiller_1_power=0.0)
    assert judge(case(table), "cold.condenser_water").verdict is Verdict.PASS


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_cold_water_over_the_fill_instead_of_through_the_bypass_is_found(minutes: int) -> None:
    """All of it or none: a bypass half open lets a thin film freeze on the fill (reference tables,
    third set, V2.1i)."""
    # Between two samples a quarter of an hour apart a fan may have run for longer than the limit.
    sound = Verdict.INDETERMINATE if minutes == 15 else Verdict.PASS
    for position, verdict in ((50.0, Verdict.FAIL), (100.0, sound)):
        table = bent(cw_supply_temp=34.0, tower_1_fan_speed=0.0, tower_2_fan_speed=0.0)
        table["tower_bypass_valve"] = position
        found = judge(case(table, minutes), "cold.fans")
        assert found.verdict is verdict, found.reason
        if verdict is Verdict.FAIL:
            failed_at(found, at("06:00"), minutes)
            assert "bypass: water ran over the fill for" in found.reason
    warm = drawn.frame()
    warm["tower_bypass_valve"] = 0.0
    assert judge(case(warm, minutes), "cold.fans").verdict is Verdict.PASS


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_fans_that_go_on_cooling_cold_water_are_found(minutes: int) -> None:
    table = bent(cw_supply_temp=34.0, tower_1_fan_speed=60.0)
    failed_at(judge(case(table, minutes), "cold.fans"), at("06:00"), minutes)
    sound = judge(case(drawn.frame(), minutes), "cold.fans")
    assert (sound.verdict, sound.measured) == (Verdict.PASS, 0.0)


@pytest.mark.parametrize(("water", "flow", "verdict"), [
    (33.0, 800.0, Verdict.PASS), (33.0, 0.0, Verdict.FAIL), (31.0, 800.0, Verdict.FAIL),
    (45.0, 0.0, Verdict.PASS)])
def test_the_exchanger_takes_cold_water_on_proven_flow_only(
    water: float, flow: float, verdict: Verdict
) -> None:
    table = bent(hx_cw_entering_temp=water, hx_chw_flow=flow)
    found = judge(case(table), "cold.exchanger")
    assert found.verdict is verdict, found.reason
    if verdict is Verdict.FAIL:
        for minutes in (1, 5, 15):
            failed_at(judge(case(table, minutes), "cold.exchanger"), at("06:00"), minutes)


def test_an_idle_exchanger_in_the_cold_is_found() -> None:
    rows = slice(at("03:00", 1), at("05:00", 1))
    table = bent(rows, hx_chw_leaving_temp=33.0)
    failed_at(judge(case(table), "cold.exchanger"), at("03:00", 1), 1)
    # Without a flow the valve shows that it is idle.
    valve = table.drop(columns=["hx_cw_flow", "economizer_active"])
    valve["hx_valve"] = 100.0 * table["economizer_active"]
    failed_at(judge(case(valve), "cold.exchanger"), at("03:00", 1), 1)


def frosty(flow: float) -> pd.DataFrame:
    table = drawn.frame()
    table["cw_flow"] = 960.0
    table.loc[ICY, ["cw_flow", "outdoor_dry_bulb"]] = [flow, 30.0]
    table.loc[table.index > at("12:00"), "outdoor_dry_bulb"] += 40.0
    return table


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_cell_with_too_little_water_in_frost_is_found(minutes: int) -> None:
    """300 gpm over two cells are 150 each."""
    failed_at(judge(case(frosty(300.0), minutes, cell_flow=400.0), "cold.cell_flow"),
              at("06:00"), minutes)
    shut = judge(case(frosty(300.0), minutes, cell_flow=400.0, cells_shut_off=True),
                 "cold.cell_flow")
    assert shut.verdict is Verdict.INDETERMINATE and "shut off" in shut.reason
    assert judge(case(frosty(960.0), minutes, cell_flow=400.0),
                 "cold.cell_flow").verdict is Verdict.PASS


def test_cell_flow_without_frost_or_without_a_number_waits() -> None:
    warm = frosty(300.0)
    warm["outdoor_dry_bulb"] = warm["outdoor_dry_bulb"].clip(lower=36.0)
    assert judge(case(warm, cell_flow=400.0), "cold.cell_flow").verdict is Verdict.DEFERRED
    unstated = judge(case(frosty(300.0)), "cold.cell_flow")
    assert unstated.verdict is Verdict.NOT_TESTED and "not stated in the plan" in unstated.reason


def heated(water: float, heater: float) -> pd.DataFrame:
    table = drawn.frame()
    table["basin_temp"] = np.where(table["cw_supply_temp"] > 45.0, 46.0, 44.0)
    table["basin_heater_running"] = 0.0
    table.loc[ICY, ["basin_temp", "basin_heater_running"]] = [water, heater]
    return table


@pytest.mark.parametrize(("water", "heater", "verdict"), [
    (36.0, 0.0, Verdict.FAIL), (36.0, 1.0, Verdict.PASS), (50.0, 1.0, Verdict.FAIL),
    (33.0, 1.0, Verdict.FAIL), (40.0, 1.0, Verdict.PASS)])
def test_a_basin_heater_follows_its_water(water: float, heater: float, verdict: Verdict) -> None:
    found = judge(case(heated(water, heater), basin_heater=40.0), "cold.basin")
    assert found.verdict is verdict, found.reason


def test_a_basin_without_a_heater_or_a_trend() -> None:
    assert judge(case(drawn.frame()), "cold.basin").verdict is Verdict.NOT_APPLICABLE
    found = judge(case(drawn.frame(), basin_heater=40.0), "cold.basin")
    assert found.verdict is Verdict.NOT_TESTED
    assert found.missing == ("basin_temp", "basin_heater_running")


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_humid_critical_space_is_found(minutes: int) -> None:
    """75 % all week, as the plant with too warm a reset has it."""
    table = drawn.frame()
    table["space_humidity"] = 75.0 + np.sin(np.arange(len(table)))
    found = judge(case(table, minutes), "cold.humidity")
    assert found.verdict is Verdict.FAIL and HANDOVER <= found.events[0].start < EXIT
    table["space_humidity"] -= 25.0
    assert judge(case(table, minutes), "cold.humidity").verdict is Verdict.PASS
    assert judge(case(table, minutes, space_humidity=45.0),
                 "cold.humidity").verdict is Verdict.FAIL
    without = table.drop(columns="space_humidity")
    assert judge(case(without, minutes), "cold.humidity").verdict is Verdict.NOT_APPLICABLE
    assert judge(case(without, minutes, space_humidity=45.0),
                 "cold.humidity").missing == ("space_humidity",)


def test_the_script_asks_for_what_no_trend_shows() -> None:
    """Ice, bypass at start, makeup, equalizers, idle exchanger; heater and space where stated."""
    def steps(**cold: object) -> list[str]:
        plant = replace(drawn.PLANT, cold=Cold(**cold))
        return [row["action"] + row["expected"] for row in script.script(
            plant, Sequence(), Limits(), (), "", "") if "35 °F" in row["action"]
            or "cold.humidity" in row["checks"]]

    plain, equipped = steps(), steps(basin_heater=40.0, space_humidity=55.0, water_minimum=40.0)
    assert len(plain) == 5 and len(equipped) == 7
    for word in ("louvers", "bypass", "two speeds or reverse", "Makeup", "equalizers",
                 "idle pipes", "exchanger idle", "Ice falls"):
        assert any(word in text for text in plain), word
    assert all("Ice falls" in text or "may hold ice" in text for text in plain)
    assert "at least 36 °F" in plain[0] and "at least 40 °F" in equipped[0]
    # Reversal in frost: two manufacturers' manuals (reference tables, third set, V2.1h).
    assert "reversed for 2 min at most, 10 min before forward again" in plain[2]
    assert "under the site's lockout rules" in equipped[5] and "55 %RH" in equipped[6]


def test_the_plan_states_what_the_cold_asks_for() -> None:
    held = {"site": {"altitude": 4200, "time_zone": drawn.ZONE},
            "plant": {"chillers": 1, "tower_cells": 2, "cold": {"cell_flow": 400.0,
                                                                "cells_shut_off": True}}}
    assert answers.plant(held).cold == Cold(cell_flow=400.0, cells_shut_off=True)


def test_the_script_reads_each_of_several_exchangers() -> None:
    """Trends show them together, so what parts them is a reading at each."""
    def steps(count: int) -> list[str]:
        return [row["action"] for row in script.script(replace(
            drawn.PLANT, exchangers=count), Sequence(), Limits(), (), "", "")
            if "running.exchanger" in row["checks"] and "read at each" in row["action"]]

    assert not steps(1) and "all 3 exchangers" in steps(3)[0]
