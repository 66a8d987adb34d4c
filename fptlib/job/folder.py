"""The job folder: its paths, its one file of answers, and saves that lose nothing.

``job.toml`` is written by forms and by hand alike. Every change takes the folder's lock,
reads the file afresh, changes it and replaces it in one move, so that two windows on one
job, or a kill half-way, lose nothing. What only a change needs is imported there, for most
runs only read.
"""

from __future__ import annotations

import copy
import glob
import hashlib
import os
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from fptlib.errors import JobError

if TYPE_CHECKING:
    from filelock import FileLock
    from tomlkit import TOMLDocument

JOB_FILE = "job.toml"
READINGS_FILE = "readings.csv"
# The reviewer's own notes, and where the copy of a received folder came from.
REVIEW_FILE, RECEIVED_FILE = "review.toml", "received.toml"
_LOCK_FILE = ".lock"
_LOCK_SECONDS, _LEFT_SECONDS = 20.0, 3600.0


def now() -> datetime:
    """The present moment in UTC, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def site_time(job: Job, moment: datetime | None = None) -> datetime:
    """A moment, now where none is given, on the site's clock."""
    zone = ZoneInfo(str(job.get("site.time_zone", "UTC")))
    moment = moment or now()
    return moment.astimezone(zone) if moment.tzinfo else moment.replace(tzinfo=zone)


def sha256(path: Path) -> str:
    """SHA-256 of a file, read in pieces."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def write_atomically(path: Path, data: bytes) -> None:
    """Replace ``path`` by ``data`` in one move; a kill leaves the old or the new file whole."""
    # A temporary file is for its maker alone; the job's files are for the whole team.
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o644
    with written_beside(path, data, mode) as temporary:
        _replace(temporary, path)


@contextmanager
def written_beside(path: Path, data: bytes, mode: int) -> Iterator[Path]:
    """A temporary file beside ``path`` with ``data`` on disk, to be given its name.

    Whatever happens it is gone afterwards. Its owner alone may read it before it has its mode,
    so a secret is never open to others.
    """
    _sweep(path)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, mode)
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)


def _sweep(path: Path) -> None:
    """Take away what killed saves of this file left beside it; what is young may be at work."""
    for left in path.parent.glob(f".{glob.escape(path.name)}.*.part"):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > _LEFT_SECONDS:
                left.unlink()


def _replace(temporary: Path, path: Path) -> None:
    # A virus scanner on a field laptop may hold the file open for a moment.
    for wait in (0.05, 0.2, 0.5, 1.0):
        try:
            os.replace(temporary, path)
            return
        except PermissionError:
            time.sleep(wait)
    os.replace(temporary, path)


class Job:
    """A job folder.

    Raises:
        JobError: the folder has no readable ``job.toml``.
    """

    def __init__(self, folder: Path | str) -> None:
        self.folder = Path(folder).resolve()
        self._known: tuple[tuple[int, int, int], dict[str, Any]] | None = None
        self.answers()

    @property
    def file(self) -> Path:
        """The answers, ``job.toml``."""
        return self.folder / JOB_FILE

    @property
    def trends_folder(self) -> Path:
        """Where the trend files lie."""
        return self.folder / "trends"

    @property
    def workbooks_folder(self) -> Path:
        """Where the workbooks lie."""
        return self.folder / "workbooks"

    @property
    def record_folder(self) -> Path:
        """Where the signed records lie."""
        return self.folder / "record"

    @property
    def readings_file(self) -> Path:
        """The field readings."""
        return self.folder / READINGS_FILE

    def read(self) -> TOMLDocument:
        """The job's answers as they lie on disk now, with their comments, to be changed."""
        import tomlkit
        from tomlkit.exceptions import TOMLKitError

        try:
            return tomlkit.parse(self._text())
        except TOMLKitError as error:
            raise JobError(f"{JOB_FILE} cannot be read: {error}; correct that line") from error

    def _text(self) -> str:
        if not self.file.is_file():
            raise JobError(
                f"'{self.folder.name}' is not a job folder: it has no {JOB_FILE}; "
                "start one with 'fptlib start FOLDER'"
            )
        try:
            return self.file.read_text(encoding="utf-8")
        except UnicodeDecodeError as error:
            raise JobError(f"{JOB_FILE} is not UTF-8 text; save it as UTF-8") from error

    def answers(self) -> dict[str, Any]:
        """The job's answers as they lie on disk now, as plain Python; the caller's own copy."""
        return copy.deepcopy(self._answers())

    def get(self, path: str, default: Any = None) -> Any:
        """The answer at a dotted path (``site.altitude``) as plain Python, or ``default``."""
        found = lookup(self._answers(), path, default)
        return default if found is default else copy.deepcopy(found)

    def _answers(self) -> dict[str, Any]:
        """The answers, which nobody may change: a form asks for one after the other, so the file is
        parsed again only when it was replaced."""
        try:
            state = self.file.stat()
        except OSError:
            return _plain(self._text())
        mark = (state.st_mtime_ns, state.st_size, state.st_ino)
        if self._known is None or self._known[0] != mark:
            self._known = mark, _plain(self._text())
        return self._known[1]

    def put(self, path: str, value: Any) -> None:
        """Save one answer at a dotted path; ``None`` takes it away."""
        self.change(lambda document: place(document, path, value))

    def change(self, edit: Callable[[TOMLDocument], None]) -> None:
        """Apply ``edit`` to the file's present content and save, under the folder's lock."""
        import tomlkit

        with self.locked():
            document = self.read()
            edit(document)
            write_atomically(self.file, tomlkit.dumps(document).encode("utf-8"))

    @cached_property
    def _lock(self) -> FileLock:
        from filelock import FileLock

        return FileLock(self.folder / _LOCK_FILE, timeout=_LOCK_SECONDS)

    def locked(self) -> Any:
        """The folder's lock, as a context.

        Raises:
            JobError: another program holds it for too long, or the folder is read-only.
        """
        try:
            return self._lock.acquire()
        except TimeoutError as error:
            raise JobError(
                "another program holds this job folder; close it and try again"
            ) from error
        except OSError as error:
            raise JobError(f"the job folder '{self.folder.name}' cannot be written: "
                           f"{error.strerror or error}; allow writing and try again") from error

    def trend_files(self) -> list[Path]:
        """The files in ``trends/``, by name."""
        if not self.trends_folder.is_dir():
            return []
        return sorted(
            path
            for path in self.trends_folder.iterdir()
            if path.is_file() and not path.name.startswith(".")
        )


