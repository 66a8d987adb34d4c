"""Every check on a plant drawn by hand: quiet when sound, loud at the bent line.

What must come out is known by construction; the limits are those of the standard
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, RECOVERED, RELEASE, REQUEST, WARM, at

from fptlib.job.schema import Instrument, Reading, Sensor, Sensors
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import CHECKS, all_checks
from fptlib.procedure.verdict import Check, Verdict

MINUTE = pd.Timedelta(minutes=1)
Bend = Callable[[pd.DataFrame], None]


def rows(case: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(case)}


def readings(value: float = 50.0, due: str = "2026-12-01") -> dict[str, Any]:
    zone = drawn.ZONE
    instrument = Instrument(
        "T1", serial="0001", accuracy=0.1, accuracy_unit="degF",
        calibrated=pd.Timestamp("2025-12-01", tz=zone), due=pd.Timestamp(due, tz=zone))
    return {
        "readings": [Reading(at("10:00"), "chw_supply_temp", value, "T1", "technician")],
        "instruments": {"T1": instrument},
    }


def test_sound_plant_passes_every_check() -> None:
    found = rows(drawn.case(**readings()))
    # What two days cannot show of the load stands in test_exchanger_or_load.py.
    other = {id: check.verdict for id, check in found.items()
             if check.verdict is not Verdict.PASS and check.step != "load"}
    # The drawn plant has one field reading, and its chillers hardly saw the weather of the run; its
    # plan states no least flows, lowest entering water, most lift, loading ramp, current limit,
    # basin heater or critical space.
    assert other == {"lift.head_pressure": Verdict.NOT_APPLICABLE,
                     "lift.entering_water": Verdict.NOT_APPLICABLE,
                     "lift.maximum": Verdict.NOT_APPLICABLE,
                     **dict.fromkeys(("lift.flow", "lift.loading", "lift.current_limit",
                                      "cold.cell_flow"), Verdict.NOT_TESTED),
                     "cold.basin": Verdict.NOT_APPLICABLE,
                     "cold.humidity": Verdict.NOT_APPLICABLE,
                     "instruments.coverage": Verdict.INDETERMINATE,
                     "exit.comparative": Verdict.DEFERRED}
    assert list(found) == list(CHECKS)


@pytest.mark.parametrize("minutes", [5, 15])
def test_coarser_rows_never_fail_the_sound_plant(minutes: int) -> None:
    found = rows(drawn.case(minutes=minutes))
    assert not [id for id, check in found.items() if check.verdict is Verdict.FAIL]


def _flat(f: pd.DataFrame) -> None:
    f["chw_supply_setpoint"] = f["chw_reset_setpoint"] = 45.0


def _late_wet_bulb(f: pd.DataFrame) -> None:
    f.loc[at("02:35"), "outdoor_wet_bulb"] = 40.0


def _too_soon(f: pd.DataFrame) -> None:
    f.loc[:, "outdoor_wet_bulb"] += 3.0


def _short_run(f: pd.DataFrame) -> None:
    f.loc[at("04:25") : at("04:40"), "chiller_1_running"] = 1.0


def _no_rest(f: pd.DataFrame) -> None:
    again = slice(EXIT + 10 * MINUTE, EXIT + 60 * MINUTE)
    f.loc[again, "economizer_command"] = 1.0


def _missed(f: pd.DataFrame) -> None:
    f.loc[at("04:00", 1) : at("10:00", 1), "outdoor_wet_bulb"] = 30.0


def _no_protection(f: pd.DataFrame) -> None:
    down = slice(REQUEST, HANDOVER - MINUTE)
    f.loc[down, "chw_supply_setpoint"] = f.loc[down, "chw_supply_temp"] = 50.0
    f.loc[down, "chiller_1_chw_leaving_temp"] = 50.0


def _below_floor(f: pd.DataFrame) -> None:
    f.loc[at("03:15") : at("03:22"), "chw_supply_setpoint"] = 36.0


def _trip(f: pd.DataFrame) -> None:
    f.loc[at("03:10"), "chiller_1_alarm"] = 1.0


def _early_stop(f: pd.DataFrame) -> None:
    f.loc[at("03:05") :, "chiller_1_running"] = 0.0
    f.loc[EXIT:, "chiller_1_running"] = 1.0


def _not_released(f: pd.DataFrame) -> None:
    f.loc[HANDOVER : EXIT - MINUTE, "chw_supply_setpoint"] = 40.0


def _step_back(f: pd.DataFrame) -> None:
    f.loc[at("03:28") : EXIT - MINUTE, "chw_supply_setpoint"] = 50.0


def _slow_back(f: pd.DataFrame) -> None:
    run = f.index[(f.index > RELEASE) & (f.index < EXIT)]
    ramp = 40.0 + 0.06 * pd.Series((run - RELEASE) / MINUTE, index=run)
    f.loc[run, "chw_supply_setpoint"] = ramp.clip(upper=50.0)


def _supply_runs_away(f: pd.DataFrame) -> None:
    f.loc[at("03:40") : at("04:05"), "chw_supply_temp"] = 54.0


def _swings(f: pd.DataFrame) -> None:
    for start in range(0, 60, 20):
        moment = RECOVERED + start * MINUTE
        f.loc[moment : moment + 10 * MINUTE, "chw_supply_temp"] -= 3.0


def _peak(f: pd.DataFrame) -> None:
    f.loc[at("03:00") : at("03:29"), "plant_power"] = 600.0


def _towers_chase(f: pd.DataFrame) -> None:
    f.loc[HANDOVER:EXIT, "cw_supply_setpoint"] = f["outdoor_wet_bulb"] + 5.0


def _overcooled(f: pd.DataFrame) -> None:
    f.loc[RECOVERED:WARM, "cw_supply_temp"] = 43.0


def _cycling(f: pd.DataFrame) -> None:
    f.loc[at("08:00") : at("10:00") : 6, "tower_1_fan_running"] = 0.0


def _supply_off(f: pd.DataFrame) -> None:
    f.loc[RECOVERED:WARM, "chw_supply_temp"] += 2.5


def _fouled(f: pd.DataFrame) -> None:
    f.loc[HANDOVER:EXIT, ["hx_cw_entering_temp", "hx_cw_leaving_temp"]] -= 5.0


def _late_exit(f: pd.DataFrame) -> None:
    f.loc[at("19:30") : WARM, "chw_supply_temp"] = 52.0


def _many_cells(f: pd.DataFrame) -> None:
    f.loc[at("08:00") : at("09:00"), ["tower_1_fan_speed", "tower_2_fan_speed"]] = 100.0


def _early_exit(f: pd.DataFrame) -> None:
    drawn.unasked_exit(f)


def _costly_run(f: pd.DataFrame) -> None:
    f.loc[RECOVERED + 30 * MINUTE : EXIT - MINUTE, "plant_power"] = 300.0
    drawn.still_air(f, slice(RECOVERED, EXIT), 38.0)


def _stuck(f: pd.DataFrame) -> None:
    f.loc[at("00:00", 0) : at("12:00"), "outdoor_wet_bulb"] = 36.0


def _biased(f: pd.DataFrame) -> None:
    f["outdoor_wet_bulb"] += 3.5


def _flow_off(f: pd.DataFrame) -> None:
    f["hx_cw_flow"] *= 0.7


FAULTS: list[tuple[Bend, str, pd.Timestamp | None]] = [
    (_biased, "instruments.wet_bulb", None),
    (_stuck, "instruments.wet_bulb", at("00:00")),
    (_flow_off, "instruments.heat_balance", HANDOVER),
    (_flat, "reset.active", None),
    (_too_soon, "enable.condition", REQUEST),
    (_late_wet_bulb, "enable.dwell", at("02:36")),
    (_short_run, "enable.stay", HANDOVER),
    (_no_rest, "enable.rest", EXIT),
    (_missed, "enable.missed", at("04:00", 1)),
    (_no_protection, "lift.minimum", None),
    (_no_protection, "lift.setpoint", None),
    (_below_floor, "lift.floor", at("03:15")),
    (_trip, "lift.chiller_on", at("03:10")),
    (_early_stop, "lift.chiller_on", at("03:05")),
    (_not_released, "lift.release", HANDOVER),
    (_supply_runs_away, "handover.excursion", at("03:40")),
    (_short_run, "handover.fallback", at("04:25")),
    (_step_back, "recovery.rate", None),
    (_step_back, "recovery.duration", at("03:27")),
    (_slow_back, "recovery.duration", None),
    (_supply_runs_away, "recovery.stable", at("03:40")),
    (_swings, "recovery.stable", HANDOVER),
    (_peak, "recovery.demand", at("03:00")),
    (_towers_chase, "running.tower_setpoint", None),
    (_overcooled, "running.overcooling", None),
    (_cycling, "running.fan_cycling", at("07:56")),
    (_supply_off, "running.supply", None),
    (_fouled, "running.exchanger", None),
    (_late_exit, "exit.supply", at("19:30")),
    (_early_exit, "exit.not_early", EXIT),
    (_costly_run, "exit.comparative", None),
    (_costly_run, "transition.entering", HANDOVER),
    (_costly_run, "transition.leaving", EXIT),
]


@pytest.mark.parametrize(
    ("bend", "id", "moment"), FAULTS, ids=[f"{id}-{bend.__name__[1:]}" for bend, id, _ in FAULTS])
def test_fault_is_found_at_its_minute(bend: Bend, id: str, moment: pd.Timestamp | None) -> None:
    table = drawn.frame()
    bend(table)
    check = rows(drawn.case(table))[id]
    assert check.verdict is Verdict.FAIL, check.reason
    failed = [event for event in check.events if event.verdict is Verdict.FAIL]
    if moment is not None:
        assert moment in [event.start for event in failed]
    assert check.adjust and check.reason and check.basis is not None


@pytest.mark.parametrize(("running", "verdict", "said"), [
    ({"pump_1_running": 1.0, "pump_2_running": 0.0}, Verdict.FAIL, "more equipment running"),
    ({"pump_1_running": 0.0, "pump_2_running": 0.0}, Verdict.PASS, "at no time"),
    ({"pump_1_running": 1.0}, Verdict.NOT_TESTED, "not trended: pump_2_running"),
])
def test_pumps_count_where_the_limit_counts_them(
    running: dict[str, float], verdict: Verdict, said: str
) -> None:
    table = drawn.frame().assign(**running)
    _many_cells(table)
    plant = replace(drawn.PLANT, equipment_limit=2, pumps=2)
    check = rows(drawn.case(table, plant=plant))["exit.equipment"]
    assert (check.verdict, said in check.reason) == (verdict, True), check.reason


def test_a_pump_in_a_gap_may_be_one_too_many() -> None:
    table = drawn.frame().assign(pump_1_running=0.0)
    _many_cells(table)
    table.loc[at("08:00"):at("09:00"), "pump_1_running"] = float("nan")
    plant = replace(drawn.PLANT, equipment_limit=2, pumps=1)
    check = rows(drawn.case(table, plant=plant))["exit.equipment"]
    assert check.verdict is Verdict.NOT_TESTED
    assert "what the trends do not show may be worse" in check.reason


def test_equipment_beyond_its_count_is_found() -> None:
    table = drawn.frame()
    _many_cells(table)
    small = replace(drawn.PLANT, equipment_limit=1)
    check = rows(drawn.case(table, plant=small))["exit.equipment"]
    assert check.verdict is Verdict.FAIL
    assert check.events[0].start == at("08:00")
    assert check.measured == 61.0


def test_reading_that_disagrees_fails() -> None:
    check = rows(drawn.case(**readings(52.0)))["instruments.agreement"]
    assert check.verdict is Verdict.FAIL
    assert check.measured == pytest.approx(2.0)


@pytest.mark.parametrize("point", ["hx_chw_flow", "hx_cw_leaving_temp"])
def test_sensors_too_coarse_for_a_heat_balance_cannot_decide_it(point: str) -> None:
    check = rows(drawn.case(sensors=Sensors({point: Sensor(500.0, relative="flow" in point)})))[
        "instruments.heat_balance"]
    assert check.verdict is Verdict.NOT_TESTED
    assert "the sensors cannot decide it" in check.reason


@pytest.mark.parametrize("instruments", [
    {}, {"T1": Instrument("T1", serial="0001")}])
@pytest.mark.parametrize("point", ["chw_supply_temp", "chw_flow"])
def test_an_instrument_of_unknown_accuracy_proves_nothing(
    instruments: dict[str, Instrument], point: str
) -> None:
    reading = Reading(at("10:00"), point, 50.0, "T1", "technician")
    check = rows(drawn.case(readings=[reading], instruments=instruments))["instruments.agreement"]
    assert check.verdict is Verdict.NOT_TESTED
    assert "the accuracy of instrument T1 is not stated" in check.reason


@pytest.mark.parametrize(("unit", "verdict", "said"), [
    # 0.3 °F apart, doubt 2 x 0.5/sqrt 3 = 0.58; in kelvin 1.8 times that, beyond the limit of 1.
    ("degF", Verdict.PASS, ""),
    ("degC", Verdict.INDETERMINATE, ""),
    ("K", Verdict.INDETERMINATE, ""),
    ("% of reading", Verdict.PASS, ""),
    ("", Verdict.NOT_TESTED, "the unit of the accuracy of instrument T1 is not stated"),
    ("gpm", Verdict.NOT_TESTED, "is stated in gpm, which says nothing of °F"),
])
def test_an_instruments_accuracy_counts_in_its_own_unit(
    unit: str, verdict: Verdict, said: str
) -> None:
    stated = readings(50.3)
    own = replace(stated["instruments"]["T1"], accuracy=0.5, accuracy_unit=unit)
    stated["instruments"] = {"T1": own}
    check = rows(drawn.case(**stated))["instruments.agreement"]
    assert check.verdict is verdict
    assert said in check.reason


def test_instrument_out_of_date_fails() -> None:
    check = rows(drawn.case(**readings(due="2026-01-01")))["instruments.calibration"]
    assert check.verdict is Verdict.FAIL


@pytest.mark.parametrize(("due", "verdict"), [
    ("2026-01-10", Verdict.PASS), ("2026-01-09", Verdict.FAIL),
])
def test_a_due_date_is_good_through_its_day(due: str, verdict: Verdict) -> None:
    assert rows(drawn.case(**readings(due=due)))["instruments.calibration"].verdict is verdict


@pytest.mark.parametrize("order", [1, -1])
def test_use_before_calibration_shows_in_any_order(order: int) -> None:
    moments = [pd.Timestamp("2025-11-30", tz=drawn.ZONE), at("10:00")]
    used = [Reading(time, "chw_supply_temp", 50.0, "T1", "technician") for time in moments]
    case = drawn.case(**{**readings(), "readings": used[::order]})
    event = rows(case)["instruments.calibration"].events[0]
    assert (event.verdict, event.start) == (Verdict.FAIL, moments[0])


def test_nothing_but_names_is_invented_for_an_empty_plant() -> None:
    table = drawn.frame()[["outdoor_dry_bulb"]]
    found = rows(drawn.case(table))
    # Only a basin heater and air handlers are known not to be there: the plan states none.
    for id in ("cold.basin", "load.air_economizer", "load.air_damper", "load.air_valve"):
        assert found.pop(id).verdict is Verdict.NOT_APPLICABLE
    assert {check.verdict for check in found.values()} == {Verdict.NOT_TESTED}
    assert all(check.reason for check in found.values())


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_setpoint_released_at_once_while_the_chiller_runs_down_is_a_jump(minutes: int) -> None:
    """The sequence tells the chiller to stop and releases the setpoint; the chiller draws power for
    four minutes more, and by then the setpoint is back."""
    table = drawn.frame()
    told = drawn.HANDOVER - pd.Timedelta(minutes=4)
    jumped = (table.index >= told) & (table.index <= drawn.EXIT)
    table.loc[jumped, "chw_supply_setpoint"] = table.loc[jumped, "chw_reset_setpoint"]
    found = rows(drawn.case(table, minutes))
    wanted = {Verdict.FAIL} if minutes == 1 else {Verdict.FAIL, Verdict.INDETERMINATE}
    assert found["recovery.rate"].verdict in wanted, found["recovery.rate"].reason
    assert found["recovery.duration"].verdict in wanted, found["recovery.duration"].reason
    assert found["lift.release"].verdict is not Verdict.FAIL
