"""Steps know where they stand; an edit after a verdict withdraws it."""

from __future__ import annotations

import html

import pytest
import small_plant

from fptlib.procedure.steps import STEPS, step
from fptlib.workbook import panels, review, state
from fptlib.workbook.page import Page, strip

ENABLE = step("enable")


def run(job, entry=ENABLE):
    before = state.basis(job)
    state.record_run(job, entry, ENABLE.judge(small_plant.case()), before)


def test_a_new_job_has_nothing_done(job):
    assert {entry.state for entry in state.standings(job)} == {state.NOT_STARTED}
    assert state.first_unfinished(job) is STEPS[0]


def test_a_run_gives_the_worst_verdict(job):
    run(job)
    now = state.standing(job, ENABLE)
    assert (now.state, now.verdict) == (state.DONE, "fail")
    assert "fail" in now.reason and "pass" in now.reason


@pytest.mark.parametrize(("path", "value"), [
    ("plant.tower_approach.value", 9.0), ("points.chw_flow.unit", "L/s"),
    ('limits."enable.dwell"', {"value": 20.0, "reason": "r", "author": "a"}),
    ("job.condition", "forced"),
])
def test_an_edit_withdraws_the_verdict(job, path, value):
    run(job)
    job.put(path, value)
    assert state.standing(job, ENABLE).state == state.OUT_OF_DATE


def test_another_trend_file_withdraws_it_too(job):
    run(job)
    (job.trends_folder / "more.csv").write_text("Time,x\n", encoding="utf-8")
    assert state.standing(job, ENABLE).state == state.OUT_OF_DATE


def test_a_reading_withdraws_the_instruments_step_alone(job):
    for entry in (ENABLE, step("instruments")):
        run(job, entry)
    job.readings_file.write_text("time,point,value,unit,instrument\n", encoding="utf-8")
    assert state.standing(job, ENABLE).state == state.DONE
    assert state.standing(job, step("instruments")).state == state.OUT_OF_DATE


def test_an_edit_that_bears_on_nothing_leaves_it(job):
    run(job)
    job.put("findings.summary", "text")
    job.put("answers.lift.remark", "text")
    assert state.standing(job, ENABLE).state == state.DONE


def test_an_edit_while_the_step_ran_shows(job):
    before = state.basis(job)
    job.put("plant.tower_approach.value", 9.0)
    state.record_run(job, ENABLE, ENABLE.judge(small_plant.case()), before)
    assert state.standing(job, ENABLE).state == state.OUT_OF_DATE


def test_a_stop_waits_with_its_sentence(job):
    run(job)
    state.record_stop(job, ENABLE, "File 'x' is missing; put it there")
    now = state.standing(job, ENABLE)
    assert (now.state, now.verdict, now.reason) == (
        state.WAITING, "", "File 'x' is missing; put it there")
    assert ("Step 3 Economizer enable: it stopped when it was run last; correct what it says there "
            "and run it again.") in state.signing_blockers(job)


def test_running_again_with_the_same_outcome_writes_nothing(job):
    run(job)
    before = job.file.read_bytes()
    run(job)
    assert job.file.read_bytes() == before


def test_what_blocks_signing_is_told_in_sentences(job):
    blockers = " ".join(state.signing_blockers(job))
    assert "Step 3 Economizer enable: not run yet" in blockers
    assert "Override on OA-WB" in blockers
    assert "Summary: not written yet" in blockers
    assert "Prerequisite 'Towers in winter operation': not signed off" in blockers
    job.change(lambda d: d["overrides"][0].update({"released": "now", "readback": "31"}))
    assert "Override" not in " ".join(state.signing_blockers(job))


def test_a_cut_off_record_waits_and_is_named(job):
    job.record_folder.mkdir(exist_ok=True)
    (job.record_folder / "0001.json").write_bytes(b'{"payload":"e30')
    now = state.standing(job, step("findings"))
    assert now.state == state.WAITING
    assert now.reason.startswith("record/0001.json cannot be used: ")
    assert now.reason.endswith("sign a new record")
    assert state.first_unfinished(job) is STEPS[0]


def test_the_strip_says_how_much_of_a_step_was_not_judged(job):
    run(job)
    counts = job.get("state.enable.counts")
    job.put("state.enable.counts", {**counts, "not tested": 2, "deferred": 1})
    assert state.standing(job, ENABLE).unproven == 3
    assert "3 Economizer enable: fail, 3 not judged" in strip(job, ENABLE).text
    job.put("state.enable.verdict", "not tested")
    assert state.standing(job, ENABLE).state == state.INCOMPLETE
    assert "3 Economizer enable: incomplete, 3 not judged\n" in strip(job, ENABLE).text
    job.put("state.enable.counts", {"not tested": 4})
    assert "3 Economizer enable: not tested\n" in strip(job, ENABLE).text


def test_a_limit_changed_after_freezing_is_named_with_both_values(job):
    panel = panels.freeze(job)
    by, press = panel.widget.children[1:3]
    by.value = "Invented"
    press.click()
    assert state.since_frozen(job.answers()) == []
    job.put('limits."enable.dwell"', {"value": 20.0, "reason": "r", "author": "a"})
    told, = state.since_frozen(job.answers())
    assert told == ("Limit enable.dwell (enable delay: how long the condition must hold before the "
                    "enable) was changed after the limits were frozen: 30 min then, 20 min now.")
    assert told in html.unescape(panels.freeze(job).message.widget.value)
    assert told in review.limit_changes(job)
    page = Page("plan", job)
    page.done()
    assert state.standing(job, step("plan")).state == state.INCOMPLETE
    assert told in state.left_open(step("plan"), job.answers())
    job.put("frozen.values", None)
    assert "which, the job does not say" in state.since_frozen(job.answers())[0]


def test_a_plan_that_is_saved_and_not_complete_is_not_done(job):
    page = Page("plan", job)
    page.done()
    assert "◐ incomplete" in page.badge.value and "Still open" in page.badge.value
    assert "0 Plan: incomplete" in strip(job, ENABLE).text
    assert state.first_unfinished(job).name == "instruments"


def test_above_its_run_a_page_says_nothing_of_its_own_step(job):
    run(job)
    above = Page("enable", job).strip()
    assert "3 Economizer enable: this page" in above.text
    assert "2 Chilled-water setpoint reset: not started" in above.text
    assert "this page" not in Page("enable", job).next().markup
