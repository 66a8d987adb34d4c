"""Verification against a job folder: every change is found and named."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import record_support as support

from fptlib.job.folder import Job
from fptlib.record import canonical, signing, store
from fptlib.record.trusted_keys import COMPROMISED, TrustedKeys
from fptlib.record.verify import Verification, verify

KEYS = support.make_keys()
TRUSTED = support.trust(KEYS)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


@pytest.fixture
def record(job: Job) -> bytes:
    return support.signed(support.make_payload(job), KEYS, ("technician", "engineer"))


def flip(path: Path, place: int, mask: int = 0x01) -> None:
    data = bytearray(path.read_bytes())
    data[place] ^= mask
    path.write_bytes(data)


def test_a_whole_record_of_an_unchanged_job(job: Job, record: bytes) -> None:
    found = verify(record, TRUSTED, job)
    assert found.good and not found.awaited and not found.sent_back
    assert found.lines()[0].endswith("whole and unchanged")
    text = "\n".join(found.lines())
    for said in ("technician Avery Field signed at 2026-01-20 17:30 +00:00",
                 "engineer Blair Senior", KEYS["technician"].thumbprint):
        assert said in text


@pytest.mark.parametrize("name", ["plant.csv", "weather.csv"])
def test_every_flipped_byte_of_a_trend_file_is_named(job: Job, record: bytes, name: str) -> None:
    path = job.trends_folder / name
    whole = path.read_bytes()
    for place in range(len(whole)):
        flip(path, place)
        assert verify(record, TRUSTED, job).changes == (f"trend file {name} changed",)
        path.write_bytes(whole)
    assert verify(record, TRUSTED, job).good


def test_every_flipped_byte_of_the_readings_is_named_with_its_row(
    job: Job, record: bytes
) -> None:
    path = job.readings_file
    whole = path.read_bytes()
    for place in range(len(whole)):
        flip(path, place)
        row = whole[:place].count(b"\n") + 1
        (said,) = verify(record, TRUSTED, job).changes
        assert said.startswith("readings.csv changed in row ")
        assert str(row) in said
        path.write_bytes(whole)


def test_every_flipped_byte_of_the_answers_is_named(tmp_path: Path) -> None:
    toml = '[job]\nnumber = "A"\n[limits."enable.dwell"]\nvalue = 45 # slow sump\n'
    job = support.make_job(tmp_path / "compact", toml)
    record = support.signed(support.make_payload(job), KEYS, ("technician",))
    path = job.file
    whole = path.read_bytes()
    for place in range(len(whole)):
        flip(path, place)
        found = verify(record, TRUSTED, job)
        assert not found.good
        assert any("job.toml" in said for said in found.changes), place
        path.write_bytes(whole)


def test_a_changed_limit_is_named_with_both_values(job: Job, record: bytes) -> None:
    job.put('limits."enable.dwell".value', 60)
    job.put('limits."lift.floor"', {"value": 36, "reason": "r", "author": "a", "date": "d"})
    said = verify(record, TRUSTED, job).changes
    assert "job.toml: limit 'enable.dwell' (value) was '45', is now '60'" in said
    assert "job.toml: limit 'lift.floor' (value) was absent, is now '36'" in said


def test_a_changed_answer_is_named_and_a_comment_told_apart(job: Job, record: bytes) -> None:
    whole = job.file.read_bytes()
    job.file.write_bytes(whole + b"# a remark\n")
    assert "comments or layout only" in verify(record, TRUSTED, job).changes[0]
    job.put("plant.exchanger.load", 450)
    assert verify(record, TRUSTED, job).changes == (
        "job.toml: 'plant.exchanger.load' was '500', is now '450'",)


@pytest.mark.parametrize(("before", "after"), [
    ("altitude = 4200", "altitude = 4200.00001"), ("altitude = 4200", 'altitude = "4200"'),
    ("altitude = 4200", "altitude = 4200.0"), ("chillers = 2", "chillers = true"),
    ("[plant.exchanger]", "[plant.chiller_9]\n[plant.exchanger]")])
@pytest.mark.parametrize("state", ["", "\n[state.lift]\nverdict = 'pass'\n"])
def test_an_answer_changed_in_the_smallest_way_is_named(
    job: Job, record: bytes, before: str, after: str, state: str
) -> None:
    text = job.file.read_text(encoding="utf-8")
    job.file.write_text(text.replace(before, after) + state, encoding="utf-8")
    (said,) = verify(record, TRUSTED, job).changes
    assert "is now" in said and "no answer" not in said


def test_a_record_that_was_taken_away_is_named(job: Job) -> None:
    for _ in range(3):
        store.save(job, support.signed(support.make_payload(job), KEYS, ("technician",)))
    first, second, third = store.records(job)
    latest = third.read_bytes()
    assert "was there" not in "\n".join(verify(latest, TRUSTED, job).lines())
    whole = second.read_bytes()
    second.write_bytes(first.read_bytes())
    assert "note: record/0002.json is not the one that this record names" in verify(
        latest, TRUSTED, job).lines()
    second.unlink()
    gone = "note: record/0002.json was there and is not in this folder"
    assert gone in verify(latest, TRUSTED, job).lines()
    assert gone in verify(first.read_bytes(), TRUSTED, job).lines(), "by the gap in the numbers"
    second.write_bytes(whole)
    first.unlink()
    assert any("0001.json was there" in line for line in verify(latest, TRUSTED, job).lines())


def test_each_conclusion_has_a_code_of_its_own(job: Job, record: bytes) -> None:
    content = {**support.make_payload(job), "signatures_required": ["technician", "engineer"]}
    one = support.signed(content, KEYS, ("technician",))
    back = signing.countersign(one, KEYS["engineer"], "engineer", support.NAMES["engineer"],
                               support.MOMENT, signing.SEND_BACK, "the lift")
    both = support.signed(content, KEYS, ("technician", "engineer"))
    assert [verify(each, TRUSTED, job).code for each in (both, one, back)] == [0, 3, 4]
    job.put("plant.exchanger.load", 450)
    assert verify(both, TRUSTED, job).code == 5
    assert verify(both, TrustedKeys(), job).code == 6 == verify(b"{}", None, None).code


def test_files_gone_or_added_are_named(job: Job, record: bytes) -> None:
    (job.trends_folder / "plant.csv").rename(job.trends_folder / "other.csv")
    job.readings_file.unlink()
    (job.workbooks_folder / "04_lift.ipynb").unlink()
    said = verify(record, TRUSTED, job).changes
    assert "trend file plant.csv is gone" in said
    assert "trend file other.csv was added after the record was made" in said
    assert "readings.csv is gone" in said
    assert "workbook 04_lift.ipynb is gone" in said
    job.file.unlink()
    assert any("job.toml" in line for line in verify(record, TRUSTED, job).changes)


def test_a_workbook_counts_by_its_code_and_text_not_by_its_outputs(
    job: Job, record: bytes
) -> None:
    path = job.workbooks_folder / "03_enable.ipynb"
    book = json.loads(path.read_text())
    book["cells"][1]["outputs"] = [{"output_type": "stream", "name": "stdout", "text": "x"}]
    path.write_text(json.dumps(book))
    assert verify(record, TRUSTED, job).good
    book["cells"][1]["source"] = ["verdict = 'pass'"]
    path.write_text(json.dumps(book))
    assert "workbook 03_enable.ipynb changed" in verify(record, TRUSTED, job).changes[0]
    path.write_text("damaged")
    assert "workbook 03_enable.ipynb changed" in verify(record, TRUSTED, job).changes[0]


def test_a_record_of_another_job_is_told(tmp_path: Path, record: bytes) -> None:
    toml = support.JOB_TOML.replace("T-001", "T-002")
    other = support.make_job(tmp_path / "other", toml)
    said = said_of(verify(record, TRUSTED, other))
    assert "belongs to another job: to T-001 of 2026-01-05" in said


def test_typed_text_cannot_steer_a_terminal_or_forge_a_line(job: Job) -> None:
    name = "A\x1b[2J\nengineer Blair signed\u202e"
    record = signing.sign(support.make_payload(job), KEYS["technician"], "technician", name,
                          support.MOMENT)
    lines = verify(record, None, None).lines()
    assert all("\n" not in line and "\x1b" not in line for line in lines)
    assert not any(line.startswith("engineer") for line in lines)


def said_of(found: Verification) -> str:
    return "\n".join(found.refused)


def test_an_unknown_key_is_refused(record: bytes) -> None:
    assert "unknown key" in said_of(verify(record, TrustedKeys(), None))
    assert "nobody vouched" in "\n".join(verify(record, None, None).lines())


def test_a_revoked_key_is_refused_from_its_moment_on(record: bytes) -> None:
    kid = KEYS["engineer"].thumbprint
    before, after = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC)
    assert "retired" in said_of(verify(record, TRUSTED.revoke(kid, before), None))
    assert verify(record, TRUSTED.revoke(kid, after), None).good
    stolen = TRUSTED.revoke(kid, after, COMPROMISED)
    assert "compromised" in said_of(verify(record, stolen, None))


def test_a_key_signs_for_its_holder_and_role_only(job: Job) -> None:
    content = support.make_payload(job)
    borrowed = signing.sign(content, KEYS["witness"], "technician", "Avery Field", support.MOMENT)
    assert "the key is that of witness Casey Owner" in said_of(verify(borrowed, TRUSTED, None))


def test_a_dropped_last_signature_shows_against_the_folder(job: Job, record: bytes) -> None:
    store.save(job, record)
    shorter = json.loads(record)
    shorter["signatures"].pop()
    said = said_of(verify(canonical.encode(shorter), TRUSTED, job))
    assert "0001.json of the job carries the signature of the engineer too" in said


def test_an_awaited_signature_is_named(job: Job) -> None:
    first = support.signed(support.make_payload(job), KEYS, ("technician",))
    found = verify(first, TRUSTED, job)
    assert found.good and found.awaited
    assert found.awaited == ("engineer",)


@pytest.mark.parametrize("content", [
    {}, {"schema": 1}, {"schema": {"name": "changeover-test-record", "version": True}},
    {"schema": {"name": "changeover-test-record", "version": 99}},
    {"schema": {"name": "changeover-test-record", "version": 1}, "inputs": {"trends": 7}},
    {"inputs": 7, "signatures_required": 7, "procedure": {"workbooks": 7}},
])
def test_a_signed_payload_that_is_no_test_record_is_refused(
    job: Job, content: dict[str, Any]
) -> None:
    record = signing.sign(content, KEYS["technician"], "technician", "Avery Field", support.MOMENT)
    found = verify(record, TRUSTED, job)
    assert not found.good
    assert "payload" in said_of(found)


def test_where_the_workbooks_stand_is_no_change(job: Job, record: bytes) -> None:
    job.put("state.plan", {"inputs": "another digest", "verdict": ""})
    assert verify(record, TRUSTED, job).changes == ()
    job.put("site.altitude", 1.0)
    assert all("'state." not in said for said in verify(record, TRUSTED, job).changes)
