"""A trend file opened as a table: named columns of cells as written, batch after batch.

A reader only translates a form of file into this; it knows nothing of points.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import compress
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.trends import arrow
from fptlib.trends.cells import split_unit, tidy
from fptlib.trends.layout import DATE, Layout

# What a column is expected to hold.
NUMBER, TEXT, TIME, ZONED_TIME = "number", "text", "time", "time with offset"


@dataclass(frozen=True, slots=True)
class Batch:
    """A stretch of lines.

    Attributes:
        columns: by header, one Arrow array each (numbers, times, text, coded text), or numbers
            as a numpy array.
        rows: the row of each line as a spreadsheet counts, 1-based.
        done: share of the file read so far.
    """

    columns: Mapping[str, Any]
    rows: np.ndarray
    done: float = 0.0

    def take(self, at: np.ndarray) -> Batch:
        """Only the lines at these positions."""
        index = arrow.column(at)
        columns = {name: column[at] if isinstance(column, np.ndarray) else column.take(index)
                   for name, column in self.columns.items()}
        return Batch(columns, self.rows[at], self.done)

    def part(self, begin: int, end: int) -> Batch:
        """Only the lines from one position up to another."""
        columns = {name: column[begin:end] for name, column in self.columns.items()}
        return Batch(columns, self.rows[begin:end], self.done)


class Table(ABC):
    """A file opened for reading.

    Attributes:
        name: of the file.
        layout: headers, units, first rows and how they are written.
        said: what was found of its form, for the remarks.
        broken: how many lines could not be rows in the last reading, and the first of them
            with its row; ``titles`` the same of lines of words between the rows.
    """

    said: tuple[str, ...] = ()
    broken: tuple[int, int, str] = (0, 0, "")
    titles: tuple[int, int, str] = (0, 0, "")

    def __init__(self, name: str, layout: Layout) -> None:
        self.name, self.layout = name, layout
        self.names, self.decimal = layout.names, layout.decimal

    def unit_of(self, column: str) -> str:
        """The unit that the file itself states for a column, or ``""``."""
        return self.layout.units[self.names.index(column)] or split_unit(column)[1]

    def sample(self, column: str) -> list[str]:
        """The first cells of a column, as text."""
        at = self.names.index(column)
        return [cells[at].strip() for cells in self.layout.records if len(cells) > at]

    @abstractmethod
    def batches(self, kinds: Mapping[str, str], size: int = 2 << 20) -> Iterator[Batch]:
        """The named columns; ``kinds`` says what each is expected to hold, ``size`` [bytes] how
        much of a delimited file is read at once."""

    def header(self, column: str, where: str) -> str:
        """The header that ``column`` names: exactly, or without the unit in brackets.

        Raises:
            IntakeError: no header is so named, or more than one.
        """
        wanted = tidy(column)
        found = [name for name in self.names if name == wanted]
        found = found or [name for name in self.names if split_unit(name)[0] == wanted]
        found = found or [name for name in self.names if name.lower() == wanted.lower()]
        found = found or self._in_lines(wanted)
        numbered = re.compile(re.escape(wanted) + r" \(\d+\)")
        found = found or [name for name in self.names if numbered.fullmatch(name)]
        if len(found) > 1:
            named = " or ".join(f'column = "{name}"' for name in dict.fromkeys(found))
            raise IntakeError(f"{where}: file '{self.name}' has {len(found)} columns named "
                              f"'{column}'; state {named} in the point map")
        bare = split_unit(wanted)[0]
        others = [name for name in self.names if split_unit(name)[0] == bare != name]
        if not found and others:
            raise IntakeError(
                f"{where}: file '{self.name}' has '{others[0]}' in place of '{column}'; state "
                f'column = "{bare}" and no unit in the point map, so that each file is read in its '
                "own unit")
        if not found:
            near = get_close_matches(wanted, self.names, 3, 0.5)
            named = ", ".join(f"'{name}'" for name in near or self.names[:12])
            raise IntakeError(
                f"{where}: file '{self.name}' has no column '{column}'; "
                f"{'nearest are' if near else 'found were'} {named}; "
                "correct 'column' in the point map")
        return found[0]

    def _in_lines(self, wanted: str) -> list[str]:
        """Columns whose name in two lines has ``wanted`` as its upper or its lower line."""
        pairs = list(zip(self.names, self.layout.groups, strict=False))
        lower = [name for name, group in pairs if group and name == f"{group} {wanted}"]
        return lower or [name for name, group in pairs
                         if group == wanted and not _is_time(self.sample(name))]


def _is_time(cells: list[str]) -> bool:
    given = [cell for cell in cells if cell]
    return sum(1 for cell in given if DATE.search(cell)) > 0.5 * len(given)


def ahead(batches: Iterator[Batch]) -> Iterator[Batch]:
    """The same batches, the next one always read while the last is worked on."""
    with ThreadPoolExecutor(1) as worker:
        coming = worker.submit(next, batches, None)
        while (batch := coming.result()) is not None:
            coming = worker.submit(next, batches, None)
            yield batch


def whole(column: Any) -> pa.Array:
    """A chunked column as one array."""
    if pa.types.is_dictionary(column.type):
        column = column.unify_dictionaries()
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def texts(column: pa.Array) -> pa.Array:
    """A column as plain strings."""
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    return column if pa.types.is_string(column.type) else column.cast(pa.string())


def numbers(column: pa.Array | np.ndarray) -> np.ndarray | None:
    """A column of numbers as float64, NaN where there is none; None of any other column."""
    if isinstance(column, np.ndarray):
        return column
    if not pa.types.is_floating(column.type) and not pa.types.is_integer(column.type):
        return None
    if column.type != pa.float64():
        column = column.cast(pa.float64())
    return arrow.array(column)


def given(column: pa.Array | np.ndarray) -> np.ndarray:
    """Which cells hold anything."""
    if isinstance(column, np.ndarray):
        return ~np.isnan(column)
    if pa.types.is_floating(column.type) or pa.types.is_integer(column.type):
        return arrow.array(column.is_valid())
    return arrow.array(pc.binary_length(pc.utf8_trim_whitespace(texts(column)))) > 0


def coded(column: pa.Array) -> tuple[np.ndarray, list[str]]:
    """Position of each cell's text among the distinct ones (-1 for none), and those."""
    if not pa.types.is_dictionary(column.type):
        column = texts(column).dictionary_encode()
    at = arrow.positions(column.indices)
    if column.null_count:
        at = np.where(arrow.array(column.is_valid()), at, -1)
    # Of some lines of a stretch not all of its texts are left.
    used = np.bincount(at + 1, minlength=len(column.dictionary) + 1)[1:] > 0
    found = texts(column.dictionary).to_pylist()
    if used.all():
        return at, found
    return np.append(np.cumsum(used) - 1, -1)[at], list(compress(found, used))
