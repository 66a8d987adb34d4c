"""What every reader gives: batches of columns as they are written, with their row numbers.

A reader only translates a form of file into these; it knows nothing of points.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
import pyarrow as pa

NUMBER = "number"
TEXT = "text"
TIME = "time"
ZONED_TIME = "time with offset"


@dataclass(frozen=True, slots=True)
class Batch:
    """A stretch of rows.

    Attributes:
        columns: by header: float64, timestamp[ns], text or dictionary-typed text.
        first_row: row of the first line of the stretch as a spreadsheet counts, 1-based.
        offsets: of each row from ``first_row``, where lines were left out; else None.
        done: share of the file read so far.
    """

    columns: Mapping[str, Any]
    length: int
    first_row: int
    offsets: np.ndarray | None = None
    done: float = 0.0

    def row(self, index: int) -> int:
        """The row number of one line of the batch."""
        return self.first_row + (index if self.offsets is None else int(self.offsets[index]))


class Reader(Protocol):
    """A file opened for reading."""

    name: str
    names: tuple[str, ...]
    said: tuple[str, ...]
    decimal: str
    rows_guess: int
    dropped: Dropped

    def unit_of(self, column: str) -> str:
        """The unit that the file itself states for a column, or ``""``."""

    def sample(self, column: str) -> Sequence[str]:
        """The first cells of a column, as text."""

    def batches(self, kinds: Mapping[str, str], size: int = 2 << 20) -> Iterator[Batch]:
        """The named columns; ``kinds`` says what each is expected to hold.

        ``size`` [bytes] of the stretches in which a delimited file is read.
        """


@dataclass
class Dropped:
    """Lines that could not be rows: row numbers and texts, the first few."""

    count: int = 0
    first: list[tuple[int, str]] = field(default_factory=list)

    def add(self, row: int, text: str) -> None:
        self.count += 1
        if len(self.first) < 50:
            self.first.append((row, text[:120]))


def ahead(batches: Iterator[Batch]) -> Iterator[Batch]:
    """The same batches, the next one always read while the last is worked on."""
    with ThreadPoolExecutor(1) as worker:
        coming = worker.submit(next, batches, None)
        while (batch := coming.result()) is not None:
            coming = worker.submit(next, batches, None)
            yield batch


class Rows:
    """Row numbers of all samples of a file, batch after batch."""

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._batches: list[tuple[int, np.ndarray | None]] = []
        self.count = 0

    def add(self, batch: Batch) -> None:
        self._starts.append(self.count)
        self._batches.append((batch.first_row, batch.offsets))
        self.count += batch.length

    def row(self, sample: int) -> int:
        """The row number of one sample."""
        at = bisect_right(self._starts, sample) - 1
        first, offsets = self._batches[at]
        within = sample - self._starts[at]
        return first + (within if offsets is None else int(offsets[within]))


def shown(text: str, length: int = 40) -> str:
    """A cell's text for an error sentence: on one line, printable, not too long."""
    line = " ".join(text.split())
    return "".join(c if c.isprintable() else "?" for c in line)[:length]


def whole(column: Any) -> pa.Array:
    """A chunked column as one array."""
    if pa.types.is_dictionary(column.type):
        column = column.unify_dictionaries()
    if column.num_chunks == 1:
        return column.chunk(0)
    return pa.concat_arrays(column.chunks) if column.num_chunks else pa.array([], column.type)


def texts(column: Any) -> pa.Array:
    """A column of text as one array of plain strings."""
    if isinstance(column, pa.ChunkedArray):
        column = whole(column)
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    return column if pa.types.is_string(column.type) else column.cast(pa.string())


def coded(column: Any) -> pa.DictionaryArray:
    """A column of text as one array of positions in a dictionary."""
    if isinstance(column, pa.ChunkedArray):
        column = whole(column)
    return column if pa.types.is_dictionary(column.type) else column.dictionary_encode()
