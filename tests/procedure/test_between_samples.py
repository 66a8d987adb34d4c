"""What five- and fifteen-minute rows do show: water and air move in straight lines between them."""

from __future__ import annotations

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, WARM, at

from fptlib.job.schema import Instrument, Reading, Sensor, Sensors, Sequence
from fptlib.limits import Deviation, Limits, Rule
from fptlib.procedure import enable, handover, instruments, lift, lift_range, recovery, running
from fptlib.procedure import exit as leaving
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import crossed, lowest_kept, steps_beside, swings_through
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


# --- what a quarter-hour does show -------------------------------------------------------------

@pytest.mark.parametrize(("water", "delay", "verdict"), [
    (50.0, 15.0, Verdict.FAIL),           # 1.4 °F to the band in the two minutes left, and back
    (51.0, 15.0, Verdict.INDETERMINATE),  # half a degree in as many
    (50.0, 10.0, Verdict.INDETERMINATE)])  # 1.4 °F in seven
def test_water_cannot_have_been_warm_for_the_delay_between_two_samples(
        water: float, delay: float, verdict: Verdict) -> None:
    table = drawn.unasked_exit()
    table.loc[WARM:EXIT, "chw_supply_temp"] = water
    limits = Limits({**drawn.LIMITS.deviations,
                     "exit.delay": Deviation(delay, "the drawn sequence", "test", "2026-01-01")})
    found = leaving.not_early(drawn.case(table, 15, limits=limits))
    assert found.verdict is verdict, found.reason


@pytest.mark.parametrize(("lost", "fine", "rare"), [
    ("20:17", Verdict.FAIL, Verdict.FAIL), ("20:08", Verdict.FAIL, Verdict.INDETERMINATE),
    ("19:50", Verdict.PASS, Verdict.PASS)])
def test_a_weather_exit_before_its_delay_is_seen_on_the_readings_it_leaves_by(
        lost: str, fine: Verdict, rare: Verdict) -> None:
    """The condition is about to be lost, or was lost eight minutes ago, where 20 are specified:
    the sensors' errors are in what the sequence reads, too, and excuse nothing."""
    table = drawn.unasked_exit()
    rows = table.index[(table.index >= at("18:00")) & (table.index < at("22:00"))]
    table.loc[rows, "outdoor_wet_bulb"] = 38.0 + 2.0 * (
        (rows - at(lost)) / pd.Timedelta("1h")).to_numpy()
    for minutes, verdict in ((1, fine), (5, fine), (15, rare)):
        found = leaving.not_early(
            drawn.case(table, minutes, sequence=Sequence(weather_exit=20.0)))
        assert found.verdict is verdict, found.reason


def held_from(clock: str, minutes: int) -> Verdict:
    """The condition holds from that time on, the enable comes at 02:45; 30 min are specified."""
    table = drawn.frame()
    hours = ((table.index - at(clock)) / pd.Timedelta("1h")).to_numpy()
    table["outdoor_wet_bulb"] = np.where(table.index < at("06:00"), 38.0 - 2.0 * hours,
                                         table["outdoor_wet_bulb"])
    return enable.dwell(drawn.case(table, minutes)).verdict


def test_a_line_between_rare_samples_says_since_when_the_condition_held() -> None:
    """From 02:20 to an enable in the quarter-hour to 02:45 it held for 25 min at the most; from
    02:16 it may have been 29, which the tolerance of a timer lets pass."""
    assert held_from("02:20", 15) is Verdict.FAIL is held_from("02:20", 1)
    assert held_from("02:16", 15) is Verdict.INDETERMINATE
    line = np.array([-3.0, -1.0, 1.0, 3.0])
    assert crossed(line, 1, 1, 0.0) == (0.5, 0.5)
    assert crossed(line, 1, 1, 0.5) == (0.25, 0.75)
    assert crossed(line, 0, 1, 0.0) == (0.0, 1.0)  # nothing is known before it
    # A parabola through (-3, -1, 1, 7) leaves the line by half a degree.
    assert crossed(np.array([-3.0, -1.0, 1.0, 7.0]), 1, 1, 0.0) == (0.25, 0.75)


