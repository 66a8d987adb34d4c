"""A record as its user names it: a job folder, a record's file or a PDF that carries one."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fptlib.errors import JobError, RecordError
from fptlib.job.folder import JOB_FILE, Job
from fptlib.record import store
from fptlib.record.files import records

_LARGEST = 256_000_000


@dataclass(frozen=True, slots=True)
class Located:
    """A record, the file it was read from, and the job folder it lies in, if any.

    ``damaged`` says why that folder cannot be used though the record can.
    """

    record: bytes
    path: Path
    job: Job | None
    damaged: str = ""


def locate(path: Path) -> Located:
    """The record that a path names; of a job folder it is the latest.

    Raises:
        RecordError: there is no record, or its file cannot be read.
        JobError: the folder is no job folder.
    """
    path = path.resolve()
    folder = path if path.is_dir() else path.parent.parent
    file, job, damaged = path, None, ""
    if path.is_dir() or path.parent.name == "record" and (folder / JOB_FILE).is_file():
        try:
            job = Job(folder)
        except JobError as error:
            # A record says what it says, whatever became of its job.
            damaged = str(error)
            if path.is_dir() and not records(folder):
                raise
    if path.is_dir():
        file = latest_of(job) if job else records(folder)[-1]
    return Located(_bytes(file), file, job, damaged)


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
        # Looked at first: a pipe would keep the reader waiting, a device never ends.
        if path.exists() and not (path.is_file() and path.stat().st_size <= _LARGEST):
            raise RecordError(f"'{path.name}' is a pipe, a device or larger than any record; name "
                              "a job folder, a record or its PDF")
        data = path.read_bytes()
    except OSError as error:
        raise RecordError(f"'{path.name}' cannot be read: {error.strerror or error}; name a job "
                          "folder, a record or its PDF") from error
    if data.startswith(b"%PDF"):
        # Imported here: only a PDF needs it.
        from fptlib.record.pdf import record_of_pdf

        return record_of_pdf(data)
    return data
