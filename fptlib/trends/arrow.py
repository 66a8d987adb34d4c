"""Arrow's columns into numpy's and back.

Arrow's own ways (``to_numpy``, ``pa.array``, a plain value given to a function) import pandas,
which takes longer than all else of a short command. These take the memory as it is.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

_TYPES = {"float64": pa.float64(), "int64": pa.int64(), "int32": pa.int32()}


def array(column: pa.Array) -> np.ndarray:
    """A column of numbers, or of true and false, as an array; NaN where there is none."""
    if not column.null_count:
        return positions(column)
    return np.where(array(column.is_valid()), positions(column), np.nan)


def positions(column: pa.Array) -> np.ndarray:
    """A column of numbers as an array; anything where there is none."""
    if pa.types.is_boolean(column.type):
        return np.from_dlpack(column.cast(pa.uint8())).view(bool)
    _, data = column.buffers()
    whole = pa.Array.from_buffers(column.type, len(column), [None, data], offset=column.offset)
    return np.from_dlpack(whole)


def missing(column: pa.Array) -> np.ndarray:
    """Where a column has nothing."""
    return array(column.is_null()) if column.null_count else np.zeros(len(column), dtype=bool)


def column(values: np.ndarray) -> pa.Array:
    """Numbers as a column."""
    values = np.ascontiguousarray(values)
    return pa.Array.from_buffers(_TYPES[values.dtype.name], len(values),
                                 [None, pa.py_buffer(values)])


def text_column(cells: Sequence[str]) -> pa.Array:
    """Texts as a column."""
    parts = [cell.encode("utf-8") for cell in cells]
    ends = np.cumsum([0, *map(len, parts)], dtype=np.int32)
    return pa.StringArray.from_buffers(
        len(parts), pa.py_buffer(ends), pa.py_buffer(b"".join(parts)))


# Single cells, for functions that take one beside a column.
BLANK, SPACE, ZERO, AM, PM = text_column(["", " ", "0", "a", "p"])
NOTHING = pa.nulls(1, pa.string())[0]