@pytest.mark.parametrize("minutes", [1, 15])
@pytest.mark.parametrize(("breaks", "verdict"), [
    ("02:45", Verdict.INDETERMINATE), ("02:30", Verdict.FAIL)])
def test_a_condition_that_breaks_in_the_sample_of_the_enable_may_have_held_until_then(
    breaks: str, verdict: Verdict, minutes: int
) -> None:
    table = drawn.frame()
    table.loc[at(breaks) : at("06:00"), "outdoor_wet_bulb"] = 60.0
    found = enable.dwell(drawn.case(table, minutes))
    assert found.verdict is verdict, found.reason


def test_a_log_of_changes_shows_a_condition_late() -> None:
    """It held from 02:00 on, and 30 min are specified for an enable at 02:45; the log shows the
    falling wet bulb when it has fallen by a degree, which may be half an hour later."""
    table = drawn.frame()
    hours = ((table.index - at("02:00")) / pd.Timedelta("1h")).to_numpy()
    true = np.where(table.index < at("06:00"), 38.0 - 2.0 * hours,
                    30.0 + 4.0 * np.sin(2.0 * np.pi * hours / 3.0))
    table["outdoor_wet_bulb"] = np.ceil(true - 0.3) + 0.3
    verdicts = {}
    for interval in (1.0, 0.0):
        test = drawn.case(table, sensors=Sensors({
            **drawn.SENSORS, "outdoor_wet_bulb": Sensor(1.0)}))
        test.grid.intervals["outdoor_wet_bulb"] = interval
        verdicts[interval] = enable.dwell(test).verdict
    assert verdicts == {1.0: Verdict.FAIL, 0.0: Verdict.INDETERMINATE}
    assert test.sensor("outdoor_wet_bulb").resolution == pytest.approx(2.0, abs=0.1)


def test_a_lift_that_falls_in_a_line_is_low_before_its_last_sample() -> None:
    """With the setpoint left at 50 the lift falls by half a degree a minute: 13.5, 6.0, then the
    chiller is off; 9 °F are asked for. The temporary setpoint is missed by 8 °F alike."""
    table = drawn.frame()
    table.loc[at("02:45") : at("03:24"), ["chw_supply_setpoint", "chw_supply_temp",
                                          "chiller_1_chw_leaving_temp"]] = 50.0
    for minutes in (1, 5, 15):
        test = drawn.case(table, minutes)
        assert lift_range.minimum(test).verdict is Verdict.FAIL
        assert lift.setpoint(test).verdict is Verdict.FAIL
    fall, jump = np.array([18.0, 12.0, 6.0]), np.array([12.0, 12.0, 6.0])
    highest = [found.value + found.uncertainty for values in (fall, jump)
               if (found := lowest_kept(values, 2.0, 15.0, 15.0, course=values))]
    # Two minutes before the sample it was 0.8 above; after a jump it may have come this minute.
    assert highest == pytest.approx([6.8, 12.0])


def test_a_setpoint_that_went_on_down_after_its_last_sample_rose_from_there() -> None:
    """Lowered 1.1 °F below the condenser water: 48.9 at 03:15, 43.9 at 03:24, then 50 in one step.
    Of that a quarter-hour shows 1.1 °F, and the water that it fell further."""
    table = drawn.frame()
    table.loc[at("02:45") : at("03:24"), "chw_supply_setpoint"] = np.minimum(
        50.0, table["cw_supply_temp"] - 1.1)
    table.loc[HANDOVER : EXIT, "chw_supply_setpoint"] = 50.0
    assert recovery.rate(drawn.case(table)).verdict is Verdict.FAIL
    assert recovery.rate(drawn.case(table, 15)).verdict is Verdict.INDETERMINATE


def test_turns_that_rare_samples_show_are_turns() -> None:
    """Swings of 40 min: what lies between samples can add turns, and take none away."""
    table = drawn.frame()
    rows = table.index[(table.index >= HANDOVER) & (table.index < at("08:00"))]
    minute = np.arange(len(rows))
    table.loc[rows, "chw_supply_temp"] -= 3.0 + 3.0 * np.sin(2.0 * np.pi * minute / 40.0)
    for minutes in (1, 15):
        found = recovery.stable(drawn.case(table, minutes))
        turns = [event for event in found.events if event.subject == "reversals"]
        assert [event.verdict for event in turns] == [Verdict.FAIL]


