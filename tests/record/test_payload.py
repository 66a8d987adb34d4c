"""The payload: plain, rounded, complete, valid, and the same where nothing changed."""

from __future__ import annotations

import dataclasses
import json
import math
import tomllib
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import record_support as support

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.job.schema import Instrument, Reading
from fptlib.limits import Limits
from fptlib.procedure import verdict
from fptlib.record import canonical, render, schema
from fptlib.record.canonical import plain
from fptlib.record.deficiencies import deficiencies
from fptlib.record.payload import payload
from fptlib.record.verify import verify
from fptlib.trends.grid import AlarmText, Remark, TrendFile


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


@pytest.fixture
def content(job: Job) -> dict[str, Any]:
    return support.make_payload(job)


# What commissioning practice asks a functional-test record to hold (Standard 202-2018,
# Guideline 0-2019, Guideline 1.1-2007, as known from secondary sources), and its place here.
RECORD_CONTENT = {
    "test id": ("job.number", "T-001"),
    "revision": ("test.revision", "0"),
    "system and equipment tags": ("plant.exchanger.tag", "HX-1"),
    "purpose": ("test.purpose", None),
    "requirement clause": ("test.requirement", "OPR 4.2"),
    "sequence of operation": ("test.sequence", None),
    "its revision": ("test.sequence_revision", "C"),
    "date and time": ("test.trended_from", "2026-01-06T00:00:00-07:00"),
    "time zone": ("test.time_zone", "America/Denver"),
    "weather": ("test.weather", "clear, light wind"),
    "observed weather": ("test.observed_weather.outdoor_dry_bulb.lowest", 21),
    "participants": ("people.technician.name", "Avery Field"),
    "their roles": ("people.technician.firm_role", "test technician"),
    "prerequisites": ("prerequisites.0.text", "Trends set up at one minute"),
    "their sign-off": ("prerequisites.0.by", "Avery Field"),
    "instrument make and model": ("instruments.0.make_model", "thermometer"),
    "instrument serial": ("instruments.0.serial", "SN-1"),
    "instrument range": ("instruments.0.range", "0-120"),
    "instrument accuracy": ("instruments.0.accuracy", 0.2),
    "its unit": ("instruments.0.accuracy_unit", "degF"),
    "calibration date": ("instruments.0.calibrated", "2025-06-01T00:00:00-06:00"),
    "calibration due": ("instruments.0.due", "2026-06-01T00:00:00-06:00"),
    "initial conditions": ("test.initial_conditions", None),
    "overrides": ("overrides.0.point", "chiller_2_running"),
    "step-by-step procedure": ("procedure.edition", "standard 1"),
    "its text": ("procedure.workbooks.04_lift.ipynb.sha256", None),
    "steps": ("steps.0.title", "Instruments and trends"),
    "acceptance limits": ("limits.in_force.0.name", "decision.rule"),
    "stated before the test": ("limits.unchanged_since_frozen", None),
    "actual response": ("checks.2.reason", None),
    "pass or fail per step": ("steps.5.verdict", "fail"),
    "trend references": ("inputs.trends.plant.csv.sha256", None),
    "deficiency id": ("deficiencies.0.number", "D1"),
    "deficiency severity": ("deficiencies.0.severity", "major"),
    "responsible party": ("deficiencies.0.responsible", "controls contractor"),
    "corrective action": ("deficiencies.0.corrective_action", ""),
    "retest: steps": ("deficiencies.0.retest", ["recovery"]),
    "retest: cost party": ("deficiencies.0.cost_party", ""),
    "retest: who and when": ("retest", {}),
    "abort criteria": ("abort.0.text", "Supply above 56 degF for five minutes"),
    "safe state": ("test.safe_state", None),
    "return to normal": ("test.returned_to_normal", None),
    "override release": ("overrides.0.released", "2026-01-19T16:00:00-07:00"),
    "sampling": ("test.sampling", ""),
    "seasonal deferral": ("test.deferred_until", ""),
    "signatures": ("signatures_required", ["technician", "engineer"]),
}


@pytest.mark.parametrize("what", RECORD_CONTENT)
def test_the_content_of_a_test_record_has_its_place(content: dict[str, Any], what: str) -> None:
    path, expected = RECORD_CONTENT[what]
    found = _at(content, path)
    if expected is not None:
        assert found == expected


def _at(content: Any, path: str) -> Any:
    """The member at a dotted path; file names hold dots, so the longest name wins."""
    if not path:
        return content
    parts = path.split(".")
    if isinstance(content, list):
        return _at(content[int(parts[0])], ".".join(parts[1:]))
    for size in range(len(parts), 0, -1):
        if ".".join(parts[:size]) in content:
            return _at(content[".".join(parts[:size])], ".".join(parts[size:]))
    raise KeyError(path)


def test_it_is_plain_json_and_canonical(content: dict[str, Any]) -> None:
    data = canonical.encode(content)
    assert canonical.decode(data, "it") == json.loads(data)


def test_the_same_job_gives_the_same_bytes(job: Job, content: dict[str, Any]) -> None:
    assert canonical.encode(support.make_payload(job)) == canonical.encode(content)


