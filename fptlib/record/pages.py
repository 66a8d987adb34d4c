"""The page, PDF and tables beside a record: are they what this program makes of it?

They carry no signature, so anybody can write others. They are made anew from the record and
compared byte for byte. Pictures are taken as the page has them, for only the trends can give
them: 'fptlib export' does. Another version may set a page otherwise, so a page that differs is
named and proves nothing against the record.
"""

from __future__ import annotations

import base64
import binascii
import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path

from fptlib.errors import RecordError
from fptlib.record.signing import read_whole

_PICTURE = re.compile(rb'<img src="data:image/png;base64,([A-Za-z0-9+/=]*)"')
# What a record's largest page has, with room; more is not read.
_LARGEST = 200_000_000
_BESIDE = (".html", ".pdf", ".xlsx", "-*.csv")
_MADE_AT = "docProps/core.xml"


def beside(path: Path, record: bytes) -> list[str]:
    """Sentences on what lies beside a record's file and what of it was compared.

    Args:
        path: the record's file, or the PDF it was read from.
        record: its bytes; where its signatures do not match nothing is compared.
    """
    if path.suffix.lower() == ".pdf":
        return ["the pages of this PDF were not compared with the record in it; 'fptlib export' "
                "sets them anew from the job folder"]
    try:
        made = _made(path, record)
    except RecordError:
        return ["what lies beside the record was not compared with it"]
    found = [f"{name} is not as this version makes it of the record: it was changed, or made by "
             "another version; write 'fptlib export JOB' to make it anew"
             for name, same in made.items() if not same]
    if made:
        found.append(f"compared with the record: {', '.join(made)}; not compared: the pictures, "
                     "which 'fptlib export JOB' makes anew from the trends")
    return found


def _made(path: Path, record: bytes) -> dict[str, bool]:
    """Every file beside the record with whether it is the one that this program makes."""
    if not any(any(path.parent.glob(path.stem + end)) for end in _BESIDE):
        return {}
    # Imported here: who verifies a record alone needs nothing that sets a page.
    from fptlib.record import render

    tables = render.tables(read_whole(record).payload)
    found = {}
    for table in tables:
        file = path.with_name(f"{path.stem}-{table.name}.csv")
        if file.is_file():
            found[file.name] = _read(file) == render.to_csv(table)
    sheets = path.with_suffix(".xlsx")
    if sheets.is_file():
        found[sheets.name] = _same_sheets(_read(sheets), render.to_xlsx(tables))
    page, paper = path.with_suffix(".html"), path.with_suffix(".pdf")
    figures = _figures(_read(page), record) if page.is_file() else None
    if page.is_file():
        found[page.name] = figures is not None and _read(page) == render.html(record, figures)
    if paper.is_file() and figures is not None:
        given = _read(paper)
        found[paper.name] = any(given == render.pdf(record, figures, size)
                                for size in render.PAPERS)
    return found


def _read(file: Path) -> bytes:
    return file.read_bytes() if file.stat().st_size <= _LARGEST else b""


def _figures(page: bytes, record: bytes) -> Mapping[str, bytes] | None:
    """The pictures of a page by their names, or None where they cannot be told."""
    from fptlib.record.report import report

    try:
        pictures = [base64.b64decode(hit[1], validate=True) for hit in _PICTURE.finditer(page)]
        named = re.findall(rb'<figure data-name="([\w. ]*)">', page)
        figures = {name.decode(): picture for name, picture in zip(named, pictures, strict=True)}
        report(record, figures)
        return figures
    except (ValueError, binascii.Error, RecordError):
        return None


def _same_sheets(given: bytes, made: bytes) -> bool:
    """The same parts, but for the moment of making that a workbook carries."""
    try:
        with zipfile.ZipFile(io.BytesIO(given)) as theirs, zipfile.ZipFile(io.BytesIO(made)) as own:
            sizes = {part.filename: part.file_size for part in own.infolist()}
            stated = {part.filename: part.file_size for part in theirs.infolist()}
            # No part is unpacked that is not as large as it ought to be.
            names = [name for name in sizes if name != _MADE_AT]
            return set(sizes) == set(stated) and all(
                sizes[name] == stated[name] and theirs.read(name) == own.read(name)
                for name in names)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, EOFError, ValueError,
            NotImplementedError, RuntimeError):
        return False
