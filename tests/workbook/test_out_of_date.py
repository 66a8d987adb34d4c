"""A step is out of date when something it read was changed, and nothing else."""

from __future__ import annotations

from dataclasses import asdict

import pytest
import small_plant

from fptlib.job.folder import Job
from fptlib.limits import STANDARD
from fptlib.procedure import reads
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import JUDGED
from fptlib.workbook import state


def judged(job):
    """Every judged step as its page runs it; its checks as plain values, by step."""
    found = {}
    for step in JUDGED:
        before = state.basis(job)
        test, read = reads.watched(assemble(job))
        checks = step.judge(test)
        state.record_run(job, step, checks, before, read)
        found[step.name] = [asdict(check) for check in checks]
    return found


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    job = Job(small_plant.write_job(tmp_path_factory.mktemp("ran") / "job"))
    return job, judged(job)


def out_of_date(job):
    return {step.name for step in JUDGED
            if state.standing(job, step).state == state.OUT_OF_DATE}


def changed(job, path, value):
    """The steps out of date while an answer is another one; it is put back afterwards."""
    text = job.file.read_bytes()
    job.put(path, value)
    try:
        return out_of_date(job)
    finally:
        job.file.write_bytes(text)


@pytest.mark.parametrize(("path", "value", "expected"), [
    ("plant.chiller_1.minimum_water_lift", 9.0, {"lift"}),
    ("people.technician.name", "Somebody else", set()),
    ("site.name", "Another name", set()),
    ("marks", [{"time": "2026-01-10T02:00", "what": "test paused", "by": "x"}], set()),
    ('limits."recovery.longest"', {"value": 61.0, "reason": "r", "author": "a"}, {"recovery"}),
])
def test_an_answer_puts_those_steps_out_of_date_that_read_it(ran, path, value, expected):
    job, _ = ran
    assert out_of_date(job) == set()
    assert changed(job, path, value) == expected


def test_a_file_that_no_point_comes_from_changes_nothing(ran):
    job, _ = ran
    more = job.trends_folder / "more.csv"
    more.write_text("Time,x\n", encoding="utf-8")
    assert out_of_date(job) == set()
    more.unlink()


def test_the_point_map_is_read_by_every_step(ran):
    job, _ = ran
    assert changed(job, "points.chw_flow.unit", "L/s") == {step.name for step in JUDGED}


def test_the_places_read_stand_in_the_file_and_no_place_is_unknown(ran):
    job, _ = ran
    for step in JUDGED:
        assert reads.EVERYTHING not in job.get(f"state.{step.name}.read"), step


def others():
    """Every limit and answer of the plant with another value that can be."""
    for limit in STANDARD:
        if isinstance(limit.value, float):
            yield f'limits."{limit.name}"', {
                "value": limit.value * 0.7, "reason": "r", "author": "a"}
    yield from (
            ("plant.tower_approach.value", 11.0), ("plant.exchanger_approach.value", 5.0),
            ("plant.exchanger.load", 100.0), ("plant.equipment_limit", 1),
            ("plant.loop_volume", 90000.0), ("plant.demand_window", "sliding"),
            ("plant.chiller_1.minimum_water_lift", 25.0), ("plant.chiller_1.cutout", 50.0),
            ("plant.chiller_1.capacity", 100.0), ("site.altitude", 9000.0),
            ("job.condition", "forced"), ("site.wet_bulb_source", "calculated"),
            ("sensors.chw_supply_temp.accuracy", 3.0), ("sensors.cw_supply_temp.accuracy", 3.0))


@pytest.mark.full
def test_what_changes_a_verdict_puts_its_step_out_of_date(ran):
    """The other way round: no changed outcome stands as if it were still true."""
    job, before = ran
    text = job.file.read_bytes()
    moved = 0
    for path, value in others():
        job.put(path, value)
        stale = out_of_date(job)
        try:
            test = assemble(job)
        except Exception:  # an answer that cannot be, with the others as they are
            job.file.write_bytes(text)
            continue
        for step in JUDGED:
            if [asdict(check) for check in step.judge(test)] != before[step.name]:
                assert step.name in stale, (path, step.name)
                moved += 1
        job.file.write_bytes(text)
    assert moved > 20
