"""What scripts call, and the commands too: each function is a call into the room that does it.

Everything is imported when it is called, so that ``import fptlib`` and ``fptlib --help`` cost
next to nothing. A record is named by its job folder, its own file or its PDF.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fptlib.errors import JobError

if TYPE_CHECKING:
    from fptlib.cli.report import Report
    from fptlib.job.folder import Job
    from fptlib.portfolio.result import Screening
    from fptlib.procedure.functional_test import FunctionalTest
    from fptlib.record.approvals import Approval
    from fptlib.record.keys import Key
    from fptlib.record.recalculate import Difference, Wording
    from fptlib.record.verify import Verification
    from fptlib.workbook.comparing import Compared
    from fptlib.workbook.run import StepResult

Progress = Callable[[float, str], None]


def start(folder: Path, title: str = "", sample: str = "", retest: Path | None = None,
          procedure: Path | None = None) -> Job:
    """A new job folder: empty, of an invented ``sample`` plant, or the ``retest`` of a record.

    Args:
        folder: a new folder.
        title: the job's title; the folder's name where left out.
        sample: ``sound`` or ``before``.
        retest: the earlier test's record.
        procedure: a firm's procedure folder, with its own limits, texts and workbooks; a retest
            follows that of its record where left out.

    Raises:
        JobError: the folder is there already, or sample and retest are both given.
        RecordError: the earlier record cannot be used.
    """
    from fptlib.job import start as begin
    from fptlib.workbook.standard import Procedure, adopt, followed, read

    if sample and retest:
        raise JobError("--sample and --retest cannot go together: a retest has the plant of its "
                       "record; leave one of them out")
    # Read first: a firm's folder with a fault must not leave a half-made job behind.
    firm = read(procedure) if procedure else Procedure()
    if sample:
        job = begin.start_sample(folder, sample)
    elif retest:
        from fptlib.record.locate import locate
        from fptlib.record.retest import start_retest

        of = locate(retest)
        job = start_retest(folder, of.record, title)
        if not procedure:
            firm = followed(job, of.job)
    else:
        job = begin.start(folder, title or folder.name)
    adopt(job, firm)
    return job


def run(job: Job, done: Callable[[str], None] | None = None) -> list[StepResult]:
    """Run every workbook of a job without a browser; ``done`` is told each step's title."""
    from fptlib.workbook.run import run_all

    return run_all(job, done)


def assemble(job: Job, progress: Progress | None = None) -> FunctionalTest:
    """The trends of a job on one grid, with everything needed to judge them.

    Raises:
        JobError: an answer cannot be used.
        IntakeError: a trend file, its map or its values cannot be used.
    """
    from fptlib.procedure.assemble import assemble as assembled

    return assembled(job, progress)


def check(job: Job, progress: Progress | None = None) -> Report:
    """Judge a job: every check, event, changeover, limit and remark; raises as ``assemble``."""
    from fptlib.cli.report import report_of

    return report_of(job, assemble(job, progress))


def make_key(file: Path, passphrase: str) -> Key:
    """A new signing key in a new file, encrypted with the passphrase.

    Raises:
        RecordError: the file lies in a job folder or exists, or the passphrase is short.
    """
    from fptlib.record.keys import make_key as made

    return made(file, passphrase)


def sign(job: Job, key: Path, passphrase: str, name: str) -> Path:
    """Judge a job's files anew and sign the record as its technician; the record's path.

    Raises:
        FormError: something must be closed first; every open point is named.
        RecordError: the key does not open, or a value cannot be recorded.
    """
    from fptlib.workbook import sign_off

    return sign_off.sign(job, key, passphrase, name)


def countersign(job: Job, key: Path, passphrase: str, name: str, role: str = "engineer",
                returned: str | None = None,
                accepts: Callable[[Wording], bool] = lambda _: False) -> Path:
    """Accept the latest record with a further signature, or return it for correction.

    ``returned`` is the reason to return it; an empty one is refused and never an acceptance.
    ``accepts`` is asked of every sentence that this version words otherwise than the record.

    Raises:
        RecordError: there is no record, the key does not open, or it cannot be accepted.
    """
    from fptlib.record import signing
    from fptlib.workbook import sign_off

    decision = signing.ACCEPT if returned is None else signing.SEND_BACK
    return sign_off.countersign(job, key, passphrase, name, decision, returned or "", role,
                                accepts)


def approve(job: Job, key: Path, passphrase: str, role: str, name: str,
            file: Path | None = None) -> str:
    """Approve a job's plan by signature; with ``file`` it is written there, not into the job.

    Raises:
        FormError: role or name is empty, or the limits are not frozen.
        RecordError: the key does not open.
    """
    from fptlib.job.folder import write_atomically
    from fptlib.workbook import sign_off

    signed = sign_off.approve(job, key, passphrase, role, name)
    if file is None:
        sign_off.enter_approval(job, signed)
    else:
        write_atomically(file, signed.encode("ascii") + b"\n")
    return signed


def enter_approval(job: Job, file: Path) -> Approval:
    """Put a signed approval that was sent into a job's plan.

    Raises:
        RecordError: it was changed, or is of another plan or job.
    """
    from fptlib.workbook import sign_off

    return sign_off.enter_approval(job, file.read_bytes().decode("ascii", errors="replace"))


def verify(record: Path, trusted: Path | None = None) -> Verification:
    """Who signed a record and whether anything changed; ``trusted`` is the firm's list of keys.

    Raises:
        RecordError: record or list cannot be read.
    """
    from fptlib.record import firm_list, pages, receipts
    from fptlib.record.locate import locate
    from fptlib.record.verify import verify as verified

    of = locate(record)
    found = verified(of.record, firm_list.read_for_use(trusted) if trusted else None, of.job,
                     receipts.beside(of.path))
    if of.damaged:
        found = replace(found, changes=(*found.changes, of.damaged))
    return replace(found, pages=tuple(pages.beside(of.path, of.record)))


def receipt(record: Path, key: Path, passphrase: str, name: str) -> Path:
    """State, by a key other than the signers', that a record was here now; the receipt's file.

    Raises:
        RecordError: the record is damaged, the key does not open or signed it.
    """
    from fptlib.job.folder import now
    from fptlib.record import receipts
    from fptlib.record.keys import load_key
    from fptlib.record.locate import locate

    of = locate(record)
    return receipts.give(of.path, of.record, load_key(key, passphrase), name, now())


def recalculate(record: Path, trends: Path | None = None) -> list[Difference]:
    """Every check of a record against what its files give today.

    ``trends`` is the folder of the trend files it names, where its job folder is not at hand.

    Raises:
        RecordError: the record is damaged, or its files are not those it names.
    """
    from fptlib.record.locate import locate
    from fptlib.workbook.sign_off import recalculated

    return recalculated(locate(record), trends)


def compare(before: Path, after: Path) -> Compared:
    """Set a retest beside the test it repeats; the page is written beside the retest.

    Raises:
        RecordError: a record is damaged, or the second does not refer to the first.
    """
    from fptlib.record.locate import locate
    from fptlib.workbook.comparing import compare as compared

    return compared(locate(before), locate(after))


def screen(folder: Path, workers: int | None = None, scheduler: str | None = None
           ) -> Iterator[Screening]:
    """Judge every job below a folder, several at a time (see ``fptlib.portfolio.engine``)."""
    from fptlib.portfolio import engine

    return engine.screen(folder, workers, scheduler)
