"""Keys: made, opened, kept out of job folders and out of sight; the list of trusted ones."""

from __future__ import annotations

import json
import logging
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
import record_support as support

from fptlib.errors import RecordError
from fptlib.record import canonical, files, trusted_keys
from fptlib.record.keys import load_key, make_key
from fptlib.record.trusted_keys import COMPROMISED, TrustedKeys

PASSPHRASE = "a long enough phrase"


def test_a_key_opens_with_its_passphrase_only(tmp_path: Path) -> None:
    path = tmp_path / "me.key"
    made = make_key(path, PASSPHRASE)
    assert load_key(path, PASSPHRASE).thumbprint == made.thumbprint
    with pytest.raises(RecordError, match="does not open"):
        load_key(path, PASSPHRASE + "x")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no file modes")
def test_only_its_owner_reads_a_key(tmp_path: Path) -> None:
    make_key(tmp_path / "me.key", PASSPHRASE)
    assert (tmp_path / "me.key").stat().st_mode & 0o777 == 0o600


def test_the_secret_is_neither_in_the_file_nor_printed(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    caplog.set_level(logging.DEBUG)
    key = make_key(tmp_path / "me.key", PASSPHRASE)
    load_key(tmp_path / "me.key", PASSPHRASE)
    secret = str(key.secret.as_dict(private=True)["d"])
    shown = f"{key!r}{key}{caplog.text}{''.join(capsys.readouterr())}"
    for hidden in (secret, PASSPHRASE):
        assert hidden not in shown
        assert hidden not in (tmp_path / "me.key").read_text()
    assert "d" not in key.public()


def test_no_key_in_a_job_folder(tmp_path: Path) -> None:
    job = support.make_job(tmp_path / "job")
    with pytest.raises(RecordError, match="outside"):
        make_key(job.folder / "record.key", PASSPHRASE)
    with pytest.raises(RecordError, match="outside"):
        make_key(job.trends_folder / ".." / "workbooks" / "me.key", PASSPHRASE)
    assert not list(job.folder.rglob("*.key"))


def test_a_key_is_never_overwritten(tmp_path: Path) -> None:
    make_key(tmp_path / "me.key", PASSPHRASE)
    before = (tmp_path / "me.key").read_bytes()
    with pytest.raises(RecordError, match="never overwritten"):
        make_key(tmp_path / "me.key", PASSPHRASE)
    assert (tmp_path / "me.key").read_bytes() == before


def test_the_shortest_passphrase_does_without_a_warning(tmp_path: Path) -> None:
    made = make_key(tmp_path / "me.key", "ten-signs.")
    assert load_key(tmp_path / "me.key", "ten-signs.").thumbprint == made.thumbprint
    with pytest.raises(RecordError, match="does not open"):
        load_key(tmp_path / "me.key", "typed")


def test_a_short_passphrase_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="at least 10"):
        make_key(tmp_path / "me.key", "short")
    assert not (tmp_path / "me.key").exists()


@pytest.mark.parametrize(
    "content", [b"", b"nonsense", b"{}", b"a.b.c.d.e", b"\xff\xfe", b"x" * 99_999]
)
def test_a_file_that_is_no_key_is_told_in_a_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "me.key").write_bytes(content)
    with pytest.raises(RecordError, match=r"me\.key"):
        load_key(tmp_path / "me.key", PASSPHRASE)


@pytest.mark.parametrize("rounds", [-5, 0, 2**31, 2**70, "many", None])
def test_rounds_that_nobody_can_calculate_are_a_sentence(tmp_path: Path, rounds: object) -> None:
    make_key(tmp_path / "me.key", PASSPHRASE)
    head, *rest = (tmp_path / "me.key").read_text().strip().split(".")
    header = {**json.loads(canonical.from_base64(head, "it")), "p2c": rounds}
    changed = canonical.to_base64(json.dumps(header).encode())
    (tmp_path / "other.key").write_text(".".join([changed, *rest]))
    with pytest.raises(RecordError, match="does not open"):
        load_key(tmp_path / "other.key", PASSPHRASE)


def test_an_absent_key_is_told_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match=r"me\.key"):
        load_key(tmp_path / "me.key", PASSPHRASE)


def test_a_full_disk_leaves_no_half_key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(RecordError, match="No space left"):
        make_key(tmp_path / "me.key", PASSPHRASE)
    assert not list(tmp_path.iterdir())


