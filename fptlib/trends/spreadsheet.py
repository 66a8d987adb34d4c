"""A workbook's sheet as a table.

The reader (calamine) is quick and holds a whole sheet: what a workbook would unpack to is bounded
before it is opened.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from python_calamine import CalamineWorkbook

from fptlib.errors import FptError, IntakeError
from fptlib.trends import layout, safe
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import Batch, Table

_BATCH_ROWS = 5_000
_HEAD_ROWS = layout.SAMPLE_ROWS + 60
_UNSAVED = re.compile(rb"</f>(?:<v\s*/>|<v></v>)?</c>")
# An error, a shared text. A pattern that begins with a letter is searched ten times faster.
_KIND = re.compile(rb"t(?<=\st)\s*=\s*[\"']([es])[\"']")
# A place of a cell, and one written so that only an XML reader sees it.
_PLACE = re.compile(rb"r\s*=\s*[\"']([A-Z]{1,3})([0-9]{1,7})[\"']")
_HIDDEN = re.compile(rb"\br\s*=\s*[\"'][^\"'<>]*&|\0")
_MAY_HIDE = re.compile(rb"&[^\"'<>]*[\"']|\0")
_TEXT = re.compile(rb"<(?:\w+:)?t\b[^>]*>([^<]*)")


class SpreadsheetTable(Table):
    """A sheet of an XLSX workbook.

    Raises:
        IntakeError: the workbook is damaged, too large, or its sheet cannot be told.
    """

    def __init__(self, path: Path, form: FileForm, wanted: Sequence[str] = ()) -> None:
        self.name, self._path = path.name, path
        faults = _faults(path)
        self._sheet = self._the_sheet(form)
        records, head = [], list(islice(self._rows(), _HEAD_ROWS))
        for number, row in enumerate(head, 1):
            cells = [_text(cell) for cell in row]
            while cells and not cells[-1].strip():
                cells.pop()
            records.append(layout.Record(cells, number, number))
        super().__init__(path.name, layout.of_records(records, form, wanted))
        # Numbers are numbers in a workbook; only texts may have a decimal comma.
        texts = [[cell for cell in row if isinstance(cell, str)] for row in head]
        self.decimal = form.decimal or layout.decimal_of(texts, ";", path.name)
        self.said = (f"sheet '{self._sheet}'", *self.layout.said, *faults)

    def _the_sheet(self, form: FileForm) -> str:
        with _opened(self._path) as book:
            names = book.sheet_names
            filled = names if form.sheet else _filled(book)
        if form.sheet and form.sheet not in names:
            raise IntakeError(
                f"workbook '{self.name}' has no sheet '{form.sheet}'; found: {', '.join(names)}")
        if not form.sheet and len(filled) != 1:
            raise IntakeError(
                f"workbook '{self.name}' has {len(filled)} sheets with cells: "
                f"{', '.join(filled[:8])}; state the one to read as "
                f"{safe.either_part('sheet', filled)} under "
                f'[files."{self.name}"], or under each point that has a sheet of its own')
        return form.sheet or filled[0]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns; a column of numbers comes as numbers, any other as text."""
        at, first = {name: self.names.index(name) for name in kinds}, self.layout.first_row
        rows = islice(self._rows(), first - 1, None)
        while stretch := list(islice(rows, _BATCH_ROWS)):
            columns = {name: _column([row[i] if i < len(row) else None for row in stretch],
                                     self.decimal)
                       for name, i in at.items()}
            yield Batch(columns, first + np.arange(len(stretch)), min(first / self._height, 1.0))
            first += len(stretch)

    def _rows(self) -> Iterator[list[Any]]:
        with _opened(self._path) as book:
            sheet = book.get_sheet_by_name(self._sheet)
            self._height = max(sheet.total_height, 1)
            yield from sheet.iter_rows()


def sheets_of(path: Path) -> list[str]:
    """The sheets of a workbook that hold cells.

    Raises:
        IntakeError: it is damaged or too large.
    """
    _faults(path)
    with _opened(path) as book:
        return _filled(book)


