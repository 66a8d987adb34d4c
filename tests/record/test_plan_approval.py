"""The plan's approval by signature: what an approver signed is the plan as it was, by that key.

The signature is a compact JWS (RFC 7515) with Ed25519 (RFC 8037); ``cryptography`` checks it here
without any of our code.
"""

from __future__ import annotations

import base64
import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import record_support as support
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from joserfc.jwk import OKPKey

from fptlib.cli.commands import main
from fptlib.errors import FormError, RecordError
from fptlib.job import plan
from fptlib.job.folder import Job
from fptlib.record import approvals, canonical, render, signing
from fptlib.record.keys import Key, make_key
from fptlib.record.verify import Verification, verify
from fptlib.workbook import panels, sign_off

FROZEN = f'\n[frozen]\nlimits = "{"0" * 64}"\nat = "2026-01-04T10:00:00-07:00"\nby = "A"\n'
ENTERED = '\n[[approvals]]\nrole = "engineer"\nname = "Blair Senior"\nat = "2026-01-05"\n'
OWNER = Key(OKPKey.generate_key("Ed25519"))
KEYS = support.make_keys()
TRUSTED = support.trust(KEYS).add(OWNER.public(), "Casey Owner", "owner")
SIGNED_AT = support.MOMENT - timedelta(days=1)
SECRET = "four words of an owner"


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job", support.JOB_TOML + FROZEN + ENTERED)


def approve(job: Job, key: Key = OWNER, role: str = "owner", name: str = "Casey Owner") -> str:
    signed = approvals.sign(job.answers(), key, role, name, SIGNED_AT)
    approvals.enter(job, signed, "2026-01-05")
    return signed


def record_of(job: Job, change: Any = lambda content: None) -> bytes:
    content = support.make_payload(job)
    change(content)
    return support.signed(content, KEYS, ("technician",))


def verified(job: Job, change: Any = lambda content: None) -> Verification:
    return verify(record_of(job, change), TRUSTED, None)


def test_the_record_shows_who_signed_and_who_was_only_entered(job: Job) -> None:
    approve(job)
    found = verified(job)
    assert found.good, found.lines()
    assert found.approvals == (
        "engineer Blair Senior entered, not signed",
        f"owner Casey Owner signed {SIGNED_AT:%Y-%m-%d %H:%M} +00:00, key {OWNER.thumbprint}")
    page = render.html(record_of(job), {}).decode()
    assert f"key {OWNER.thumbprint}" in page and "entered, not signed" in page
    assert "nobody vouched" in "\n".join(verify(record_of(job), None, None).approvals)


def test_another_program_checks_the_signature(job: Job) -> None:
    header, stated, signature = (part + "=" * (-len(part) % 4) for part in approve(job).split("."))
    x = json.loads(base64.urlsafe_b64decode(header))["jwk"]["x"]
    key = Ed25519PublicKey.from_public_bytes(base64.urlsafe_b64decode(x + "="))
    key.verify(base64.urlsafe_b64decode(signature),
               f"{header.rstrip('=')}.{stated.rstrip('=')}".encode())
    said = json.loads(base64.urlsafe_b64decode(stated))
    assert said["plan"] == plan.digests(job.answers()) and "frozen" in said["plan"]
    assert said["job"]["number"] == job.get("job.number", "")


@pytest.mark.parametrize(("place", "value", "part"), [
    ("abort", [{"text": "Supply above 60 degF"}], "Stop the test when"),
    ("frozen.limits", "1" * 64, "Frozen limits"), ("sequence.drawing", "M-9",
     "Exits of the sequence, as specified"),
    ("script", [{"number": 1, "action": "read"}], "Test script"),
])
def test_a_plan_changed_after_approval_is_named(job: Job, place: str, value: Any,
                                                part: str) -> None:
    approve(job)
    job.put(place, value)
    ((_, entered), (who, how)) = approvals.standing(job.answers())
    assert who == "owner Casey Owner" and "changed since: " in how and part in how
    assert entered == "entered, not signed; of which plan is not stated"
    found = verified(job)
    assert found.good and part in found.approvals[1]
    # The record is not to say that nothing changed.
    lie = verified(job, lambda content: content["approvals"][1].update(changed=[]))
    assert not lie.good and f"since it was signed {part}" in lie.refused[0]


def test_a_signature_of_a_plan_that_was_is_not_entered(job: Job) -> None:
    signed = approvals.sign(job.answers(), OWNER, "owner", "Casey Owner", SIGNED_AT)
    job.put("test.purpose", "another")
    with pytest.raises(RecordError, match="of another plan; .* changed since"):
        approvals.enter(job, signed, "2026-01-05")
    assert [row["name"] for row in job.get("approvals")] == ["Blair Senior"]


def test_it_takes_the_place_of_the_earlier_one(job: Job) -> None:
    approve(job, KEYS["engineer"], "engineer", "Blair Senior")
    (row,) = job.get("approvals")
    assert approvals.of_row(row, job.answers())
    approve(job, KEYS["engineer"], "engineer", "Blair Senior")
    assert len(job.get("approvals")) == 1


def _other_key(row: dict[str, Any], job: Job) -> None:
    stranger = Key(OKPKey.generate_key("Ed25519"))
    row["signed"] = approvals.sign(job.answers(), stranger, "owner", "Casey Owner", SIGNED_AT)


def _swapped(row: dict[str, Any], job: Job) -> None:
    row["signed"] = approvals.sign(job.answers(), KEYS["engineer"], "engineer", "Blair Senior",
                                   SIGNED_AT)


