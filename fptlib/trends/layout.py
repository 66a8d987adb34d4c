"""How a table of text is laid out: delimiter, header row, units row, decimal sign, encoding.

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
from fptlib.trends import safe
from fptlib.trends.cells import BAD, OFF, ON, shown, split_unit, tidy
from fptlib.trends.mapping import FileForm

_SEARCHED_ROWS = 60
# Lines of names and units below the first at the most.
_NAME_LINES = 3
# So many different times in one row are no times of that row.
_TIMES_ACROSS = 6
# What stands in rows of data, never in a header.
_CELLS = BAD | (ON | OFF) - {"open", "close", "active", "run", "start", "stop", "betrieb"}
_TIME_NAME = re.compile(r"(?:date|time|timestamp)\b", re.IGNORECASE)
SAMPLE_ROWS = 400
_NUMBER = re.compile(r"^[-+]?[\d\s.,'\u00a0\u202f]*\d[\d.,]*(?:[eE][-+]?\d+)?$")
DATE = re.compile(
    r"\d{1,4}[-/. ](?:\d{1,2}|[^\W\d]{3,9}\.?)[-/. ,]+\d{2,4}|^\d{8}(?:T|\s|$)"
    # An offset from UTC stands in headers too.
    r"|(?<![+-])(?<![+-]\d)\d:\d\d")
# Seconds, or parts of them, since 1970; days since 1899 with their part.
_COUNT = re.compile(r"\d{9,16}|\d{5}[.,]\d{2,}")


@dataclass(frozen=True, slots=True)
class Record:
    """One row as text, its row number and the physical line on which it ends."""

    cells: list[str]
    number: int
    end_line: int


@dataclass(frozen=True)
class Layout:
    """How a table is laid out.

    Attributes:
        names: the header, trimmed.
        units: the units row, or empty texts.
        skipped_lines: physical lines before the first data row.
        first_row: the first data row as a spreadsheet counts, 1-based.
        records: the first data rows, cells as text.
        said: what was found, for the remarks.
        groups: of names in two lines the upper one, of each column.
        preamble: the lines above the header.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    skipped_lines: int
    first_row: int
    records: Sequence[Sequence[str]]
    said: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    preamble: tuple[str, ...] = ()
    delimiter: str = ""
    decimal: str = "."


def of_text(text: str, form: FileForm, wanted: Iterable[str]) -> Layout:
    """The layout of a delimited file that begins with ``text``; ``wanted`` are mapped headers.

    Raises:
        IntakeError: no header row, or no data below it.
    """
    names = {tidy(name) for name in wanted}
    lines = list(io.StringIO(text, newline=""))
    delimiter = "\t" if form.delimiter == "tab" else form.delimiter or max(
        (",", ";", "\t", "|"), key=lambda d: _fit(lines[:_SEARCHED_ROWS], d, names))
    # A spreadsheet counts an empty line as a row, and so does csv.reader.
    reader = csv.reader(lines, delimiter=delimiter)
    records: list[Record] = []
    try:
        for cells in reader:
            records.append(Record(cells, len(records) + 1, reader.line_num))
    except csv.Error as error:
        raise IntakeError(f"file '{form.name}', row {len(records) + 1} cannot be read as delimited "
                          f"text ({error}); export the trend again") from error
    found = of_records(records, form, names)
    decimal = form.decimal or decimal_of(found.records, delimiter, form.name)
    said = [] if delimiter == "," else [
        "delimiter " + {"\t": "tab", ";": "semicolon"}.get(delimiter, delimiter)]
    said += ["decimal comma"] if decimal == "," else []
    return replace(found, delimiter=delimiter, decimal=decimal, said=(*said, *found.said))


def of_records(rows: Sequence[Record], form: FileForm, wanted: Iterable[str]) -> Layout:
    """Header, units and first data row among the first rows of a table.

    Raises:
        IntakeError: no header row, or no data below it.
    """
    _refuse_times_across(rows[:_SEARCHED_ROWS], form)
    header = _header(rows, form, {tidy(name) for name in wanted})
    lines, at = [rows[header]], rows[header].number
    if len(rows[header].cells) > safe.COLUMNS:
        raise IntakeError(
            f"file '{form.name}' has {len(rows[header].cells)} columns; export fewer")
    body = [row for row in rows[header + 1 :] if any(c.strip() for c in row.cells)]
    said = [f"header in row {at}"] if header else []
    before, stated = rows[header], [""] * len(rows[header].cells)
    for _ in range(_NAME_LINES):
        if _is_units_row(body):
            stated = [tidy(c) for c in body[0].cells] + stated
            said.append(f"units in row {body[0].number}")
        elif len(lines) < (form.header_rows or 0) or len(body) > 1 and _is_words(body[0]):
            lines.append(body[0])
        else:
            break
        before, body = body[0], body[1:]
    if len(lines) == 1 and header and _names_groups(rows[header - 1], lines[0]):
        lines.insert(0, rows[header - 1])
    names, groups = _names(lines, max(len(row.cells) for row in lines))
    # A delimiter at the end of each row makes one more cell, which is empty; one at the end of the
    # header alone makes none.
    widest = max((len(row.cells) for row in body), default=0)
    if widest and not any(names[widest:]):
        names, groups = names[:widest], groups[:widest]
    if not any(cell.strip() for row in body for cell in row.cells[len(names):]):
        names, groups = ((*each, *[""] * (widest - len(each))) for each in (names, groups))
    if len(lines) > 1:
        said.append(f"names in rows {lines[0].number} and {lines[1].number}")
    if not body:
        raise IntakeError(f"file '{form.name}', row {at}: no data below the header "
                          f"'{', '.join(names)[:80]}'; export the trend again")
    stated += [""] * len(names)
    return Layout(names, tuple(stated[: len(names)]), before.end_line, before.number + 1,
                  [row.cells for row in body[:SAMPLE_ROWS]], tuple(said), groups=groups,
                  preamble=tuple(" ".join(row.cells) for row in rows[:header]))


