"""Why verdicts were once wrong at plants that nobody here drew: each cause has a test of its own.

The numbers are those of the list of causes that the second edition of the rules of judging was
made from. What has no test elsewhere has it here.
"""

from __future__ import annotations

from pathlib import Path

import drawn_plant as drawn
import numpy as np
import pytest
from drawn_plant import EXIT, HANDOVER, at

from fptlib.procedure import exit as leaving
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict

HERE = Path(__file__).parent
CAUSES = {
    "1 early exits accused without proof": (
        "test_causes.test_one_noisy_row_breaks_no_reason_to_leave",
        "test_rules_of_judging.test_exits_that_the_sequence_specifies_are_no_early_exits",
        "test_rules_of_judging.test_a_weather_exit_counts_where_the_condition_was_lost_for_its_time",
        "test_rules_of_judging."
        "test_an_exit_later_than_the_sequence_states_fails_whatever_its_reason"),
    "2 approaches left to the product": (
        "test_approach_curves.test_every_sound_plant_yields_its_curves",
        "test_approach_curves.test_what_is_typed_is_believed_no_further_than_its_evidence"),
    "3 timers at the sequence's own setting": (
        "test_rules_of_judging.test_a_timer_at_its_setting_is_no_coin_toss",
        "test_rules_of_judging.test_a_sequence_of_exactly_the_specified_time_passes"),
    "4 a reset that is not trended": (
        "test_causes.test_a_reset_that_is_not_trended_is_said_and_goes_stale",),
    "5 chatter erased, trips taken for transitions": (
        "test_status.test_chatter_that_nothing_contradicts_or_another_signal_follows_is_counted",
        "test_causes.test_chillers_that_stop_while_the_exchanger_carries_nothing_tripped"),
    "6 a failing exchanger excused as light load": (
        "test_rules_of_judging.test_light_load_withholds_a_pass_and_never_a_fail",
        "test_rules_of_judging.test_one_light_run_does_not_take_the_pass_of_the_others",
        "test_exchanger_row_by_row."
        "test_an_exchanger_that_fails_soon_is_judged_by_its_short_run"),
    "7 frozen and doubted sensors": (
        "test_rules_of_judging.test_a_wet_bulb_that_stands_still_is_unknown_and_passes_nothing",
        "test_rules_of_judging.test_a_doubt_of_the_reading_reaches_the_verdict",
        "test_exchanger_or_load.test_return_water_through_the_decoupler"),
    "8 the controller's number, not the water": (
        "test_water_itself.test_water_that_jumps_at_the_transition_is_found",
        "test_water_itself.test_condenser_water_away_from_its_setpoint_is_found_"
        "while_the_fans_could_hold_it"),
    "9 a watch that ends too soon": (
        "test_demand_as_billed.test_an_overshoot_two_hours_after_a_step_is_seen",),
    "10 UA from medians taken apart": (
        "test_exchanger_row_by_row.test_a_clean_exchanger_reads_clean_while_its_flows_swing",),
    "11 demand without tolerance": (
        "test_demand_as_billed.test_a_peak_within_the_tolerance_is_none",
        "test_demand_as_billed.test_the_service_meter_counts_where_it_is_trended"),
    "12 lift in one kind only": (
        "test_chiller_envelope.test_pressures_alone_prove_a_saturation_lift",
        "test_chiller_envelope.test_a_minimum_that_is_a_line_counts_at_the_load_there",
        "test_chiller_envelope.test_a_chiller_that_has_just_started_builds_its_lift"),
    "13 machines without a minimum lift": (
        "test_chiller_envelope.test_a_machine_that_runs_at_inverted_lift_needs_no_protection",
        "test_chiller_envelope."
        "test_head_pressure_control_is_judged_instead_of_the_temporary_setpoint"),
    "14 resets that work otherwise": (
        "test_reset_as_specified.test_a_setpoint_on_its_line_passes_with_its_level_stretches",
        "test_reset_as_specified.test_a_reset_by_valves_needs_its_line_and_its_point"),
    "15 hours that were not missed": (
        "test_missed.test_load_above_what_the_exchanger_can_carry_is_not_missed",
        "test_missed.test_the_minimum_off_time_is_not_missed"),
    "16 instruments that prove themselves": (
        "test_instruments.test_a_wet_bulb_worked_out_from_the_same_sensor_proves_nothing",
        "test_instruments.test_poor_sensors_do_not_widen_the_heat_balance",
        "test_instruments.test_deciding_sensors_without_a_reading_near_the_test_are_named"),
    "17 checks that cannot fail": (
        "test_what_cannot_fail.test_an_equipment_limit_above_what_is_installed_tests_nothing",
        "test_what_cannot_fail.test_a_run_of_which_next_to_nothing_was_compared_does_not_pass"),
    "18 coarse trends": (
        "test_between_samples.test_water_cannot_have_been_warm_for_the_delay_between_two_samples",
        "test_between_samples.test_a_lift_that_falls_in_a_line_is_low_before_its_last_sample",
        "test_between_samples.test_a_swing_as_long_as_the_samples_interval_accuses_nobody",
        "test_between_samples.test_a_condition_that_breaks_in_the_sample_of_the_enable_may_have_held_"
        "until_then"),
    "19 advice that contradicts": (
        "test_advice."
        "test_what_a_setting_answers_for_points_to_the_sheet_and_contradicts_no_other_check",),
    "20 sentences beside the judged number": (
        "test_instruments.test_the_sentence_on_the_wet_bulb_shows_what_is_judged",),
}


