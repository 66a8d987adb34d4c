"""A job filled through its forms alone gives a record with everything that Standard 202-2018,
Guideline 0-2019 and Guideline 1.1-2007 ask a functional-test record to hold (their content lists
as known from secondary sources)."""

from __future__ import annotations

import io
from pathlib import Path

import pypdf
import pytest
import record_support as support
import small_plant
from form_views import form_view, rows_view, said

from fptlib.job import plan
from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.procedure.steps import CHECKS
from fptlib.record import render, signing
from fptlib.record.keys import make_key
from fptlib.workbook import panels, sign_off, upload

FORMS = {
    "job": {"title": "Changeover test, invented", "number": "T-77", "condition": "natural"},
    "site": {"name": "Invented works", "place": "Nowhere", "altitude": "4200",
             "time_zone": "America/Denver"},
    "plant": {"chillers": "1", "tower_cells": "1", "equipment_limit": "2"},
    "plant.exchanger": {"tag": "HX-1", "load": "700"},
    "plant.chiller_1": {"tag": "CH-1", "minimum_water_lift": "14", "cutout": "34"},
    "plant.tower_approach": {"value": "6", "basis": "observed", "remark": "January"},
    "plant.exchanger_approach": {"value": "2", "basis": "observed", "remark": "January"},
    "test.planned": {
        "purpose": "Show that the plant changes over", "requirement": "OPR clause 4.2",
        "revision": "2", "sequence": "Sequence M-701, clause 7", "sequence_revision": "C",
        "initial_conditions": "One chiller on, no alarm", "safe_state": "Economizer off, CH-1 on",
        "sampling": "One of one chiller", "deferred_until": "first cold spell",
        "deferral_reason": "no cold night yet"},
    "test.after": {"weather": "clear, 25 °F wet bulb",
                   "returned_to_normal": "2026-01-11 by A. Field: all in AUTO"},
    "findings": {"summary": "The return is too fast.", "conclusion": "Ramp it, then run."},
}
LISTS = {
    "people": [{"role": "technician", "name": "Avery Field", "firm_role": "Test firm, technician"},
               {"role": "engineer", "name": "Blair Senior", "firm_role": "Test firm, engineer"},
               {"role": "witness", "name": "Casey Owner", "firm_role": "Owner's witness"}],
    "points": [{"point": name, "file": "plant.csv", "column": name, "unit": unit}
               for name, unit in small_plant.COLUMNS.items()],
    "instruments": [{"tag": "T1", "make_model": "Thermometer X", "serial": "SN-101",
                     "range": "0 to 120 °F", "accuracy": "0.2", "accuracy_unit": "degF",
                     "calibrated": "2025-06-01", "due": "2026-06-01"}],
    "settings": [{"name": "enable.dwell", "specified": "30", "source": "sequence of operation",
                  "revision": "C", "programmed": "20", "read_by": "AF"}],
    "prerequisites": [{"text": "Trends set up and checked point to point", "done": "yes",
                       "by": "Avery Field"}],
    "overrides": [{"point": "chw_reset_setpoint", "value": "52", "placed": "2026-01-09 19:00",
                   "released": "2026-01-09 20:00", "by": "Operator", "reason": "to induce it",
                   "readback": "AUTO, 48 °F"}],
    "abort": [{"text": "Condenser water below 36 °F", "watched": "cw_supply_temp",
               "side": "below", "limit": "36", "stop_within": "5"}],
    "readings": [{"time": "2026-01-10 19:05", "point": "chw_supply_temp", "value": "48.1",
                  "instrument": "T1", "taken_by": "AF"}],
    "deficiencies": [{"check": "recovery.duration",
                      "corrective_action": "Ramp set to 2 °F in 10 min",
                      "responsible": "controls contractor", "cost_party": "controls contractor",
                      "setting_from": "step", "setting_to": "2 °F in 10 min",
                      "status": "corrected", "status_by": "Avery Field",
                      "remark": "retest on the next cold night, whole transition"}],
    "approvals": [{"role": "owner", "name": "Casey Owner"},
                  {"role": "controls contractor", "name": "Dana Controls"}],
}
# What the lists ask for, and what of it must be read on the exported pages.
CONTENT = {
    "test id": "T-77", "revision": "Test revision 2", "system and equipment tags": "HX-1",
    "chiller tags": "CH-1", "purpose": "Show that the plant changes over",
    "requirement clause": "OPR clause 4.2", "sequence clause": "Sequence M-701, clause 7",
    "sequence revision": "Sequence M-701, clause 7 C", "date and time": "2026-01-10 00:00 -07:00",
    "time zone": "America/Denver", "weather as noted": "clear, 25 °F wet bulb",
    "weather as trended": "Trended outdoor wet bulb", "participants": "Avery Field",
    "roles": "Test firm, technician", "owner's witness": "Owner's witness",
    "conditions on page 1": "Conditions natural; wet bulb",
    "equipment on page 1": "Equipment CH-1, HX-1",
    "prerequisites": "Trends set up and checked point to point yes Avery Field",
    "instrument": "T1 Thermometer X SN-101", "range": "0 to 120 °F", "accuracy": "0.2 °F",
    "calibration date and due": "2025-06-01 2026-06-01", "initial conditions":
    "One chiller on, no alarm", "overrides": "reset setpoint 52 2026-01-09 19:00",
    "override release": "AUTO, 48 °F", "who overrode and why": "Operator to induce it",
    "procedure step by step": "Pull-down: read leaving condenser water",
    "expected response with limit": "Lift: CH-1 at least 14 °F",
    "limits stated before the test": "Frozen by", "actual response": "lift read as 17 °F",
    "pass or fail per step": "2026-01-10 20:30 -07:00 AF pass", "who saw it": "AF",
    "trend references": "plant.csv", "attachments": "record.json",
    "deficiency id": "Deficiency D", "severity": "Severity",
    "responsible party": "controls contractor", "corrective action": "Ramp set to 2 °F in 10 min",
    "status": "corrected, Avery Field", "retest steps": "Steps to repeat Setpoint recovery",
    "who pays": "Cost borne by controls contractor",
    "retest remark": "retest on the next cold night", "abort criteria":
    "condenser water leaving the towers or the sump below 36 °F",
    "safe state": "Economizer off, CH-1 on",
    "return to normal": "2026-01-11 by A. Field: all in AUTO", "sampling": "One of one chiller",
    "seasonal deferral": "first cold spell", "reason": "no cold night yet",
    "sequence contradictions": "specified 30 min, programmed 20 min",
    "plan approval": "owner Casey Owner", "controls": "controls contractor Dana Controls",
    "signature": "technician Avery Field performed",
}


