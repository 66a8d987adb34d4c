"""A plant of four chillers, two exchangers, six tower cells and three sumps goes through forms,
live test, figures and record; several exchangers and sumps accuse nobody wrongly.
"""

from __future__ import annotations

import io
import shutil
from dataclasses import replace

import big_plant
import numpy as np
import pypdf
import pytest
import record_support as support
from form_views import form_view, rows_view, said

from fptlib.job import answers as job_answers
from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.procedure.assemble import assemble, with_fan_speeds
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import JUDGED, STEPS, all_checks, judge
from fptlib.procedure.verdict import Verdict
from fptlib.record import render, signing
from fptlib.workbook import evidence, live, panels, run, sign_off, upload
from fptlib.workbook.figures import sketch
from fptlib.workbook.live_readings import codes

FORMS = {
    "site": {"name": "Invented works", "place": "Nowhere", "altitude": "4200",
             "time_zone": big_plant.ZONE},
    "plant": {"chillers": "4", "tower_cells": "6", "exchangers": "2", "sumps": "3",
              "equipment_limit": "9", "pumps": "4"},
    "plant.exchanger": big_plant.DESIGN,
    **{f"plant.chiller_{n}": {"tag": f"CH-{n}", "minimum_water_lift": "14", "cutout": "32"}
       for n in range(1, 5)},
    "plant.tower_approach": {"value": "6", "basis": "observed", "remark": "January"},
    "plant.exchanger_approach": {"value": "1.8", "basis": "observed", "remark": "January"},
}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """Filled as its pages are: nothing is written into job.toml but by a form."""
    root = tmp_path_factory.mktemp("big")
    trends = big_plant.write_trends(root / "plant.csv")
    job = start(root / "job", "Large plant, invented")
    upload.take_in(job, "plant.csv", trends.read_bytes())
    for path, row in FORMS.items():
        view = form_view(job, path)
        for name, typed in row.items():
            view.fields[f"{view.section.table.path}.{name}"].control.value = typed
    view = rows_view(job, "points")
    for name in big_plant.frame().columns:
        for field, typed in {"point": name, "file": "plant.csv", "column": name,
                             "unit": big_plant.unit(name)}.items():
            view.fields[field].control.value = typed
        view.save.click()
        assert "saved" in said(view.message), name
    return job


@pytest.fixture(scope="module")
def test(job: Job) -> FunctionalTest:
    return assemble(job, keep=False)


def test_every_machine_is_in_the_plan_and_the_sound_plant_fails_nothing(test: FunctionalTest):
    assert test.chiller_numbers == [1, 2, 3, 4] and test.tower_numbers == [1, 2, 3, 4, 5, 6]
    assert (test.plant.exchangers, test.plant.sumps, test.pump_numbers) == (2, 3, [1, 2, 3, 4])
    failed = [f"{row.id}: {row.reason}" for row in all_checks(test) if row.verdict is Verdict.FAIL]
    assert not failed, failed
    # Three chillers ran and stopped half an hour apart; the fourth is the standby.
    assert {event.subject for event in judge(test, "lift.minimum").events} == {
        f"chiller {n} water lift" for n in (1, 2, 3)}
    assert judge(test, "exit.equipment").verdict is Verdict.PASS
    # At default accuracies a small approach leaves UA to a fifth.
    assert 85.0 < judge(test, "running.exchanger").events[0].measured < 115.0
    assert "3 sumps together" in judge(test, "cold.condenser_water").events[0].text


def test_figures_and_sketch_show_all_of_it(job: Job, test: FunctionalTest):
    for step in JUDGED:
        drawn = evidence.of(step.name, test, step.judge(test))
        assert drawn.png().startswith(b"\x89PNG")
        _nothing_cut_off(drawn.figure)
    drawn = sketch.figure(job.answers())
    assert "4 chillers and 2 exchangers" in drawn.sentence and "3 sumps" in drawn.sentence
    words = {text.get_text() for text in drawn.figure.axes[0].texts}
    assert {"CH-1", "CH-2", "CH-3", "CH-4", "HX-1 and HX-2", "3 sumps", "6 tower\ncells"} <= words