def _refuse_times_across(rows: Sequence[Record], form: FileForm) -> None:
    """Stop at a table that has its times in the header and a row for each day or point."""
    for row in rows:
        cells = [cell.strip() for cell in row.cells if cell.strip()]
        times = {cell for cell in cells if DATE.search(cell)}
        if len(times) >= _TIMES_ACROSS and len(times) > 0.8 * len(cells):
            raise IntakeError(
                f"file '{form.name}', row {row.number}: the times run across the columns "
                f"('{shown(cells[1])}', '{shown(cells[2])}'); export the trend again with a row "
                "for each time and a column for each point")


def _names(lines: Sequence[Record], width: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The columns' names, each another one, and the upper line of names in two lines.

    Two lines make one name where the upper one alone does not tell all columns apart.
    """
    upper, *lower = ([*map(tidy, row.cells), *[""] * (width - len(row.cells))] for row in lines)
    groups = [""] * width
    names, named = upper, [name for name in upper if name]
    if lower and len(set(named)) == len(named) and all(
            one for one, other in zip(upper[1:], lower[0][1:], strict=True) if other):
        names = [one or other for one, other in zip(upper, lower[0], strict=True)]
    elif lower:
        for at, name in enumerate(upper):
            # A name that spans several cells stands in the first of them.
            groups[at] = name or (groups[at - 1] if at and lower[0][at] else "")
        names = [" ".join(filter(None, pair)) for pair in zip(groups, lower[0], strict=True)]
    seen = Counter(names)
    count: Counter[str] = Counter()
    for at, name in enumerate(names):
        if name and seen[name] > 1:
            count[name] += 1
            names[at] = f"{name} ({count[name]})"
    return tuple(names), tuple(groups)


def _names_groups(above: Record, below: Record) -> bool:
    """Whether the line above the header names groups of its columns: where names repeat, or where
    nothing stands above the column of times."""
    names = [tidy(cell) for cell in below.cells if cell.strip()]
    open_ = len(set(names)) < len(names) or above.cells[:1] == [""]
    return open_ and _is_words(above) and sum(1 for cell in above.cells if cell.strip()) > 1


def _filled(row: Record) -> int:
    """How many cells there are up to the last that holds anything."""
    return max((at for at, cell in enumerate(row.cells, 1) if cell.strip()), default=0)


def _is_words(row: Record) -> bool:
    """Whether a row below the header is another line of it: no time, no number, no placeholder."""
    cells = [cell.strip() for cell in row.cells if cell.strip()]
    # Beside "Time" a status may be headed "On".
    named = bool(cells) and bool(_TIME_NAME.match(cells[0]))
    return bool(cells) and not any(
        _looks_like_data(cell) or cell.lower() in _CELLS and not named
        or _looks_like_data(cell.split()[0]) for cell in cells)


def _header(rows: Sequence[Record], form: FileForm, names: set[str]) -> int:
    """The position of the header: as stated, with the most mapped names, or by its shape."""
    if form.header_row is not None:
        if form.header_row > len(rows):
            raise IntakeError(f"file '{form.name}' has no row {form.header_row}; correct "
                              f'header_row under [files."{form.name}"]')
        return int(form.header_row) - 1
    rows = rows[:_SEARCHED_ROWS]
    # A row with a time is data: a long file names its points there.
    hits = [0 if any(DATE.search(cell) or _COUNT.fullmatch(cell.strip()) for cell in row.cells)
            else _hits(row.cells, names) for row in rows]
    if max(hits, default=0) > 0:
        return hits.index(max(hits))
    widths = Counter(len(row.cells) for row in rows if len(row.cells) > 1)
    width = widths.most_common(1)[0][0] if widths else 0
    filled = max((_filled(row) for row in rows if len(row.cells) == width), default=0)
    # Rows, or the header alone, may have a delimiter at their end.
    named = [at for at, row in enumerate(rows) if width and (
        len(row.cells) in (width, filled) or _filled(row) == width) and 2 * sum(
            1 for c in row.cells if c.strip() and not _looks_like_data(c)) >= filled]
    # Lines of comment may stand above the header, and a header may begin like one.
    plain = [at for at in named[:_NAME_LINES + 1] if not rows[at].cells[0].startswith("#")]
    if named:
        return (plain or named)[0]
    if not width and any(re.search(r"\S {2,}\S", " ".join(row.cells)) for row in rows):
        raise IntakeError(
            f"file '{form.name}': its cells are set apart by blanks alone; export the trend again "
            "as CSV, with commas, semicolons or tabs between them")
    raise IntakeError(
        f"file '{form.name}' shows no header row with column names in its first "
        f"{len(rows)} rows; state header_row under [files.\"{form.name}\"], or export with names")


def _hits(cells: Sequence[str], names: set[str]) -> int:
    tidied = {tidy(cell) for cell in cells}
    return len(names & (tidied | {split_unit(cell)[0] for cell in tidied}))


def _looks_like_data(cell: str) -> bool:
    cell = cell.strip()
    return not cell or bool(_NUMBER.match(cell)) or bool(DATE.search(cell))


def _is_units_row(body: Sequence[Record]) -> bool:
    if len(body) < 2:
        return False
    cells = [c.strip() for c in body[0].cells]
    named = [c for c in cells[1:] if units.alias(c.strip("[]()"))]
    if any(DATE.search(c) for c in cells) or any(_NUMBER.match(c) for c in cells[1:] if c):
        return False
    return len(named) >= 1 and len(named) * 2 >= sum(1 for c in cells[1:] if c)


def _fit(lines: list[str], delimiter: str, names: set[str]) -> tuple[float, float, int]:
    """How well a delimiter parts the lines: mapped headers, readable cells, width."""
    try:
        rows = [row for row in csv.reader(lines, delimiter=delimiter) if len(row) > 1]
    except csv.Error:
        return 0, 0.0, 0
    hits = max((_hits(row, names) for row in rows), default=0)
    width = Counter(len(row) for row in rows).most_common(1)[0][0] if rows else 0
    cells = [cell for row in rows if len(row) == width for cell in row]
    readable = sum(1 for cell in cells if _looks_like_data(cell)) / max(len(cells), 1)
    return hits, readable, width


def decimal_of(records: Sequence[Sequence[str]], delimiter: str, file: str) -> str:
    """The decimal sign of numbers in writing.

    Raises:
        IntakeError: they leave it open.
    """
    def numbers_with(sign: str) -> list[str]:
        return [c.strip() for row in records for c in row
                if sign in c and _NUMBER.match(c.strip())]

    comma = numbers_with(",")
    pointed = [] if comma or delimiter != ";" else [
        c for c in numbers_with(".") if not DATE.search(c)]
    if pointed and all(re.fullmatch(r"[-+]?[1-9]\d{0,2}(?:\.\d{3})+", c) for c in pointed):
        raise IntakeError(
            f"file '{file}': in numbers like '{shown(pointed[0], 20)}' the point may be the "
            'decimal sign or part thousands; state decimal = "," if it parts thousands, or '
            f'decimal = "." if not, under [files."{file}"]')
    if delimiter == "," and not any(re.search(r",\d{1,2}$|,\d{4,}$", c) for c in comma):
        return "."
    if not comma or any(re.search(r",\d{3}\.", c) for c in comma):
        return "."
    if any(c.count(",") == 1 and not re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", c) for c in comma):
        return ","
    if any(re.search(r"\d\.\d", c) for c in numbers_with(".")):
        return "."
    raise IntakeError(
        f"file '{file}': in numbers like '{shown(comma[0], 20)}' the comma may be the decimal sign "
        f'or part thousands; state decimal = "," or decimal = "." under [files."{file}"]')


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
    if stated and stated != "utf-16":
        return {"windows-1252": "cp1252"}.get(stated, stated)
    # Of plain text in UTF-16 every other byte is zero.
    half = max(len(head) // 2, 1)
    even, odd = head[0::2].count(0) / half, head[1::2].count(0) / half
    if stated or odd > 0.7 and even < 0.1:
        return "utf-16-be" if even > 0.7 and odd < 0.1 else "utf-16-le"
    if even > 0.7 and odd < 0.1:
        return "utf-16-be"
    if b"\0" in head:
        raise IntakeError(
            f"file '{file}' is not a text file; export the trends as CSV, XLSX or Parquet")
    return "utf-8" if is_utf8(head) else "cp1252"


def is_utf8(data: bytes) -> bool:
    """Whether ``data``, perhaps cut inside a character, is UTF-8."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(data)
    except UnicodeDecodeError:
        return False
    return True
