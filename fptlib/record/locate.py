"""A record as its user names it: a job folder, a record's file or a PDF that carries one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, Job
from fptlib.record import store


@dataclass(frozen=True, slots=True)
class Located:
    """A record, the file it was read from, and the job folder it lies in, if any."""

    record: bytes
    path: Path
    job: Job | None


def locate(path: Path) -> Located:
    """The record that a path names; of a job folder it is the latest.

    Raises:
        RecordError: there is no record, or its file cannot be read.
        JobError: the folder is no job folder.
    """
    path = path.resolve()
    if path.is_dir():
        job = Job(path)
        newest = latest_of(job)
        return Located(_bytes(newest), newest, job)
    folder = path.parent.parent
    inside = path.parent.name == "record" and (folder / JOB_FILE).is_file()
    return Located(_bytes(path), path, Job(folder) if inside else None)


def latest_of(job: Job) -> Path:
    """The newest record of a job that must have one.

    Raises:
        RecordError: there is none.
    """
    path = store.latest(job)
    if path is None:
        raise RecordError(f"job '{job.folder.name}' has no record yet; sign one with 'fptlib sign'")
    return path


def _bytes(path: Path) -> bytes:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise RecordError(f"'{path.name}' cannot be read: {error.strerror or error}; name a job "
                          "folder, a record or its PDF") from error
    if data.startswith(b"%PDF"):
        # Imported here: only a PDF needs it.
        from fptlib.record.pdf import record_of_pdf

        return record_of_pdf(data)
    return data
