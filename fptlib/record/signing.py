"""Signatures: RFC 7515 general JSON serialization with Ed25519 (RFC 8037, RFC 9864).

The libraries accept records from which a signature was dropped, or in which one was
repeated, moved or dressed with further members. So a record is read strictly here: exactly
the members below, canonical bytes, and every signature states which earlier ones it saw.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import OKPKey
from joserfc.registry import HeaderParameter

from fptlib.errors import RecordError
from fptlib.job.roles import SIGNERS
from fptlib.record import canonical
from fptlib.record.canonical import read_moment
from fptlib.record.keys import check_public, thumbprint
from fptlib.record.signer import Holder

ACCEPT, SEND_BACK = "accept", "send back"
ALGORITHM = "Ed25519"
_LARGEST_RECORD = 64_000_000
_OWN_HEADER = {
    "role": HeaderParameter("what the signer signs as", "str", True),
    "name": HeaderParameter("the signer's name", "str", True),
    "signed-at": HeaderParameter("the signer's statement of the moment", "str", True),
    "decision": HeaderParameter("accept or send back", "str", True),
    "reason": HeaderParameter("why it is returned for correction", "str", True),
    "earlier": HeaderParameter("digests of the signatures before this one", "list[str]", True),
}
_REGISTRY = jws.JWSRegistry(_OWN_HEADER, [ALGORITHM])
_REGISTRY.max_payload_length = _REGISTRY.max_header_length = _LARGEST_RECORD


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature with its protected header, as it stands in the record."""

    protected: str
    signature: str
    header: Mapping[str, Any]

    @property
    def digest(self) -> str:
        """What a later signature names this one by."""
        return canonical.digest(f"{self.protected}.{self.signature}".encode("ascii"))

    @property
    def kid(self) -> str:
        """Thumbprint of the signer's key."""
        return str(self.header["kid"])

    @property
    def role(self) -> str:
        """What the signer signed as."""
        return str(self.header["role"])

    @property
    def name(self) -> str:
        """The signer's name."""
        return str(self.header["name"])

    @property
    def signed_at(self) -> datetime:
        """The moment of signing, by the signer's own statement."""
        return read_moment(self.header["signed-at"], "the moment of signing")

    @property
    def sent_back(self) -> bool:
        """The signer did not accept the record."""
        return bool(self.header["decision"] == SEND_BACK)

    def members(self) -> dict[str, str]:
        """The signature as it stands in the record."""
        return {"protected": self.protected, "signature": self.signature}


@dataclass(frozen=True, slots=True)
class SignedRecord:
    """A record taken apart: the signed bytes, what they say, and the signatures."""

    payload_bytes: bytes
    payload: dict[str, Any]
    signatures: tuple[Signature, ...]

    @property
    def digest(self) -> str:
        """SHA-256 of the signed bytes, the record's name on paper."""
        return canonical.digest(self.payload_bytes)

    @property
    def made(self) -> datetime | None:
        """The latest moment that the payload or a signature states, as far as it is known."""
        return self.not_before(len(self.signatures))

    def not_before(self, place: int) -> datetime | None:
        """Before which moment the signature at that place cannot have been made: it seals the
        payload and the signatures before it, which state theirs."""
        stated = [signature.signed_at for signature in self.signatures[:place]]
        clock = self.payload.get("clock")
        if isinstance(clock, dict) and isinstance(clock.get("utc"), str):
            stated.append(read_moment(clock["utc"], "the moment of making"))
        return max(stated, default=None)

    def mismatch(self, signature: Signature) -> str:
        """Why the signature does not belong to these bytes, or nothing.

        It is checked with the key in its own header, which proves that nothing was changed;
        whose key that is only a list of trusted keys can say.
        """
        flattened: Any = {
            "payload": canonical.to_base64(self.payload_bytes), **signature.members()
        }
        try:
            key = OKPKey.import_key(dict(signature.header["jwk"]))
            jws.deserialize_json(flattened, key, registry=_REGISTRY)
        except (JoseError, ValueError) as error:
            return (f"the signature of the {signature.role} does not match: the record was "
                    f"changed after it was signed ({type(error).__name__})")
        return ""


def sign(payload: dict[str, Any], key: Holder, role: str, name: str, time: datetime) -> bytes:
    """The first signature: the record's bytes.

    Raises:
        RecordError: unknown role, empty name, a time without zone, or a payload that has no
            canonical form.
    """
    unsigned = SignedRecord(canonical.encode(payload), payload, ())
    return _append(unsigned, key, _statement(role, name, time, ACCEPT, ""))


def countersign(
    record: bytes, key: Holder, role: str, name: str, time: datetime,
    decision: str = ACCEPT, reason: str = "",
) -> bytes:
    """The record with one more signature; the earlier ones stay as they are.

    Raises:
        RecordError: the record is damaged or was sent back, the role or the key has signed,
            or it is sent back without a reason.
    """
    found = read(record)
    for signature in found.signatures:
        if refusal := found.mismatch(signature):
            raise RecordError(f"this record cannot be countersigned: {refusal}")
        if signature.sent_back:
            raise RecordError(
                f"the {signature.role} sent this record back ({signature.header['reason']}); "
                "correct the job and sign a new record"
            )
        if signature.role == role:
            raise RecordError(f"the {role} has signed this record already")
        if signature.kid == key.thumbprint:
            raise RecordError(f"this key has signed this record already, as {signature.role}")
    if (earliest := found.made) and time.tzinfo is not None and time < earliest:
        raise RecordError(f"the clock of this computer shows {time.isoformat(timespec='seconds')}, "
                          f"before what is signed was made ({earliest.isoformat()}); set it right")
    return _append(found, key, _statement(role, name, time, decision, reason))


