"""What five- and fifteen-minute rows do show: water and air move in straight lines between them."""

from __future__ import annotations

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, WARM, at

from fptlib.job.schema import Instrument, Reading
from fptlib.procedure import enable, instruments, lift
from fptlib.procedure import exit as leaving
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.settings_sheet import recommended
from fptlib.procedure.verdict import Verdict


def test_a_sound_exit_is_seen_at_five_minutes() -> None:
    """The water is above the band for 16 minutes, 20 are allowed; four rows of five show it."""
    assert leaving.supply(drawn.case(minutes=5)).verdict is Verdict.PASS
    table = drawn.frame()
    table.loc[at("19:30") : WARM, "chw_supply_temp"] = 52.0
    assert leaving.supply(drawn.case(table, minutes=5)).verdict is Verdict.FAIL


@pytest.mark.parametrize(("third", "verdict"), [
    (False, Verdict.PASS), (True, Verdict.INDETERMINATE)])
def test_a_request_in_the_row_after_midnight_is_at_most_one_too_many(
        third: bool, verdict: Verdict) -> None:
    table = drawn.frame()
    for clock in ("00:00", "05:00", *(["10:00"] if third else [])):
        begin = at(clock, 1)
        table.loc[begin : begin + pd.Timedelta("1h"), "economizer_command"] = 1.0
    found = enable.rest(drawn.case(table, minutes=15))
    event = next(each for each in found.events if each.subject == "changeovers on 2026-01-11")
    assert event.verdict is verdict


def dry_bulb(bias: float) -> FunctionalTest:
    """Read at seven minutes past, while the air warms by three degrees an hour."""
    table = drawn.frame()
    truth = float(table.at[at("21:07"), "outdoor_dry_bulb"])
    tool = Instrument("T1", serial="0001", accuracy=0.1, accuracy_unit="degF",
                      calibrated=pd.Timestamp("2025-12-01", tz=drawn.ZONE),
                      due=pd.Timestamp("2026-12-01", tz=drawn.ZONE))
    return drawn.case(table, minutes=15, instruments={"T1": tool}, readings=[
        Reading(at("21:07"), "outdoor_dry_bulb", truth + bias, "T1", "technician")])


def test_a_reading_is_held_against_the_line_between_two_samples() -> None:
    assert instruments.agreement(dry_bulb(0.0)).verdict is Verdict.PASS
    assert instruments.agreement(dry_bulb(2.0)).verdict is Verdict.FAIL


def test_the_settings_sheet_names_a_delay_that_such_rows_can_prove() -> None:
    """Half an hour, a row and what a row is longer than twice the timing tolerance."""
    found = recommended(drawn.case(minutes=5), {}, 0.0, 0.0)
    assert (found.delay, found.off_time) == (36.0, 36.0)


@pytest.mark.parametrize(("minutes", "verdict"), [
    (1, Verdict.FAIL), (5, Verdict.INDETERMINATE)])
def test_a_moment_proves_nothing_against_a_mean(minutes: int, verdict: Verdict) -> None:
    """A clamp reading of 60 kW where the meter shows a third more."""
    table = drawn.frame()
    tool = Instrument("E1", serial="0002", accuracy=1.0, accuracy_unit="% of reading",
                      calibrated=pd.Timestamp("2025-12-01", tz=drawn.ZONE),
                      due=pd.Timestamp("2026-12-01", tz=drawn.ZONE))
    taken = Reading(at("10:00"), "plant_power", float(table.at[at("10:00"), "plant_power"]) * 0.75,
                    "E1", "technician")
    test = drawn.case(table, minutes=minutes, instruments={"E1": tool}, readings=[taken])
    assert instruments.agreement(test).verdict is verdict


def test_a_setpoint_that_followed_the_sump_up_was_not_released() -> None:
    """It rises two tenths as the last chiller stops, stands for 45 minutes, then comes back."""
    table = drawn.frame()
    name = "chw_supply_setpoint"
    low = float(table.at[HANDOVER - pd.Timedelta("1min"), name])
    table.loc[HANDOVER : at("04:09"), name] = low + 0.2
    table.loc[at("04:10") : EXIT - pd.Timedelta("1min"), name] = 50.0
    found = lift.release(drawn.case(table))
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(45.0)
    # Released in steps that follow each other it is released with the first.
    for step, clock in enumerate(("03:25", "03:28", "03:31", "03:34", "03:37")):
        table.loc[at(clock) : EXIT - pd.Timedelta("1min"), name] = low + 2.0 * (step + 1)
    assert lift.release(drawn.case(table)).measured == pytest.approx(0.0)
