"""A workbook's sheet as batches, read row by row in bounded memory."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow as pa

from fptlib.errors import FptError, IntakeError
from fptlib.trends import safe
from fptlib.trends.batches import Batch, Dropped
from fptlib.trends.forms import FileForm
from fptlib.trends.sniff import Layout, Record, layout_of

_BATCH_ROWS = 5_000
_HEAD_ROWS = 460
_UNSAVED = re.compile(rb"</f>(?:<v\s*/>|<v></v>)?</c>")


class WorkbookReader:
    """A sheet of an XLSX workbook.

    Raises:
        IntakeError: the workbook is damaged, too large, or its sheet cannot be told.
    """

    def __init__(
        self, path: Path, form: FileForm, wanted: Sequence[str] = (),
        bounds: safe.Bounds = safe.BOUNDS,
    ) -> None:
        safe.check_workbook(path, bounds)
        self.name, self._path, self._bounds = path.name, path, bounds
        self.decimal = form.decimal or "."
        self.dropped = Dropped()
        self._sheet = self._the_sheet(form)
        head = list(islice(self._rows(bounds.columns), _HEAD_ROWS))
        records = [Record([_text(c) for c in row], at + 1, at + 1) for at, row in enumerate(head)]
        self.layout: Layout = layout_of(_trimmed(records), form, wanted)
        self.names = self.layout.names
        self.rows_guess = 0
        self.said = (f"sheet '{self._sheet}'", *self.layout.said, *self._unsaved())

    def unit_of(self, column: str) -> str:
        """The unit that the header or the units row states."""
        return self.layout.unit_of(self.names.index(column))

    def sample(self, column: str) -> list[str]:
        """The first cells of a column."""
        at = self.names.index(column)
        return [row[at].strip() for row in self.layout.sample if len(row) > at]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns; a column of numbers comes as numbers, any other as text."""
        at = {name: self.names.index(name) for name in kinds}
        first = self.layout.first_row
        rows = islice(self._rows(len(self.names)), first - 1, None)
        while stretch := list(islice(rows, _BATCH_ROWS)):
            columns = {
                name: _column([row[i] if i < len(row) else None for row in stretch])
                for name, i in at.items()
            }
            yield Batch(columns, len(stretch), first, None, min(first / max(self._height, 1), 1.0))
            first += len(stretch)

    def _the_sheet(self, form: FileForm) -> str:
        with self._opened() as book:
            names = book.sheetnames
            filled = [name for name in names if self._filled(book, name)]
        if form.sheet:
            if form.sheet in names:
                return form.sheet
            raise IntakeError(
                f"workbook '{self.name}' has no sheet '{form.sheet}'; found: {', '.join(names)}"
            )
        if len(filled) != 1:
            raise IntakeError(
                f"workbook '{self.name}' has {len(filled)} sheets with cells: "
                f"{', '.join(filled[:8])}; state the one to read as sheet = \"...\" under "
                f'[files."{self.name}"]'
            )
        return filled[0]

    def _filled(self, book: Any, name: str) -> bool:
        sheet = book[name]
        if not hasattr(sheet, "reset_dimensions"):  # a chart sheet
            return False
        sheet.reset_dimensions()
        return any(any(c is not None for c in row)
                   for row in sheet.iter_rows(max_row=50, max_col=50, values_only=True))

    def _rows(self, width: int) -> Iterator[tuple[Any, ...]]:
        with self._opened() as book:
            sheet = book[self._sheet]
            self._height = sheet.max_row or 0
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
                "or CSV"
            ) from error
        finally:
            if book is not None:
                book.close()

    def _unsaved(self) -> list[str]:
        """Formulas whose result was never saved: their cells look empty."""
        count = 0
        with safe.opened_zip(self._path) as archive:
            for name in archive.namelist():
                if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                    with archive.open(name) as stream:
                        count += _matches(stream)
        if not count:
            return []
        return [f"{count} formula cells hold no saved result and are missing; open the workbook "
                "in a spreadsheet and save it"]


def _matches(stream: Any) -> int:
    count, rest = 0, b""
    while data := stream.read(safe.MIB):
        data = rest + data
        count += len(_UNSAVED.findall(data))
        last = data.rfind(b"</c>")
        rest = data[last + 4 :][-4096:] if last >= 0 else data[-4096:]
    return count


def _trimmed(records: list[Record]) -> list[Record]:
    """Rows without the empty cells behind their last filled one, header width kept."""
    for record in records:
        while record.cells and not record.cells[-1].strip():
            record.cells.pop()
    return records


def _text(cell: Any) -> str:
    """A cell as a technician would have typed it."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        cell = _whole_second(cell)
        return str(cell.date()) if cell.time() == time() else str(cell)
    if isinstance(cell, date | time):
        return str(cell)
    if isinstance(cell, timedelta):
        return str(cell)
    return repr(cell) if isinstance(cell, float) else str(cell)


def _whole_second(moment: datetime) -> datetime:
    # A serial number misses the second by a few parts of it.
    near = (moment + timedelta(milliseconds=500)).replace(microsecond=0)
    return near if abs(near - moment) < timedelta(milliseconds=5) else moment


def _column(cells: list[Any]) -> pa.Array:
    if all(c is None or (isinstance(c, int | float) and not isinstance(c, bool)) for c in cells):
        return pa.array([None if c is None else float(c) for c in cells], pa.float64())
    return pa.array([_text(c) for c in cells], pa.string())
