"""``readings.csv``: one row for each field reading, all of it text as written.

The file is written by the form and by hand alike. A row that cannot be read whole is refused,
for the form writes back what was read.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path

from fptlib.errors import JobError
from fptlib.job.tables import READINGS

COLUMNS = tuple(READINGS.answers)
NEEDED = COLUMNS[:5]


def numbered_rows(file: Path) -> list[tuple[int, dict[str, str]]]:
    """The rows with their numbers in the file; none where there is no file.

    Raises:
        JobError: the file, its heading or one of its rows cannot be read.
    """
    if not file.is_file():
        return []
    # Else a quote that is never closed takes in every row below it.
    lines = csv.reader(io.StringIO(_text(file), newline=""), strict=True)
    try:
        heading = _heading(next(lines, []), file.name)
        return [(lines.line_num, _row(heading, cells, f"{file.name}, row {lines.line_num}"))
                for cells in lines if any(cells)]
    except csv.Error as error:
        raise JobError(f"{file.name}, row {lines.line_num}: {error}; look there or above for a "
                       "double quote without its other one") from error


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise JobError(f"{file.name} is not UTF-8 text; save it as UTF-8") from error


def _heading(cells: Sequence[str], name: str) -> Sequence[str]:
    if lacking := [column for column in NEEDED if column not in cells]:
        raise JobError(f"{name}, row 1: the heading lacks {', '.join(lacking)}; it must be "
                       + ",".join(COLUMNS))
    if twice := {column for column in cells if column and cells.count(column) > 1}:
        raise JobError(f"{name}, row 1: the heading has {', '.join(sorted(twice))} more than "
                       "once; leave one of them")
    return cells


def _row(heading: Sequence[str], cells: Sequence[str], where: str) -> dict[str, str]:
    pairs = list(zip_longest(heading, cells, fillvalue=""))
    if nameless := [cell for column, cell in pairs if cell and not column]:
        raise JobError(f"{where}: '{nameless[0]}' stands below no heading; put a text that "
                       "holds a comma in double quotes")
    return {column: cell for column, cell in pairs if column}
