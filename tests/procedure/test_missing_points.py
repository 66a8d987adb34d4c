"""Taking one point away turns exactly the checks that need it to ``not tested``, by name.

The tables are written by hand from the definitions of the checks; what the checks declare is
held against them, and so is what comes of it, on the drawn plant and on a simulated one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cache

import drawn_plant as drawn
import pytest
from faulty_case import Run
from grids import grid_with
from plants import SOUND

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks, points_used
from fptlib.procedure.verdict import Check, Verdict

COMPARED = {"exit.comparative", "transition.entering", "transition.leaving"}
LOAD = {*COMPARED, "load.delta_t", "load.peak", "load.weather"}
EXCHANGER = {"instruments.heat_balance", "running.exchanger", "load.fouling"}
# Every point that some check cannot do without.
NEEDED: dict[str, set[str]] = {
    "outdoor_wet_bulb": {"instruments.wet_bulb"},
    "outdoor_humidity": {"instruments.wet_bulb"},
    "outdoor_dry_bulb": {"instruments.wet_bulb", "reset.active", "load.peak", "load.weather"},
    "decoupler_flow": {"load.decoupler"},
    "chw_supply_setpoint": {
        "reset.active", "lift.setpoint", "lift.floor", "lift.release", "recovery.rate",
        "recovery.duration", "recovery.supply", "recovery.stable", "running.tower_setpoint",
        "running.overcooling", "running.supply", "lift.trips"},
    "chw_supply_temp": {
        "lift.floor", "lift.trips", "handover.excursion", "recovery.supply", "recovery.stable",
        "running.supply", "exit.supply", "exit.not_early", *LOAD},
    "chw_return_temp": LOAD,
    "chw_flow": LOAD,
    "cw_supply_temp": {"lift.setpoint", "lift.chiller_on", "running.overcooling",
                       "running.tower_tracking", "cold.condenser_water", "cold.fans"},
    "cw_supply_setpoint": {"running.tower_setpoint", "running.tower_tracking"},
    "economizer_command": {"lift.minimum", "lift.setpoint", "lift.floor", "lift.chiller_on",
                           "lift.head_pressure", "lift.pull_down"},
    "chiller_{n}_chw_leaving_temp": {"lift.evaporator"},
    "chiller_{n}_cw_leaving_temp": {"lift.minimum", "lift.maximum"},
    "chiller_{n}_alarm": {"lift.chiller_on"},
    "tower_{n}_fan_running": {"running.fan_cycling", "exit.equipment"},
    "tower_{n}_fan_speed": {"running.overcooling", "running.tower_tracking", "exit.equipment",
                            "cold.fans"},
    "hx_chw_entering_temp": EXCHANGER, "hx_chw_leaving_temp": EXCHANGER,
    "hx_cw_entering_temp": EXCHANGER | {"cold.exchanger"}, "hx_cw_leaving_temp": EXCHANGER,
    "hx_chw_flow": EXCHANGER, "hx_cw_flow": EXCHANGER,
}
# Every other point that a check uses, and what stands in for it.
REPLACED = {
    "chw_reset_setpoint": "the active setpoint as it was before the request",
    "economizer_active": "the command",
    "chiller_{n}_running": "its power",
    "chiller_{n}_power": "its status; in the plant's power, the plant's own meter",
    "chiller_{n}_amps": "its status",
    "chiller_{n}_evaporator_pressure": "nothing: the leaving water alone is judged",
    "chiller_{n}_cw_entering_temp": "the sump's water",
    "cw_flow": "nothing: that side's flow is not judged",
    "hx_valve": "the exchanger's flow",
    "space_humidity": "nothing: no space is critical where the plan states none",
    "plant_power": "the sum of its parts",
    "tower_fan_power": "the plant's own meter",
    "chw_pump_power": "the plant's own meter",
    "cw_pump_power": "the plant's own meter",
}
# The points of each of several exchangers and sumps are in tests/workbook/test_big_plant.py.
# A chiller's own flows and a basin's heater, which neither plant trends, are in
# test_chiller_envelope.py and test_cold.py; what a chiller draws, of which neither plan states the
# rated value, in test_loading.py.
ENABLE = {"enable.condition", "enable.dwell", "enable.missed"}
RESET = {"handover.excursion", "exit.supply", "exit.not_early", "lift.chiller_on"}
POWER = {"recovery.demand", *COMPARED}
# Two points that stand in for each other, and what cannot do without both.
TOGETHER: dict[tuple[str, str], set[str]] = {
    ("outdoor_wet_bulb", "outdoor_humidity"): {*ENABLE, "exit.comparative"},
    ("outdoor_wet_bulb", "outdoor_dry_bulb"): {*ENABLE, "exit.comparative"},
    ("chw_reset_setpoint", "chw_supply_setpoint"): {*ENABLE, *RESET, "load.reset_holders"},
    ("plant_power", "tower_fan_power"): POWER,
    ("plant_power", "chiller_1_power"): POWER,
}


@cache
def case(plant: str) -> FunctionalTest:
    """Two plants of quite different origin; the simulated one trends every point."""
    # What abort conditions need is the plan's choice; tests/procedure/test_abort_and_overrides.py.
    if plant == "drawn":
        return drawn.case(aborts=())
    simulated = Run("", SOUND.name).case()
    # Its own limit of four is above the two cells installed, and so tests nothing.
    return replace(simulated, plant=replace(simulated.plant, equipment_limit=1))


@cache
def whole(plant: str) -> dict[str, Check]:
    return rows(case(plant))


def rows(of: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(of)}


def without(plant: str, points: Iterable[str]) -> dict[str, Check]:
    """The rows that come out otherwise without these points."""
    full = case(plant)
    left = grid_with(full.grid, full.grid.frame.drop(columns=list(points)))
    found = rows(replace(full, grid=left))
    # Which sensor needs a field reading changes with the one that stands in for another.
    # Neither plan lists an air handler.
    return {id: check for id, check in found.items()
            if id != "instruments.coverage" and not id.startswith("load.air_")
            and check.verdict is not whole(plant)[id].verdict}


# What else loses its verdict, though it does not name the point: lift by the plant's supply, which
# the exchanger warms; a reset taken from before a long pull-down; a pull-down that nobody enabled;
# a space that is critical by its trend alone.
UNDECIDED = {
    "chiller_{n}_chw_leaving_temp": {"lift.minimum"},
    "chw_reset_setpoint": {"handover.excursion"},
    "economizer_command": {"enable.missed"},
    "space_humidity": {"cold.humidity"},
    # Judged at one of the two plants alone: the drawn one has no decoupler and no stated base load,
    # the simulated one never was without load.
    "chw_supply_setpoint": {"load.base", "load.peak", "load.weather"},
    "chw_supply_temp": {"load.base", "load.idle_flow"},
    "chw_return_temp": {"load.base", "load.idle_flow"},
    "chw_flow": {"load.base", "load.idle_flow", "load.decoupler"},
    "outdoor_dry_bulb": {"load.base"},
}
# It draws on most others, and says which of them it lacks.
SUM = "load.cause"


def needed(point: str) -> set[str]:
    return NEEDED.get(family(point), set())


def family(point: str) -> str:
    return re.sub(r"_\d+_", "_{n}_", point)


PLANTS_AND_POINTS = [(plant, point) for plant in ("drawn", "simulated")
                     for point in case(plant).grid.frame]


@pytest.mark.parametrize(("plant", "point"), PLANTS_AND_POINTS)
def test_one_point_away(plant: str, point: str) -> None:
    found = without(plant, [point])
    undecided = {id: found.pop(id) for id in (*UNDECIDED.get(family(point), ()), SUM)
                 if id in found}
    assert set(found) == needed(point)
    assert all(check.verdict in (Verdict.INDETERMINATE, Verdict.NOT_TESTED, Verdict.DEFERRED,
                                 Verdict.NOT_APPLICABLE)
               for check in undecided.values())
    for check in found.values():
        assert check.verdict is Verdict.NOT_TESTED
        assert check.missing == (point,) and point in check.reason


@pytest.mark.parametrize("plant", ["drawn", "simulated"])
def test_tables_name_every_point_that_is_used(plant: str) -> None:
    used = points_used(case(plant))
    known = {*NEEDED, *REPLACED}
    assert {family(p) for points in used.values() for p in points} <= known
    for point in case(plant).grid.frame:
        declared = {id for id, points in used.items() if point in points}
        assert needed(point) <= declared
        if family(point) not in known:
            assert not declared, point
    if plant == "simulated":
        assert known == {family(p) for points in used.values() for p in points}


@pytest.mark.parametrize("pair", TOGETHER, ids=" and ".join)
@pytest.mark.parametrize("plant", ["drawn", "simulated"])
def test_two_that_stand_in_for_each_other(plant: str, pair: tuple[str, str]) -> None:
    found = without(plant, pair)
    found.pop(SUM, None)
    alone = needed(pair[0]) | needed(pair[1])
    for id in UNDECIDED.get(pair[1], ()):
        found.pop(id, None)
    assert set(found) == TOGETHER[pair] | alone
    assert all(check.verdict is Verdict.NOT_TESTED and set(check.missing) & set(pair)
               for check in found.values())


@pytest.mark.parametrize("status", [
    ["economizer_command", "economizer_active"],
    ["chiller_1_running", "chiller_1_power", "chiller_1_amps"]])
def test_without_any_status_nothing_about_changeovers_is_tested(status: list[str]) -> None:
    found = without("simulated", status)
    free = {"instruments.calibration", "instruments.agreement", "instruments.wet_bulb",
            "instruments.coverage", "reset.active", "load.delta_t", "lift.flow", "cold.fans",
            "cold.exchanger", "cold.cell_flow", "cold.basin", "load.peak", "load.weather",
            "load.base", "load.decoupler", "load.idle_flow", "load.pressure_drop", "load.valves",
            "load.heating", "load.air_economizer", "load.air_damper", "load.air_valve",
            "load.reset_holders", "lift.loading", "lift.current_limit"}
    # Chillers start and stop whether or not an economizer is there.
    free |= {"lift.starts", "lift.maximum"} if "chiller_1_running" not in status else set()
    # The simulated plants have no plan, and so no abort conditions.
    assert set(found) == set(whole("simulated")) - free - {"abort.conditions"}


def test_exit_without_a_visible_reason_fails_only_where_every_reason_can_be_seen() -> None:
    table = drawn.unasked_exit()
    assert rows(drawn.case(table))["exit.not_early"].verdict is Verdict.FAIL
    for point in ("tower_1_fan_speed", "chw_flow"):
        check = rows(drawn.case(table.drop(columns=point)))["exit.not_early"]
        assert check.verdict is Verdict.INDETERMINATE
        assert ("the equipment that ran is not trended" if "fan" in point else point
                ) in check.reason
