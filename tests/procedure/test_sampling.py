"""Rare samples on a fine grid: another file's minute rows must not make them look better."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from drawn_plant import EXIT, SENSORS, WARM, at, case, frame, unasked_exit

from fptlib.job.schema import Instrument, Reading, Sensor, Sensors
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict


def sampled(minutes: int) -> FunctionalTest:
    """The drawn plant sampled every so many minutes, each value standing until the next."""
    table = frame()
    held = table.iloc[::minutes].reindex(table.index).ffill(limit=minutes - 1)
    drawn = case(held)
    intervals = dict.fromkeys(map(str, table), float(minutes))
    return dataclasses.replace(drawn, grid=dataclasses.replace(drawn.grid,
                                                                 intervals=intervals))


def checks(of: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(of)}


@pytest.mark.parametrize("minutes", [5, 15])
def test_verdicts_are_those_of_rows_as_rare_as_the_samples(minutes: int) -> None:
    fine, coarse = checks(sampled(minutes)), checks(case(minutes=minutes))
    # A held value stands until the next sample, so the reason of an exit may reach up to it.
    differ = {name for name, check in fine.items() if check.verdict != coarse[name].verdict}
    assert differ <= {"exit.not_early"}


@pytest.mark.parametrize("name", ["enable.stay", "recovery.duration", "exit.not_early"])
def test_a_time_is_known_to_a_sample_and_no_better(name: str) -> None:
    uncertainty = checks(sampled(5))[name].uncertainty
    assert uncertainty is not None and uncertainty >= 5.0


def test_what_moves_on_a_line_is_known_to_half_a_sample() -> None:
    """When the water crossed the band, the setpoint began to rise or the condition began to hold,
    the line shows; when the run ended, the chiller stopped or the enable came, lies between two
    samples."""
    found = checks(sampled(5))
    assert found["exit.supply"].uncertainty == 2.5
    assert found["lift.release"].uncertainty == 2.5
    assert found["enable.dwell"].uncertainty == pytest.approx(2.5, abs=0.01)


def test_sample_interval_is_the_rarest_sample_and_a_row_at_the_least() -> None:
    drawn = case()
    trends = dataclasses.replace(drawn.grid, intervals={
        "economizer_command": 5.0, "chw_flow": 60.0, "chw_supply_temp": 0.0})
    mixed = dataclasses.replace(drawn, grid=trends)
    assert mixed.sample_interval("request") == 5.0
    assert mixed.sample_interval("chw_supply_temp", "chillers") == 1.0
    assert mixed.sample_interval("load") == 60.0
    wandering = dataclasses.replace(drawn.grid, intervals={"chw_flow": 1.004})
    assert dataclasses.replace(drawn, grid=wandering).sample_interval("load") == 1.0
    assert drawn.sample_interval("load") == 1.0


def rounded(step: float) -> FunctionalTest:
    """The drawn plant with its temperatures shown in steps, and that stated, as a plan does."""
    table = frame()
    table.loc[WARM:EXIT, "chw_supply_temp"] = 51.7
    temperatures = [name for name in table if "temp" in str(name) or "setpoint" in str(name)]
    table[temperatures] = (table[temperatures] / step).round() * step
    stated = {name: Sensor(0.2, step) for name in temperatures}
    return case(table, sensors=Sensors({**SENSORS, **stated}))


def test_a_supply_shown_in_coarse_steps_accuses_no_exit() -> None:
    assert checks(rounded(0.1))["exit.not_early"].verdict is Verdict.PASS
    # 51.7 is shown as 51.5: not above the band of 1.5 over a reset setpoint of 50.
    for name in ("exit.not_early", "exit.supply"):
        assert checks(rounded(0.5))[name].verdict is not Verdict.FAIL, name


def test_rare_samples_above_the_band_prove_no_reason_to_leave() -> None:
    # Eleven minutes, of a delay of fifteen: three samples of five minutes may show them. They are
    # no reason to leave, and no proof that the exchanger could have gone on.
    table = unasked_exit()
    table.loc[at("20:05"):EXIT, "chw_supply_temp"] = 52.0
    assert checks(case(table))["exit.not_early"].verdict is Verdict.INDETERMINATE
    # Rows of five minutes show fifteen, which the specified time within its tolerance is.
    assert checks(case(table, minutes=5))["exit.not_early"].verdict is not Verdict.FAIL


def read_at(time: str, course: np.ndarray, minutes: int) -> Check:
    """``instruments.agreement`` of a true reading of a supply with that course from 08:00 on."""
    table = frame()
    table.loc[at("08:00"):, "chw_supply_temp"] = course[: len(table.loc[at("08:00"):])]
    zone = str(at(time).tz)
    instrument = Instrument("T1", accuracy=0.1, accuracy_unit="degF",
                            calibrated=pd.Timestamp("2025-12-01", tz=zone))
    reading = Reading(at(time), "chw_supply_temp", float(table.at[at(time), "chw_supply_temp"]),
                      "T1", "technician")
    return checks(case(table, minutes, readings=[reading], instruments={"T1": instrument}))[
        "instruments.agreement"]


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_reading_between_two_samples_of_a_ramp_is_held_against_the_line(minutes: int) -> None:
    ramp = 50.0 - 0.05 * np.arange(3000.0)
    assert read_at("08:52", ramp, minutes).verdict is Verdict.PASS


@pytest.mark.parametrize("time", ["09:50", "09:55", "10:04", "10:10"])
@pytest.mark.parametrize("minutes", [5, 15])
def test_a_reading_of_what_swings_between_samples_accuses_nobody(time: str, minutes: int) -> None:
    swing = 50.0 + 3.0 * np.sin(2.0 * np.pi * np.arange(3000.0) / 22.0)
    assert read_at(time, swing, 1).verdict is not Verdict.FAIL
    assert read_at(time, swing, minutes).verdict is not Verdict.FAIL


def test_a_reading_in_motion_is_left_to_a_clear_one_of_the_same_sensor() -> None:
    table = frame()
    course = np.r_[np.full(240, 50.0), 50.0 + 2.0 * np.sin(np.arange(1200.0) * np.pi / 30.0)]
    part = table.loc[at("08:00"):].index[: len(course)]
    table.loc[part, "chw_supply_temp"] = course[: len(part)]
    zone = str(part.tz)
    instrument = Instrument("T1", accuracy=0.1, accuracy_unit="degF",
                            calibrated=pd.Timestamp("2025-12-01", tz=zone))

    def read(time: str, error: float = 0.0) -> Reading:
        value = float(table.at[at(time), "chw_supply_temp"]) + error
        return Reading(at(time), "chw_supply_temp", value, "T1", "technician")

    def verdict(*readings: Reading) -> Verdict:
        return checks(case(table, 15, readings=list(readings), instruments={"T1": instrument}))[
            "instruments.agreement"].verdict

    moving = "13:37"
    assert verdict(read(moving)) is Verdict.INDETERMINATE
    assert verdict(read("10:00"), read(moving)) is Verdict.PASS
    assert verdict(read("10:00"), read(moving, 3.0)) is not Verdict.PASS
