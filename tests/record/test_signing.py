"""Signing and strict reading: nothing but exactly what was signed is accepted."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest
import record_support as support
from joserfc import jws as joserfc_jws
from jwcrypto import jwk as other_jwk
from jwcrypto import jws as other_jws

from fptlib.errors import RecordError
from fptlib.record import canonical, signing
from fptlib.record.verify import verify

KEYS = support.make_keys()
SMALL = {"schema": {"name": "x"}, "text": "é"}
RECORD = support.signed(SMALL, KEYS, ("technician", "engineer", "witness"))


def outer(record: bytes = RECORD) -> dict[str, Any]:
    return json.loads(record)


def refused(record: bytes) -> str:
    """The first reason why a record is not accepted."""
    found = verify(record, support.trust(KEYS), None)
    # A compact payload is no test record, which is found last of all.
    reasons = [reason for reason in found.refused if "payload is not that" not in reason]
    return reasons[0] if reasons else ""


def test_a_record_says_who_signed_what_and_when() -> None:
    found = signing.read(RECORD)
    assert found.payload == SMALL
    assert [s.role for s in found.signatures] == ["technician", "engineer", "witness"]
    assert [s.kid for s in found.signatures] == [key.thumbprint for key in KEYS.values()]
    assert all(s.signed_at == support.MOMENT for s in found.signatures)
    assert refused(RECORD) == ""


def test_a_countersignature_leaves_the_earlier_ones_as_they_are() -> None:
    first = support.signed(SMALL, KEYS, ("technician",))
    second = signing.countersign(first, KEYS["engineer"], "engineer", "Blair", support.MOMENT)
    assert outer(second)["signatures"][0] == outer(first)["signatures"][0]
    assert outer(second)["payload"] == outer(first)["payload"]


def test_signing_twice_gives_the_same_bytes() -> None:
    assert support.signed(SMALL, KEYS, ("technician", "engineer", "witness")) == RECORD


@pytest.mark.parametrize("mask", [0x01, 0x20])
def test_every_flipped_byte_is_found(mask: int) -> None:
    for place in range(len(RECORD)):
        flipped = bytearray(RECORD)
        flipped[place] ^= mask
        assert refused(bytes(flipped)), f"byte {place}"


def test_every_byte_left_out_or_put_in_is_found() -> None:
    for place in range(0, len(RECORD), 7):
        assert refused(RECORD[:place] + RECORD[place + 1:])
        assert refused(RECORD[:place] + b" " + RECORD[place:])
    assert refused(RECORD + b"\n")
    assert refused(b"")


def _drop(n: int) -> Callable[[dict[str, Any]], None]:
    return lambda record: record["signatures"].pop(n)


def _edit_header(entry: dict[str, Any], **changed: Any) -> None:
    header = json.loads(canonical.from_base64(entry["protected"], "it"))
    header |= changed
    entry["protected"] = canonical.to_base64(json.dumps(header).encode())


def _swap(record: dict[str, Any]) -> None:
    first, second, _ = record["signatures"]
    first["signature"], second["signature"] = second["signature"], first["signature"]


FORGERIES: dict[str, tuple[Callable[[dict[str, Any]], Any], str]] = {
    "first dropped": (_drop(0), "dropped"),
    "middle dropped": (_drop(1), "dropped"),
    "all dropped": (lambda r: r["signatures"].clear(), "no signature"),
    "duplicated": (lambda r: r["signatures"].append(r["signatures"][0]), "same kid"),
    "reordered": (lambda r: r["signatures"].reverse(), "moved"),
    "two reordered": (lambda r: r["signatures"].insert(0, r["signatures"].pop(1)), "moved"),
    "signatures swapped": (_swap, "does not match|dropped"),
    "unprotected header": (lambda r: r["signatures"][0].update(header={"kid": "x"}), "exactly"),
    "member added": (lambda r: r.update(note="x"), "exactly"),
    "flattened beside": (lambda r: r.update(signature="x"), "exactly"),
    "payload missing": (lambda r: r.pop("payload"), "exactly"),
    "another payload": (lambda r: r.update(payload="e30"), "does not match"),
    "payload not an object": (lambda r: r.update(payload="MQ"), "not what it must be"),
    "payload not text": (lambda r: r.update(payload=1), "base64url"),
    "signatures no list": (lambda r: r.update(signatures={}), "not what it must be"),
    "signature no object": (lambda r: r.update(signatures=["x"]), "exactly"),
    "no algorithm": (lambda r: _edit_header(r["signatures"][0], alg="none"), "not allowed"),
    "another algorithm": (lambda r: _edit_header(r["signatures"][0], alg="HS256"), "not allowed"),
    "older algorithm": (lambda r: _edit_header(r["signatures"][0], alg="EdDSA"), "not allowed"),
    "critical header": (lambda r: _edit_header(r["signatures"][0], crit=["b64"]), "exactly"),
    "unencoded": (lambda r: _edit_header(r["signatures"][0], b64=False), "exactly"),
    "role changed": (lambda r: _edit_header(r["signatures"][2], role="controls"), "not match"),
    "role unknown": (lambda r: _edit_header(r["signatures"][2], role="owner"), "not allowed"),
    "name changed": (lambda r: _edit_header(r["signatures"][2], name="X"), "not match"),
    "moment changed": (lambda r: _edit_header(
        r["signatures"][2], **{"signed-at": "2026-01-01T00:00:00+00:00"}), "not match"),
    "moment no moment": (lambda r: _edit_header(
        r["signatures"][2], **{"signed-at": "today"}), "moment of signing"),
    "decision changed": (lambda r: _edit_header(r["signatures"][2], decision="send back"),
                         "not match"),
    "another's kid": (lambda r: _edit_header(
        r["signatures"][2], kid=KEYS["engineer"].thumbprint), "not the one"),
    "another's key": (lambda r: _edit_header(
        r["signatures"][2], jwk=KEYS["engineer"].public()), "not the one"),
    "name no text": (lambda r: _edit_header(r["signatures"][2], name=7), "not text"),
    "earlier no list": (lambda r: _edit_header(r["signatures"][2], earlier="x"), "not allowed"),
}


@pytest.mark.parametrize("forgery", FORGERIES)
def test_a_forged_record_is_refused_with_the_reason(forgery: str) -> None:
    change, said = FORGERIES[forgery]
    record = outer()
    change(record)
    reason = refused(canonical.encode(record))
    assert reason
    assert any(part in reason for part in said.split("|")), reason


def test_what_a_library_lets_through_is_refused_here() -> None:
    """joserfc accepts a record from which a signature was dropped; the strict reader not."""
    record = outer()
    record["signatures"] = record["signatures"][1:]
    registry = signing._REGISTRY
    ring = {key.thumbprint: key.secret for key in KEYS.values()}
    accepted = joserfc_jws.deserialize_json(
        record, lambda member: ring[member.headers()["kid"]], registry=registry)
    assert accepted.payload
    assert refused(canonical.encode(record))


def test_a_member_named_twice_is_refused() -> None:
    again = RECORD.replace(b'{"payload"', b'{"payload":"e30","payload"', 1)
    assert "twice" in refused(again)


def test_signing_again_with_the_same_role_or_key_is_refused() -> None:
    with pytest.raises(RecordError, match="has signed this record already"):
        signing.countersign(RECORD, support.make_keys()["witness"], "witness", "X", support.MOMENT)
    with pytest.raises(RecordError, match="this key has signed"):
        signing.countersign(RECORD, KEYS["witness"], "controls", "X", support.MOMENT)


def test_a_record_sent_back_stays_with_its_reason_and_takes_no_more_signatures() -> None:
    first = support.signed(SMALL, KEYS, ("technician",))
    back = signing.countersign(first, KEYS["engineer"], "engineer", support.NAMES["engineer"],
                               support.MOMENT, "send back", "the flow was not read")
    found = verify(back, support.trust(KEYS), None)
    assert found.sent_back
    assert "the flow was not read" in "\n".join(found.lines())
    with pytest.raises(RecordError, match="sent this record back .the flow was not read"):
        signing.countersign(back, KEYS["witness"], "witness", "X", support.MOMENT)


def test_a_damaged_record_is_not_countersigned() -> None:
    record = outer()
    _swap(record)
    record["signatures"] = record["signatures"][:1]
    with pytest.raises(RecordError, match="cannot be countersigned"):
        signing.countersign(canonical.encode(record), support.make_keys()["engineer"],
                            "controls", "X", support.MOMENT)


@pytest.mark.parametrize(("changed", "said"), [
    ({"role": "owner"}, "role"), ({"name": " "}, "name"), ({"decision": "maybe"}, "decision"),
    ({"decision": "send back"}, "reason"), ({"time": datetime(2026, 1, 1)}, "time zone"),
])
def test_a_statement_that_is_not_complete_is_refused(changed: dict[str, Any], said: str) -> None:
    first = support.signed(SMALL, KEYS, ("technician",))
    usual = {"role": "engineer", "name": "B", "time": support.MOMENT}
    with pytest.raises(RecordError, match=said):
        signing.countersign(first, KEYS["engineer"], **{**usual, **changed})


@pytest.mark.parametrize("value", [float("nan"), 2**60, {1: 2}, object(), "\ud800"])
def test_a_payload_without_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(RecordError):
        signing.sign({"value": value}, KEYS["technician"], "technician", "A", support.MOMENT)


def test_an_independent_library_verifies_our_record() -> None:
    """jwcrypto passes a record with one good signature, so each is checked with its key."""
    record = outer()
    for entry, key in zip(record["signatures"], KEYS.values(), strict=True):
        token = other_jws.JWS()
        token.allowed_algs = ["Ed25519"]
        token.deserialize(json.dumps({"payload": record["payload"], **entry}))
        token.verify(other_jwk.JWK(**key.public()))
        assert token.payload == canonical.encode(SMALL)
        with pytest.raises(other_jws.InvalidJWSSignature):
            token.verify(other_jwk.JWK.generate(kty="OKP", crv="Ed25519"))


def test_we_verify_a_record_made_by_an_independent_library() -> None:
    header = json.loads(canonical.from_base64(outer()["signatures"][0]["protected"], "it"))
    token = other_jws.JWS(canonical.encode(SMALL))
    token.allowed_algs = ["Ed25519"]
    secret = other_jwk.JWK(**KEYS["technician"].secret.as_dict(private=True))
    token.add_signature(secret, protected=json.dumps(header))
    made = json.loads(token.serialize())
    record = {"payload": made["payload"],
              "signatures": [{"protected": made["protected"], "signature": made["signature"]}]}
    assert refused(canonical.encode(record)) == ""
    assert verify(canonical.encode(record), None, None).signers[0].refused == ""
