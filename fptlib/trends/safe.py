"""Opening what somebody else wrote: bounded, inside the folder, read and never written.

The limits keep any one read below about a gigabyte of memory; a file that exceeds them is
refused in a sentence. Nothing is ever unpacked to disk.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import lzma
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from fptlib.errors import IntakeError

# What lies in trends/ and holds no trends: weather of a typical year, models of the site.
MODELS = {".ttl", ".json"}
NO_TRENDS = {".epw", *MODELS}
MIB = 1 << 20
LINE_BYTES = MIB
# Of a gzip or zip member, and of all parts of a workbook together, unpacked.
UNPACKED_BYTES = 16 << 30
WORKBOOK_BYTES = 144 * MIB
# Cells of a sheet, which is held whole, and the text that they show together.
WORKBOOK_CELLS = 4_000_000
WORKBOOK_TEXT_BYTES = 256 * MIB
# Unpacked over packed size of any part of a workbook over 1 MiB.
WORKBOOK_RATIO = 200.0
ROW_GROUP_BYTES = 512 * MIB
# The longest text of a cell of a Parquet file, which may stand there once for many cells.
CELL_LETTERS = 4096
# Values kept of one wide file, its rows, the rows of the common grid, columns of a header.
CELLS = 60_000_000
ROWS = 5_000_000
COLUMNS = 5_000

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
            "trends/, without folders")
    return name


def inside(folder: Path, name: str) -> Path:
    """The path of file ``name`` in ``folder``.

    Raises:
        IntakeError: it is not there, or it leads out of the folder.
    """
    path = folder / plain_name(name, f'[files."{name[:80]}"]')
    if path.exists() and not path.is_file():
        raise IntakeError(f"'{name}' in trends/ is a folder, a pipe or a device and no file; put "
                          "the trend file itself there")
    if not path.is_file():
        lying = sorted(p.name for p in folder.iterdir()) if folder.is_dir() else []
        raise IntakeError(
            f"file '{name}' is not in trends/; found there: {', '.join(lying) or 'nothing'}; "
            "put the file there or correct its name in the point map")
    if not path.resolve().is_relative_to(folder.resolve()):
        raise IntakeError(f"file '{name}' is a link that leads out of trends/; put a copy there")
    return path


def digest(path: Path) -> str:
    """SHA-256 of a file in hexadecimal."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise IntakeError(f"file '{path.name}' cannot be read: {error}") from error


def form_of(path: Path) -> str:
    """``delimited``, ``gzip``, ``zip``, ``workbook`` or ``parquet``, by the file's content.

    Raises:
        IntakeError: the file is empty or of a form that is not read.
    """
    if not path.is_file():
        raise IntakeError(f"'{path.name}' is a pipe or a device and no file; put the trend file "
                          "itself there")
    with path.open("rb") as stream:
        head = stream.read(8)
    if not head:
        raise IntakeError(f"file '{path.name}' is empty; export the trend again")
    for mark, what in _FOREIGN.items():
        if head.startswith(mark):
            raise IntakeError(
                f"file '{path.name}' is {what}; export the trends as CSV, XLSX or Parquet")
    if head.startswith(_PARQUET):
        return "parquet"
    if head.startswith(_GZIP):
        return "gzip"
    if not head.startswith(_ZIP):
        return "delimited"
    with opened_zip(path) as archive:
        names = [name.lower() for name in archive.namelist()]
    return "workbook" if "xl/workbook.xml" in names else "zip"


@contextmanager
def opened_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """A zip file, its faults shown in a sentence."""
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except _DAMAGE as error:
        raise IntakeError(
            f"file '{path.name}' is a damaged or locked zip file ({error}); copy it again"
        ) from error


def members_of(path: Path) -> list[str]:
    """The files inside a zip."""
    with opened_zip(path) as archive:
        return [entry.filename for entry in archive.infolist() if not entry.is_dir()]


def _member_of(archive: zipfile.ZipFile, path: Path, stated: str) -> zipfile.ZipInfo:
    """The one file inside a zip, or the stated one."""
    files = [entry for entry in archive.infolist() if not entry.is_dir()]
    names = [entry.filename for entry in files]
    if stated:
        files = [entry for entry in files if entry.filename == stated]
    if len(files) != 1:
        raise IntakeError(
            f"file '{path.name}' holds {', '.join(names[:8]) or 'nothing'}; state the one to "
            f"read as {either_part('member', names)}, under "
            f'[files."{path.name}"], or under each point that has a file of its own')
    return files[0]


def either_part(key: str, names: Sequence[str]) -> str:
    """What to state of the sheets or members of a file: one of them, or all in turn."""
    every = [json.dumps(name, ensure_ascii=False) for name in names[:8]]
    return " or ".join(f"{key} = {name}" for name in every) + (
        f" or, where they continue one another, {key} = [{', '.join(every)}]" if every else "")


class Unpacked:
    """A byte stream that refuses to give more than the bounds allow."""

    def __init__(self, stream: IO[bytes] | Any, name: str) -> None:
        self._stream, self._name, self._given = stream, name, 0

    def read(self, size: int) -> bytes:
        """At most ``size`` bytes, fewer only at the end."""
        try:
            data: bytes = self._stream.read(size)
        except _DAMAGE as error:
            raise IntakeError(
                f"file '{self._name}' is damaged or cut off ({error}); copy it again") from error
        self._given += len(data)
        if self._given > UNPACKED_BYTES:
            raise IntakeError(f"file '{self._name}' unpacks to more than "
                              f"{UNPACKED_BYTES // MIB} MiB; export a shorter span")
        return data


@contextmanager
def opened(path: Path, member: str = "") -> Iterator[Unpacked]:
    """The bytes of a delimited file, unpacked where it is packed."""
    form = form_of(path)
    if form == "zip":
        with opened_zip(path) as archive:
            with archive.open(_member_of(archive, path, member)) as stream:
                yield Unpacked(stream, path.name)
    else:
        with (gzip.open(path, "rb") if form == "gzip" else path.open("rb")) as plain:
            yield Unpacked(plain, path.name)
