"""Sign-off: everything is recalculated from the files, signed, and exported.

What a notebook shows is never signed; the record is made from the job folder alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fptlib.errors import FormError, RecordError
from fptlib.job.folder import Job, now, site_time, write_atomically
from fptlib.job.received import not_kept
from fptlib.job.start import pasted
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check
from fptlib.record import (
    approvals,
    owners_page,
    recalculate,
    render,
    schema,
    signer,
    signing,
    store,
    verify,
    what_to_set,
)
from fptlib.record.approvals import Approval
from fptlib.record.locate import Located, latest_of
from fptlib.record.payload import payload
from fptlib.record.recalculate import Difference, Wording
from fptlib.workbook import state

TECHNICIAN, ENGINEER = "technician", "engineer"
_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Computed:
    """A case with every check, computed from the job's files now."""

    case: FunctionalTest
    checks: list[Check]


def compute(job: Job) -> Computed:
    """Read everything from the files, whatever a cache holds, and judge everything."""
    case = assemble(job, fresh=True)
    return Computed(case, all_checks(case))


def sign(job: Job, key_file: Path, passphrase: str, name: str) -> Path:
    """Make the record and sign it as the technician; returns the record's path.

    Raises:
        FormError: something must be closed first; every open point is named.
        RecordError: the key does not open, or a value cannot be recorded.
    """
    _refuse_copy(job)
    if blockers := state.signing_blockers(job):
        raise FormError("not signed: " + " ".join(blockers))
    if not name.strip():
        raise FormError("Name: no answer; a signature needs a name")
    with signer.opened(key_file, passphrase) as key:
        found = compute(job)
        content = schema.current(_stated(job, found))
        record = signing.sign(content, key, TECHNICIAN, name.strip(), now())
    return _save(job, record, found)


def _stated(job: Job, found: Computed) -> dict[str, Any]:
    """What a record made now would state."""
    case = found.case
    changeovers = [{"number": each.number, "condition": case.natural(each),
                    "from": case.time(each.first).isoformat(),
                    "to": case.time(each.last).isoformat()} for each in case.changeovers]
    return payload(job, case.grid, case.limits, found.checks, case.readings, case.instruments,
                   changeovers=changeovers, worth=owners_page.worth(case),
                   settings_sheet=what_to_set.stated(job, case))


def approve(job: Job, key_file: Path, passphrase: str, role: str, name: str) -> str:
    """The signed approval of a job's plan as it stands, one line of text; nothing is written.

    Raises:
        FormError: role or name is empty, or the limits are not frozen.
        RecordError: the key does not open.
    """
    with signer.opened(key_file, passphrase) as key:
        return approvals.sign(job.answers(), key, role, name, now())


def enter_approval(job: Job, signed: str) -> Approval:
    """Put a signed approval into a job's plan.

    Raises:
        FormError: the folder is a copy that is not kept.
        RecordError: the approval was changed, or is of another plan or job.
    """
    _refuse_copy(job)
    return approvals.enter(job, signed, site_time(job).date().isoformat())


def countersign(job: Job, key_file: Path, passphrase: str, name: str, decision: str,
                reason: str, role: str = ENGINEER,
                accepts: Callable[[Wording], bool] = lambda _: False) -> Path:
    """Add a signature to the latest record; where it accepts, the record must verify first.

    Args:
        job: the job folder.
        key_file: the signer's key.
        passphrase: what opens it, or the ticket of the process that did (``record.signer``).
        name: the signer's name.
        decision: accept it, or send it back.
        reason: why it is sent back.
        role: what the signer signs as.
        accepts: asked of every sentence that this version words otherwise than the record.

    Raises:
        RecordError: there is no record, the key does not open, or, where it is accepted, it
            does not verify against the job, is not what the files give, or a sentence of it was
            not accepted.
    """
    _refuse_copy(job)
    record = latest_of(job).read_bytes()
    accepted = decision == signing.ACCEPT
    if accepted:
        _refuse_changed(job, record, "not countersigned")
    with signer.opened(key_file, passphrase) as key:
        computed = compute(job)
        if accepted:
            version = signing.read(record).payload["schema"]["version"]
            _refuse_other(_differences(job, record, computed), version, accepts)
        signed = signing.countersign(record, key, role, name.strip(), now(), decision, reason)
    return _save(job, signed, computed)