def _nothing_cut_off(figure) -> None:
    wide, high = figure.canvas.get_width_height()
    for ax in figure.axes:
        for text in (*ax.texts, ax.title, ax._left_title):
            if not text.get_text() or not text.get_visible():
                continue
            box = text.get_window_extent()
            assert box.x0 >= -1 and box.x1 <= wide + 1, text.get_text()
            assert box.y0 >= -1 and box.y1 <= high + 1, text.get_text()


def test_the_live_test_asks_for_every_chiller_and_takes_its_readings(
        job: Job, tmp_path_factory: pytest.TempPathFactory):
    """Marks and spot readings as they are typed; the fourth chiller's lift is watched too."""
    folder = tmp_path_factory.mktemp("live") / "job"
    shutil.copytree(job.folder, folder)
    live_job = Job(folder)
    view = rows_view(live_job, "instruments")
    for field, typed in {"tag": "T1", "make_model": "Thermometer X", "serial": "1",
                         "accuracy": "0.2", "accuracy_unit": "degF", "calibrated": "2025-06-01",
                         "due": "2030-06-01"}.items():
        view.fields[field].control.value = typed
    view.save.click()
    view = rows_view(live_job, "abort")
    for field, typed in {"text": "Water lift below 19 °F", "watched": "water_lift",
                         "side": "below", "limit": "19", "stop_within": "5"}.items():
        view.fields[field].control.value = typed
    view.save.click()
    panel = live.LivePanel(live_job)
    panel.instrument.value, panel.by.value = "T1", "AF"
    asked = live.asked([{"what": live.START}, {"what": live.REQUEST}], 4)
    assert {f"chiller_{n}_cw_leaving_temp" for n in range(1, 5)} <= set(asked)
    short = {point: code for code, point in codes(4).items()}
    for typed in ("start", "1", f"{short['chiller_4_cw_leaving_temp']} 58.2",
                  f"{short['chiller_4_chw_leaving_temp']} 40.1"):
        panel.spot.value = typed
        assert "✗" not in said(panel.message), said(panel.message)
    assert "chiller_4_cw_leaving_temp" in live_job.readings_file.read_text(encoding="utf-8")
    # 58.2 less 40.1 °F: the lift of the fourth, the only one read, is below it.
    assert "18.1" in panel.watch.value and "stop" in panel.watch.value


def test_the_record_names_them(job: Job):
    panels.make_script(job).widget.children[1].click()
    content = sign_off._stated(job, sign_off.compute(job))
    key = support.make_keys()["technician"]
    record = signing.sign(content, key, "technician", "Avery Field", support.MOMENT)
    pages = pypdf.PdfReader(io.BytesIO(render.pdf(record, {}))).pages
    text = "".join("".join(page.extract_text() for page in pages).split())
    for words in ("CH-1", "CH-4", "HX-1 and HX-2"):
        assert words.replace(" ", "") in text, words


@pytest.mark.full
def test_every_workbook_runs(job: Job):
    stopped = [f"{found.file}: {found.stopped}" for found in run.run_all(job) if found.stopped]
    assert not stopped and len(STEPS) >= 12


def test_an_idle_one_of_two_exchangers_is_not_taken_for_fouling(test: FunctionalTest):
    """Half the flow and half the heat through one of two, at the same approach: together they have
    half their UA, and none is fouled."""
    columns = dict(test.grid.columns)
    for name in ("hx_chw_flow", "hx_cw_flow"):
        columns[name] = 0.5 * columns[name]
    half = replace(test, grid=replace(test.grid, columns=columns))
    row = judge(half, "running.exchanger")
    assert row.verdict is Verdict.INDETERMINATE and "which of the 2 exchangers" in row.reason
    assert judge(half, "load.cause").verdict is not Verdict.FAIL
    alone = replace(half, plant=replace(half.plant, exchangers=1))
    assert judge(alone, "running.exchanger").verdict is Verdict.FAIL