def _altered_plan(row: dict[str, Any], job: Job) -> None:
    row["plan"] = {**row["plan"], "abort": "0" * 64}


def _altered_inside(row: dict[str, Any], job: Job) -> None:
    header, stated, signature = row["signed"].split(".")
    said = canonical.decode(canonical.from_base64(stated, "it"), "it")
    said["plan"]["abort"] = "0" * 64
    row["plan"] = said["plan"]
    row["signed"] = f"{header}.{canonical.to_base64(canonical.encode(said))}.{signature}"


def _other_job(row: dict[str, Any], job: Job) -> None:
    other = job.answers()
    other["job"]["number"] = "another"
    row["signed"] = approvals.sign(other, OWNER, "owner", "Casey Owner", SIGNED_AT)


def _renamed(row: dict[str, Any], job: Job) -> None:
    row["name"] = "Drew Other"


def _replaced_signature(row: dict[str, Any], job: Job) -> None:
    earlier = job.answers()
    earlier["abort"] = []
    other = approvals.sign(earlier, OWNER, "owner", "Casey Owner", SIGNED_AT)
    row["signed"] = ".".join([*row["signed"].split(".")[:2], other.split(".")[2]])


@pytest.mark.parametrize(("attack", "why"), [
    (_other_key, "unknown key"), (_swapped, "is that of engineer Blair Senior"),
    (_altered_plan, "another plan than its row states"), (_altered_inside, "was changed after"),
    (_other_job, "signed for another job"), (_renamed, "is that of owner Casey Owner"),
    (_replaced_signature, "was changed after")])
def test_an_attacked_approval_is_refused(job: Job, attack: Any, why: str) -> None:
    approve(job)
    found = verified(job, lambda content: attack(content["approvals"][1], job))
    assert found.code == 6 and any(why in reason for reason in found.refused), found.lines()
    if attack is _other_key:
        return  # Whose key it is the firm's list alone can say.
    rows = job.get("approvals")
    attack(rows[1], job)
    job.put("approvals", rows)
    assert "does not count" in dict(approvals.standing(job.answers()))[
        f"owner {rows[1]['name']}"]
    with pytest.raises(RecordError, match="the approval of the plan by owner .* does not count"):
        support.make_payload(job)


def test_every_changed_letter_of_an_approval_is_found(job: Job) -> None:
    signed = approve(job)
    for at in range(len(signed)):
        other = "A" if signed[at] != "A" else "B"
        with pytest.raises(RecordError):
            approvals.read(signed[:at] + other + signed[at + 1:])


@pytest.mark.parametrize("junk", ["", "a.b.c", "...", 7, None, [], "x" * 20_000])
def test_what_is_no_approval_is_refused(junk: Any) -> None:
    with pytest.raises(RecordError, match="no signed approval"):
        approvals.read(junk)


def test_a_retired_key_keeps_its_earlier_approvals(job: Job) -> None:
    approve(job)
    record = record_of(job)
    later = TRUSTED.revoke(OWNER.thumbprint, SIGNED_AT + timedelta(hours=1))
    before = TRUSTED.revoke(OWNER.thumbprint, SIGNED_AT - timedelta(hours=1))
    assert verify(record, later, None).good and not verify(record, before, None).good


def test_limits_are_frozen_before_a_plan_is_approved(tmp_path: Path) -> None:
    bare = support.make_job(tmp_path / "bare")
    with pytest.raises(FormError, match="not frozen"):
        approve(bare)
    with pytest.raises(FormError, match="needs both"):
        approvals.sign(bare.answers(), OWNER, "owner", " ", SIGNED_AT)


def test_the_command_approves_and_takes_in_what_was_sent(
    job: Job, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_key(tmp_path / "owner.key", SECRET)
    by = [str(job.folder), "--key", str(tmp_path / "owner.key"), "--role", "owner", "--name"]
    assert main(["approve", *by, "Casey Owner", "--file", str(tmp_path / "sent")], SECRET) == 0
    assert len(job.get("approvals")) == 1
    assert main(["approve", str(job.folder), "--read", str(tmp_path / "sent")]) == 0
    assert main(["approve", *by, "Drew Second"], SECRET) == 0
    said = capsys.readouterr().out.splitlines()[-3:]
    assert [line.split(":")[0] for line in said] == [
        "engineer Blair Senior", "owner Casey Owner", "owner Drew Second"]
    assert "unchanged since" in said[1]


def test_the_plans_page_approves_and_takes_in_what_was_sent(job: Job, tmp_path: Path) -> None:
    make_key(tmp_path / "owner.key", SECRET)
    panel = panels.approve(job)
    role, name, key, secret, buttons, sent, take = panel.widget.children[1:8]
    role.value, name.value, key.value = "owner", "Casey Owner", str(tmp_path / "owner.key")
    secret.value = SECRET
    buttons.children[0].click()
    assert "approved by owner Casey Owner" in panel.message.widget.value
    sent.value = sign_off.approve(job, tmp_path / "owner.key", SECRET, "operator", "Eli Runs")
    take.click()
    assert "approved by operator Eli Runs" in panel.message.widget.value
    assert [row["role"] for row in job.get("approvals")] == ["engineer", "owner", "operator"]
    assert verified(job).code == 6  # the page's key stands on no list
    assert signing.read(record_of(job)).payload["approvals"][1]["changed"] == []
