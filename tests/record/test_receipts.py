"""By which moment a signature was there, by another's word than the signer's."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import record_support as support
from jwcrypto import jwk, jws

from fptlib.cli.commands import main
from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.record import receipts, signing, store
from fptlib.record.keys import Key, make_key
from fptlib.record.trusted_keys import COMPROMISED, TrustedKeys
from fptlib.record.verify import Verification, verify

KEYS = support.make_keys()
OFFICE = Key(support.OKPKey.generate_key("Ed25519"))
TRUSTED = support.trust(KEYS).add(OFFICE.public(), "Drew Office", receipts.RECEIVER)
SEEN = support.MOMENT + timedelta(hours=3)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


@pytest.fixture
def record(job: Job) -> Path:
    """A record of the technician, with the office's receipt beside it."""
    path = store.save(job, support.signed(support.make_payload(job), KEYS, ("technician",)))
    receipts.give(path, path.read_bytes(), OFFICE, "Drew Office", SEEN)
    return path


def found(path: Path, job: Job, trusted: TrustedKeys | None = TRUSTED) -> Verification:
    return verify(path.read_bytes(), trusted, job, receipts.beside(path))


def test_a_receipt_is_shown_and_counts_for_the_record_that_was_countersigned_later(
    job: Job, record: Path
) -> None:
    line = f"receipt: Drew Office had the signature of the technician at {SEEN.isoformat()}"
    assert line in found(record, job).lines()
    later = store.save(job, signing.countersign(
        record.read_bytes(), KEYS["engineer"], "engineer", support.NAMES["engineer"], SEEN))
    assert line in found(later, job).lines() and found(later, job).good


def test_an_independent_library_verifies_a_receipt(record: Path) -> None:
    (data,) = receipts.beside(record).values()
    token = jws.JWS()
    token.allowed_algs = ["Ed25519", "EdDSA"]
    token.deserialize(data.decode().strip(), jwk.JWK(**OFFICE.public()))
    digests = [each.digest for each in signing.read(record.read_bytes()).signatures]
    assert json.loads(token.payload)["signatures"] == digests


def test_a_retired_key_is_believed_by_its_receipt_not_by_its_word(job: Job, record: Path) -> None:
    retired = TRUSTED.revoke(KEYS["technician"].thumbprint, SEEN + timedelta(days=1))
    assert not any("own word, no receipt" in line for line in found(record, job, retired).lines())
    late = TRUSTED.revoke(KEYS["technician"].thumbprint, SEEN - timedelta(hours=1))
    assert any("own word, no receipt" in line for line in found(record, job, late).lines())


@pytest.mark.parametrize(("why", "trusted"), [
    ("nobody vouched", None),
    ("not on the list", support.trust(KEYS)),
    ("not on the list", support.trust(KEYS).add(OFFICE.public(), "Drew Office", "witness")),
    ("compromised", TRUSTED.revoke(OFFICE.thumbprint, SEEN + timedelta(days=9), COMPROMISED)),
    ("retired", TRUSTED.revoke(OFFICE.thumbprint, SEEN)),
])
def test_a_receipt_that_nobody_can_believe_says_so(
    job: Job, record: Path, why: str, trusted: TrustedKeys | None
) -> None:
    (said,) = found(record, job, trusted).receipts
    assert "this does not count" in said and why in said


def test_every_changed_byte_of_a_receipt_is_found(job: Job, record: Path) -> None:
    (name,), (data,) = zip(*receipts.beside(record).items(), strict=True)
    signed = signing.read(record.read_bytes())
    accepted = []
    for at in range(len(data) - 1):
        changed = data[:at] + bytes([data[at] ^ 1]) + data[at + 1:]
        by, _ = receipts.findings(signed, {name: changed}, TRUSTED)
        accepted += [(at, by)] * bool(by)
    # The last letter of base64url carries bits that no byte holds; what it says is unchanged.
    assert all(at == len(data) - 2 and list(by.values()) == [SEEN] for at, by in accepted)


def test_nobody_is_his_own_witness(job: Job, record: Path) -> None:
    with pytest.raises(RecordError, match="another person's"):
        receipts.give(record, record.read_bytes(), KEYS["technician"], "Avery Field", SEEN)
    mine = replace(receipts.read(next(iter(receipts.beside(record).values()))),
                   jwk=KEYS["technician"].public())
    assert "own witness" in mine.refusal(signing.read(record.read_bytes()), TRUSTED)


def test_no_receipt_is_given_before_what_is_received_was_made(record: Path) -> None:
    with pytest.raises(RecordError, match="set it right"):
        receipts.give(record, record.read_bytes(), OFFICE, "Drew Office",
                      support.MOMENT - timedelta(days=1))


def test_the_command_gives_a_receipt_that_verify_shows(
    job: Job, record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_key(tmp_path / "office.key", "four words of an office")
    assert main(["receipt", str(job.folder), "--key", str(tmp_path / "office.key"),
                 "--name", "Drew Office"], "four words of an office") == 0
    main(["verify", str(job.folder)])
    said = capsys.readouterr().out
    assert said.count("receipt: Drew Office had the signature of the technician") == 2
    assert len(receipts.beside(record)) == 2
