"""A record computed anew: from its job folder, or from its trend files alone."""

from __future__ import annotations

from pathlib import Path

from fptlib.errors import RecordError
from fptlib.job import Job
from fptlib.record.named import Named
from fptlib.record.report import whole
from fptlib.record.restore import restored
from fptlib.record.review import Difference
from fptlib.workbook import closing


def differences(of: Named, trends: Path | None = None) -> list[Difference]:
    """How every check of the record, and what its pages print, comes out today.

    Args:
        of: the record; where it lies in a job folder, the job as it is now is computed.
        trends: a folder with the trend files that the record names; the job is then made anew
            from them and the record.

    Raises:
        RecordError: the record is damaged, a trend file is not the one it names, or it lies in
            no job folder and no trends are given.
    """
    if trends is not None:
        with restored(of.record, trends) as job:
            return _compared(of, job)
    if of.job is None:
        raise RecordError(f"'{of.path.name}' lies in no job folder; name the folder of its trend "
                          "files with --trends")
    return _compared(of, of.job)


def _compared(of: Named, job: Job) -> list[Difference]:
    whole(of.record)
    return closing.compared(job, of.record, closing.compute(job))
