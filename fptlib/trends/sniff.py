"""How a delimited file is written: encoding, delimiter, header row, units row, decimal sign.

Found from the first part of the file; whatever the job states wins.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.trends.batches import shown
from fptlib.trends.forms import FileForm
from fptlib.trends.safe import BOUNDS

HEAD_BYTES = 1 << 18
_SEARCHED_ROWS = 60
_DELIMITERS = (",", ";", "\t", "|")
_NUMBER = re.compile(r"^[-+]?[\d\s.,'\u00a0\u202f]*\d[\d.,]*(?:[eE][-+]?\d+)?$")
_DATE = re.compile(
    r"\d{1,4}[-/. ](?:\d{1,2}|[^\W\d]{3,9}\.?)[-/. ,]+\d{2,4}|^\d{8}(?:T|\s|$)|\d:\d\d"
)
_UNIT_IN_HEADER = re.compile(r"^(?P<name>.*?)\s*[\[({]\s*(?P<unit>[^\])}]{1,12})\s*[\])}]\s*$")
_UNIT_AT_END = re.compile(r"^(?P<name>.*)_(?P<unit>degF|degC|F|C|K|kW|W|gpm|psi|kPa|kg_s|A)$")


@dataclass(frozen=True)
class Layout:
    """How the file is written.

    Attributes:
        encoding: Python's name.
        delimiter, decimal: one character each.
        names: the header, trimmed.
        units: the units row, or empty texts.
        skipped_lines: physical lines before the first data row.
        first_row: the first data row as a spreadsheet counts, 1-based.
        header_row: the header's row, 1-based.
        sample: first data rows, cells as text.
        said: what was found, for the remarks.
    """

    encoding: str
    delimiter: str
    decimal: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    skipped_lines: int
    first_row: int
    header_row: int
    sample: tuple[tuple[str, ...], ...]
    said: tuple[str, ...] = ()

    def unit_of(self, column: int) -> str:
        """The unit that the file states for a column, as it is written there."""
        return self.units[column] or split_unit(self.names[column])[1]


def split_unit(header: str) -> tuple[str, str]:
    """A header as name and unit: ``CHWS (°F)`` gives ``CHWS`` and ``°F``."""
    for shape in (_UNIT_IN_HEADER, _UNIT_AT_END):
        if (found := shape.match(header)) and units.alias(found["unit"].replace("_", "/")):
            return found["name"].strip(), found["unit"].replace("_", "/")
    return header, ""


def encoding_of(head: bytes, stated: str, file: str) -> str:
    """Python's name of the encoding of a file that begins with ``head``.

    Raises:
        IntakeError: these are not the bytes of a text.
    """
    if head.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if head.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise IntakeError(f"file '{file}' is UTF-32 text; save it as UTF-8")
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if stated == "windows-1252":
        return "cp1252"
    if stated and stated != "utf-16":
        return stated
    if (wide := _utf16_without_mark(head)) or stated == "utf-16":
        return wide or "utf-16-le"
    if b"\0" in head:
        raise IntakeError(
            f"file '{file}' is not a text file; export the trends as CSV, XLSX or Parquet"
        )
    return "utf-8" if is_utf8(head) else "cp1252"


def is_utf8(data: bytes) -> bool:
    """Whether ``data``, perhaps cut inside a character, is UTF-8."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data)
    except UnicodeDecodeError:
        return False
    return True


