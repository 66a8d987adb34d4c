"""What both commands and scripts call and no room has as one function."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fptlib.job.folder import Job
    from fptlib.record.verify import Verification


def start(folder: Path, title: str = "", sample: str = "", retest: Path | None = None,
          procedure: Path | None = None) -> Job:
    """A new job folder: empty, of an invented ``sample`` plant, or the ``retest`` of a record.

    Args:
        folder: a new folder.
        title: the job's title; the folder's name where left out.
        sample: ``sound`` or ``before``.
        retest: the earlier test.
        procedure: a firm's procedure folder, with its own limits, texts and workbooks.

    Raises:
        JobError: the folder is there already, or sample and retest are both given.
        RecordError: the earlier record cannot be used.
    """
    from fptlib.errors import JobError
    from fptlib.job import start as begin
    from fptlib.workbook.standard import Procedure, adopt, read

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

        job = start_retest(folder, locate(retest).record, title)
    else:
        job = begin.start(folder, title or folder.name)
    adopt(job, firm)
    return job


def verify(record: Path, trusted: Path | None = None) -> Verification:
    """Who signed a record and whether anything changed since.

    Args:
        record: a job folder, a record or its PDF.
        trusted: the firm's list of trusted keys.

    Raises:
        RecordError: record or list cannot be read.
    """
    from fptlib.record.locate import locate
    from fptlib.record.trusted_keys import TrustedKeys
    from fptlib.record.verify import verify as verified

    of = locate(record)
    return verified(of.record, TrustedKeys.read(trusted) if trusted else None, of.job)