@pytest.mark.parametrize(("cause", "tests"), CAUSES.items(), ids=CAUSES)
def test_each_cause_has_its_tests(cause: str, tests: tuple[str, ...]) -> None:
    for name in tests:
        module, test = name.split(".")
        text = (HERE / f"{module}.py").read_text(encoding="utf-8")
        assert f"def {test}(" in text, f"{cause}: {name} is gone; name the test that took its place"


def test_one_noisy_row_breaks_no_reason_to_leave() -> None:
    """All fans at maximum for three quarters of an hour, but for one row at 94 %."""
    table = drawn.unasked_exit()
    speeds = [f"tower_{n}_fan_speed" for n in (1, 2)]
    table.loc[at("19:30") : EXIT, speeds] = 100.0
    table.loc[at("20:05"), speeds] = 94.0
    found = leaving.not_early(drawn.case(table))
    assert found.verdict is Verdict.PASS and "equipment count was exceeded" in found.reason


def test_a_reset_that_is_not_trended_is_said_and_goes_stale() -> None:
    test = drawn.case(drawn.frame().drop(columns="chw_reset_setpoint"))
    for id in ("recovery.duration", "lift.release", "exit.not_early", "enable.condition"):
        found = judge(test, id)
        assert "the reset setpoint is not trended" in found.reason
        assert found.verdict is not Verdict.FAIL
    # A setpoint that never comes back says for two hours at the most what the reset asked for.
    table = drawn.frame().drop(columns="chw_reset_setpoint")
    table.loc[HANDOVER : at("20:15"), "chw_supply_setpoint"] = 40.0
    reset = drawn.case(table).reset_setpoint
    assert reset[284] == 50.0 and np.isnan(reset[285:1200]).all()


def test_chillers_that_stop_while_the_exchanger_carries_nothing_tripped() -> None:
    table = drawn.frame()
    signs = ["economizer_active", "hx_chw_flow", "hx_cw_flow"]
    table.loc[at("03:05") : at("03:20"), [*signs, "chiller_1_running", "chiller_1_power"]] = 0.0
    test = drawn.case(table)
    assert [each.trips for each in test.requests] == [(185,)]
    assert test.runs[0].first == 205
    assert judge(test, "lift.chiller_on").verdict is Verdict.FAIL
