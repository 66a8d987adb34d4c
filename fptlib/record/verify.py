"""Verification: who signed what and when, whether anything changed since, and what."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

from fptlib.errors import RecordError
from fptlib.job import plan
from fptlib.job.folder import JOB_FILE, Job, lookup, sha256
from fptlib.job.received import note
from fptlib.record import approvals, changes, receipts, schema, signing, store
from fptlib.record.approvals import Approval
from fptlib.record.signing import Signature, SignedRecord
from fptlib.record.text import one_line, site_moment
from fptlib.record.trusted_keys import TrustedKeys


@dataclass(frozen=True, slots=True)
class Signer:
    """One signature as found. ``refused`` says why it does not count, or is empty."""

    signature: Signature
    refused: str
    vouched: bool

    @property
    def role(self) -> str:
        """What the signer signed as."""
        return self.signature.role

    def line(self, zone: str = "") -> str:
        """The finding as text; its time on the site's clock where that is known."""
        header = self.signature.header
        said = "returned it for correction" if self.signature.sent_back else "signed"
        why = f" because: {header['reason']}" if header["reason"] else ""
        state = f"REFUSED: {self.refused}" if self.refused else "signature matches"
        remark = "" if self.vouched else "; nobody vouched for this key"
        at = site_moment(header["signed-at"], zone)
        return (f"{self.role} {self.signature.name} {said} at {at}{why}, "
                f"key {self.signature.kid}: {state}{remark}")


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
        pages: what was compared of the pages beside the record, and what was not.
        receipts: who had which signature, and when.
        approvals: who approved the plan, signed or only entered.
    """

    digest: str = ""
    signers: tuple[Signer, ...] = ()
    refused: tuple[str, ...] = ()
    changes: tuple[str, ...] = ()
    awaited: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    pages: tuple[str, ...] = ()
    receipts: tuple[str, ...] = ()
    approvals: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """Nothing refused and nothing changed."""
        return not self.refused and not self.changes

    @property
    def code(self) -> int:
        """What a script reads: 0 whole and complete, 3 a signature is awaited, 4 returned for
        correction, 5 the job folder changed since, 6 not accepted."""
        if self.refused:
            return 6
        return 5 if self.changes else 4 if self.sent_back else 3 if self.awaited else 0

    @property
    def sent_back(self) -> bool:
        """Somebody signed that the record is sent back."""
        return any(signer.signature.sent_back for signer in self.signers)

    def lines(self) -> list[str]:
        """The findings as lines of text, the conclusion first."""
        return [one_line(said) for said in (
            self._conclusion(),
            *(signer.line() for signer in self.signers),
            *(f"REFUSED: {reason}" for reason in self.refused),
            *(f"CHANGED: {change}" for change in self.changes),
            *(f"awaited: signature of the {role}" for role in self.awaited),
            *(f"approval of the plan: {said}" for said in self.approvals),
            *(f"receipt: {said}" for said in self.receipts),
            *(f"note: {remark}" for remark in self.remarks),
            *(f"pages: {said}" for said in self.pages),
        )]

    def _conclusion(self) -> str:
        named = f" {self.digest[:16]}" if self.digest else ""
        if self.refused:
            return f"record{named}: NOT ACCEPTED"
        if self.changes:
            return f"record{named}: the record is whole, the job folder CHANGED since"
        if self.sent_back:
            return f"record{named}: whole and unchanged; it was RETURNED FOR CORRECTION"
        awaited = f", {len(self.awaited)} signature(s) awaited" if self.awaited else ""
        return f"record{named}: whole and unchanged{awaited}"


def verify(record: bytes, trusted: TrustedKeys | None, job: Job | None,
           given: Mapping[str, bytes] = MappingProxyType({})) -> Verification:
    """Check a record; bad bytes are a finding, not an error.

    Args:
        record: the record's bytes.
        trusted: the firm's list of trusted keys; without it nobody vouches for the keys.
        job: the job folder to compare with, or None for the record alone.
        given: the receipts that lie beside it, by their names.
    """
    try:
        found = signing.read(record)
    except RecordError as error:
        return Verification(refused=(str(error),))
    try:
        earliest = [found.not_before(place) for place in range(len(found.signatures))]
    except RecordError as error:
        return Verification(found.digest, refused=(str(error),))
    signers = tuple(
        Signer(signature,
               found.mismatch(signature) or _distrust(signature, trusted, moment),
               trusted is not None)
        for signature, moment in zip(found.signatures, earliest, strict=True))
    refused = [f"{signer.role} {signer.signature.name}: {signer.refused}"
               for signer in signers if signer.refused]
    refused += [] if job is None else _dropped(found, job)
    if trusted and trusted.distinct:
        refused += [f"{said}, which the firm's list forbids" for said in _same_names(found)]
    try:
        content = schema.current(found.payload)
    except RecordError as error:
        return Verification(found.digest, signers, (*refused, str(error)))
    signed = {signer.role for signer in signers}
    approved, disapproved = _approvals(content, trusted)
    by, received = receipts.findings(found, given, trusted)
    return Verification(
        found.digest, signers,
        (*refused, *disapproved, *(changes.another_job(content, job) if job else [])),
        tuple(changes.since(content, job) if job else []),
        tuple(role for role in content["signatures_required"] if role not in signed),
        (*_remarks(trusted, job), *(_gaps(content, job) if job else []), *_same_names(found),
         *_other_names(found, content), *_backdated(found, earliest),
         *_own_word(found, trusted, by)),
        receipts=tuple(received), approvals=tuple(approved),
    )


def _approvals(content: Mapping[str, Any], trusted: TrustedKeys | None
               ) -> tuple[list[str], list[str]]:
    """Every approval of the plan in words, and why the signed ones that do not count do not."""
    said, refused = [], []
    for row in content["approvals"]:
        who = f"{row.get('role', '?')} {row.get('name', '?')}"
        try:
            found = approvals.of_row(row, content)
            why = _misjudged(row, content) or _distrust(found, trusted, None) if found else ""
        except RecordError as error:
            found, why = None, str(error)
        if why:
            refused.append(f"approval of the plan by {who}: {why}")
        else:
            state = found.line() + ("" if trusted else "; nobody vouched for this key") \
                if found else approvals.NOT_SIGNED
            changed = ", ".join(row.get("changed", []))
            said.append(f"{who} {state}" + (f"; changed since: {changed}" if changed else ""))
    return said, refused


def _misjudged(row: Mapping[str, Any], content: Mapping[str, Any]) -> str:
    """Why what the record says of a plan since its approval is not what its answers give."""
    try:
        answers = tomllib.loads(content["inputs"][JOB_FILE]["text"])
    except tomllib.TOMLDecodeError:
        return f"the record's copy of {JOB_FILE} cannot be read"
    now = plan.changed(row, answers)
    if now == row.get("changed", []):
        return ""
    return (f"since it was signed {', '.join(now) or 'nothing'} changed, and the record says "
            f"{', '.join(row['changed']) or 'nothing'}")


def _gaps(content: Mapping[str, Any], job: Job) -> list[str]:
    """Records that were there and are not, as far as the numbers and this record tell."""
    there = {path.name: path for path in store.records(job)}
    numbers = {int(path.stem) for path in there.values()}
    lacking = {f"{n:04d}.json" for n in range(1, max(numbers, default=0) + 1) if n not in numbers}
    stated = content["inputs"].get("records", {})
    lacking |= set(stated) - set(there)
    changed = [name for name, path in there.items() if name in stated
               and sha256(path) != stated[name]["sha256"]]
    return [*(f"record/{name} was there and is not in this folder" for name in sorted(lacking)),
            *(f"record/{name} is not the one that this record names" for name in changed)]


def _same_names(found: SignedRecord) -> list[str]:
    """Whoever signs in more than one role checks their own work."""
    roles: dict[str, list[str]] = {}
    for signature in found.signatures:
        roles.setdefault(plain_name(signature.name), []).append(signature.role)
    return [f"one name, {name}, signed as {' and as '.join(signed)}"
            for name, signed in roles.items() if len(signed) > 1]


def plain_name(name: str) -> str:
    """A name for comparing: white space and capitals do not count."""
    return " ".join(name.split()).casefold()


def _other_names(found: SignedRecord, content: Mapping[str, Any]) -> list[str]:
    """Signers who are not those that the plan names."""
    said = []
    for signature in found.signatures:
        planned = str(lookup(content, f"people.{signature.role}.name", ""))
        if planned and plain_name(planned) != plain_name(signature.name):
            said.append(f"the plan names {planned} as {signature.role}, not {signature.name}")
    return said


def _backdated(found: SignedRecord, earliest: Sequence[datetime | None]) -> list[str]:
    return [f"the {signature.role} states a moment before what was signed was made "
            f"({moment.isoformat()}); a clock was wrong, or the moment was"
            for signature, moment in zip(found.signatures, earliest, strict=True)
            if moment and signature.signed_at < moment]


def _own_word(found: SignedRecord, trusted: TrustedKeys | None, by: Mapping[str, datetime]
              ) -> list[str]:
    """Signatures of retired keys that nothing but the signer's word dates before the retirement."""
    said = []
    for signature in found.signatures:
        known = trusted.find(signature.kid) if trusted else None
        if known and known.revoked and not by.get(signature.digest, known.revoked) < known.revoked:
            said.append(f"the key of the {signature.role} was retired on "
                        f"{known.revoked.isoformat()}; that the signature is older is the signer's "
                        "own word, no receipt shows it")
    return said