def test_two_fouled_exchangers_that_both_carry_water_are_found(test: FunctionalTest):
    """Four fifths of the design flow is more than one alone would take; 3 °F more approach."""
    columns = dict(test.grid.columns)
    for name in ("hx_cw_entering_temp", "hx_cw_leaving_temp"):
        columns[name] = columns[name] - 3.0
    dirty = replace(test, grid=replace(test.grid, columns=columns))
    assert judge(dirty, "running.exchanger").verdict is Verdict.FAIL


def test_one_basin_of_three_proves_nothing_of_the_others(test: FunctionalTest):
    columns = {**test.grid.columns, "basin_temp": np.full(len(test), 44.0) + 0.1 * np.sin(
        np.arange(len(test))), "basin_heater_running": np.zeros(len(test))}
    cold = replace(test.plant, cold=replace(test.plant.cold, basin_heater=40.0))
    found = [judge(replace(test, grid=replace(test.grid, columns=columns), plant=replace(
        cold, sumps=sumps)), "cold.basin") for sumps in (3, 1)]
    assert found[0].verdict is Verdict.NOT_TESTED and "measure the others' water" in found[0].reason
    assert found[1].verdict is Verdict.PASS


def test_single_speed_fans_are_judged_by_their_status(job: Job):
    """Their speed is their status; what steps of whole fans cannot hold accuses nobody."""
    test = assemble(job, keep=False)
    names = [f"tower_{n}_fan_speed" for n in range(1, 7)]
    columns = {name: held for name, held in test.grid.columns.items() if name not in names}
    plant = replace(job_answers.plant(job.answers()), fans="single speed")
    found = with_fan_speeds(replace(test.grid, columns=columns), plant)
    assert np.all(found.columns["tower_6_fan_speed"] == 100.0)
    steps = replace(test, grid=found, plant=plant)
    assert judge(steps, "cold.fans").verdict is Verdict.PASS
    # Six cells, all at maximum by their status, and three pumps: nine.
    for limit, verdict in ((9, Verdict.PASS), (8, Verdict.FAIL)):
        less = replace(steps, plant=replace(plant, equipment_limit=limit))
        assert judge(less, "exit.equipment").verdict is verdict
    assert judge(steps, "running.tower_tracking").verdict is Verdict.NOT_APPLICABLE
    assert judge(steps, "running.overcooling").verdict is not Verdict.FAIL
    without = replace(steps, grid=replace(test.grid, columns=columns), plant=test.plant)
    assert judge(without, "cold.fans").verdict is Verdict.NOT_TESTED


