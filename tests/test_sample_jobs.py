"""The two committed sample jobs: verdicts, and the minutes their README states.

The generator's physics is its own, so these minutes come from outside the package.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pandas as pd
import pytest
from grids import grid_with

from fptlib.job.folder import Job
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict

SAMPLES = Path(__file__).resolve().parents[1] / "sample_trends"
MUST_FAIL = {
    "reset.active", "enable.condition", "enable.dwell", "enable.missed", "lift.minimum",
    "lift.setpoint", "lift.chiller_on", "recovery.rate", "recovery.duration", "recovery.demand",
    "exit.supply", "running.supply", "abort.conditions",
}


def stated(sample: str) -> list[list[str]]:
    """The table of changeovers in the samples' README."""
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    table = text.split(f"<!-- changeovers: {sample} -->")[1].split("<!-- end -->")[0]
    rows = [line.split("|")[1:-1] for line in table.strip().splitlines()[2:]]
    return [[cell.strip() for cell in row] for row in rows]


@pytest.fixture(scope="module")
def sound() -> FunctionalTest:
    return assemble(Job(SAMPLES / "sound"))


@pytest.fixture(scope="module")
def before() -> FunctionalTest:
    return assemble(Job(SAMPLES / "before"))


def checks(case: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(case)}


def shown(case: FunctionalTest, row: int | None) -> str:
    return "" if row is None else f"{case.time(row):%Y-%m-%d %H:%M}"


@pytest.mark.parametrize("sample", ["sound", "before"])
def test_changeovers_are_those_of_the_readme(
    sample: str, request: pytest.FixtureRequest
) -> None:
    case = request.getfixturevalue(sample)
    table = stated(sample)
    assert len(case.changeovers) == len(table)
    for changeover, row in zip(case.changeovers, table, strict=True):
        assert [shown(case, changeover.enabled), shown(case, changeover.transition)] == [
            cell if cell[:2] == "20" else "" for cell in row[1:3]]
        assert shown(case, changeover.exit_row) == (row[4] if row[4][:2] == "20" else "")


def test_sound_plant_passes_every_check(sound: FunctionalTest) -> None:
    other = {id: str(check.verdict) for id, check in checks(sound).items()
             if check.verdict is not Verdict.PASS}
    # Its sequence keeps lift by a temporary setpoint.
    # Its equipment limit of four counts more than the two cells installed.
    # Its plan states no least flows, no lowest entering water, no most lift, no loading ramp or
    # current limit, no basin heater, no air handler.
    # Pressure drops, valves' positions and heating are not trended, nor is there a light load.
    assert other == {"lift.head_pressure": "not applicable", "exit.equipment": "not tested",
                     "lift.entering_water": "not applicable", "lift.flow": "not tested",
                     "lift.maximum": "not applicable", "lift.loading": "not tested",
                     "lift.current_limit": "not tested",
                     "cold.cell_flow": "not tested", "cold.basin": "not applicable",
                     **dict.fromkeys(("load.pressure_drop", "load.idle_flow", "load.valves",
                                      "load.heating"), "not tested"),
                     **dict.fromkeys(("load.air_economizer", "load.air_damper", "load.air_valve",
                                      "load.reset_holders"),
                                     "not applicable")}


def test_limits_were_frozen_before_the_trends(
    sound: FunctionalTest, before: FunctionalTest
) -> None:
    for sample, case in (("sound", sound), ("before", before)):
        assert Job(SAMPLES / sample).get("frozen.limits") == case.limits.digest()


def test_plant_before_correction_fails_where_it_must(before: FunctionalTest) -> None:
    found = checks(before)
    assert {id for id, check in found.items() if check.verdict is Verdict.FAIL} == MUST_FAIL
    assert all(found[id].adjust for id in MUST_FAIL)


def test_failures_point_at_their_minute(before: FunctionalTest) -> None:
    found = checks(before)
    handovers = {before.time(run.first) for run in before.runs}
    for check in ("recovery.rate", "recovery.duration"):
        moments = {e.start for e in found[check].events if e.verdict is Verdict.FAIL}
        # The setpoint steps up in the minute of the handover, from the row before it.
        assert all(any(abs(m - h) <= pd.Timedelta(minutes=1) for h in handovers)
                   for m in moments)
        assert len(moments) == len(handovers)
    trips = [row for row in stated("before") if "trip" in row[5]]
    alarms = [e for e in found["lift.chiller_on"].events if "alarm" in e.text]
    assert [e.name for e in alarms] == [f"changeover {row[0]}" for row in trips]
    for alarm, row in zip(alarms, trips, strict=True):
        assert f"{alarm.start:%H:%M}" in row[5]
    late = [e for e in found["exit.supply"].events if e.verdict is Verdict.FAIL]
    assert len(late) == len(before.runs)
    assert all(e.measured > 60.0 for e in late)


# What is not tested without a point; nothing where others stand in for it.
RESTS_ON = {
    "chw_supply_setpoint": {
        "reset.active", "lift.setpoint", "lift.floor", "lift.release", "recovery.rate",
        "recovery.duration", "recovery.supply", "recovery.stable", "running.tower_setpoint",
        "running.overcooling", "running.supply", "lift.trips", "load.cause"},
    "economizer_command": {"lift.minimum", "lift.setpoint", "lift.floor", "lift.chiller_on",
                           "lift.head_pressure", "lift.pull_down"},
    "hx_cw_flow": {"instruments.heat_balance", "running.exchanger", "load.fouling",
                   "load.cause"},
    "outdoor_humidity": {"instruments.wet_bulb"},
    "plant_power": set(),
    "chiller_2_running": set(),
}


@pytest.mark.parametrize("point", RESTS_ON)
def test_without_any_one_point_only_its_checks_change(sound: FunctionalTest, point: str) -> None:
    whole = checks(sound)
    trends = grid_with(sound.grid, sound.grid.frame.drop(columns=point))
    left = checks(dataclasses.replace(sound, grid=trends))
    changed = [check for id, check in left.items() if check.verdict is not whole[id].verdict]
    if point == "economizer_command":
        # A pull-down that nobody enabled is time that the plant may have missed.
        missed = next(check for check in changed if check.id == "enable.missed")
        assert missed.verdict is Verdict.INDETERMINATE
        changed.remove(missed)
    assert {check.id for check in changed} == RESTS_ON[point]
    for check in changed:
        assert check.verdict is Verdict.NOT_TESTED, (check.id, check.reason)
        # load.cause rests on other checks, and its reason says what those lack.
        assert point in (check.missing if check.id != "load.cause" else check.reason), check.id