def test_it_states_the_files_with_digest_and_size(job: Job, content: dict[str, Any]) -> None:
    trend = (job.trends_folder / "plant.csv").read_bytes()
    assert content["inputs"]["trends"]["plant.csv"] == {
        "sha256": canonical.digest(trend), "size": len(trend)}
    stated = content["inputs"]["job.toml"]
    assert stated["text"].encode() == job.file.read_bytes()
    assert stated["sha256"] == canonical.digest(job.file.read_bytes())


def test_it_states_deviations_and_whether_the_limits_stayed(job: Job) -> None:
    content = support.make_payload(job)
    (dwell,) = [row for row in content["limits"]["in_force"] if row["name"] == "enable.dwell"]
    assert (dwell["value"], dwell["standard"]) == (45, 30)
    assert dwell["deviation"]["reason"] == "slow sump"
    assert content["limits"]["unchanged_since_frozen"] is None
    job.put("frozen.limits", support.LIMITS.digest())
    assert support.make_payload(job)["limits"]["unchanged_since_frozen"] is True
    job.put("frozen.limits", Limits().digest())
    assert support.make_payload(job)["limits"]["unchanged_since_frozen"] is False


def test_an_empty_job_gives_a_valid_payload(tmp_path: Path) -> None:
    job = support.make_job(tmp_path / "bare", "[job]\n")
    job.readings_file.unlink()
    trends = dataclasses.replace(
        support.make_trends(job), columns={}, rows=0)
    content = payload(job, trends, Limits(), [], [], {}, made=support.MOMENT)
    assert content["inputs"]["readings.csv"] is None
    assert content["signatures_required"] == ["technician"]


@pytest.mark.parametrize(("toml", "said"), [
    ("people = 7\n", "people"), ("deficiencies = 'x'\n", "deficiencies"),
    ("frozen = 1\n", "frozen"), ("abort = ['x']\n", "abort"),
])
def test_answers_of_the_wrong_kind_are_told_in_a_sentence(
    tmp_path: Path, toml: str, said: str
) -> None:
    job = support.make_job(tmp_path / "bad", toml)
    with pytest.raises(RecordError, match=said):
        schema.current(support.make_payload(job))


def test_a_file_that_is_no_notebook_is_named(job: Job) -> None:
    (job.workbooks_folder / "05_handover.ipynb").write_text("[]")
    with pytest.raises(RecordError, match=r"05_handover\.ipynb"):
        support.make_payload(job)


def test_an_infinite_number_is_named(job: Job) -> None:
    with pytest.raises(RecordError, match=r"lift\.minimum"):
        support.make_payload(job, [support.make_check("lift.minimum", measured=math.inf)])


@pytest.mark.parametrize(("value", "expected"), [
    (1.23456, 1.2346), (-0.00001, 0.0), (float("nan"), None), (np.float64(2.5), 2.5),
    (np.int64(7), 7), (True, True), (np.bool_(True), True), (2**60, str(2**60)),
    (pd.NaT, None), (date(2026, 1, 2), "2026-01-02"),
    (datetime(2026, 1, 2, 3, 4), "2026-01-02T03:04:00"),
    (verdict.Verdict.PASS, "pass"), ((1, None), [1, None]), ({"a": (1,)}, {"a": [1]}),
])
def test_values_become_plain(value: Any, expected: Any) -> None:
    found = plain(value, "it")
    assert found == expected and type(found) is type(expected)
    assert canonical.encode(found) != b"-0"


@pytest.mark.parametrize("value", [math.inf, -math.inf, b"bytes", object()])
def test_what_json_has_no_place_for_is_refused(value: Any) -> None:
    with pytest.raises(RecordError, match="it"):
        plain(value, "it")


@pytest.mark.parametrize(("kind", "member"), [
    (verdict.Check, "checks"), (verdict.Event, "checks.events"), (Reading, "readings"),
    (Instrument, "instruments"), (TrendFile, "trends.files"), (Remark, "trends.remarks"),
    (AlarmText, "trends.alarms"),
])
def test_the_schema_knows_every_field(kind: type, member: str) -> None:
    """A row may carry a further field, but whoever adds one describes it in the schema."""
    found = json.loads(schema.text())
    for name in member.split("."):
        found = found["properties"][name]
        found = found.get("items", found)
    assert {field.name for field in dataclasses.fields(kind)} <= set(found["properties"])


WORKSHEET = ("changeover", "subject", "first", "last", "quantities")


def _of_version_1(content: dict[str, Any]) -> dict[str, Any]:
    later = ("accuracy_unit", "taken", "taken_unit")
    bare = {part: [{name: value for name, value in row.items() if name not in later}
                   for row in content[part]] for part in ("instruments", "readings")}
    bare["checks"] = [{**check, "events": [
        {name: value for name, value in event.items() if name not in WORKSHEET}
        for event in check["events"]]} for check in content["checks"]]
    return {**support.of_version_3(content), "schema": {**content["schema"], "version": 1}, **bare}