def test_an_interrupted_save_leaves_no_half_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(files.os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        make_key(tmp_path / "me.key", PASSPHRASE)
    assert not list(tmp_path.iterdir())


def test_the_list_of_trusted_keys_survives_writing_and_reading(tmp_path: Path) -> None:
    made = support.make_keys()
    trusted = support.trust(made).revoke(
        made["witness"].thumbprint, datetime(2026, 3, 1, tzinfo=UTC), COMPROMISED)
    trusted.write(tmp_path / "firm.jwks")
    assert TrustedKeys.read(tmp_path / "firm.jwks") == trusted
    assert '"d":' not in (tmp_path / "firm.jwks").read_text()


def test_a_retired_key_keeps_its_earlier_signatures() -> None:
    made = support.make_keys()
    moment = datetime(2026, 3, 1, tzinfo=UTC)
    kid = made["engineer"].thumbprint
    entry = support.trust(made).revoke(kid, moment).known(kid)
    assert "retired" in entry.refusal(moment)
    assert entry.refusal(datetime(2026, 2, 28, tzinfo=UTC)) == ""


def test_rotation_retires_the_old_key_and_adds_the_new(tmp_path: Path) -> None:
    made = support.make_keys()
    moment = datetime(2026, 3, 1, tzinfo=UTC)
    old, new = made["engineer"], make_key(tmp_path / "new.key", PASSPHRASE)
    name = support.NAMES["engineer"]
    trusted = support.trust(made).revoke(old.thumbprint, moment).add(new.public(), name, "engineer")
    entry, replaced = trusted.find(new.thumbprint), trusted.find(old.thumbprint)
    assert entry and (entry.name, entry.role) == (name, "engineer")
    assert replaced and "retired" in replaced.refusal(moment)
    assert replaced.refusal(datetime(2026, 2, 28, tzinfo=UTC)) == ""


@pytest.mark.parametrize("named", ["signing key", "public half"])
def test_a_key_comes_onto_a_new_list_and_is_withdrawn(tmp_path: Path, named: str) -> None:
    key, firm = make_key(tmp_path / "me.key", PASSPHRASE), tmp_path / "firm.jwks"
    (tmp_path / "me.public").write_text(json.dumps({**key.public(), "proof": key.proof()}))
    file = str(tmp_path / {"signing key": "me.key", "public half": "me.public"}[named])
    trusted_keys.add(firm, file, "Avery Field", "technician", lambda: PASSPHRASE)
    entry = TrustedKeys.read(firm).known(key.thumbprint)
    assert (entry.name, entry.role, entry.revoked) == ("Avery Field", "technician", None)
    with pytest.raises(RecordError, match="twice"):
        trusted_keys.add(firm, file, "Blair Senior", "engineer", lambda: PASSPHRASE)
    trusted_keys.revoke(firm, file, COMPROMISED, lambda: PASSPHRASE)
    assert TrustedKeys.read(firm).known(key.thumbprint).revoked_reason == COMPROMISED


@pytest.mark.parametrize(("key", "name", "said"), [
    ("absent", "A", "'absent' cannot be read"), ("private", "A", "holds a private key"),
    ("public", " ", "holder's name and role"), ("text", "A", "does not open"),
])
def test_a_key_that_cannot_be_trusted_makes_no_list(
    tmp_path: Path, key: str, name: str, said: str
) -> None:
    made = support.make_keys()["engineer"]
    (tmp_path / "private").write_text(json.dumps(made.secret.as_dict(private=True)))
    (tmp_path / "public").write_text(json.dumps({**made.public(), "proof": made.proof()}))
    (tmp_path / "text").write_text("nonsense")
    with pytest.raises(RecordError, match=said):
        trusted_keys.add(tmp_path / "firm.jwks", str(tmp_path / key), name, "engineer", lambda: "")
    assert not (tmp_path / "firm.jwks").exists()


def test_a_compromised_key_never_becomes_merely_retired() -> None:
    made = support.make_keys()
    kid = made["engineer"].thumbprint
    trusted = support.trust(made).revoke(kid, datetime(2026, 3, 1, tzinfo=UTC), COMPROMISED)
    entry = trusted.revoke(kid, datetime(2026, 5, 1, tzinfo=UTC)).find(kid)
    assert entry and entry.refusal(datetime(2026, 1, 1, tzinfo=UTC))
    assert entry.revoked == datetime(2026, 3, 1, tzinfo=UTC)


@pytest.mark.parametrize(("content", "said"), [
    ("[]", "JWK Set"),
    ('{"keys":[{"kty":"RSA"}]}', "Ed25519"),
    ('{"keys":[{"kty":"OKP","crv":"Ed25519","x":"AAAA","name":"A","role":"engineer"}]}', "32"),
    ('{"keys":[%s,%s]}', "twice"),
    ('{"keys":[{"kty":"OKP","crv":"Ed25519","x":"X","d":"X"}]}', "private"),
    ('{"keys":[{"kty":"OKP","crv":"Ed25519","x":"%x"}]}', "name or role"),
    ('{"keys":[{"kty":"OKP","crv":"Ed25519","x":"%x","kid":"other"}]}', "thumbprint"),
    ('{"keys":[{"kty":"OKP","crv":"Ed25519","x":"%x","name":"A","role":"engineer",'
     '"revoked":"soon"}]}', "revoked"),
    ("{", "cannot be read"),
])
def test_a_bad_list_is_told_in_a_sentence(tmp_path: Path, content: str, said: str) -> None:
    x = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
    good = f'{{"kty":"OKP","crv":"Ed25519","x":"{x}","name":"A","role":"engineer"}}'
    (tmp_path / "firm.jwks").write_text(content.replace("%s", good).replace("%x", x))
    with pytest.raises(RecordError, match=said):
        TrustedKeys.read(tmp_path / "firm.jwks")
