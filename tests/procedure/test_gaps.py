"""A gap never proves anything: what fails when it is seen does not pass when it is not, and a
sound plant does not fail for a missing row. On the drawn plant, known to the minute."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from drawn_plant import PLANT, at, case, frame, still_air, unasked_exit

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict
from fptlib.trends.grid import AlarmText

FANS = [f"tower_{n}_fan_{what}" for n in (1, 2) for what in ("running", "speed")]


def found(table: pd.DataFrame, **changes: object) -> dict[str, Check]:
    return {check.id: check for check in all_checks(case(table, **changes))}


def between(table: pd.DataFrame, start: str, end: str) -> pd.Series:
    return (table.index >= at(start)) & (table.index < at(end))


HIDDEN = [
    ("lift.minimum", ["chiller_1_cw_leaving_temp"], 46.0, "03:00", "03:20"),
    ("lift.floor", ["chw_supply_temp"], 35.0, "03:00", "03:20"),
    ("lift.setpoint", ["chw_supply_setpoint"], 50.0, "03:15", "03:24"),
    ("lift.chiller_on", ["chiller_1_alarm"], 1.0, "03:00", "03:20"),
    ("recovery.rate", ["chw_supply_setpoint"], 50.0, "03:40", "04:35"),
    ("recovery.stable", ["chw_supply_temp"], 54.0, "04:40", "05:20"),
    ("recovery.demand", ["plant_power"], 900.0, "03:00", "03:15"),
    ("running.supply", ["chw_supply_temp"], 55.0, "15:00", "19:00"),
    ("exit.supply", ["chw_supply_temp"], 55.0, "15:00", "19:00"),
    ("exit.equipment", FANS, 100.0, "15:00", "19:00"),
]


@pytest.mark.parametrize(("check", "points", "value", "start", "end"), HIDDEN,
                         ids=[row[0] for row in HIDDEN])
def test_what_fails_when_seen_is_not_tested_in_a_gap(
    check: str, points: list[str], value: float, start: str, end: str
) -> None:
    plant = dataclasses.replace(PLANT, equipment_limit=1)
    seen, hidden = frame(), frame()
    rows = between(seen, start, end)
    seen.loc[rows, points], hidden.loc[rows, points] = value, np.nan
    if check == "exit.equipment":
        seen.loc[rows, [name for name in points if name.endswith("running")]] = 1.0
    assert found(seen, plant=plant)[check].verdict is Verdict.FAIL
    assert found(hidden, plant=plant)[check].verdict is Verdict.NOT_TESTED


@pytest.mark.parametrize("check", ["lift.minimum", "lift.setpoint", "lift.floor"])
def test_a_pull_down_that_a_gap_cuts_short_proves_no_lift(check: str) -> None:
    table = frame()
    table.loc[between(table, "03:15", "03:25"), "chiller_1_cw_leaving_temp"] = 40.0
    table.loc[between(table, "03:15", "03:25"), "chw_supply_setpoint"] = 50.0
    table.loc[between(table, "03:15", "03:25"), "chw_supply_temp"] = 35.0
    assert found(table)[check].verdict is Verdict.FAIL
    table.loc[between(table, "03:10", "04:00")] = np.nan
    cut = found(table)[check]
    assert cut.verdict is Verdict.NOT_TESTED
    assert "no chiller was seen to stop" in cut.reason


def test_one_unknown_row_every_quarter_hour_hides_a_warm_supply() -> None:
    table = frame()
    warm = between(table, "15:00", "19:00")
    table.loc[warm, "chw_supply_temp"] = 55.0
    table.loc[warm & (table.index.minute % 15 != 0), "chw_supply_temp"] = np.nan
    assert found(table)["exit.supply"].verdict is Verdict.NOT_TESTED


def test_single_unknown_rows_hide_a_level_as_one_long_gap_does() -> None:
    table = frame()
    cold = between(table, "03:00", "03:20")
    table.loc[cold, "chw_supply_temp"] = 35.0
    table.loc[cold & (table.index.minute % 3 == 0), "chw_supply_temp"] = np.nan
    assert found(table)["lift.floor"].verdict is Verdict.NOT_TESTED
    sound = frame()
    sound.loc[cold & (table.index.minute % 3 == 0), "chw_supply_temp"] = np.nan
    assert found(sound)["lift.floor"].verdict is Verdict.PASS


def test_starts_hidden_between_known_rows() -> None:
    table = frame()
    table["tower_1_fan_running"] = (table.index.minute % 4 < 2).astype(float)
    assert found(table)["running.fan_cycling"].verdict is Verdict.FAIL
    table.loc[table.index.minute % 4 == 1, "tower_1_fan_running"] = np.nan
    table.loc[table.index.minute % 4 == 3, "tower_1_fan_running"] = np.nan
    assert found(table)["running.fan_cycling"].verdict is Verdict.NOT_TESTED


def test_overcooling_needs_the_speed_of_every_fan() -> None:
    table = frame()
    run = table["economizer_active"] == 1.0
    table.loc[run, "cw_supply_temp"] -= 6.0
    table.loc[run, "tower_1_fan_speed"], table.loc[run, "tower_2_fan_speed"] = 20.0, 100.0
    assert found(table)["running.overcooling"].verdict is Verdict.FAIL
    table.loc[run, "tower_2_fan_speed"] = np.nan
    assert found(table)["running.overcooling"].verdict is Verdict.NOT_TESTED


def test_missed_hours_in_a_gap_are_named() -> None:
    table = frame()
    table.loc[at("06:00", 1):at("14:00", 1), "outdoor_wet_bulb"] = np.nan
    [gap] = [event for event in found(table)["enable.missed"].events
             if event.verdict is Verdict.NOT_TESTED]
    assert gap.start == at("06:00", 1)
    assert gap.text == "a gap hides up to 481 min"


def test_a_small_part_compared_proves_nothing_of_a_dearer_rest() -> None:
    table = frame()
    table.loc[between(table, "05:00", "19:00"), "plant_power"] = 900.0
    comparative = found(table)["exit.comparative"]
    assert comparative.verdict is Verdict.NOT_TESTED
    assert "3 % of the run could be compared" in comparative.reason


def test_nothing_to_compare_with_leaves_an_early_exit_open() -> None:
    table = unasked_exit(frame()).loc[at("02:00"):at("20:40")].copy()
    early = found(table)["exit.not_early"]
    assert early.verdict is Verdict.INDETERMINATE
    assert "it was not seen that chillers draw more" in early.reason


def test_a_gap_before_the_exit_leaves_its_reason_open() -> None:
    table = frame()
    table.loc[at("20:00"):at("20:15"), "chw_supply_temp"] = np.nan
    assert found(table)["exit.not_early"].verdict is Verdict.NOT_TESTED


def test_fans_that_were_not_seen_leave_an_early_exit_open() -> None:
    plant = dataclasses.replace(PLANT, equipment_limit=1)
    table = unasked_exit()
    assert found(table, plant=plant)["exit.not_early"].verdict is Verdict.FAIL
    table.loc[at("19:30"):at("20:15"), FANS] = np.nan
    early = found(table, plant=plant)["exit.not_early"]
    assert early.verdict is Verdict.NOT_TESTED
    assert "do not show whether the equipment count was exceeded" in early.reason


def test_a_gap_over_the_return_accuses_nobody() -> None:
    table = frame()
    table.loc[between(table, "03:26", "04:38"), "chw_supply_setpoint"] = np.nan
    checks = found(table)
    for name in ("lift.release", "recovery.duration", "recovery.rate"):
        assert checks[name].verdict is Verdict.NOT_TESTED, name


def test_a_rise_too_steep_even_over_a_gap_fails() -> None:
    table = frame()
    table.loc[between(table, "03:40", "04:35"), "chw_supply_setpoint"] = 50.0
    table.loc[between(table, "03:34", "03:54"), "chw_supply_setpoint"] = np.nan
    assert found(table)["recovery.rate"].verdict is Verdict.FAIL


@pytest.mark.parametrize("point", ["economizer_command", "chiller_1_running"])
@pytest.mark.parametrize("clock", ["02:45", "03:10", "03:24", "03:25", "12:00", "20:16"])
def test_a_sound_plant_stays_sound_with_one_unknown_status_row(point: str, clock: str) -> None:
    table = frame()
    table.loc[at(clock), point] = np.nan
    verdicts = {name: check.verdict for name, check in found(table).items()}
    assert Verdict.FAIL not in verdicts.values()
    assert verdicts["enable.stay"] is Verdict.PASS


def test_one_missing_line_hides_no_late_exit() -> None:
    table = frame()
    table.loc[between(table, "15:00", "19:00"), "chw_supply_temp"] = 55.0
    table.loc[at("14:00"), "economizer_command"] = np.nan
    assert found(table)["exit.supply"].verdict is Verdict.FAIL


@pytest.mark.parametrize(("start", "end"), [("12:00", "12:01"), ("03:00", "03:01")])
@pytest.mark.parametrize("point", ["economizer_command", "chiller_1_running"])
def test_one_flickering_row_decides_nothing(point: str, start: str, end: str) -> None:
    table = frame()
    rows = between(table, start, end)
    table.loc[rows, point] = 1.0 - table.loc[rows, point]
    assert Verdict.FAIL not in {check.verdict for check in found(table).values()}


def test_a_chiller_that_came_back_in_a_status_gap_is_seen_by_its_power() -> None:
    table = frame()
    back = between(table, "04:00", "05:30")
    table.loc[back, "chiller_1_running"], table.loc[back, "chiller_1_power"] = np.nan, 180.0
    assert found(table)["handover.fallback"].verdict is Verdict.FAIL
    unproven = table.drop(columns=["chiller_1_power"])
    assert found(unproven)["handover.fallback"].verdict is Verdict.NOT_TESTED
    assert found(unproven)["enable.stay"].verdict is Verdict.NOT_TESTED


def test_a_plant_that_stood_gave_nothing_up() -> None:
    table = frame()
    off = between(table, "02:00", "03:25")
    table.loc[off, ["chiller_1_running", "chiller_1_power"]] = 0.0
    checks = found(table)
    for name in ("lift.chiller_on", "exit.supply", "running.supply"):
        assert checks[name].verdict is Verdict.NOT_TESTED, name
        assert "no chiller was seen to stop" in checks[name].reason


def test_a_run_that_began_before_the_trends_is_named() -> None:
    checks = found(frame().loc[at("12:00"):])
    assert checks["exit.supply"].verdict is Verdict.NOT_TESTED
    assert "began before the trends" in checks["exit.supply"].reason


def test_an_alarm_that_stood_on_an_idle_chiller_is_not_of_this_changeover() -> None:
    table = frame()
    table["chiller_2_alarm"] = 1.0
    assert found(table)["lift.chiller_on"].verdict is Verdict.PASS
    table["chiller_1_alarm"] = 1.0
    assert found(table)["lift.chiller_on"].verdict is Verdict.FAIL


def test_an_alarm_has_the_text_of_its_own_row() -> None:
    table = frame()
    table.loc[at("03:10"):at("03:15"), "chiller_1_alarm"] = 1.0

    def reason(seconds: float) -> str:
        said = AlarmText(at("03:10") + pd.Timedelta(seconds=seconds), "chiller_1_alarm", "LOW LIFT")
        drawn: FunctionalTest = case(table)
        trends = dataclasses.replace(drawn.grid, alarms=(said,))
        checks = {c.id: c for c in all_checks(dataclasses.replace(drawn, grid=trends))}
        return checks["lift.chiller_on"].reason

    assert "LOW LIFT" in reason(-30.0) and "LOW LIFT" in reason(59.0)
    assert "LOW LIFT" not in reason(60.0) and "LOW LIFT" not in reason(5 * 86400.0)


def test_a_lift_without_its_pressures_leaves_the_other_chillers_untested() -> None:
    first, second = PLANT.chillers
    plant = dataclasses.replace(PLANT, chillers=(first, dataclasses.replace(
        second, minimum_water_lift=None, minimum_pressure_lift=20.0)))
    lift = found(frame(), plant=plant)["lift.minimum"]
    assert lift.verdict is Verdict.NOT_TESTED
    assert "chiller_2_condenser_pressure" in lift.reason


def test_a_demand_peak_with_one_unknown_minute_is_still_a_peak() -> None:
    table = frame()
    table.loc[between(table, "03:00", "03:15"), "plant_power"] = 900.0
    table.loc[at("03:07"), "plant_power"] = np.nan
    assert found(table)["recovery.demand"].verdict is Verdict.FAIL


CUT_OFF = [
    ("exit.supply", {"chw_supply_temp": 53.0}),
    ("exit.equipment", dict(zip(FANS, [1.0, 99.0] * 2, strict=True))),
    ("running.supply", {"chw_supply_temp": 53.0}),
    ("running.tower_setpoint", {"cw_supply_setpoint": 40.0}),
    ("running.overcooling", {"cw_supply_temp": 40.0}),
    ("running.fan_cycling", {"tower_1_fan_running": 0.0}),
]


@pytest.mark.parametrize(("check", "values"), CUT_OFF, ids=[row[0] for row in CUT_OFF])
def test_a_run_that_a_gap_cuts_off_proves_nothing_of_its_rest(
    check: str, values: dict[str, float]
) -> None:
    plant = dataclasses.replace(PLANT, equipment_limit=1)
    seen = frame()
    rest = between(seen, "08:00", "20:00")
    rows = rest & (seen.index.minute % 4 < 2) if check == "running.fan_cycling" else rest
    seen.loc[rows, list(values)] = list(values.values())
    assert found(seen, plant=plant)[check].verdict is Verdict.FAIL
    seen.loc[between(seen, "08:00", "21:00")] = np.nan
    cut = found(seen, plant=plant)[check]
    assert cut.verdict is Verdict.NOT_TESTED
    assert "a gap hides how the run went on" in cut.reason


def test_a_command_unknown_before_the_exit_leaves_its_reason_and_its_stay_open() -> None:
    table = frame()
    table.loc[between(table, "20:05", "20:16"), "economizer_command"] = np.nan
    assert found(table)["exit.not_early"].verdict is Verdict.NOT_TESTED
    short = frame()
    rows = between(short, "04:20", "20:16")
    short.loc[rows, ["economizer_command", "economizer_active"]] = 0.0
    short.loc[rows, "chiller_1_running"], short.loc[rows, "chiller_1_power"] = 1.0, 180.0
    assert found(short)["handover.fallback"].verdict is Verdict.FAIL
    short.loc[between(short, "04:00", "04:20"), "economizer_command"] = np.nan
    for name in ("enable.stay", "handover.fallback"):
        assert found(short)[name].verdict is Verdict.NOT_TESTED, name


def test_a_gap_in_every_dear_quarter_hour_hides_none_of_them() -> None:
    table = frame()
    still_air(table, slice(at("12:00"), None), 44.0)
    dear = between(table, "14:00", "15:30")
    table.loc[dear, "plant_power"] = 900.0
    assert found(table)["exit.comparative"].verdict is Verdict.FAIL
    table.loc[dear & (table.index.minute % 15 == 3), "chw_flow"] = np.nan
    assert found(table)["exit.comparative"].verdict is Verdict.NOT_TESTED


def test_single_unknown_rows_hide_no_missed_hours() -> None:
    table = frame()
    cold = (table.index >= at("01:00", 1)) & (table.index < at("07:00", 1))
    table.loc[cold, "outdoor_wet_bulb"] = 30.0
    assert found(table)["enable.missed"].verdict is Verdict.FAIL
    table.loc[cold & (table.index.minute % 10 == 0), "outdoor_wet_bulb"] = np.nan
    assert found(table)["enable.missed"].verdict is Verdict.NOT_TESTED


def test_a_gap_in_which_the_setpoint_came_back_makes_no_return_too_long() -> None:
    table = frame()
    table.loc[between(table, "04:20", "06:00"), "chw_supply_setpoint"] = np.nan
    assert found(table)["recovery.duration"].verdict is Verdict.INDETERMINATE
    table.loc[between(table, "06:00", "20:16"), "chw_supply_setpoint"] = np.nan
    assert found(table)["recovery.duration"].verdict is Verdict.NOT_TESTED
    table = frame()
    table.loc[between(table, "03:40", "06:00"), "chw_supply_setpoint"] = 42.0
    table.loc[between(table, "03:50", "05:50"), "chw_supply_setpoint"] = np.nan
    assert found(table)["recovery.duration"].verdict is Verdict.FAIL


@pytest.mark.parametrize(("check", "values"), [
    ("recovery.rate", {"chw_supply_setpoint": 50.0}),
    ("recovery.stable", {"chw_supply_temp": 54.0}),
    ("handover.excursion", {"chw_supply_temp": 54.0})])
def test_a_recovery_that_a_gap_cuts_off_is_not_proven_calm(
    check: str, values: dict[str, float]
) -> None:
    table = frame()
    table.loc[between(table, "04:00", "05:00"), list(values)] = list(values.values())
    assert found(table)[check].verdict is Verdict.FAIL
    table.loc[between(table, "04:00", "21:00")] = np.nan
    assert found(table)[check].verdict is Verdict.NOT_TESTED


def test_the_ua_is_worked_out_where_all_of_it_is_known() -> None:
    table = frame()
    warm = between(table, "13:00", "20:00")
    for name in ("hx_chw_entering_temp", "hx_chw_leaving_temp", "chw_return_temp",
                 "hx_cw_entering_temp", "hx_cw_leaving_temp"):
        table.loc[warm, name] += 5.0
    whole = found(table)["running.exchanger"]
    table.loc[between(table, "05:00", "13:00"), "hx_chw_leaving_temp"] = np.nan
    gaps = found(table)["running.exchanger"]
    assert whole.measured is not None and gaps.measured is not None
    assert gaps.measured == pytest.approx(whole.measured, rel=0.01)


def test_a_pull_down_behind_a_gap_is_no_ordinary_reset() -> None:
    table = frame()
    table.loc[between(table, "02:40", "03:20"), "economizer_command"] = np.nan
    drawn = case(table)
    assert drawn.requests == []
    row = drawn.grid.row
    assert drawn.changing[row(at("02:50")) : row(at("03:24")) + 1].all()
    assert not drawn.changing[row(at("02:30"))] and not drawn.changing[row(at("12:00"))]


def test_a_stuck_wet_bulb_stays_stuck_with_rows_missing() -> None:
    table = frame()
    table.loc[between(table, "00:00", "14:00"), "outdoor_wet_bulb"] = 40.0
    table.loc[table.index.minute % 20 == 7, "outdoor_wet_bulb"] = np.nan
    wet_bulb = found(table)["instruments.wet_bulb"]
    assert wet_bulb.verdict is Verdict.FAIL
    assert "showed 40.0 °F for 14.0 h" in wet_bulb.reason


def test_a_wet_bulb_that_comes_back_from_a_gap_the_same_was_not_stuck() -> None:
    table = frame()
    table.loc[between(table, "19:00", "36:00"), "outdoor_wet_bulb"] = np.nan
    assert found(table)["instruments.wet_bulb"].verdict is Verdict.PASS
    table.loc[between(table, "04:00", "17:00"), "outdoor_wet_bulb"] = np.nan
    assert found(table)["instruments.wet_bulb"].verdict is Verdict.PASS


def test_a_gap_after_a_short_stillness_does_not_lengthen_it() -> None:
    table = frame()
    table.loc[between(table, "00:00", "02:00"), "outdoor_wet_bulb"] = 40.0
    table.loc[between(table, "02:00", "12:00"), "outdoor_wet_bulb"] = np.nan
    assert found(table)["instruments.wet_bulb"].verdict is Verdict.PASS