def test_an_older_version_is_brought_up(content: dict[str, Any]) -> None:
    older = _of_version_1(content)
    kept = json.dumps(older)
    brought = schema.current(older)
    assert [row["accuracy_unit"] for row in brought["instruments"]] == ["", ""]
    assert [row["taken"] for row in brought["readings"]] == ["", ""]
    events = [event for check in brought["checks"] for event in check["events"]]
    assert events and all(event["quantities"] == {} and event["changeover"] is None
                          for event in events)
    assert support.of_version_3({
        **brought, "instruments": content["instruments"], "checks": content["checks"],
        "readings": content["readings"]}) == support.of_version_3(content)
    assert brought["statement"]["kind"] == "" and brought["deficiencies"][0]["status"] == "open"
    assert _of_version_1(brought)["checks"] == older["checks"]
    assert json.dumps(older) == kept


def test_an_older_version_is_held_against_its_own_schema(content: dict[str, Any]) -> None:
    older = {**_of_version_1(content), "instruments": 7}
    with pytest.raises(RecordError, match="instruments: 7 is not of type 'array'"):
        schema.current(older)
    unknown = {**content, "schema": {**content["schema"], "version": 0}}
    with pytest.raises(RecordError, match="version 0; this program reads up to 4"):
        schema.current(unknown)


def test_a_record_of_an_older_version_is_read_and_printed(
    job: Job, content: dict[str, Any]
) -> None:
    keys = support.make_keys()
    record = support.signed(_of_version_1(content), keys, ("technician",))
    assert verify(record, support.trust(keys), job).good
    assert "Accuracy ±" in render.html(record, {}).decode("utf-8")


def test_each_failure_is_a_numbered_deficiency() -> None:
    rows = [{"id": f"{step}.x", "step": step, "verdict": word, "reason": "found", "adjust": "set",
             "events": [], "meaning": "what failed"}
            for step, word in (("lift", "fail"), ("reset", "pass"), ("exit", "fail"),
                               ("transition", "fail"), ("enable", "indeterminate"))]
    found = deficiencies(rows, {"exit.x": {"due": "Friday", "severity": "minor"}}, {})
    assert [(item["number"], item["check"], item["severity"]) for item in found] == [
        ("D1", "lift.x", "critical"), ("D2", "exit.x", "minor"), ("D3", "transition.x", "minor")]
    assert found[0]["due"] == "before the economizer operates again"
    assert found[1]["due"] == "Friday"
    assert found[0]["retest"] == ["lift", "handover", "recovery"]
    assert all(item["recommended"] == "set" for item in found)
    assert all(item["status"] == "open" and item["title"] == "what failed" for item in found)
    again = deficiencies(rows, {}, {"transition.x": "D1", "lift.x": "D4"})
    assert {item["check"]: item["number"] for item in again} == {
        "lift.x": "D4", "exit.x": "D2", "transition.x": "D1"}


def test_the_critical_stands_first_and_each_says_what_a_contractor_needs(job: Job) -> None:
    late = support.make_check("instruments.calibration", measured=None, limit=None, margin=None)
    trip = support.make_check(
        "lift.minimum", adjust="Likely no floor, then a low cutout: limit the setpoint.")
    first, second = support.make_payload(job, [late, trip])["deficiencies"]
    assert (first["check"], second["check"]) == ("lift.minimum", "instruments.calibration")
    assert first["responsible"] == "controls contractor with the chiller manufacturer"
    assert first["required"] == "at most 2.0 °F; measured 5.1 °F"
    assert first["causes"] == ["no floor", "a low cutout"]
    assert first["at"] == "2026-01-12T06:10:00-07:00" and first["event"] == "changeover 2"


def test_a_trend_file_that_changed_after_it_was_judged_stops_the_record(job: Job) -> None:
    trends = support.make_trends(job)
    with (job.trends_folder / "plant.csv").open("ab") as stream:
        stream.write(b"\n")
    with pytest.raises(RecordError, match="'plant.csv' changed after it was judged"):
        payload(job, trends, support.LIMITS, [], [], {})


def test_the_firms_letterhead_stands_on_the_page(tmp_path: Path) -> None:
    head = '\n[procedure]\nletterhead = ["Paper Firm <b>", "an invented street"]\n'
    job = support.make_job(tmp_path / "firm", support.JOB_TOML + head)
    content = schema.current(support.make_payload(job))
    assert content["procedure"]["letterhead"] == ["Paper Firm <b>", "an invented street"]
    made = render.html(support.signed(content, support.make_keys(), ("technician",)), {})
    assert b"Paper Firm &lt;b&gt;, an invented street" in made


def test_the_packages_named_are_those_that_bear_on_the_numbers(content: dict[str, Any]) -> None:
    project = Path(__file__).resolve().parents[2] / "pyproject.toml"
    needed = tomllib.loads(project.read_text(encoding="utf-8"))["project"]["dependencies"]
    named = set(content["program"]["packages"])
    assert named <= {need.split(">=")[0] for need in needed}
    assert {"pandas", "pyarrow", "openpyxl"} <= named