def fill(view, row: dict[str, str]) -> None:
    for name, typed in row.items():
        view.fields[name].control.value = typed


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    """A fresh job, filled as its pages are: nothing is written into job.toml but by a form."""
    root = tmp_path_factory.mktemp("forms")
    trends = small_plant.write_job(root / "source") / "trends" / "plant.csv"
    job = start(root / "job", "to be named")
    upload.take_in(job, "plant.csv", trends.read_bytes())
    for path, row in FORMS.items():
        view = form_view(job, path)
        for name, typed in row.items():
            view.fields[f"{view.section.table.path}.{name}"].control.value = typed
    for path, rows in LISTS.items():
        if path == "approvals":
            script(job)
            panel = panels.freeze(job)
            panel.widget.children[2].click()
        view = rows_view(job, path)
        for row in rows:
            fill(view, row)
            view.save.click()
            assert "saved" in said(view.message), said(view.message)
    for role, name in (("owner", "Casey Owner"), ("engineer", "Blair Senior")):
        approve(job, root / f"{role}.key", role, name)
    return job


def approve(job: Job, key: Path, of: str, by: str) -> None:
    make_key(key, "four words of an owner")
    panel = panels.approve(job)
    role, name, file, secret, buttons = panel.widget.children[1:6]
    role.value, name.value, file.value = of, by, str(key)
    secret.value = "four words of an owner"
    buttons.children[0].click()
    assert f"approved by {of} {by}" in panel.message.widget.value