def _filled(book: Any) -> list[str]:
    names = list(book.sheet_names)
    return names if len(names) == 1 else [
        name for name in names if book.get_sheet_by_name(name).height]


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    try:
        yield CalamineWorkbook.from_path(path)
    except (FptError, GeneratorExit, KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # the reader's own panic is no Exception
        raise IntakeError(
            f"workbook '{path.name}' is damaged ({str(error)[:80]}); save it again as XLSX "
            "or CSV") from error


def _faults(path: Path) -> list[str]:
    """What cells without a value a workbook holds: formulas never calculated, errors.

    Raises:
        IntakeError: reading it would take too much, which is seen before anything unpacks it.
    """
    unsaved = errors = longest = texts = 0
    with safe.opened_zip(path) as archive:
        entries = archive.infolist()
        total = sum(entry.file_size for entry in entries)
        ratios = [entry.file_size / max(entry.compress_size, 1) for entry in entries
                  if entry.file_size > safe.MIB]
        if total > safe.WORKBOOK_BYTES or max(ratios, default=1.0) > safe.WORKBOOK_RATIO:
            raise _too_large(path, f"unpacks to {total // safe.MIB} MiB")
        for entry in entries:
            if entry.filename.lower().endswith("sharedstrings.xml"):
                with archive.open(entry) as stream:
                    longest = max(map(len, _TEXT.findall(stream.read())), default=0)
            elif "worksheets/" in entry.filename.lower() and entry.filename.endswith(".xml"):
                with archive.open(entry) as stream:
                    found = _scan(path, stream)
                unsaved, errors, texts = (a + b for a, b in zip(
                    (unsaved, errors, texts), found, strict=True))
    if longest * texts > safe.WORKBOOK_TEXT_BYTES:
        raise _too_large(path, f"shows a text of {longest:,} letters in many cells")
    return [said for count, said in (
        (unsaved, f"{unsaved} formula cells hold no saved result and are missing; open the "
         "workbook in a spreadsheet and save it"),
        (errors, f"{errors} cells hold an error such as #N/A and are missing")) if count]


def _scan(path: Path, stream: Any) -> tuple[int, int, int]:
    """Formulas without a result, error cells and cells of text of a sheet, its size bounded."""
    unsaved = errors = texts = cells = rows = columns = 0
    rest = b""
    while data := stream.read(safe.MIB):
        data = rest + data
        # What comes behind the last cell may begin a match.
        cut = data.rfind(b"</c>") + 4 if b"</c>" in data else max(len(data) - 4096, 0)
        data, rest = data[:cut], data[cut:][-4096:]
        if _MAY_HIDE.search(data) and _HIDDEN.search(data):
            raise _too_large(path, "names its cells in a way that cannot be checked")
        places = _PLACE.findall(data)
        # A cell may do without a place; its end tag cannot.
        cells += max(len(places), data.count(b"c>"))
        rows = max(rows, max(map(int, {row for _, row in places}), default=0))
        columns = max(columns, max(map(_column_number, {name for name, _ in places}), default=0))
        kinds = _KIND.findall(data)
        unsaved += len(_UNSAVED.findall(data))
        errors, texts = errors + kinds.count(b"e"), texts + kinds.count(b"s")
        if cells > safe.WORKBOOK_CELLS:
            raise _too_large(path, f"has a sheet of more than {safe.WORKBOOK_CELLS:,} cells")
        if rows * columns > 2 * safe.WORKBOOK_CELLS:
            raise _too_large(path, f"has a sheet of {rows:,} rows and {columns:,} columns")
    return unsaved, errors, texts


def _column_number(name: bytes) -> int:
    """1 of A, 28 of AB."""
    number = 0
    for letter in name:
        number = number * 26 + letter - ord("A") + 1
    return number


def _too_large(path: Path, found: str) -> IntakeError:
    return IntakeError(f"workbook '{path.name}' {found}; export the trends as CSV")


def _text(cell: Any, decimal: str = ".") -> str:
    """A cell as a technician would have typed it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        # A serial number misses the second by a few parts of it.
        near = (cell + timedelta(milliseconds=500)).replace(microsecond=0)
        cell = near if abs(near - cell) < timedelta(milliseconds=5) else cell
        return str(cell.date()) if cell.time() == time() else str(cell)
    if isinstance(cell, float):
        # Every number of a workbook is one with a fraction.
        return f"{cell:.0f}" if cell.is_integer() and abs(cell) < 1e15 else repr(cell).replace(
            ".", decimal)
    return str(cell)


def _column(cells: list[Any], decimal: str) -> pa.Array:
    given = [None if cell == "" else cell for cell in cells]
    if all(c is None or (isinstance(c, int | float) and not isinstance(c, bool)) for c in given):
        return pa.array([None if c is None else float(c) for c in given], pa.float64())
    return pa.array([_text(c, decimal) for c in given], pa.string())
