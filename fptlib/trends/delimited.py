"""Delimited text as a table: read piece by piece, parsed by Arrow with declared types.

Numbers are read as numbers. Only a piece in which that fails is read again as text, and
only the columns that hold other text stay text from there on. So a clean file costs what
the parser costs, and nothing in a dirty one is lost.
"""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

from fptlib.errors import IntakeError
from fptlib.trends import arrow, layout, safe
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import NUMBER, TEXT, TIME, ZONED_TIME, Batch, Table, ahead, whole

_HEAD_BYTES = 1 << 18
_BLOCK_BYTES = 1 << 20
# A quoted cell; a quote inside a word begins none.
_QUOTED = re.compile(rb'(?<![^\n,;\t|])"(?:[^"]|"")*"')
_TYPES: dict[str, pa.DataType] = {
    NUMBER: pa.float64(),
    TEXT: pa.dictionary(pa.int32(), pa.string()),
    TIME: pa.timestamp("ns"),
    ZONED_TIME: pa.timestamp("ns", tz="UTC"),
}


class _Piece(NamedTuple):
    """Whole lines of the file as UTF-8, and the row number of the first of them."""

    data: bytes
    first_row: int
    lines: int
    done: float


class DelimitedTable(Table):
    """A delimited file, plain or packed.

    Raises:
        IntakeError: the file is no text, has no header, or is damaged.
    """

    def __init__(self, path: Path, form: FileForm, wanted: Sequence[str] = ()) -> None:
        self._path, self._form = path, form
        with safe.opened(path, form.member) as stream:
            head = stream.read(_HEAD_BYTES)
        self._encoding = layout.encoding_of(head, form.encoding, path.name)
        text = codecs.getincrementaldecoder(self._encoding)("replace").decode(head)
        self._old_line_ends = "\n" not in text and "\r" in text
        if len(head) == _HEAD_BYTES:
            # Without the line that is cut off.
            text = text[: max(text.rfind("\n"), text.rfind("\r")) + 1] or text
        super().__init__(path.name, layout.of_text(text, form, wanted))
        said = [] if self._encoding == "utf-8" else [f"encoding {self._encoding}"]
        self.said = (*said, *self.layout.said)
        self._text_columns: set[str] = set()

    def batches(self, kinds: Mapping[str, str], size: int = 2 << 20) -> Iterator[Batch]:
        """The named columns, piece by piece of so many bytes."""
        # A file may be read more than once; its broken lines are those of the last time.
        self.broken = self.titles = Table.broken
        yield from ahead(self._batch(piece, kinds) for piece in self._pieces(size))
        pa.default_memory_pool().release_unused()

    def _pieces(self, size: int) -> Iterator[_Piece]:
        row, skip, read = self.layout.first_row, self.layout.skipped_lines, 0
        total = max(self._path.stat().st_size, 1)
        for piece in self._whole_lines(size):
            data, read = piece, read + len(piece)
            while skip and data:
                _, _, data = data.partition(b"\n")
                skip -= 1
            if data:
                # Far quicker than the bytes' own count.
                lines = int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n")))
                yield _Piece(self._as_utf8(data), row, lines, min(read / total, 1.0))
                row += lines

    def _whole_lines(self, size: int) -> Iterator[bytes]:
        """Stretches of whole lines in UTF-8."""
        decode = _decoder(self._encoding, self.name)
        with safe.opened(self._path, self._form.member) as stream:
            rest = b""
            while raw := stream.read(size):
                data = decode(raw, False)
                if self._old_line_ends:
                    data = data.replace(b"\r", b"\n")
                if cut := data.rfind(b"\n") + 1:
                    yield b"".join((rest, memoryview(data)[:cut]))
                    rest = b""
                rest += data[cut:]
                if len(rest) > safe.LINE_BYTES:
                    raise IntakeError(
                        f"file '{self.name}' has a line of more than {safe.LINE_BYTES} bytes; "
                        "it is no trend export, or its line ends are lost: export it again")
            if rest := rest + decode(b"", True):
                yield self._without_cut_cell(rest) + b"\n"

    def _without_cut_cell(self, line: bytes) -> bytes:
        """A last line without a line end, perhaps cut inside its last cell: a cell shorter than
        that column's others is left out."""
        head, sign, cell = line.rpartition(self.layout.delimiter.encode())
        width = len(self.names)
        others = [len(row[width - 1].strip()) for row in self.layout.records if len(row) == width]
        if not sign or line.count(sign) != width - 1 or not 0 < len(cell) < max(others, default=0):
            return line
        cut = (f"the file ends inside a line, and its last cell '{cell.decode('utf-8', 'replace')}'"
               " may be cut: it is left out")
        if cut not in self.said:
            self.said = (*self.said, cut)
        return head + sign

    def _as_utf8(self, data: bytes) -> bytes:
        """Whole lines that may hold another encoding than the first part of the file."""
        if data.isascii() or layout.is_utf8(data):
            return data
        foreign = "some lines are not UTF-8 and were read as windows-1252"
        if foreign not in self.said:
            self.said = (*self.said, foreign)
        return data.decode("cp1252", "replace").encode("utf-8")

    def _batch(self, piece: _Piece, kinds: Mapping[str, str]) -> Batch:
        wrong: list[str] = []
        declared = {name: TEXT if name in self._text_columns else kind
                    for name, kind in kinds.items()}
        try:
            found = self._parsed(piece.data, declared, wrong)
        except (pa.ArrowInvalid, pa.ArrowKeyError):
            wrong.clear()
            found = self._as_text(piece, kinds, wrong)
        rows = piece.first_row + np.arange(found.num_rows)
        if found.num_rows != piece.lines or wrong:
            joined = _QUOTED.sub(_on_one_line, piece.data)
            if joined != piece.data:
                lines = joined.count(b"\n")
                return self._batch(piece._replace(data=joined, lines=lines), kinds)
            rows = self._kept_rows(piece, found.num_rows)
        columns = {name: whole(found.column(at)) for at, name in enumerate(kinds)}
        return Batch(columns, rows, piece.done)

    def _parsed(self, data: bytes, kinds: Mapping[str, str], wrong: list[str]) -> pa.Table:
        def left_out(row: Any) -> str:
            wrong.append(row.text)
            return "skip"

        # Headers may repeat, positions do not.
        keys = [f"c{at}" for at in range(len(self.names))]
        types = {keys[self.names.index(name)]: _TYPES[kind] for name, kind in kinds.items()}
        return arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(column_names=keys, block_size=_BLOCK_BYTES),
            arrow_csv.ParseOptions(
                delimiter=self.layout.delimiter, invalid_row_handler=left_out),
            arrow_csv.ConvertOptions(
                column_types=types, include_columns=list(types), null_values=[""],
                decimal_point=self.decimal),
        )

    def _as_text(self, piece: _Piece, kinds: Mapping[str, str], wrong: list[str]) -> pa.Table:
        """The piece read as text, columns of plain numbers turned into numbers."""
        try:
            found = self._parsed(piece.data, dict.fromkeys(kinds, TEXT), wrong)
        except pa.ArrowInvalid as error:
            raise IntakeError(
                f"file '{self.name}', from row {piece.first_row}: cannot be read as delimited "
                f"text ({str(error).splitlines()[0][:160]}); export the trend again") from error
        for at, (name, kind) in enumerate(kinds.items()):
            plain = kind == NUMBER and self.decimal == "."
            number = _as_number(found.column(at)) if plain else None
            if number is None:
                self._text_columns.add(name)
            else:
                found = found.set_column(at, name, number)
        return found

    def _kept_rows(self, piece: _Piece, kept: int) -> np.ndarray:
        """Which lines of a piece are rows; the others are noted as broken unless empty."""
        rows, width = [], len(self.names)
        lines = piece.data.decode("utf-8", "replace").split("\n")[:-1]
        for row, line in enumerate(lines, piece.first_row):
            bare = line.rstrip("\r")
            if bare and _fields(bare, self.layout.delimiter) == width:
                rows.append(row)
            elif bare:
                # A title between the pages of a report is one cell of words, and no broken row.
                title = self.layout.delimiter not in bare.rstrip(self.layout.delimiter) and (
                    re.search(r"[^\W\d_]", bare) and not layout.DATE.search(bare))
                count, first, text = self.titles if title else self.broken
                found = count + 1, first or row, text or bare[:120]
                self.titles, self.broken = (
                    (found, self.broken) if title else (self.titles, found))
        if len(rows) != kept:
            raise IntakeError(
                f"file '{self.name}', from row {piece.first_row}: a quote or a line break "
                "inside a cell hides where the cells end; export the trend without them")
        return np.array(rows, dtype=np.int64)


