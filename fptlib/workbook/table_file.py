"""A table file that goes out to whoever works in a spreadsheet, and comes back edited."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from fptlib.errors import FormError
from fptlib.job.folder import write_atomically
from fptlib.record.text import csv_of


def write(file: Path, head: Sequence[str], rows: Iterable[Iterable[Any]]) -> Path:
    """Write the table as CSV that every spreadsheet opens and none runs; returns the file."""
    write_atomically(file, csv_of(head, rows))
    return file


def read(name: str, content: bytes, needed: Sequence[str], made_by: str
         ) -> list[tuple[str, dict[str, str]]]:
    """The rows of a table file, each with where it stands; empty ones are left out.

    Args:
        name: of the file, for the sentences.
        content: its bytes, as any spreadsheet saves "CSV".
        needed: the columns that must be there.
        made_by: what writes such a table, for whoever took another one.

    Raises:
        FormError: it is no such table.
    """
    if content.startswith(b"PK"):
        raise FormError(f"'{name}' is a workbook; save the table as CSV, then read that")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        # As a spreadsheet of Windows saves "CSV".
        text = content.decode("cp1252", "replace")
    delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
    lines = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
    if absent := [each for each in needed if each not in (lines.fieldnames or ())]:
        raise FormError(f"'{name}', row 1: no column {', '.join(absent)}; edit the table that "
                        f"{made_by}, and keep its first row")
    found = [(f"'{name}', row {number}", {key: str(value or "").strip() for key, value in
                                          line.items() if isinstance(key, str)})
             for number, line in enumerate(lines, start=2)]
    return [(where, cells) for where, cells in found if any(cells.values())]


def bytes_of(file: Path) -> bytes:
    """What a table file holds.

    Raises:
        FormError: it cannot be read.
    """
    try:
        return file.read_bytes()
    except OSError as error:
        raise FormError(f"'{file.name}' cannot be read ({error.strerror or error})") from error
