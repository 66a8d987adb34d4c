"""Signed approvals: who approved the plan as it stands, by a key, in the plan itself.

An approval is a signed line (``signed_line``) over the job, the approver and the digest of every
part of the plan (``job.plan``), the frozen limits and the script among them. It stands as
``signed`` in its row of ``[[approvals]]``; a row without it was entered, not signed. So that an
approver needs no more than a copy of the job, the signature is one line of text that can be sent.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fptlib.errors import FormError, RecordError
from fptlib.job import plan
from fptlib.job.folder import Job, lookup, place
from fptlib.record import canonical, signed_line, text
from fptlib.record.keys import thumbprint
from fptlib.record.signer import Holder

NOT_SIGNED, NOT_COUNTED = "entered, not signed", "does not count"
_TYPE = "fptlib-plan-approval"
_MEMBERS = {"job", "plan", "role", "name", "signed-at"}
_LARGEST = 10_000
_DIGEST = re.compile("[0-9a-f]{64}")
Answers = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Approval:
    """What a signed approval states."""

    jwk: dict[str, str]
    role: str
    name: str
    signed_at: datetime
    job: Mapping[str, str]
    plan: Mapping[str, str]

    @property
    def kid(self) -> str:
        """Thumbprint of the approver's key."""
        return thumbprint(self.jwk)

    def line(self, zone: str = "") -> str:
        """When, on the clock of the site where its ``zone`` is given, and by which key."""
        return f"signed {text.site_moment(self.signed_at.isoformat(), zone)}, key {self.kid}"


def sign(answers: Answers, key: Holder, role: str, name: str, time: datetime) -> str:
    """The signed approval of the plan as it stands.

    Raises:
        FormError: role or name is empty, or the limits are not frozen.
        RecordError: the moment has no time zone, or the key's process has ended.
    """
    if not role.strip() or not name.strip():
        raise FormError("Role, Name: no answer; an approval needs both")
    if not lookup(answers, "frozen.limits"):
        raise FormError("the limits are not frozen; freeze them, then have the plan approved")
    if time.tzinfo is None:
        raise RecordError("the moment of signing needs a time zone")
    stated = {"job": _job(answers), "plan": plan.digests(answers), "role": role.strip(),
              "name": name.strip(), "signed-at": time.isoformat(timespec="seconds")}
    return signed_line.sign(_TYPE, stated, key)


def read(signed: Any) -> Approval:
    """An approval whose signature matches, read strictly: one way to write it counts.

    Raises:
        RecordError: it is none, or was changed.
    """
    try:
        if len(signed) > _LARGEST:
            raise ValueError("too long")
        jwk, found = signed_line.read(signed, _TYPE)
        if set(found) != _MEMBERS or not found["plan"] \
                or not all(map(_DIGEST.fullmatch, found["plan"].values())):
            raise ValueError("it has other members")
        return Approval(jwk, str(found["role"]), str(found["name"]),
                        canonical.read_moment(str(found["signed-at"]), "an approval's moment"),
                        found["job"], found["plan"])
    except (RecordError, ValueError, TypeError, AttributeError) as error:
        raise RecordError("it is no signed approval, or was changed after it was signed") from error


def of_row(row: Mapping[str, Any], answers: Answers) -> Approval | None:
    """The signed approval in a row of ``[[approvals]]``, none where it was only entered.

    ``answers`` are those of the job it must belong to.

    Raises:
        RecordError: it was changed, or is of another approver, plan or job than its row.
    """
    if "signed" not in row:
        return None
    found = read(row["signed"])
    if (found.role, found.name) != (row.get("role"), row.get("name")):
        raise RecordError(f"its signature is that of {found.role} {found.name}")
    if found.plan != row.get("plan"):
        raise RecordError("what was signed is another plan than its row states")
    if found.job != _job(answers):
        raise RecordError(f"it was signed for another job ({found.job.get('number')} of "
                          f"{found.job.get('created')})")
    return found


def enter(job: Job, signed: str, at: str) -> Approval:
    """Put a signed approval into the plan, in the place of an earlier one by the same approver.

    Raises:
        RecordError: it was changed, is of another job, or the plan is not the one it approves.
    """
    # Imported here: who verifies only writes no answers.
    import tomlkit

    signed = "".join(signed.split())
    found = read(signed)
    row = {"role": found.role, "name": found.name, "at": at, "plan": dict(found.plan),
           "signed": signed}

    def edit(document: Any) -> None:
        answers = document.unwrap()
        of_row(row, answers)
        if changed := plan.changed(row, answers):
            raise RecordError(f"not entered: this approval is of another plan; {', '.join(changed)}"
                              " changed since. Send the approver the plan as it is now")
        kept = [held for held in lookup(answers, "approvals", [])
                if (held.get("role"), held.get("name")) != (found.role, found.name)]
        rows = tomlkit.aot()
        for each in (*kept, row):
            rows.append(tomlkit.item(each))
        place(document, "approvals", rows)

    job.change(edit)
    return found


def standing(answers: Answers) -> Iterator[tuple[str, str]]:
    """Every approval, and how it stands: signed or entered, and what changed since."""
    for row in lookup(answers, "approvals", []):
        who = f"{row.get('role', '?')} {row.get('name', '?')}"
        try:
            found = of_row(row, answers)
        except RecordError as error:
            yield who, f"{NOT_COUNTED}: {error}; have the plan approved again"
            continue
        changed = plan.changed(row, answers)
        since = f"plan changed since: {', '.join(changed)}" if changed else \
            "plan unchanged since" if row.get("plan") else "of which plan is not stated"
        yield who, f"{found.line() if found else NOT_SIGNED}; {since}"


def _job(answers: Answers) -> dict[str, str]:
    return {name: str(lookup(answers, f"job.{name}", "")) for name in ("number", "created")}