def _statement(role: str, name: str, time: datetime, decision: str, reason: str) -> dict[str, str]:
    if role not in SIGNERS:
        raise RecordError(f"role '{role}' is not one of: {', '.join(SIGNERS)}")
    if not name.strip():
        raise RecordError("a signature needs the signer's name")
    if time.tzinfo is None:
        raise RecordError("the moment of signing needs a time zone")
    if decision not in (ACCEPT, SEND_BACK):
        raise RecordError(f"decision '{decision}' is not one of: {ACCEPT}, {SEND_BACK}")
    if decision == SEND_BACK and not reason.strip():
        raise RecordError("a record is returned for correction with a reason; give one")
    return {"role": role, "name": name, "signed-at": time.isoformat(timespec="seconds"),
            "decision": decision, "reason": reason}


def _append(record: SignedRecord, key: Holder, statement: dict[str, str]) -> bytes:
    header = {
        "alg": ALGORITHM, "kid": key.thumbprint, "jwk": key.public(), **statement,
        "earlier": [signature.digest for signature in record.signatures],
    }
    payload = canonical.to_base64(record.payload_bytes)
    protected = canonical.to_base64(canonical.encode(header))
    # RFC 7515, section 5.1, step 8.
    made = key.signature(f"{protected}.{payload}".encode("ascii"))
    new = {"protected": protected, "signature": canonical.to_base64(made)}
    return canonical.encode({
        "payload": payload,
        "signatures": [*(signature.members() for signature in record.signatures), new],
    })


def read_whole(record: bytes) -> SignedRecord:
    """A record taken apart, every signature of which matches.

    Raises:
        RecordError: the record is damaged.
    """
    found = read(record)
    for signature in found.signatures:
        if refusal := found.mismatch(signature):
            raise RecordError(f"this record cannot be used: {refusal}; take a whole copy of it")
    return found


def read(record: bytes) -> SignedRecord:
    """Take a record apart, strictly; whether the signatures match is not looked at.

    Raises:
        RecordError: anything but exactly the members and forms of a record.
    """
    if len(record) > _LARGEST_RECORD:
        raise RecordError(f"the record is larger than {_LARGEST_RECORD // 1_000_000} MB")
    outer = canonical.decode(record, "the record")
    _exact(outer, {"payload", "signatures"}, "the record")
    payload_bytes = canonical.from_base64(outer["payload"], "the record's payload")
    payload = canonical.decode(payload_bytes, "the record's payload")
    if not isinstance(payload, dict) or not isinstance(outer["signatures"], list):
        raise RecordError("the record's payload or list of signatures is not what it must be")
    if not outer["signatures"]:
        raise RecordError("the record has no signature")
    signatures = tuple(_signature(entry) for entry in outer["signatures"])
    _check_order(signatures)
    return SignedRecord(payload_bytes, payload, signatures)


def _signature(entry: Any) -> Signature:
    what = "a signature's header"
    _exact(entry, {"protected", "signature"}, "a signature of the record")
    canonical.from_base64(entry["signature"], "a signature of the record")
    header = canonical.parse(canonical.from_base64(entry["protected"], what), what)
    _exact(header, {"alg", "kid", "jwk", *_OWN_HEADER}, what)
    texts = ("alg", "kid", "role", "name", "signed-at", "decision", "reason")
    if any(not isinstance(header[name], str) for name in texts):
        raise RecordError(f"{what} holds something that is not text")
    if header["alg"] != ALGORITHM or header["role"] not in SIGNERS:
        raise RecordError(f"{what} states an algorithm or role that is not allowed")
    if header["decision"] not in (ACCEPT, SEND_BACK) or not isinstance(header["earlier"], list):
        raise RecordError(f"{what} states a decision that is not allowed")
    read_moment(header["signed-at"], "the moment of signing")
    _exact(header["jwk"], {"crv", "kty", "x"}, "a signature's key")
    if header["jwk"]["crv"] != ALGORITHM or header["kid"] != thumbprint(header["jwk"]):
        raise RecordError("a signature's key is not the one that its header names")
    check_public(header["jwk"], "a signature's key")
    return Signature(entry["protected"], entry["signature"], header)


def _exact(value: Any, members: set[str], what: str) -> None:
    if not isinstance(value, dict) or set(value) != members:
        found = ", ".join(sorted(value)) if isinstance(value, dict) else type(value).__name__
        raise RecordError(f"{what} must have exactly {', '.join(sorted(members))}; it has {found}")


def _check_order(signatures: tuple[Signature, ...]) -> None:
    for kind in ("kid", "role"):
        stated = [signature.header[kind] for signature in signatures]
        if len(set(stated)) != len(stated):
            raise RecordError(f"two signatures of the record have the same {kind}")
    digests: list[str] = []
    for signature in signatures:
        if signature.header["earlier"] != digests:
            raise RecordError(
                f"the {signature.role} signed after other signatures than those that stand "
                "before it: one was dropped, added, repeated or moved"
            )
        digests.append(signature.digest)
    if any(signature.sent_back for signature in signatures[:-1]):
        raise RecordError("the record was signed again after it was returned for correction")
