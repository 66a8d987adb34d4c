"""What the settings sheet recommends for the sample before its correction, put into the generator,
gives a plant that passes every check of steps 3 to 9."""

from __future__ import annotations

from dataclasses import replace

import pytest
from plain_inputs import Inputs, case_from
from plants import BLIND, PLANTS

from fptlib.procedure.feasibility import FEASIBLE, INFEASIBLE
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.replay import disagreements
from fptlib.procedure.settings_sheet import Sheet, reset_line, sheet
from fptlib.procedure.steps import JUDGED
from fptlib.procedure.verdict import Verdict
from sample_trends.generator import Design, Scenario, Sequence, simulate
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import BEFORE, SOUND, STORIES


def case(scenario: Scenario, story: str) -> FunctionalTest:
    text = job_file(scenario, STORIES[story])
    return case_from(Inputs(simulate(scenario).frame, 1, text, {}, [], []))


def programmed(before: Sequence, test: FunctionalTest, found: Sheet) -> Sequence:
    """The recommendations as the generator's controller takes them; it has one tolerance for both
    approaches."""
    s, line = found.settings, reset_line(test)
    assert s is not None and line is not None
    return replace(
        before, reset_cold=line.cold_setpoint, reset_warm=line.warm_setpoint,
        reset_cold_outdoor=line.cold, reset_warm_outdoor=line.warm,
        tolerance=(s.tower_tolerance + s.exchanger_tolerance) / 2.0, dwell=int(s.delay),
        rest=int(s.off_time), attempts_per_day=int(s.per_day), shortest_stay=int(s.run_time),
        follow=True, offset=s.offset, floor=s.lowest, handover_margin=s.margin,
        longest_pull_down=int(s.longest_pull_down), return_rate=s.rate / 10.0,
        exchanger_opening=1.0 / s.opening, stop_spacing=int(s.spacing),
        exit_band=s.band, exit_delay=int(s.exit_delay))


def test_a_plant_with_a_minimum_lift_of_16_is_infeasible_and_says_why() -> None:
    """Reset 47.5, approach 1.8 and margin 0.8: 44.9 °F condenser water, 3.2 °F of condenser range
    beside the exchanger and no setpoint below 38.5 °F leave 9.6 °F."""
    scenario = replace(SOUND, days=7, design=Design(minimum_lift=16.0))
    found = sheet(case(scenario, "sound"), {})
    assert found.verdict == INFEASIBLE and found.settings is None
    assert "asks for 16.0" in found.reason and "No offset helps" in found.reason
    said = " ".join(found.helps)
    assert "Head-pressure control" in said and "reset setpoint of 54" in said


@pytest.mark.full
@pytest.mark.parametrize("plant", PLANTS + BLIND, ids=lambda each: each.name)
def test_a_sound_plant_does_what_its_sequence_says(plant: Scenario) -> None:
    test = case(plant, "sound")
    assert disagreements(test, {}) == []
    found = sheet(test, {})
    assert found.verdict == FEASIBLE and not found.failed


@pytest.mark.full
def test_the_recommendations_put_into_the_generator_pass_every_check() -> None:
    test = case(BEFORE, "before")
    found = sheet(test, {})
    assert found.verdict == FEASIBLE and not found.failed
    corrected = replace(BEFORE, sequence=programmed(BEFORE.sequence, test, found))
    after = case(corrected, "before")
    assert len(after.runs) >= 5
    judged = [check for step in JUDGED if step.name not in ("instruments", "reset")
              for check in step.judge(after)]
    assert [(check.id, check.reason) for check in judged
            if check.verdict in (Verdict.FAIL, Verdict.INDETERMINATE)] == []
