"""A Parquet file as batches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pyarrow as pa
from pyarrow import parquet

from fptlib.errors import IntakeError
from fptlib.trends import safe
from fptlib.trends.batches import NUMBER, TIME, ZONED_TIME, Batch, Dropped, shown
from fptlib.trends.forms import FileForm
from fptlib.trends.sniff import split_unit, tidy

_BATCH_ROWS = 1 << 16
# An empty column has the type null.
_TREND_TYPES = (
    pa.types.is_string, pa.types.is_large_string, pa.types.is_string_view, pa.types.is_integer,
    pa.types.is_floating, pa.types.is_decimal, pa.types.is_boolean, pa.types.is_timestamp,
    pa.types.is_date, pa.types.is_time, pa.types.is_null,
)


class ParquetReader:
    """A Parquet file; rows are counted from 1 without a header.

    Raises:
        IntakeError: the file is damaged, too large, or holds no column of a trend.
    """

    def __init__(self, path: Path, form: FileForm, bounds: safe.Bounds = safe.BOUNDS) -> None:
        self.name, self._path, self.decimal = path.name, path, form.decimal or "."
        self.dropped = Dropped()
        self._bounds = bounds
        self._file = self._opened()
        kept = [field.name for field in self._file.schema_arrow if _of_trend(field.type)]
        if not kept:
            raise IntakeError(
                f"file '{self.name}' has no column of text, numbers or times; export the trend "
                "with a time column and a column per point"
            )
        self._headers = {tidy(name): name for name in kept}
        self.names = tuple(tidy(name) for name in kept)
        self.said = ("Parquet", *self._left_out())
        self.rows_guess = min(self._file.metadata.num_rows, bounds.grid_rows)
        self._sample = self._first_rows()

    def _opened(self) -> parquet.ParquetFile:
        try:
            file = parquet.ParquetFile(self._path)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise self._damaged(error) from error
        # A row group is asked, never its columns: damaged column metadata ends the process.
        groups = (file.metadata.row_group(at) for at in range(file.metadata.num_row_groups))
        if any(group.total_byte_size > self._bounds.row_group_bytes for group in groups):
            raise IntakeError(
                f"file '{self.name}' has a row group of more than "
                f"{self._bounds.row_group_bytes // safe.MIB} MiB; write it with smaller row groups"
            )
        return file

    def _left_out(self) -> list[str]:
        """What is said of the columns that are not read."""
        gone = [f.name for f in self._file.schema_arrow if not _of_trend(f.type)]
        if not gone:
            return []
        return [f"{len(gone)} columns hold neither text, numbers nor times and were left out "
                f"('{shown(gone[0])}')"]

    def _damaged(self, error: Exception) -> IntakeError:
        text = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
        return IntakeError(f"file '{self.name}' is a damaged Parquet file ({text}); write it again")

    def _first_rows(self) -> pa.RecordBatch | None:
        return next(self._batches(list(self.names), 400), None)

    def _batches(self, names: list[str], rows: int) -> Iterator[pa.RecordBatch]:
        headers = [self._headers[name] for name in names]
        try:
            yield from self._file.iter_batches(rows, columns=headers)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise self._damaged(error) from error

    def unit_of(self, column: str) -> str:
        """The unit in the column's name."""
        return split_unit(column)[1]

    def sample(self, column: str) -> list[str]:
        """The first cells of a column."""
        if self._sample is None:
            return []
        cells = self._column(self._sample, column)
        if pa.types.is_dictionary(cells.type):
            cells = cells.dictionary_decode()
        return [str(cell or "") for cell in cells.cast(pa.string()).to_pylist()]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns, as they are typed in the file."""
        row, total = 1, max(self._file.metadata.num_rows, 1)
        names = list(kinds)
        for found in self._batches(names, _BATCH_ROWS):
            columns = {
                name: self._typed(self._column(found, name), name, kinds[name], row)
                for name in names
            }
            yield Batch(columns, found.num_rows, row, None, (row + found.num_rows) / total)
            row += found.num_rows

    def _column(self, found: pa.RecordBatch, name: str) -> pa.Array:
        """The first column of a name: several may have it."""
        header = self._headers[name]
        return next(found.column(at) for at, field in enumerate(found.schema)
                    if field.name == header and _of_trend(field.type))

    def _typed(self, column: pa.Array, name: str, kind: str, row: int) -> pa.Array:
        try:
            return _as_kind(column, kind)
        except pa.ArrowException as error:
            raise IntakeError(
                f"file '{self.name}', from row {row}: column '{name}' holds a time that cannot be "
                "(before 1678 or after 2262); mend it and write the file again"
            ) from error


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