def _as_number(column: pa.ChunkedArray) -> pa.ChunkedArray | None:
    """A column of text as numbers, None where some of it is none."""
    plain = column.cast(pa.string())
    blank = pc.equal(pc.utf8_trim_whitespace(plain), arrow.BLANK)
    try:
        return pc.if_else(blank, arrow.NOTHING, plain).cast(pa.float64())
    except pa.ArrowInvalid:
        return None


def _on_one_line(cell: re.Match[bytes]) -> bytes:
    """A quoted cell with a blank for each line break in it."""
    return cell[0].replace(b"\r", b"").replace(b"\n", b" ")


def _fields(line: str, delimiter: str) -> int:
    if '"' not in line:
        return line.count(delimiter) + 1
    try:
        return len(next(csv.reader([line], delimiter=delimiter), []))
    except csv.Error:
        return 0


def _decoder(encoding: str, file: str) -> Callable[[bytes, bool], bytes]:
    """From the file's bytes, as they come, to UTF-8."""
    if encoding in ("utf-8", "utf-8-sig"):
        return lambda raw, final: raw
    # A few bytes mean nothing in windows-1252; no number or date holds them.
    decoder = codecs.getincrementaldecoder(encoding)(
        "replace" if encoding == "cp1252" else "strict")

    def decode(raw: bytes, final: bool) -> bytes:
        try:
            return decoder.decode(raw, final).encode("utf-8")
        except (UnicodeDecodeError, UnicodeEncodeError) as error:
            raise IntakeError(
                f"file '{file}' is damaged: {encoding} text ends or breaks off ({error.reason}); "
                "export it again as UTF-8") from error

    return decode
