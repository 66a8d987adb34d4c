"""Receipts: by which moment a signature was there, by another's word than the signer's.

Whoever receives a record, such as the firm's office, signs the digests of its signatures and the
moment. A receipt is a signed line (``signed_line``) in a file of its own beside the record, so the
record's bytes stay; it is verified off line and counts for every record with that signature.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from fptlib.errors import RecordError
from fptlib.record import canonical, signed_line, signing
from fptlib.record.files import write_new
from fptlib.record.keys import Key, thumbprint
from fptlib.record.trusted_keys import TrustedKeys

RECEIVER, SUFFIX = "receiver", ".receipt"
_TYPE = "fptlib-receipt"
_LARGEST, _MOST = 10_000, 100


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a receipt states: who had these signatures before them, and when."""

    jwk: dict[str, str]
    name: str
    received: datetime
    signatures: tuple[str, ...]

    def refusal(self, record: signing.SignedRecord, trusted: TrustedKeys | None) -> str:
        """Why the receipt proves nothing of this record, or nothing."""
        kid = thumbprint(self.jwk)
        if any(signature.kid == kid for signature in record.signatures):
            return "its key is that of a signer, and nobody is his own witness"
        if trusted is None:
            return "nobody vouched for its key"
        known = trusted.find(kid)
        if known is None or (known.role, known.name) != (RECEIVER, self.name):
            return f"its key is not on the list of trusted keys as that of {RECEIVER} {self.name}"
        return known.refusal(self.received)


def give(path: Path, record: bytes, key: Key, name: str, received: datetime) -> Path:
    """Write the receipt of a record beside its file; returns the receipt's file.

    Raises:
        RecordError: the record is damaged, the name is empty, the key signed the record or has
            given its receipt, or the file cannot be written.
    """
    found = signing.read_whole(record)
    if not name.strip():
        raise RecordError("a receipt needs its giver's name, as it stands on the list")
    if any(signature.kid == key.thumbprint for signature in found.signatures):
        raise RecordError("this key signed the record; a receipt needs another person's")
    if (made := found.made) and received < made:
        raise RecordError(f"the clock of this computer shows {received.isoformat()}, before what "
                          f"is received was made ({made.isoformat()}); set it right")
    stated = {"name": name.strip(), "received": received.isoformat(timespec="seconds"),
              "signatures": [signature.digest for signature in found.signatures]}
    file = path.with_name(f"{path.stem}-{key.thumbprint[:8]}{SUFFIX}")
    try:
        write_new(file, signed_line.sign(_TYPE, stated, key).encode("ascii") + b"\n")
    except OSError as error:
        raise RecordError(f"receipt '{file.name}' cannot be written beside the record: "
                          f"{error.strerror or error}") from error
    return file


def read(data: bytes) -> Receipt:
    """A receipt whose signature matches.

    Raises:
        RecordError: it is none, or was changed.
    """
    try:
        jwk, stated = signed_line.read(data.strip().decode("ascii"), _TYPE)
        if set(stated) != {"name", "received", "signatures"}:
            raise ValueError("it has other members")
        return Receipt(jwk, str(stated["name"]),
                       canonical.read_moment(str(stated["received"]), "a receipt's moment"),
                       tuple(map(str, stated["signatures"])))
    except (ValueError, TypeError) as error:
        raise RecordError(f"it is no receipt, or was changed ({type(error).__name__})") from error


def beside(path: Path) -> dict[str, bytes]:
    """The receipts in the folder of a record's file, by their names."""
    files = sorted(file for file in path.parent.glob(f"*{SUFFIX}")
                   if file.is_file() and file.stat().st_size <= _LARGEST)
    return {file.name: file.read_bytes() for file in files[:_MOST]}


def findings(record: signing.SignedRecord, given: Mapping[str, bytes], trusted: TrustedKeys | None
             ) -> tuple[dict[str, datetime], list[str]]:
    """By which moment each signature was there, by its digest, and what is to be said of it."""
    by: dict[str, datetime] = {}
    said = []
    for name, data in given.items():
        try:
            receipt = read(data)
        except RecordError as error:
            said.append(f"{name} does not count: {error}")
            continue
        signed = [each for each in record.signatures if each.digest in receipt.signatures]
        if not signed:
            continue
        refusal = receipt.refusal(record, trusted)
        said.append(f"{receipt.name} had the signature of the {_roles(signed)} at "
                    f"{receipt.received.isoformat()}"
                    + (f"; this does not count: {refusal}" if refusal else ""))
        for each in [] if refusal else signed:
            by[each.digest] = min(by.get(each.digest, receipt.received), receipt.received)
            if each.signed_at > receipt.received:
                said.append(f"the {each.role} states a later moment, {each.signed_at.isoformat()}; "
                            "a clock was wrong")
    return by, said


def _roles(signed: Iterable[signing.Signature]) -> str:
    return " and of the ".join(each.role for each in signed)