def _refuse_other(found: Sequence[Difference], version: int,
                  accepts: Callable[[Wording], bool]) -> None:
    """Refuse a record that the files do not give; its words count like its numbers.

    ``version`` is that of its form: what an earlier one did not state cannot be compared.
    """
    if version != schema.VERSION:
        raise RecordError(
            f"not countersigned: the record is of version {version}, this program makes version "
            f"{schema.VERSION} and cannot compare all of it; countersign with the program that "
            "made it, or return it for correction")
    if other := [difference.check for difference in found if not difference.same]:
        more = f" and {len(other) - _MOST_NAMED} more" if len(other) > _MOST_NAMED else ""
        raise RecordError(
            f"not countersigned: recalculated from the job's files, "
            f"{', '.join(other[:_MOST_NAMED])}{more} of the record differ; return the record "
            "for correction")
    refused = [wording for wording in recalculate.wordings(found) if not accepts(wording)]
    if refused:
        raise RecordError(
            f"not countersigned: {len(refused)} sentences of the record are not those of this "
            f"version and were not accepted, the first of {refused[0].where}; read both texts of "
            "each, accept them one by one, or return the record for correction")


def _refuse_copy(job: Job) -> None:
    if words := not_kept(job):
        raise FormError(f"not signed: {words} Close it, and write 'fptlib review FOLDER' to review "
                        "the job, or 'fptlib adopt FOLDER' to work in it")


def _refuse_changed(job: Job, record: bytes, what: str) -> None:
    found = verify.verify(record, None, job)
    if not found.good:
        raise RecordError(f"{what}: " + "; ".join([*found.refused, *found.changes]))


def _save(job: Job, record: bytes, found: Computed) -> Path:
    path = store.save(job, record)
    # The record is signed and saved: whatever keeps its pages from being written, it counts.
    # ``unwritten`` says which are not there, and 'fptlib export' says why.
    with suppress(Exception):
        export(path, record, found)
    return path


def unwritten(path: Path) -> str:
    """What to say of a signed record whose pages are not all there, or nothing."""
    lacking = [end for end in (".html", ".pdf", ".xlsx") if not path.with_suffix(end).is_file()]
    if not lacking:
        return ""
    return (f"the record is signed and counts, but its pages ({', '.join(lacking)}) could not be "
            "written; make room or allow writing in the folder 'record', then write "
            f"'fptlib export {pasted(path.parent.parent)}'")


def export(path: Path, record: bytes, found: Computed) -> list[Path]:
    """Write the record for people beside it: page, PDF, tables.

    The record is what counts; these can be made again at any time.
    """
    # Imported here: a page that signs opens without what draws.
    from fptlib.workbook import evidence

    figures = evidence.pictures(found.case, found.checks)
    tables = render.tables(signing.read(record).payload)
    content = {
        path.with_suffix(".html"): render.html(record, figures),
        path.with_suffix(".pdf"): render.pdf(record, figures),
        path.with_suffix(".xlsx"): render.to_xlsx(tables),
        **{path.with_name(f"{path.stem}-{table.name}.csv"): render.to_csv(table)
           for table in tables},
    }
    for made, data in content.items():
        write_atomically(made, data)
    return list(content)


def export_latest(job: Job) -> list[Path]:
    """Write the latest record for people again.

    Raises:
        RecordError: there is no record, or the job folder changed since it was signed.
    """
    path = latest_of(job)
    record = path.read_bytes()
    _refuse_changed(job, record, "not exported")
    return export(path, record, compute(job))


def _differences(job: Job, record: bytes, computed: Computed) -> list[Difference]:
    """A record against what the job's files give now: every check, and what its pages print."""
    return recalculate.differences(signing.read_whole(record).payload, _stated(job, computed))


def recalculated(of: Located, trends: Path | None = None) -> list[Difference]:
    """How a record comes out today.

    Args:
        of: the record; where it lies in a job folder, the job as it is now is computed.
        trends: a folder with the trend files that the record names; the job is then made anew
            from them and the record.

    Raises:
        RecordError: the record is damaged, a trend file is not the one it names, or it lies in
            no job folder and no trends are given.
    """
    if trends is not None:
        with recalculate.restored(of.record, trends) as job:
            return _differences(job, of.record, compute(job))
    if of.job is None:
        raise RecordError(f"'{of.path.name}' lies in no job folder; name the folder of its trend "
                          "files with --trends")
    return _differences(of.job, of.record, compute(of.job))


def compared(job: Job) -> list[Difference]:
    """The latest record against a fresh computation; nothing where there is no record."""
    path = store.latest(job)
    return _differences(job, path.read_bytes(), compute(job)) if path else []
