"""The record for people: one HTML page, one PDF, and tables for other people's tools.

Page and PDF are made of the same report. The page is self-contained, printable, readable in
grey; text reaches it only through Jinja2's escaping, and it may load nothing and run nothing,
which its content security policy says to the browser too. The PDF is PDF/A-3a and PDF/UA-1
with the signed record inside (``typesetting``); the same record and figures give the same bytes.

A spreadsheet runs a text that begins like a formula. In CSV such a text gets an apostrophe in
front, in XLSX the cell is marked as text. Numbers stay numbers.
"""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from fptlib.errors import RecordError
from fptlib.procedure.verdict import MARKS
from fptlib.record import schema
from fptlib.record.canonical import read_moment
from fptlib.record.pdf import RECORD_NAME
from fptlib.record.report import comparison_report, report
from fptlib.record.text import clean, csv_of, like_formula, shorten
from fptlib.record.typesetting import MAIN, printable, template, typeset

Figures = Mapping[str, bytes]
PAPERS = ("us-letter", "a4")
_LONGEST_CELL = 32_767  # of XLSX


def html(record: bytes, figures: Figures) -> bytes:
    """The page of a record, with the signed record itself attached as a link.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id (``lift.minimum``) or by step (``lift``).

    Raises:
        RecordError: the record is damaged or of an unknown kind, or a figure is no PNG.
    """
    return _page(report(record, figures), figures, record)


def comparison(
    before: bytes, after: bytes, figures_before: Figures, figures_after: Figures, saved: str = "",
) -> bytes:
    """The page that compares a retest with the record it refers to, per check and figure; ``saved``
    says what the correction saved.

    Raises:
        RecordError: a record is damaged, or the second does not refer to the first.
    """
    figures = {f"{when} {name}": image
               for when, drawn in (("before", figures_before), ("after", figures_after))
               for name, image in drawn.items()}
    return _page(comparison_report(before, after, figures, saved), figures, after)


def _page(shown: Mapping[str, Any], figures: Figures, record: bytes) -> bytes:
    images = {name: _base64(image) for name, image in figures.items()}
    made = _template().render(report=shown, marks=MARKS, images=images, record=_base64(record))
    return str(made).encode("utf-8")


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


@cache
def _template() -> Any:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("fptlib.record"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    return environment.get_template("record.html.j2")


def pdf(record: bytes, figures: Figures, paper: str = "us-letter") -> bytes:
    """The PDF of a record.

    Args:
        record: the record's bytes; its signatures must match.
        figures: PNG images by check id (``lift.minimum``) or by step (``lift``).
        paper: ``us-letter`` or ``a4``.

    Raises:
        RecordError: the record is damaged or of an unknown kind, a figure is no PNG, or the
            paper is unknown.
    """
    if paper not in PAPERS:
        raise RecordError(f"paper '{paper}' is not one of: {', '.join(PAPERS)}")
    shown = report(record, figures)
    # Figures are numbered: a name that was typed somewhere must not become a path.
    images = {name: f"figure-{n}.png" for n, name in enumerate(figures, start=1)}
    content = {"report": printable({**shown, "paper": paper}), "marks": MARKS,
               "images": {printable(name): file for name, file in images.items()}}
    parts = {
        **{images[name]: image for name, image in figures.items()},
        "content.json": json.dumps(content).encode("utf-8"),
        RECORD_NAME: record,
        MAIN: template("record.typ"),
    }
    moment = read_moment(shown["signed_at"], "the moment of signing")
    return typeset(parts, int(moment.timestamp()))


Cell = str | float | int | None
_OUTCOME = ("verdict", "measured", "limit", "unit", "margin", "uncertainty", "probability")
COLUMNS: dict[str, tuple[str, ...]] = {
    "checks": ("id", "step", "question", *_OUTCOME, "basis", "reason", "meaning", "adjust",
               "missing"),
    "readings": ("time", "point", "value", "unit", "taken", "taken_unit", "instrument",
                 "taken_by", "remark"),
    "deficiencies": ("number", "check", "step", "title", "event", "at", "severity", "found",
                     "required", "causes", "recommended", "setting_from", "setting_to",
                     "responsible", "due", "corrective_action", "status", "status_by", "status_on",
                     "retest", "cost_party", "remark"),
    "script": ("number", "kind", "action", "expected", "observed", "time", "initials", "outcome",
               "remark", "checks"),
    "events": ("check", "name", "start", "end", *_OUTCOME, "text"),
}


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its name; a cell is text, a number or nothing."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def tables(payload: Mapping[str, Any]) -> list[Table]:
    """The tables of a payload: checks, readings, deficiencies, events.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    events = [{"check": check["id"], **event}
              for check in content["checks"] for event in check["events"]]
    return [Table(name, columns, tuple(
        tuple(_cell(row.get(column)) for column in columns)
        for row in {**content, "events": events}[name])) for name, columns in COLUMNS.items()]


def _cell(value: Any) -> Cell:
    if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
        return value
    if isinstance(value, list):
        return clean(", ".join(str(entry) for entry in value))
    return clean(value)


def to_csv(table: Table) -> bytes:
    """A table as CSV."""
    return csv_of(table.head, table.rows)


def to_xlsx(found: Sequence[Table]) -> bytes:
    """Tables as one XLSX file, a sheet each."""
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    for table in found:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A2"
        for number, row in enumerate([table.head, *table.rows]):
            cells = [WriteOnlyCell(sheet, shorten(cell, _LONGEST_CELL)
                                   if isinstance(cell, str) else cell) for cell in row]
            for made, cell in zip(cells, row, strict=True):
                if number == 0:
                    made.font = Font(bold=True)
                elif isinstance(cell, str):
                    # Without this a text that begins with "=" would be stored as a formula.
                    made.data_type = "s"
                    made.quotePrefix = like_formula(cell)
            sheet.append(cells)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
