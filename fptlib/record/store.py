"""Keeping records: numbered files in ``record/``, none of which is ever overwritten."""

from __future__ import annotations

from pathlib import Path

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.record import files, signing
from fptlib.record.files import write_new
from fptlib.record.signing import SignedRecord


def save(job: Job, record: bytes) -> Path:
    """Save a record under the next number.

    The bytes are complete and on disk before the number exists, and a number that exists is
    never taken again: a kill, a full disk or a second program leaves whole records only.

    Raises:
        RecordError: the bytes are no record, or the folder cannot be written.
        JobError: another program holds the job folder for too long.
    """
    signing.read(record)
    try:
        with job.locked():
            job.record_folder.mkdir(exist_ok=True)
            path = job.record_folder / f"{_next_number(job):04d}.json"
            write_new(path, record)
            return path
    except OSError as error:
        raise RecordError(
            f"the record cannot be saved in '{job.record_folder.name}': "
            f"{error.strerror or error}; make room or allow writing, then sign again"
        ) from error


def _next_number(job: Job) -> int:
    return max((int(path.stem) for path in records(job)), default=0) + 1


def records(job: Job) -> list[Path]:
    """Every record of the job, oldest first."""
    return files.records(job.folder)


def latest(job: Job) -> Path | None:
    """The newest record of the job, or None."""
    found = records(job)
    return found[-1] if found else None


def read(path: Path) -> SignedRecord:
    """A record of a job, taken apart.

    Raises:
        RecordError: the file cannot be read or is no record; the sentence names it.
    """
    try:
        return signing.read(path.read_bytes())
    except (OSError, RecordError) as error:
        why = f"it cannot be read: {error.strerror or error}" if isinstance(error, OSError) \
            else error
        raise RecordError(f"{path.parent.name}/{path.name} cannot be used: {why}; put a whole copy "
                          "of it in its place, or sign a new record") from error
