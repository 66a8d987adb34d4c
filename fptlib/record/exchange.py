"""Checks, readings and deficiencies as CSV and XLSX, for other people's tools.

A spreadsheet runs a text that begins like a formula. In CSV such a text gets an apostrophe
in front, in XLSX the cell is marked as text. Numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from fptlib.record import schema
from fptlib.record.text import clean, harmless, like_formula, shorten

Cell = str | float | int | None
_LONGEST_CELL = 32_767  # of XLSX


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its name; a cell is text, a number or nothing."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


_COLUMNS = {
    "checks": ("id", "step", "question", "verdict", "measured", "limit", "unit", "margin",
               "uncertainty", "probability", "basis", "reason", "meaning", "adjust", "missing"),
    "readings": ("time", "point", "value", "unit", "taken", "taken_unit",
                 "instrument", "taken_by", "remark"),
    "deficiencies": ("number", "check", "severity", "found", "recommended", "responsible", "due",
                     "corrective_action", "retest", "cost_party", "remark"),
}
_EVENT_COLUMNS = ("name", "start", "end", "verdict", "measured", "limit", "unit", "margin",
                  "uncertainty", "probability", "text")


def tables(payload: Mapping[str, Any]) -> list[Table]:
    """The tables of a payload: checks, events, readings, deficiencies.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    made = [_table(name, content[name], columns) for name, columns in _COLUMNS.items()]
    events = [{"check": check["id"], **event}
              for check in content["checks"] for event in check["events"]]
    return [*made, _table("events", events, ("check", *_EVENT_COLUMNS))]


def _table(name: str, rows: Sequence[Mapping[str, Any]], columns: tuple[str, ...]) -> Table:
    return Table(name, columns, tuple(
        tuple(_cell(row.get(column)) for column in columns) for row in rows))


def _cell(value: Any) -> Cell:
    if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
        return value
    if isinstance(value, list):
        return clean(", ".join(str(entry) for entry in value))
    return clean(value)


def to_csv(table: Table) -> bytes:
    """A table as CSV (RFC 4180), UTF-8 with the mark by which spreadsheets know it."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream)
    writer.writerow(table.head)
    writer.writerows([harmless(cell) for cell in row] for row in table.rows)
    return stream.getvalue().encode("utf-8-sig")


def to_xlsx(found: Sequence[Table]) -> bytes:
    """Tables as one XLSX file, a sheet each."""
    book = Workbook(write_only=True)
    for table in found:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A2"
        sheet.append([_heading(sheet, text) for text in table.head])
        for row in table.rows:
            sheet.append([_typed(sheet, cell) for cell in row])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _heading(sheet: Any, text: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, text)
    cell.font = Font(bold=True)
    return cell


def _typed(sheet: Any, value: Cell) -> WriteOnlyCell:
    if not isinstance(value, str):
        return WriteOnlyCell(sheet, value)
    cell = WriteOnlyCell(sheet, shorten(value, _LONGEST_CELL))
    # Without this a text that begins with "=" would be stored as a formula.
    cell.data_type = "s"
    cell.quotePrefix = like_formula(value)
    return cell
