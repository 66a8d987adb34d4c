"""Verification: who signed what and when, whether anything changed since, and what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.record import changes, schema, signing, store
from fptlib.record.signing import Signature, SignedRecord
from fptlib.record.text import one_line
from fptlib.record.trusted import TrustedKeys


@dataclass(frozen=True, slots=True)
class Signer:
    """One signature as found. ``refused`` says why it does not count, or is empty."""

    role: str
    name: str
    kid: str
    signed_at: str
    decision: str
    reason: str
    refused: str
    remark: str

    def line(self) -> str:
        """The finding as text."""
        state = f"REFUSED: {self.refused}" if self.refused else "signature matches"
        said = "sent it back" if self.decision == signing.SEND_BACK else "signed"
        why = f" because: {self.reason}" if self.reason else ""
        remark = f"; {self.remark}" if self.remark else ""
        return (f"{self.role} {self.name} {said} at {self.signed_at}{why}, "
                f"key {self.kid}: {state}{remark}")


@dataclass(frozen=True, slots=True)
class Verification:
    """What was found about a record.

    Attributes:
        digest: SHA-256 of the signed bytes; empty where the record cannot be read.
        signers: every signature with what was found about it.
        refused: reasons not to accept the record.
        changes: what changed in the job folder since, each thing by name.
        awaited: roles that the record asks for and that have not signed.
        remarks: what a reader should know beside.
    """

    digest: str = ""
    signers: tuple[Signer, ...] = ()
    refused: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    awaited: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Nothing refused and nothing changed."""
        return not self.refused and not self.changes

    @property
    def sent_back(self) -> bool:
        """Somebody signed that the record is sent back."""
        return any(signer.decision == signing.SEND_BACK for signer in self.signers)

    @property
    def complete(self) -> bool:
        """Good, accepted and signed by every role the record asks for."""
        return self.good and not self.awaited and not self.sent_back

    def lines(self) -> list[str]:
        """The findings as lines of text, the conclusion first."""
        return [one_line(said) for said in (
            self._conclusion(),
            *(signer.line() for signer in self.signers),
            *(f"REFUSED: {reason}" for reason in self.refused),
            *(f"CHANGED: {change}" for change in self.changes),
            *(f"awaited: signature of the {role}" for role in self.awaited),
            *(f"note: {remark}" for remark in self.remarks),
        )]

    def _conclusion(self) -> str:
        named = f" {self.digest[:16]}" if self.digest else ""
        if self.refused:
            return f"record{named}: NOT ACCEPTED"
        if self.changes:
            return f"record{named}: the record is whole, the job folder CHANGED since"
        if self.sent_back:
            return f"record{named}: whole and unchanged; it was SENT BACK"
        return f"record{named}: whole and unchanged"


def verify(
    record: bytes, trusted: TrustedKeys | None, job: Job | None,
    expected: Sequence[tuple[str, str]] | None = None,
) -> Verification:
    """Check a record; bad bytes are a finding, not an error.

    Args:
        record: the record's bytes.
        trusted: the firm's list of trusted keys; without it nobody vouches for the keys.
        job: the job folder to compare with, or None for the record alone.
        expected: the exact (role, key thumbprint) list where it is known from elsewhere.
    """
    try:
        found = signing.read(record)
    except RecordError as error:
        return Verification(refused=(str(error),))
    signers = tuple(_signer(found, signature, trusted) for signature in found.signatures)
    refused = [f"{signer.role} {signer.name}: {signer.refused}"
               for signer in signers if signer.refused]
    refused += _against_expected(found, expected) + _against_folder(found, job)
    try:
        content = schema.current(found.payload)
    except RecordError as error:
        return Verification(found.digest, signers, (*refused, str(error)))
    if job is not None:
        refused += changes.another_job(content, job)
    return Verification(
        found.digest, signers, tuple(refused), tuple(_changes(content, job)),
        _awaited(found, content), _remarks(trusted, job),
    )


def _signer(found: SignedRecord, signature: Signature, trusted: TrustedKeys | None) -> Signer:
    header = signature.header
    refused = signing.mismatch(found, signature)
    if not refused and trusted is not None:
        refused = _distrust(signature, trusted)
    return Signer(
        header["role"], header["name"], header["kid"], header["signed-at"], header["decision"],
        header["reason"], refused, "" if trusted else "nobody vouched for this key",
    )


def _distrust(signature: Signature, trusted: TrustedKeys) -> str:
    known = trusted.find(signature.kid)
    if known is None:
        return "unknown key: it is not in the list of trusted keys"
    if (known.role, known.name) != (signature.role, signature.header["name"]):
        return f"the key is that of {known.role} {known.name}, not of this signer"
    return known.refusal(signature.signed_at)


def _against_expected(
    found: SignedRecord, expected: Sequence[tuple[str, str]] | None
) -> list[str]:
    if expected is None:
        return []
    there = [(signature.role, signature.kid) for signature in found.signatures]
    if there == list(expected):
        return []
    return [f"the signatures are those of {_names(there)}; expected are {_names(expected)}"]


def _names(signers: Sequence[tuple[str, str]]) -> str:
    return ", ".join(f"{role} ({kid})" for role, kid in signers)


def _against_folder(found: SignedRecord, job: Job | None) -> list[str]:
    """A later record of the same bytes with more signatures shows that some were dropped."""
    if job is None:
        return []
    mine = [signature.digest for signature in found.signatures]
    for path in store.records(job):
        other = _readable(path)
        if other is None or other.digest != found.digest:
            continue
        theirs = [signature.digest for signature in other.signatures]
        if len(theirs) > len(mine) and theirs[:len(mine)] == mine:
            role = other.signatures[len(mine)].role
            return [f"{path.name} of the job carries the signature of the {role} too; "
                    "it is not in this record"]
    return []


def _readable(path: Path) -> SignedRecord | None:
    try:
        return store.read(path)
    except RecordError:
        return None


def _changes(content: Mapping[str, Any], job: Job | None) -> list[str]:
    return [] if job is None else changes.since(content, job)


def _awaited(found: SignedRecord, content: Mapping[str, Any]) -> tuple[str, ...]:
    signed = {signature.role for signature in found.signatures}
    return tuple(role for role in content["signatures_required"] if role not in signed)


def _remarks(trusted: TrustedKeys | None, job: Job | None) -> tuple[str, ...]:
    remarks = ["the moments of signing are the signers' own statements"]
    if trusted is None:
        remarks.append("no list of trusted keys was given: that the signatures match proves "
                       "that nothing was changed, not who holds the keys")
    if job is None:
        remarks.append("the record alone was checked, not the files of the job")
    return tuple(remarks)