def script(job: Job) -> None:
    panels.make_script(job).widget.children[1].click()
    view = rows_view(job, "script")
    for number, row in enumerate(job.get("script")):
        view.chooser.value = number
        if "lift.minimum" in row.get("checks", "") and row["kind"] == "natural":
            fill(view, {"observed": "lift read as 17 °F", "initials": "AF", "outcome": "pass",
                        "time": "2026-01-10 20:30-07:00"})
        else:
            fill(view, {"outcome": "not done", "remark": "not tonight"})
        view.save.click()
        assert "step saved" in said(view.message), said(view.message)


@pytest.fixture(scope="module")
def text(job: Job) -> str:
    content = sign_off._stated(job, sign_off.compute(job))
    key = support.make_keys()["technician"]
    record = signing.sign(content, key, "technician", "Avery Field", support.MOMENT)
    pages = pypdf.PdfReader(io.BytesIO(render.pdf(record, {}))).pages
    return squeezed(" ".join(page.extract_text() for page in pages))


def squeezed(text: str) -> str:
    return "".join(text.replace("\u200b", "").split())


@pytest.mark.parametrize("what", CONTENT)
def test_the_exported_record_holds(text: str, what: str) -> None:
    assert squeezed(CONTENT[what]) in text, what


def test_it_is_a_functional_test_and_nothing_essential_is_missing(job: Job) -> None:
    told = sign_off._stated(job, sign_off.compute(job))["statement"]
    assert told["kind"] == "functional test" and told["preliminary"] == []


def test_a_change_after_the_approval_is_named(job: Job) -> None:
    assert plan.changes(job.answers()) == []
    held = job.answers()
    held["abort"][0]["limit"] = 30
    held["prerequisites"][0]["by"] = "someone else"
    assert plan.changes(held) == [
        f"Stop the test when: changed after {name} ({role}) approved the plan; have it approved "
        "again" for role, name in (
            ("controls contractor", "Dana Controls"), ("owner", "Casey Owner"),
            ("engineer", "Blair Senior"))]


def test_each_step_of_the_script_points_to_checks_that_there_are(job: Job) -> None:
    rows = job.get("script")
    assert [row["number"] for row in rows] == list(range(1, len(rows) + 1))
    named = {id for row in rows for id in row.get("checks", "").split(", ") if id}
    assert named <= set(CHECKS)
    kinds = [row["kind"] for row in rows]
    assert kinds[kinds.index("induced") + 1] == "return" and kinds[-1] == "return"
    assert sum(kind == "failure" for kind in kinds) == 6


@pytest.mark.parametrize(("row", "sentence"), [
    ({"number": "1", "action": "A", "checks": "lift.none"}, "there is no check 'lift.none'"),
    ({"number": "1", "action": "A", "outcome": "pass"}, "needs what was observed"),
    ({"number": "1", "action": "A", "outcome": "not done"}, "needs its reason"),
])
def test_a_step_that_proves_nothing_is_refused(tmp_path, row, sentence) -> None:
    view = rows_view(start(tmp_path / "job", "A"), "script")
    fill(view, row)
    view.save.click()
    assert sentence in said(view.message)


def test_a_script_that_was_performed_is_not_made_anew(job: Job) -> None:
    panel = panels.make_script(job)
    panel.widget.children[1].click()
    assert "were performed already" in said(panel.message)


def test_an_alarm_is_never_overridden_and_a_plan_is_approved_frozen(tmp_path) -> None:
    fresh = Job(small_plant.write_job(tmp_path / "job"))
    view = rows_view(fresh, "overrides")
    fill(view, {"point": "chiller_1_alarm"})
    view.save.click()
    assert "an alarm is a safety" in said(view.message)
    view = rows_view(fresh, "approvals")
    fill(view, {"role": "owner", "name": "A"})
    view.save.click()
    assert "the limits are not frozen" in said(view.message)
