"""What five- and fifteen-minute rows do show: water and air move in straight lines between them."""

from __future__ import annotations

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, WARM, at

from fptlib.job.schema import Instrument, Reading
from fptlib.limits import Rule
from fptlib.procedure import enable, handover, instruments, lift, running
from fptlib.procedure import exit as leaving
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import lowest_kept, steps_beside, swings_through
from fptlib.procedure.settings_sheet import recommended
from fptlib.procedure.verdict import Verdict, decide


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


@pytest.mark.parametrize(("margin", "reserve", "verdict"), [
    (0.2, 3.0, Verdict.PASS), (0.2, 0.2, Verdict.INDETERMINATE), (0.2, 0.3, Verdict.PASS),
    (-0.2, 3.0, Verdict.INDETERMINATE), (-0.6, 3.0, Verdict.FAIL)])
def test_a_tolerance_that_is_there_for_the_sensors_is_no_second_guard(
        margin: float, reserve: float, verdict: Verdict) -> None:
    """Known to half a degree; what the limit holds for it a pass need not keep once more."""
    assert decide(margin, 0.5, Rule.GUARDED_BOTH, reserve=reserve) is verdict


def test_what_lies_between_samples_is_bounded_by_the_changes_beside_it() -> None:
    values = np.array([8.0, 5.0, 2.0, 2.1, 2.0, 1.9, 2.0, 2.0])
    assert steps_beside(values).tolist() == pytest.approx([3.0, 3.0, 3.0, 3.0, 0.1, 0.1, 0.1, 0.1])
    low = lowest_kept(values, 2.0, 5.0, 5.0)
    # Between 5.0 and 2.0 it may have gone as far again: to -1.0, and surely to 2.0.
    assert low is not None and low.value - low.uncertainty == pytest.approx(-1.0)
    calm = lowest_kept(values[3:], 2.0, 5.0, 5.0)
    assert calm is not None and calm.value - calm.uncertainty == pytest.approx(1.8)


def swinging(minutes: int) -> FunctionalTest:
    """The water swings by 4 °F, for five hours every sixteen minutes: samples a quarter-hour apart
    follow that so slowly that it seems to stand above the band for an hour, and below it for the
    next. Then it swings every forty minutes, which they do show."""
    table = drawn.frame()
    rows = table.index[(table.index >= HANDOVER) & (table.index < EXIT)]
    minute = np.arange(len(rows))
    wave = 4.0 * np.sin(2.0 * np.pi * minute / np.where(minute < 300, 16.0, 40.0))
    table.loc[rows, "chw_supply_temp"] = table.loc[rows, "chw_reset_setpoint"] + 1.0 + wave
    return drawn.case(table, minutes=minutes)


def test_a_swing_as_long_as_the_samples_interval_accuses_nobody() -> None:
    assert leaving.supply(swinging(1)).verdict is not Verdict.FAIL
    rare = swinging(15)
    for check in (leaving.supply, handover.excursion):
        assert check(rare).verdict is not Verdict.FAIL
    above = np.array([-1.0, 1.0, 3.0, 3.5, 3.0, 1.0, -1.5])
    assert swings_through(above, slice(1, 6), 15.0) is False  # a slow one is seen
    assert swings_through(np.r_[above, 3.0, -3.0, 3.0, -3.0], slice(1, 6), 15.0) is True


def test_the_ramp_says_when_a_release_began() -> None:
    """Released as the chiller stops; the first risen row of five minutes comes five later."""
    found = lift.release(drawn.case(minutes=5))
    assert found.verdict is Verdict.PASS and 0.0 <= (found.measured or 0.0) <= 5.0


def test_a_share_of_rare_rows_is_known_to_where_the_changes_lay() -> None:
    share = running.tower_tracking
    fine, rare = (share(drawn.case(minutes=minutes)).uncertainty or 0.0 for minutes in (1, 15))
    assert rare >= fine