def test_the_fans_own_ramp_says_since_when_they_were_at_maximum() -> None:
    """94.5 % at 19:30, 100 % at three samples until the exit at 20:16: 44 min or more of the 35
    allowed. Where a third cell starts instead, nothing says when in the quarter-hour."""
    table = drawn.frame()
    speeds = [f"tower_{n}_fan_speed" for n in (1, 2)]
    for clock, speed in (("19:15", 80.0), ("19:30", 94.5), ("19:45", 100.0)):
        table.loc[at(clock) : EXIT, speeds] = speed
    assert leaving.equipment(drawn.case(table, 15)).verdict is Verdict.FAIL
    table.loc[at("19:30") : EXIT, speeds] = 100.0
    table.loc[at("04:00") : at("19:44"), "tower_2_fan_running"] = 0.0
    assert leaving.equipment(drawn.case(table, 15)).verdict is Verdict.INDETERMINATE


@pytest.mark.parametrize(("means", "dip", "verdict"), [
    (True, 0, Verdict.FAIL), (False, 0, Verdict.INDETERMINATE), (True, 12, Verdict.INDETERMINATE)])
def test_a_mean_power_shows_that_a_chiller_ran_on_between_two_samples(
        means: bool, dip: int, verdict: Verdict) -> None:
    """The changeover is abandoned at 09:00 with chiller 1 on at every quarter-hour; chiller 2
    starts at five past in four hours, so its power there is a part of the next if it is a mean."""
    table = drawn.frame()
    table.loc[at("02:45") :, "economizer_command"] = 0.0
    table.loc[at("02:45") : at("08:59"), "economizer_command"] = 1.0
    table["chiller_1_running"], table["chiller_1_power"] = 1.0, 180.0
    table["economizer_active"] = 0.0
    table.loc[at("05:02") : at("05:01") + pd.Timedelta(minutes=dip), [
        "chiller_1_running", "chiller_1_power"]] = 0.0
    for hour in (10, 12, 14, 16):
        table.loc[at(f"{hour}:05") : at(f"{hour}:59"), "chiller_2_running"] = 1.0
    table["chiller_2_power"] = 180.0 * table["chiller_2_running"]
    if means:
        for n in (1, 2):
            table[f"chiller_{n}_power"] = table[f"chiller_{n}_power"].resample("15min").transform(
                "mean")
    found = lift.chiller_on(drawn.case(table, 15))
    assert found.verdict is verdict, found.reason


def test_single_rare_samples_between_the_fans_limits_show_no_tracking() -> None:
    """At maximum all night but for one sample, and then for three with one of them off."""
    table = drawn.frame()
    speeds = [f"tower_{n}_fan_speed" for n in (1, 2)]
    table.loc[HANDOVER:EXIT, speeds] = 100.0
    table.loc[at("08:00") : at("08:14"), speeds] = 60.0
    table.loc[at("08:00") : at("08:14"), "cw_supply_temp"] += 3.0
    assert running.tower_tracking(drawn.case(table, 15)).verdict is Verdict.NOT_TESTED
    table.loc[at("08:15") : at("08:44"), speeds] = 60.0
    assert running.tower_tracking(drawn.case(table, 15)).verdict is Verdict.INDETERMINATE


@pytest.mark.parametrize(("until", "verdict"), [
    ("08:44", Verdict.FAIL), ("08:29", Verdict.INDETERMINATE)])
def test_three_quarter_hours_dearer_in_every_row_are_three_quarters_of_an_hour(
        until: str, verdict: Verdict) -> None:
    """45 min at twice the power, 35 are allowed: no row of them leaves a quarter-hour of doubt."""
    table = drawn.frame()
    drawn.still_air(table, slice(drawn.RECOVERED, EXIT), 38.0)
    table.loc[at("08:00") : at(until), "plant_power"] = 300.0
    assert leaving.comparative(drawn.case(table)).verdict is verdict
