"""A workbook's sheet as a table, read row by row in bounded memory."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pyarrow as pa

from fptlib.errors import FptError, IntakeError
from fptlib.trends import layout, safe
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import Batch, Table

_BATCH_ROWS = 5_000
_HEAD_ROWS = layout.SAMPLE_ROWS + 60
_UNSAVED = re.compile(rb"</f>(?:<v\s*/>|<v></v>)?</c>")


class SpreadsheetTable(Table):
    """A sheet of an XLSX workbook.

    Raises:
        IntakeError: the workbook is damaged, too large, or its sheet cannot be told.
    """

    def __init__(self, path: Path, form: FileForm, wanted: Sequence[str] = ()) -> None:
        self.name, self._path = path.name, path
        unsaved = _unsaved_formulas(path)
        self._sheet = self._the_sheet(form)
        records, head = [], list(islice(self._rows(safe.COLUMNS), _HEAD_ROWS))
        for number, row in enumerate(head, 1):
            cells = [_text(cell) for cell in row]
            while cells and not cells[-1].strip():
                cells.pop()
            records.append(layout.Record(cells, number, number))
        super().__init__(path.name, layout.of_records(records, form, wanted))
        # Numbers are numbers in a workbook; only texts may have a decimal comma.
        texts = [[cell for cell in row if isinstance(cell, str)] for row in head]
        self.decimal = form.decimal or layout.decimal_of(texts, ";", path.name)
        self.said = (f"sheet '{self._sheet}'", *self.layout.said, *([
            f"{unsaved} formula cells hold no saved result and are missing; open the workbook "
            "in a spreadsheet and save it"] if unsaved else []))

    def _the_sheet(self, form: FileForm) -> str:
        with self._opened() as book:
            names = book.sheetnames
            filled = [name for name in names if _is_filled(book[name])]
        if form.sheet and form.sheet not in names:
            raise IntakeError(
                f"workbook '{self.name}' has no sheet '{form.sheet}'; found: {', '.join(names)}")
        if not form.sheet and len(filled) != 1:
            raise IntakeError(
                f"workbook '{self.name}' has {len(filled)} sheets with cells: "
                f"{', '.join(filled[:8])}; state the one to read as sheet = \"...\" under "
                f'[files."{self.name}"]')
        return form.sheet or filled[0]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns; a column of numbers comes as numbers, any other as text."""
        at, first = {name: self.names.index(name) for name in kinds}, self.layout.first_row
        rows = islice(self._rows(len(self.names)), first - 1, None)
        while stretch := list(islice(rows, _BATCH_ROWS)):
            columns = {name: _column([row[i] if i < len(row) else None for row in stretch],
                                     self.decimal)
                       for name, i in at.items()}
            yield Batch(columns, first + np.arange(len(stretch)), min(first / self._height, 1.0))
            first += len(stretch)

    def _rows(self, width: int) -> Iterator[tuple[Any, ...]]:
        with self._opened() as book:
            sheet = book[self._sheet]
            self._height = max(sheet.max_row or 0, 1)
            # The stated size of a sheet is often wrong.
            sheet.reset_dimensions()
            yield from sheet.iter_rows(max_col=width, values_only=True)

    @contextmanager
    def _opened(self) -> Iterator[Any]:
        book = None
        try:
            book = openpyxl.load_workbook(self._path, read_only=True, data_only=True)
            yield book
        except FptError:
            raise
        except MemoryError as error:
            raise IntakeError(f"workbook '{self.name}' is too large; export CSV") from error
        except Exception as error:  # openpyxl lets through whatever its parsers raise
            raise IntakeError(
                f"workbook '{self.name}' is damaged ({str(error)[:80]}); save it again as XLSX "
                "or CSV") from error
        finally:
            if book is not None:
                book.close()


def _unsaved_formulas(path: Path) -> int:
    """How many formulas have no saved result: their cells look empty. A workbook that unpacks
    to too much is refused before anything unpacks it."""
    count = 0
    with safe.opened_zip(path) as archive:
        entries = archive.infolist()
        total = sum(entry.file_size for entry in entries)
        ratios = [entry.file_size / max(entry.compress_size, 1) for entry in entries
                  if entry.file_size > safe.MIB]
        if total > safe.WORKBOOK_BYTES or max(ratios, default=1.0) > safe.WORKBOOK_RATIO:
            raise IntakeError(f"workbook '{path.name}' unpacks to {total // safe.MIB} MiB; export "
                              "the trends as CSV")
        for name in archive.namelist():
            if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                with archive.open(name) as stream:
                    rest = b""
                    while data := stream.read(safe.MIB):
                        data = rest + data
                        count += len(_UNSAVED.findall(data))
                        # What comes behind the last cell may begin a match.
                        rest = data[data.rfind(b"</c>") + 4 :][-4096:]
    return count


def _is_filled(sheet: Any) -> bool:
    if not hasattr(sheet, "reset_dimensions"):  # a chart sheet
        return False
    sheet.reset_dimensions()
    return any(cell is not None for row in sheet.iter_rows(max_row=50, max_col=50, values_only=True)
               for cell in row)


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
    return repr(cell).replace(".", decimal) if isinstance(cell, float) else str(cell)


def _column(cells: list[Any], decimal: str) -> pa.Array:
    if all(c is None or (isinstance(c, int | float) and not isinstance(c, bool)) for c in cells):
        return pa.array([None if c is None else float(c) for c in cells], pa.float64())
    return pa.array([_text(c, decimal) for c in cells], pa.string())
