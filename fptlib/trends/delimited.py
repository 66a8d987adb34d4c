"""Delimited text as batches: read piece by piece, parsed by Arrow with declared types.

Numbers are read as numbers. Only a piece in which that fails is read again as text, and
only the columns that hold other text stay text from there on. So a clean file costs what
the parser costs, and nothing in a dirty one is lost.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

from fptlib.errors import IntakeError
from fptlib.trends import safe, sniff
from fptlib.trends.batches import NUMBER, TEXT, TIME, ZONED_TIME, Batch, Dropped, ahead
from fptlib.trends.forms import FileForm

PIECE_BYTES = 2 << 20
_BLOCK_BYTES = 1 << 20
_TYPES: dict[str, pa.DataType] = {
    NUMBER: pa.float64(),
    TEXT: pa.dictionary(pa.int32(), pa.string()),
    TIME: pa.timestamp("ns"),
    ZONED_TIME: pa.timestamp("ns", tz="UTC"),
}


@dataclass(frozen=True, slots=True)
class _Piece:
    """Whole lines of the file as UTF-8, and the row number of the first of them."""

    data: bytes
    first_row: int
    lines: int
    done: float


class DelimitedReader:
    """A delimited file, plain or packed.

    Raises:
        IntakeError: the file is no text, has no header, or is damaged.
    """

    def __init__(
        self, path: Path, form: FileForm, wanted: Sequence[str] = (),
        bounds: safe.Bounds = safe.BOUNDS,
    ) -> None:
        self.name, self._path, self._form, self._bounds = path.name, path, form, bounds
        with safe.opened(path, form.member, bounds) as stream:
            head = stream.read(sniff.HEAD_BYTES)
        encoding = sniff.encoding_of(head, form.encoding, self.name)
        self.layout = sniff.layout(_head_text(head, encoding), encoding, form, wanted)
        self._breaks = b"\r" if _only_returns(head, encoding) else b"\n"
        self.decimal = self.layout.decimal
        self.rows_guess = _rows_guess(path, head)
        self.names, self.said = self.layout.names, self.layout.said
        self.dropped = Dropped()
        self._text_columns: set[str] = set()
        self._foreign_bytes = False

    def unit_of(self, column: str) -> str:
        """The unit that the header or the units row states."""
        return self.layout.unit_of(self.names.index(column))

    def sample(self, column: str) -> list[str]:
        """The first cells of a column."""
        at = self.names.index(column)
        return [row[at].strip() for row in self.layout.sample if len(row) > at]

    def batches(self, kinds: Mapping[str, str], size: int = PIECE_BYTES) -> Iterator[Batch]:
        """The named columns, in pieces of about ``size`` bytes.

        Raises:
            IntakeError: the text is damaged, or a line is far too long.
        """
        # A file is read more than once; its left-out lines are those of the last time.
        self.dropped = Dropped()
        yield from ahead(self._batch(piece, kinds) for piece in self._pieces(size))
        pa.default_memory_pool().release_unused()

    def _pieces(self, size: int) -> Iterator[_Piece]:
        row, skip, given = self.layout.first_row, self.layout.skipped_lines, 0
        total = max(self._path.stat().st_size, 1)
        for data, consumed in self._lines(size):
            given += consumed
            if skip:
                data, skip = _without_lines(data, skip)
            if not data:
                continue
            lines = data.count(b"\n")
            yield _Piece(self._as_utf8(data), row, lines, min(given / total, 1.0))
            row += lines

    def _lines(self, size: int) -> Iterator[tuple[bytes, int]]:
        """Whole lines in UTF-8, and how many bytes of the stream they took."""
        decode = _decoder(self.layout.encoding, self.name)
        with safe.opened(self._path, self._form.member, self._bounds) as stream:
            rest = b""
            while raw := stream.read(size):
                data = decode(raw, False)
                if self._breaks == b"\r":
                    data = data.replace(b"\r", b"\n")
                cut = data.rfind(b"\n") + 1
                if cut:
                    yield rest + data[:cut], len(raw)
                    rest = data[cut:]
                else:
                    rest += data
                self._refuse_long_line(rest)
            if rest := rest + decode(b"", True):
                yield rest + b"\n", 0

    def _refuse_long_line(self, line: bytes) -> None:
        if len(line) > self._bounds.line_bytes:
            raise IntakeError(
                f"file '{self.name}' has a line of more than {self._bounds.line_bytes} bytes; "
                "it is no trend export, or its line ends are lost: export it again"
            )

    def _batch(self, piece: _Piece, kinds: Mapping[str, str]) -> Batch:
        wrong: list[str] = []
        try:
            table = self._parse(piece.data, kinds, wrong)
        except (pa.ArrowInvalid, pa.ArrowKeyError):
            wrong.clear()
            table = self._as_text(piece, kinds, wrong)
        offsets = None
        if table.num_rows != piece.lines or wrong:
            offsets = self._kept_lines(piece, table.num_rows)
        columns = {name: table.column(at) for at, name in enumerate(kinds)}
        return Batch(columns, table.num_rows, piece.first_row, offsets, piece.done)

    def _parse(self, data: bytes, kinds: Mapping[str, str], wrong: list[str]) -> pa.Table:
        def keep(row: Any) -> str:
            wrong.append(row.text)
            return "skip"

        keys = [f"c{at}" for at in range(len(self.names))]
        wanted = [keys[self.names.index(name)] for name in kinds]
        types = {
            key: _TYPES[self._kind(name, kinds)] for key, name in zip(wanted, kinds, strict=True)
        }
        return arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(column_names=keys, block_size=_BLOCK_BYTES),
            arrow_csv.ParseOptions(
                delimiter=self.layout.delimiter, invalid_row_handler=keep
            ),
            arrow_csv.ConvertOptions(
                column_types=types, include_columns=wanted, null_values=[""],
                decimal_point=self.layout.decimal,
            ),
        )

    def _kind(self, name: str, kinds: Mapping[str, str]) -> str:
        return TEXT if name in self._text_columns else kinds[name]

    def _as_text(self, piece: _Piece, kinds: Mapping[str, str], wrong: list[str]) -> pa.Table:
        try:
            table = self._parse(piece.data, dict.fromkeys(kinds, TEXT), wrong)
        except pa.ArrowInvalid as error:
            raise IntakeError(
                f"file '{self.name}', from row {piece.first_row}: cannot be read as delimited "
                f"text ({_brief(error)}); export the trend again"
            ) from error
        columns = [
            self._typed(table.column(at), name, kinds[name]) for at, name in enumerate(kinds)
        ]
        return pa.table(columns, names=[str(at) for at in range(len(columns))])

    def _typed(self, column: pa.ChunkedArray, name: str, kind: str) -> pa.ChunkedArray:
        """Text turned into its declared type where all of it can be."""
        if kind == NUMBER and self.layout.decimal == ".":
            try:
                plain = column.cast(pa.string())
                blank = pc.equal(pc.utf8_trim_whitespace(plain), "")
                return pc.if_else(blank, None, plain).cast(pa.float64())
            except pa.ArrowInvalid:
                pass
        self._text_columns.add(name)
        return column

    def _as_utf8(self, data: bytes) -> bytes:
        """Whole lines that may hold another encoding than the first part of the file."""
        if data.isascii() or sniff.is_utf8(data):
            return data
        if not self._foreign_bytes:
            self._foreign_bytes = True
            self.said = (*self.said, "some lines are not UTF-8 and were read as windows-1252")
        return data.decode("cp1252", "replace").encode("utf-8")

    def _kept_lines(self, piece: _Piece, kept: int) -> np.ndarray:
        """Which lines of a piece are rows; the others are noted as dropped unless empty."""
        text = piece.data.decode("utf-8", "replace")
        offsets, width = [], len(self.names)
        for at, line in enumerate(text.split("\n")[:-1]):
            bare = line.rstrip("\r")
            if not bare:
                continue
            if _fields(bare, self.layout.delimiter) == width:
                offsets.append(at)
            else:
                self.dropped.add(piece.first_row + at, bare)
        if len(offsets) != kept:
            raise IntakeError(
                f"file '{self.name}', from row {piece.first_row}: quotes or line breaks inside "
                "cells cannot be told apart; export the trend without them"
            )
        return np.array(offsets, dtype=np.int64)


def _rows_guess(path: Path, head: bytes) -> int:
    """How many rows the file may have; a tenth more, so that arrays need not grow."""
    per_line = len(head) / max(head.count(b"\n"), 1)
    return min(int(1.1 * path.stat().st_size / per_line) + 1024, safe.BOUNDS.grid_rows)


def _fields(line: str, delimiter: str) -> int:
    if '"' not in line:
        return line.count(delimiter) + 1
    try:
        return len(next(csv.reader([line], delimiter=delimiter), []))
    except csv.Error:
        return 0


def _without_lines(data: bytes, count: int) -> tuple[bytes, int]:
    """``data`` without its first lines, and how many are still to be left out."""
    at = 0
    while count:
        found = data.find(b"\n", at)
        if found < 0:
            return b"", count
        at, count = found + 1, count - 1
    return data[at:], 0


def _decoder(encoding: str, file: str) -> Any:
    if encoding in ("utf-8", "utf-8-sig"):
        return lambda raw, final: raw
    # A few bytes mean nothing in windows-1252; no number or date holds them.
    errors = "replace" if encoding == "cp1252" else "strict"
    decoder = codecs.getincrementaldecoder(encoding)(errors)

    def decode(raw: bytes, final: bool) -> bytes:
        try:
            return decoder.decode(raw, final).encode("utf-8")
        except (UnicodeDecodeError, UnicodeEncodeError) as error:
            raise IntakeError(
                f"file '{file}' is damaged: {encoding} text ends or breaks off ({error.reason}); "
                "export it again as UTF-8"
            ) from error

    return decode


def _head_text(head: bytes, encoding: str) -> str:
    text = codecs.getincrementaldecoder(encoding)("replace").decode(head)
    if len(head) < sniff.HEAD_BYTES:
        return text
    whole = max(text.rfind("\n"), text.rfind("\r")) + 1
    return text[:whole] or text


def _only_returns(head: bytes, encoding: str) -> bool:
    text = io.StringIO(_head_text(head, encoding), newline="").read()
    return "\n" not in text and "\r" in text


def _brief(error: Exception) -> str:
    return str(error).splitlines()[0][:160]
