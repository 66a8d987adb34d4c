"""Opening what somebody else wrote: bounded, inside the folder, read and never written.

The limits keep any one read below about a gigabyte of memory; a file that exceeds them is
refused in a sentence. Nothing is ever unpacked to disk.
"""

from __future__ import annotations

import gzip
import hashlib
import lzma
import threading
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, cast

from fptlib.errors import IntakeError

MIB = 1 << 20


@dataclass(frozen=True, slots=True)
class Bounds:
    """How much of a file is read at the most.

    Attributes:
        line_bytes: of one line of a delimited file.
        unpacked_bytes: of a gzip or zip member.
        workbook_bytes: of all parts of a workbook together, unpacked.
        workbook_ratio: unpacked over packed size of any part of a workbook over 1 MiB.
        row_group_bytes: of one row group of a Parquet file, unpacked.
        cells: values kept of one wide file.
        rows: of one wide file.
        grid_rows: of the common grid.
        columns: of a header.
    """

    line_bytes: int = MIB
    unpacked_bytes: int = 16 << 30
    workbook_bytes: int = 256 * MIB
    workbook_ratio: float = 200.0
    row_group_bytes: int = 512 * MIB
    cells: int = 60_000_000
    rows: int = 5_000_000
    grid_rows: int = 5_000_000
    columns: int = 5_000


BOUNDS = Bounds()

_GZIP = b"\x1f\x8b"
_ZIP = b"PK\x03\x04"
_PARQUET = b"PAR1"
# What a packed file's faults show as, whichever way it is packed.
_DAMAGE = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, RuntimeError, OSError)
_FOREIGN = {
    b"\xd0\xcf\x11\xe0": "an old binary workbook (.xls)",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"7z\xbc\xaf": "a 7z archive",
    b"Rar!": "a RAR archive",
}


def plain_name(name: str, where: str) -> str:
    """``name``, if it is the bare name of a file.

    Raises:
        IntakeError: it holds a folder, a drive or nothing.
    """
    if not name or name in (".", "..") or any(c in name for c in "/\\:\0") or len(name) > 255:
        raise IntakeError(
            f"job.toml, {where}: file '{name[:80]!s}' should be the bare name of a file in "
            "trends/, without folders"
        )
    return name


def inside(folder: Path, name: str) -> Path:
    """The path of file ``name`` in ``folder``.

    Raises:
        IntakeError: it is not there, or it leads out of the folder.
    """
    path = folder / plain_name(name, f'[files."{name[:80]}"]')
    if not path.is_file():
        lying = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
        raise IntakeError(
            f"file '{name}' is not in trends/; found there: {', '.join(lying) or 'nothing'}; "
            "put the file there or mend its name in the point map"
        )
    if not path.resolve().is_relative_to(folder.resolve()):
        raise IntakeError(f"file '{name}' is a link that leads out of trends/; put a copy there")
    return path


def form_of(path: Path) -> str:
    """``delimited``, ``gzip``, ``zip``, ``workbook`` or ``parquet``, by the file's content.

    Raises:
        IntakeError: the file is empty or of a form that is not read.
    """
    with path.open("rb") as stream:
        head = stream.read(8)
    if not head:
        raise IntakeError(f"file '{path.name}' is empty; export the trend again")
    for mark, what in _FOREIGN.items():
        if head.startswith(mark):
            raise IntakeError(
                f"file '{path.name}' is {what}; export the trends as CSV, XLSX or Parquet"
            )
    if head.startswith(_PARQUET):
        return "parquet"
    if head.startswith(_GZIP):
        return "gzip"
    if head.startswith(_ZIP):
        return "workbook" if _is_workbook(path) else "zip"
    return "delimited"


def _is_workbook(path: Path) -> bool:
    with opened_zip(path) as archive:
        return any(name.lower() == "xl/workbook.xml" for name in archive.namelist())


@contextmanager
def opened_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """A zip file, its faults told in a sentence."""
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except _DAMAGE as error:
        raise IntakeError(
            f"file '{path.name}' is a damaged or locked zip file ({error}); copy it again"
        ) from error


def member_of(archive: zipfile.ZipFile, path: Path, stated: str) -> zipfile.ZipInfo:
    """The one file inside a zip, or the stated one.

    Raises:
        IntakeError: there is none, or several and none stated.
    """
    files = [entry for entry in archive.infolist() if not entry.is_dir()]
    names = [entry.filename for entry in files]
    if stated:
        files = [entry for entry in files if entry.filename == stated]
    if len(files) != 1:
        raise IntakeError(
            f"file '{path.name}' holds {', '.join(names[:8]) or 'nothing'}; state the one to "
            f'read as member = "..." under [files."{path.name}"]'
        )
    return files[0]


class Unpacked:
    """A byte stream that refuses to give more than the bounds allow."""

    def __init__(self, stream: IO[bytes], name: str, bounds: Bounds) -> None:
        self._stream, self._name, self._bounds, self._given = stream, name, bounds, 0

    def read(self, size: int) -> bytes:
        """At most ``size`` bytes, fewer only at the end."""
        try:
            data = self._stream.read(size)
        except _DAMAGE as error:
            raise IntakeError(
                f"file '{self._name}' is damaged or cut off ({error}); copy it again"
            ) from error
        self._given += len(data)
        if self._given > self._bounds.unpacked_bytes:
            raise IntakeError(
                f"file '{self._name}' unpacks to more than "
                f"{self._bounds.unpacked_bytes // MIB} MiB; export a shorter span"
            )
        return data


@contextmanager
def opened(path: Path, member: str = "", bounds: Bounds = BOUNDS) -> Iterator[Unpacked]:
    """The bytes of a delimited file, unpacked where it is packed."""
    form = form_of(path)
    if form == "zip":
        with opened_zip(path) as archive:
            with archive.open(member_of(archive, path, member)) as stream:
                yield Unpacked(stream, path.name, bounds)
    elif form == "gzip":
        with gzip.open(path, "rb") as unzipped:
            yield Unpacked(cast(IO[bytes], unzipped), path.name, bounds)
    else:
        with path.open("rb") as plain:
            yield Unpacked(plain, path.name, bounds)


class Hash:
    """SHA-256 of a file, worked out beside the reading."""

    def __init__(self, path: Path) -> None:
        self._path, self._digest = path, ""
        self._error: Exception | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            with self._path.open("rb") as stream:
                self._digest = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError as error:
            self._error = error

    def result(self) -> str:
        """The digest in hexadecimal."""
        self._thread.join()
        if self._error:
            raise IntakeError(f"file '{self._path.name}' cannot be read: {self._error}")
        return self._digest


def check_workbook(path: Path, bounds: Bounds = BOUNDS) -> None:
    """Refuse a workbook that unpacks to too much, before anything unpacks it.

    Raises:
        IntakeError: it does.
    """
    with opened_zip(path) as archive:
        entries = archive.infolist()
        total = sum(entry.file_size for entry in entries)
        worst = max(
            (e.file_size / max(e.compress_size, 1) for e in entries if e.file_size > MIB),
            default=1.0,
        )
    if total > bounds.workbook_bytes or worst > bounds.workbook_ratio:
        raise IntakeError(
            f"workbook '{path.name}' unpacks to {total // MIB} MiB; export the trends as CSV"
        )