def test_two_speed_fans_are_judged_by_their_stage(test: FunctionalTest):
    """A stage trended as a speed, half or full: what it can show is judged, what steps cannot
    hold accuses nobody."""
    columns = dict(test.grid.columns)
    for n in range(1, 7):
        columns[f"tower_{n}_fan_speed"] = np.where(np.arange(len(test)) // 6 % 2, 100.0, 50.0)
    steps = replace(test, grid=replace(test.grid, columns=columns),
                    plant=replace(test.plant, fans="two-speed"))
    assert judge(steps, "cold.fans").verdict is Verdict.PASS
    assert judge(steps, "running.tower_tracking").verdict is Verdict.NOT_APPLICABLE
    assert judge(steps, "running.overcooling").verdict is not Verdict.FAIL


def test_headered_pumps_count_as_many_as_run(test: FunctionalTest):
    """Four pumps on one header, whichever of them run: three count."""
    columns = dict(test.grid.columns)
    columns["pump_4_running"], columns["pump_1_running"] = (
        columns["pump_1_running"], columns["pump_4_running"])
    swapped = replace(test, grid=replace(test.grid, columns=columns))
    for each in (test, swapped):
        assert judge(each, "exit.equipment").verdict is Verdict.PASS
    lacking = {name: held for name, held in columns.items() if name != "pump_2_running"}
    row = judge(replace(test, grid=replace(test.grid, columns=lacking)), "exit.equipment")
    assert row.verdict is Verdict.NOT_TESTED and row.missing == ("pump_2_running",)


def test_a_primary_secondary_plant_is_judged_at_its_decoupler(test: FunctionalTest):
    columns = {**test.grid.columns, "decoupler_flow": 0.1 * test.grid.columns["chw_flow"]}
    forward = replace(test, grid=replace(test.grid, columns=columns))
    back = replace(test, grid=replace(test.grid, columns={
        **columns, "decoupler_flow": -columns["decoupler_flow"]}))
    assert judge(forward, "load.decoupler").verdict is Verdict.PASS
    assert judge(back, "load.decoupler").verdict is Verdict.FAIL


def test_chillers_that_share_the_plants_sensors_are_judged_by_them(test: FunctionalTest):
    """Without a leaving-water sensor of their own the plant's supply stands for it."""
    columns = {name: held for name, held in test.grid.columns.items()
               if not name.endswith("chw_leaving_temp") or name.startswith("hx")}
    row = judge(replace(test, grid=replace(test.grid, columns=columns)), "lift.minimum")
    assert row.verdict in (Verdict.PASS, Verdict.INDETERMINATE) and len(row.events) == 3


def each_of_two(test: FunctionalTest, worse: float = 0.0, alike: str = "yes") -> FunctionalTest:
    """Half of both flows through each exchanger; the second leaves its chilled water so many degF
    warmer and its condenser water as much colder, the first makes up for it."""
    columns = dict(test.grid.columns)
    for n, off in ((1, -worse), (2, worse)):
        for name in ("chw_flow", "cw_flow"):
            columns[f"hx_{n}_{name}"] = 0.5 * columns[f"hx_{name}"]
        ratio = columns["hx_chw_flow"] / np.maximum(columns["hx_cw_flow"], 1.0)
        columns[f"hx_{n}_chw_leaving_temp"] = columns["hx_chw_leaving_temp"] + off
        columns[f"hx_{n}_cw_leaving_temp"] = columns["hx_cw_leaving_temp"] - off * ratio
    return replace(test, grid=replace(test.grid, columns=columns),
                   plant=replace(test.plant, exchangers_alike=alike))


def test_the_fouled_one_of_two_exchangers_is_named(test: FunctionalTest):
    """Both together have their UA; 1.8 °F more approach take about a half of the second's."""
    row = judge(each_of_two(test), "running.exchanger")
    assert {event.subject for event in row.events} == {"", "exchanger 1", "exchanger 2"}
    together, *each = (event.measured for event in row.events)
    assert each == pytest.approx([together] * 2, rel=0.01)
    found = judge(each_of_two(test, 1.8), "running.exchanger")
    assert found.verdict is Verdict.FAIL and "exchanger 2" in found.reason
    failed = [event.subject for event in found.events if event.verdict is Verdict.FAIL]
    assert failed == ["exchanger 2"]
    unstated = judge(each_of_two(test, 1.8, "not stated"), "running.exchanger")
    assert unstated.verdict is Verdict.INDETERMINATE
    assert any("of one size" in event.text for event in unstated.events)


def test_an_idle_one_of_two_is_not_judged(test: FunctionalTest):
    columns = dict(each_of_two(test).grid.columns)
    columns["hx_2_chw_flow"] = 0.0 * columns["hx_2_chw_flow"]
    idle = replace(each_of_two(test), grid=replace(test.grid, columns=columns))
    assert "exchanger 2" not in {event.subject for event in judge(
        idle, "running.exchanger").events}


def test_the_coldest_of_three_sumps_is_found(test: FunctionalTest):
    """33 °F in the third, where all three together leave 46: below the 36 °F of the limit."""
    columns = dict(test.grid.columns)
    for n in (1, 2, 3):
        columns[f"sump_{n}_temp"] = columns["cw_supply_temp"] - (14.0 if n == 3 else 0.0)
    cold = replace(test, grid=replace(test.grid, columns=columns))
    row = judge(cold, "cold.condenser_water")
    assert row.verdict is Verdict.FAIL and "sump 3" in row.reason
    assert "together" not in row.reason
    columns["sump_3_temp"] = columns["sump_2_temp"]
    assert judge(replace(test, grid=replace(test.grid, columns=columns)),
                 "cold.condenser_water").verdict is Verdict.PASS
