"""A Parquet file as batches."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import parquet

from fptlib.errors import IntakeError
from fptlib.intake import safe
from fptlib.intake.batches import NUMBER, Batch, Dropped
from fptlib.intake.forms import FileForm
from fptlib.intake.sniff import split_unit, tidy

_BATCH_ROWS = 1 << 16


class ParquetReader:
    """A Parquet file; rows are counted from 1 without a header.

    Raises:
        IntakeError: the file is damaged or too large.
    """

    said: tuple[str, ...] = ("Parquet",)

    def __init__(self, path: Path, form: FileForm, bounds: safe.Bounds = safe.BOUNDS) -> None:
        self.name, self._path, self.decimal = path.name, path, form.decimal or "."
        self.dropped = Dropped()
        self._bounds = bounds
        self._file = self._opened()
        # Nested columns are no trends.
        flat = [f.name for f in self._file.schema_arrow if not pa.types.is_nested(f.type)]
        self._headers = {tidy(name): name for name in flat}
        self.names = tuple(tidy(name) for name in flat)
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
        cells = self._sample.column(self._headers[column])
        if pa.types.is_dictionary(cells.type):
            cells = cells.dictionary_decode()
        return [str(cell or "") for cell in cells.cast(pa.string()).to_pylist()]

    def batches(self, kinds: Mapping[str, str], size: int = 0) -> Iterator[Batch]:
        """The named columns, as they are typed in the file."""
        row, total = 1, max(self._file.metadata.num_rows, 1)
        names = list(kinds)
        for found in self._batches(names, _BATCH_ROWS):
            columns = {
                name: self._typed(found.column(self._headers[name]), name, kinds[name])
                for name in names
            }
            yield Batch(columns, found.num_rows, row, None, (row + found.num_rows) / total)
            row += found.num_rows

    def _typed(self, column: Any, name: str, kind: str) -> Any:
        given = column.type
        if pa.types.is_date(given):
            return column.cast(pa.timestamp("ns"))
        number = pa.types.is_decimal(given) or pa.types.is_floating(given)
        if kind == NUMBER and (number or pa.types.is_integer(given)):
            return column.cast(pa.float64())
        if pa.types.is_large_string(given) or pa.types.is_string_view(given):
            return column.cast(pa.string())
        return column