def _distrust(signature: Signature | Approval, trusted: TrustedKeys | None,
              earliest: datetime | None) -> str:
    if trusted is None:
        return ""
    known = trusted.find(signature.kid)
    if known is None:
        return "unknown key: it is not in the list of trusted keys"
    if (known.role, known.name) != (signature.role, signature.name):
        return f"the key is that of {known.role} {known.name}, not of this signer"
    # A retired key's signature may state any moment; what it seals was made at that or later.
    return known.refusal(max(filter(None, (signature.signed_at, earliest))))


def _dropped(found: SignedRecord, job: Job) -> list[str]:
    """A later record of the same bytes with more signatures shows that some were dropped."""
    mine = [signature.digest for signature in found.signatures]
    for path in store.records(job):
        try:
            other = store.read(path)
        except RecordError:
            continue
        theirs = [signature.digest for signature in other.signatures]
        if other.digest == found.digest and len(theirs) > len(mine) \
                and theirs[:len(mine)] == mine:
            role = other.signatures[len(mine)].role
            return [f"{path.name} of the job carries the signature of the {role} too; "
                    "it is not in this record"]
    return []


def _remarks(trusted: TrustedKeys | None, job: Job | None) -> tuple[str, ...]:
    remarks = ["the moments of signing are the signers' own statements"]
    if trusted is None:
        remarks.append("no list of trusted keys was given: that the signatures match proves "
                       "that nothing was changed, not who holds the keys")
    if job is None:
        remarks.append("the record alone was checked, not the files of the job")
    elif note(job.folder):
        remarks.append("this is a review of a received folder, with the installed workbooks; those "
                       "of the sender were not compared")
    return tuple(remarks)
