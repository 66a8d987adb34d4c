"""A Parquet file as a table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import parquet

from fptlib.errors import IntakeError
from fptlib.trends import safe
from fptlib.trends.cells import shown, tidy
from fptlib.trends.layout import SAMPLE_ROWS, Layout
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import NUMBER, TIME, ZONED_TIME, Batch, Table, texts

_BATCH_ROWS = 1 << 16
# An empty column has the type null.
_TREND_TYPES = (
    pa.types.is_string, pa.types.is_large_string, pa.types.is_string_view, pa.types.is_integer,
    pa.types.is_floating, pa.types.is_decimal, pa.types.is_boolean, pa.types.is_timestamp,
    pa.types.is_date, pa.types.is_time, pa.types.is_null,
)
_FAULTS = (pa.ArrowException, OSError, ValueError)


class ParquetTable(Table):
    """A Parquet file; rows are counted from 1 without a header.

    Raises:
        IntakeError: the file is damaged, too large, or holds no column of a trend.
    """

    def __init__(self, path: Path, form: FileForm) -> None:
        self.name = path.name
        try:
            schema = parquet.read_schema(path)
            # A text that stands in many cells is held once.
            self._file = parquet.ParquetFile(path, read_dictionary=[
                field.name for field in schema if _is_text(field.type)])
        except _FAULTS as error:
            raise self._damaged(error) from error
        # A row group is asked, never its columns: damaged column metadata ends the process.
        groups = (self._file.metadata.row_group(at)
                  for at in range(self._file.metadata.num_row_groups))
        if any(group.total_byte_size > safe.ROW_GROUP_BYTES for group in groups):
            raise IntakeError(
                f"file '{self.name}' has a row group of more than "
                f"{safe.ROW_GROUP_BYTES // safe.MIB} MiB; write it with smaller row groups")
        fields = list(self._file.schema_arrow)
        kept = [field.name for field in fields if _of_trend(field.type)]
        gone = [field.name for field in fields if not _of_trend(field.type)]
        if not kept:
            raise IntakeError(
                f"file '{self.name}' has no column of text, numbers or times; export the trend "
                "with a time column and a column per point")
        self._headers = {tidy(name): name for name in kept}
        names = tuple(tidy(name) for name in kept)
        super().__init__(self.name, Layout(
            names, ("",) * len(names), 0, 1, self._first_rows(names), decimal=form.decimal or "."))
        self.said = ("Parquet", *([
            f"{len(gone)} columns hold neither text, numbers nor times and were left out "
            f"('{shown(gone[0])}')"] if gone else []))

    def _damaged(self, error: Exception) -> IntakeError:
        text = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
        return IntakeError(f"file '{self.name}' is a damaged Parquet file ({text}); write it again")

    def _first_rows(self, names: tuple[str, ...]) -> list[tuple[str, ...]]:
        first = next(self._read(names, SAMPLE_ROWS), None)
        if first is None:
            return []
        try:
            columns = [texts(self._column(first, name)).to_pylist() for name in names]
        except _FAULTS as error:
            raise self._damaged(error) from error
        return [tuple(cell or "" for cell in row) for row in zip(*columns, strict=True)]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns, as they are typed in the file."""
        row, total = 1, max(self._file.metadata.num_rows, 1)
        for found in self._read(tuple(kinds), _BATCH_ROWS):
            rows = row + np.arange(found.num_rows)
            columns = {}
            for name, kind in kinds.items():
                try:
                    columns[name] = _as_kind(self._column(found, name), kind)
                except pa.ArrowException as error:
                    raise IntakeError(
                        f"file '{self.name}', from row {row}: column '{name}' holds a time that "
                        "cannot be (before 1678 or after 2262); correct it and write the file again"
                    ) from error
            row += found.num_rows
            yield Batch(columns, rows, row / total)

    def _read(self, names: tuple[str, ...], rows: int) -> Iterator[pa.RecordBatch]:
        headers = [self._headers[name] for name in names]
        try:
            yield from self._file.iter_batches(rows, columns=headers)
        except _FAULTS as error:
            raise self._damaged(error) from error

    def _column(self, found: pa.RecordBatch, name: str) -> pa.Array:
        """The first column of a name that can be a trend: several may have it."""
        header = self._headers[name]
        column = next(found.column(at) for at, field in enumerate(found.schema)
                      if field.name == header and _of_trend(field.type))
        distinct = column.dictionary if pa.types.is_dictionary(column.type) else None
        if distinct is not None and _is_text(distinct.type) and len(distinct):
            if (longest := pc.max(pc.binary_length(distinct)).as_py() or 0) > safe.CELL_LETTERS:
                raise IntakeError(
                    f"file '{self.name}', column '{name}' holds a text of {longest:,} bytes, which "
                    "is no trend; leave the column out")
        return column


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind))


def _of_trend(kind: pa.DataType) -> bool:
    """Whether a column of this type can be a trend or its times."""
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    return any(fits(kind) for fits in _TREND_TYPES)


def _as_kind(column: pa.Array, kind: str) -> pa.Array:
    given = column.type
    if kind in (TIME, ZONED_TIME) and pa.types.is_temporal(given):
        return column.cast(pa.timestamp("ns", tz=getattr(given, "tz", None)))
    number = pa.types.is_decimal(given) or pa.types.is_floating(given)
    if kind == NUMBER and (number or pa.types.is_integer(given)):
        # A count beyond 2**53 loses its last digits, which no trend has.
        return column.cast(pa.float64(), safe=False)
    if pa.types.is_large_string(given) or pa.types.is_string_view(given):
        return column.cast(pa.string())
    return column
