"""The firm's signature on its list of trusted keys: which list a computer goes by."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import record_support as support
from jwcrypto import jwk, jws

from fptlib import owner
from fptlib.cli.commands import main
from fptlib.errors import RecordError
from fptlib.record import canonical, firm_list, keys, trusted_keys
from fptlib.record.trusted_keys import COMPROMISED, TrustedKeys

SECRET = "four words of a firm"
LATER = "2099-01-31"
KEYS = support.make_keys()


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The firm's own key, and another's."""
    room = tmp_path_factory.mktemp("keys")
    for name in ("firm", "other"):
        keys.make_key(room / name, SECRET)
    return room


@pytest.fixture(autouse=True)
def _own_state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(owner.STATE, str(tmp_path / "state"))


@pytest.fixture
def listed(tmp_path: Path, room: Path) -> Path:
    """Version 1 of the firm's list, which this computer is pinned to."""
    file = tmp_path / "firm.jwks"
    support.trust(KEYS).write(file)
    sealed = firm_list.seal(file, room / "firm", SECRET, LATER)
    firm_list.pin(file, sealed.signer)
    return file


def test_a_sealed_list_is_read_and_an_independent_library_verifies_it(listed: Path, room: Path
                                                                      ) -> None:
    found = firm_list.read_for_use(listed)
    assert found.keys == support.trust(KEYS).keys and found.version == 1
    members = json.loads(listed.read_bytes())
    protected, _, signature = members.pop("signature").partition("..")
    token = jws.JWS()
    token.allowed_algs = ["Ed25519", "EdDSA"]
    payload = canonical.to_base64(canonical.encode(members))
    token.deserialize(f"{protected}.{payload}.{signature}",
                      jwk.JWK(**keys.load_key(room / "firm", SECRET).public()))
    assert json.loads(token.payload)["version"] == 1


def test_an_older_list_is_refused_once_a_newer_one_was_seen(listed: Path, room: Path) -> None:
    old = listed.read_bytes()
    trusted_keys.revoke(listed, KEYS["technician"].thumbprint, COMPROMISED, lambda: "")
    with pytest.raises(RecordError, match="not signed by the firm's key"):
        firm_list.read_for_use(listed)  # the change took the signature off
    firm_list.seal(listed, room / "firm", SECRET, LATER)
    assert firm_list.read_for_use(listed).version == 2
    listed.write_bytes(old)
    with pytest.raises(RecordError, match="version 1, and version 2 was seen here"):
        firm_list.read_for_use(listed)


def test_two_lists_of_one_version_are_refused(listed: Path, room: Path) -> None:
    other = listed.with_name("other.jwks")
    TrustedKeys().write(other)
    firm_list.seal(other, room / "firm", SECRET, LATER)
    with pytest.raises(RecordError, match="two lists of one version"):
        firm_list.read_for_use(other)


def test_a_list_of_another_key_or_of_nobody_is_refused(listed: Path, room: Path) -> None:
    other = listed.with_name("other.jwks")
    support.trust(KEYS).write(other)
    with pytest.raises(RecordError, match="not signed by the firm's key"):
        firm_list.read_for_use(other)
    firm_list.seal(other, room / "other", SECRET, LATER)
    with pytest.raises(RecordError, match="not signed by the firm's key"):
        firm_list.read_for_use(other)
    with pytest.raises(RecordError, match="is signed by another key"):
        firm_list.seal(other, room / "firm", SECRET, LATER)


def test_an_expired_list_is_refused(listed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    moment = datetime(2099, 1, 31, tzinfo=UTC)
    monkeypatch.setattr(firm_list, "now", lambda: moment - timedelta(seconds=1))
    firm_list.read_for_use(listed)
    monkeypatch.setattr(firm_list, "now", lambda: moment)
    with pytest.raises(RecordError, match="expired on 2099-01-31"):
        firm_list.read_for_use(listed)


def test_every_changed_byte_of_a_sealed_list_is_found(listed: Path) -> None:
    whole, wanted = listed.read_bytes(), TrustedKeys.read(listed)
    accepted = []
    for at in range(len(whole) - 1):
        listed.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1:])
        try:
            found = firm_list.read_for_use(listed)
        except RecordError:
            continue
        accepted += [at] * ((found.keys, found.version, found.expires, found.signer)
                            != (wanted.keys, wanted.version, wanted.expires, wanted.signer))
    assert not accepted


def test_a_damaged_note_does_not_open_the_door(listed: Path) -> None:
    (owner.state_folder() / "firm.json").write_text("{}", encoding="utf-8")
    with pytest.raises(RecordError, match="pin the list again"):
        firm_list.read_for_use(listed)


def test_the_commands_seal_pin_and_refuse(tmp_path: Path, room: Path,
                                          capsys: pytest.CaptureFixture[str]) -> None:
    job = support.make_job(tmp_path / "job")
    record = tmp_path / "record.json"
    record.write_bytes(support.signed(support.make_payload(job), KEYS, ("technician",)))
    file = tmp_path / "firm.jwks"
    support.trust(KEYS).write(file)
    verify = ["verify", str(record), "--trusted", str(file)]
    assert main(verify) != 1
    assert main(["trust", str(file), str(room / "firm"), "--seal", LATER], SECRET) == 0
    thumbprint = TrustedKeys.read(file).signer
    assert main(["trust", str(file), thumbprint[::-1], "--pin"]) == 1
    assert main(["trust", str(file), "--pin", "--", thumbprint]) == 0
    assert main(verify) != 1
    support.trust(KEYS).write(file)
    assert main(verify) == 1 and "not signed by the firm's key" in capsys.readouterr().err
