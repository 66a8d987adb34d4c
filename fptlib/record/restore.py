"""A job folder made anew from a record and the trend files it names, for re-computation."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, sha256
from fptlib.record import canonical, schema
from fptlib.record.report import whole


@contextmanager
def restored(record: bytes, trends: Path) -> Iterator[Job]:
    """A job made anew for a while, in a temporary folder that is gone afterwards.

    Raises:
        RecordError: as ``restore``.
    """
    # Where reading failed its error holds the file open, which Windows then does not remove;
    # the error's own sentence counts more.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        yield restore(record, trends, Path(folder) / "job")


def restore(record: bytes, trends: Path, folder: Path) -> Job:
    """Make a job folder as it was when the record was made.

    Args:
        record: the record's bytes; its signatures must match.
        trends: the folder that holds the trend files.
        folder: the new job folder; it must not exist.

    Raises:
        RecordError: the record is damaged, a file is absent or not the one that was used, or
            the folder exists.
    """
    inputs = schema.current(whole(record).payload)["inputs"]
    files = {name: _checked(trends, name, stated) for name, stated in inputs["trends"].items()}
    texts = {name: text_of(name, inputs[name]).encode("utf-8")
             for name in (JOB_FILE, READINGS_FILE) if inputs[name] is not None}
    try:
        (folder / "trends").mkdir(parents=True)
        for name, path in files.items():
            shutil.copyfile(path, folder / "trends" / name)
        for name, data in texts.items():
            (folder / name).write_bytes(data)
    except FileExistsError as error:
        raise RecordError(f"folder '{folder.name}' exists; name a new one") from error
    except OSError as error:
        raise RecordError(f"folder '{folder.name}' cannot be made: {error.strerror}") from error
    return Job(folder)


def _checked(trends: Path, name: str, stated: Mapping[str, Any]) -> Path:
    # The name comes from the record: it must be a file's name and not a way to elsewhere.
    if name != Path(name).name or "\\" in name or ":" in name or name in ("", ".", ".."):
        raise RecordError(f"the record names a trend file '{name[:80]}', which is no file name")
    path = trends / name
    if not path.is_file():
        raise RecordError(f"trend file {name} is not in '{trends.name}'; name the folder that "
                          "holds the files as received")
    if sha256(path) != stated["sha256"]:
        raise RecordError(f"trend file {name} is not the one the record rests on: its SHA-256 "
                          "is another; put the file as received in its place")
    return path


def text_of(name: str, stated: Mapping[str, Any]) -> str:
    """The text of a small input file as a record holds it.

    Raises:
        RecordError: it is not the text that the record was made from.
    """
    text = str(stated["text"])
    if canonical.digest(text.encode("utf-8")) != stated["sha256"]:
        raise RecordError(f"the record's text of {name} does not have the digest it states; take "
                          "another record of that job")
    return text