def _plain(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise JobError(f"{JOB_FILE} cannot be read: {error}; correct that line") from error
    except RecursionError:
        raise JobError(f"{JOB_FILE} cannot be read: its brackets are nested too deep; correct it"
                       ) from None


def lookup(answers: Mapping[str, Any], path: str, default: Any = None) -> Any:
    """The value at a dotted path of nested tables, or ``default``."""
    here: Any = answers
    for key in split(path):
        if not isinstance(here, Mapping) or key not in here:
            return default
        here = here[key]
    return here


def place(document: Any, path: str, value: Any) -> None:
    """Set the value at a dotted path, making tables on the way; ``None`` removes it."""
    import tomlkit

    *tables, last = split(path)
    here = document
    for key in tables:
        if key not in here:
            here[key] = tomlkit.table()
        here = here[key]
    if value is None:
        here.pop(last, None)
    else:
        here[last] = value


def split(path: str) -> list[str]:
    """The keys of a dotted path; a key that holds a dot is put in double quotes."""
    return [part.strip('"') for part in _parts(path)]


def _parts(path: str) -> list[str]:
    parts, quoted, here = [], False, ""
    for letter in path:
        if letter == '"':
            quoted = not quoted
        if letter == "." and not quoted:
            parts.append(here)
            here = ""
        else:
            here += letter
    return [*parts, here]