def _utf16_without_mark(head: bytes) -> str:
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = max(len(head) // 2, 1)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return ""


def layout(text: str, encoding: str, form: FileForm, wanted: Iterable[str]) -> Layout:
    """The layout of a delimited file that begins with ``text``; ``wanted`` are mapped headers.

    Raises:
        IntakeError: no header row, or no data below it.
    """
    names = {tidy(name) for name in wanted}
    delimiter = _stated_delimiter(form) or _delimiter(text, names)
    found = layout_of(list(_records(text, delimiter, form.name)), form, names)
    decimal = form.decimal or _decimal(found.sample, delimiter, form.name)
    said = _said(encoding, delimiter, decimal)
    return replace(
        found, encoding=encoding, delimiter=delimiter, decimal=decimal, said=(*said, *found.said)
    )


def layout_of(rows: Sequence[Record], form: FileForm, wanted: Iterable[str]) -> Layout:
    """Header, units and first data row among the first rows of a table.

    Raises:
        IntakeError: no header row, or no data below it.
    """
    header = _header(rows, form, {tidy(name) for name in wanted})
    cells = [tidy(cell) for cell in rows[header].cells]
    if len(cells) > BOUNDS.columns:
        raise IntakeError(f"file '{form.name}' has {len(cells)} columns; export fewer")
    body = [row for row in rows[header + 1 :] if any(c.strip() for c in row.cells)]
    unit_row = _units_row(body)
    data = body[1:] if unit_row else body
    if not data:
        raise IntakeError(
            f"file '{form.name}', row {rows[header].number}: no data below the header "
            f"'{', '.join(cells)[:80]}'; export the trend again"
        )
    unit_cells = [tidy(c) for c in body[0].cells] if unit_row else []
    before = body[0] if unit_row else rows[header]
    said = [f"header in row {rows[header].number}"] if header else []
    return Layout(
        "", "", ".", tuple(cells), tuple((unit_cells + [""] * len(cells))[: len(cells)]),
        before.end_line, before.number + 1, rows[header].number,
        tuple(tuple(row.cells) for row in data[:400]),
        tuple([*said, f"units in row {before.number}"] if unit_row else said),
    )


@dataclass(frozen=True, slots=True)
class Record:
    """One row as text, its row number and the physical line on which it ends."""

    cells: list[str]
    number: int
    end_line: int


def _records(text: str, delimiter: str, file: str) -> Iterable[Record]:
    # A spreadsheet counts an empty line as a row, and so does csv.reader.
    reader = csv.reader(_lines(text), delimiter=delimiter)
    number = 0
    try:
        for cells in reader:
            number += 1
            yield Record(cells, number, reader.line_num)
    except csv.Error as error:
        raise IntakeError(
            f"file '{file}', row {number + 1} cannot be read as delimited text ({error}); "
            "export the trend again"
        ) from error


def _lines(text: str) -> list[str]:
    return list(io.StringIO(text, newline=""))


def tidy(text: str) -> str:
    """A header's text on one line, without blanks around it."""
    return " ".join(text.replace("\ufeff", "").replace("\u00a0", " ").split())


def _stated_delimiter(form: FileForm) -> str:
    return "\t" if form.delimiter == "tab" else form.delimiter


def _delimiter(text: str, names: set[str]) -> str:
    lines = _lines(text)[:_SEARCHED_ROWS]
    return max(_DELIMITERS, key=lambda d: _fit(lines, d, names))


def _fit(lines: list[str], delimiter: str, names: set[str]) -> tuple[float, float, int]:
    try:
        rows = [row for row in csv.reader(lines, delimiter=delimiter) if len(row) > 1]
    except csv.Error:
        return 0, 0.0, 0
    hits = max((_hits(row, names) for row in rows), default=0)
    width = Counter(len(row) for row in rows).most_common(1)[0][0] if rows else 0
    cells = [cell for row in rows if len(row) == width for cell in row]
    readable = sum(1 for cell in cells if _looks_like_data(cell)) / max(len(cells), 1)
    return hits, readable if width > 1 else 0.0, width


def _hits(cells: Sequence[str], names: set[str]) -> int:
    tidied = {tidy(cell) for cell in cells}
    return len(names & (tidied | {split_unit(cell)[0] for cell in tidied}))


def _looks_like_data(cell: str) -> bool:
    cell = cell.strip()
    return not cell or bool(_NUMBER.match(cell)) or bool(_DATE.search(cell))


def _header(rows: Sequence[Record], form: FileForm, names: set[str]) -> int:
    if form.header_row is not None:
        if form.header_row > len(rows):
            raise IntakeError(
                f"file '{form.name}' has no row {form.header_row}; mend header_row under "
                f'[files."{form.name}"]'
            )
        return form.header_row - 1
    searched = rows[:_SEARCHED_ROWS]
    # A row with a date is data: a long file names its points there.
    hits = [
        0 if any(_DATE.search(cell) for cell in row.cells) else _hits(row.cells, names)
        for row in searched
    ]
    if hits and max(hits) > 0:
        return hits.index(max(hits))
    return _header_by_shape(searched, form.name)


def _header_by_shape(rows: Sequence[Record], file: str) -> int:
    widths = Counter(len(row.cells) for row in rows if len(row.cells) > 1)
    if widths:
        width = widths.most_common(1)[0][0]
        for at, row in enumerate(rows):
            words = [c for c in row.cells if c.strip() and not _looks_like_data(c)]
            if len(row.cells) == width and len(words) * 2 >= width:
                return at
    raise IntakeError(
        f"file '{file}' shows no header row with column names in its first "
        f"{len(rows)} rows; state header_row under [files.\"{file}\"], or export with names"
    )


def _units_row(body: Sequence[Record]) -> bool:
    if len(body) < 2:
        return False
    cells = [c.strip() for c in body[0].cells]
    named = [c for c in cells[1:] if units.alias(c.strip("[]()"))]
    plain = all(not _DATE.search(c) for c in cells) and not any(
        _NUMBER.match(c) for c in cells[1:] if c
    )
    return plain and len(named) >= 1 and len(named) * 2 >= sum(1 for c in cells[1:] if c)


def _decimal(sample: Sequence[Sequence[str]], delimiter: str, file: str) -> str:
    comma = _numbers(sample, holding=",")
    if delimiter == "," and not any(re.search(r",\d{1,2}$|,\d{4,}$", c) for c in comma):
        return "."
    if not comma or any(re.search(r",\d{3}\.", c) for c in comma):
        return "."
    if any(c.count(",") == 1 and not re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", c) for c in comma):
        return ","
    if any(re.search(r"\d\.\d", c) for c in _numbers(sample, holding=".")):
        return "."
    raise IntakeError(
        f"file '{file}': in numbers like '{shown(comma[0], 20)}' the comma may be the decimal sign "
        f'or part thousands; state decimal = "," or decimal = "." under [files."{file}"]'
    )


def _numbers(sample: Sequence[Sequence[str]], holding: str) -> list[str]:
    """The cells that are numbers and hold this sign; most hold none, and are not looked at."""
    return [c.strip() for row in sample for c in row if holding in c and _NUMBER.match(c.strip())]


def _said(encoding: str, delimiter: str, decimal: str) -> list[str]:
    said = []
    if encoding not in ("utf-8", "ascii"):
        said.append(f"encoding {encoding}")
    if delimiter != ",":
        said.append("delimiter " + {"\t": "tab", ";": "semicolon"}.get(delimiter, delimiter))
    if decimal != ".":
        said.append("decimal comma")
    return said
