"""Python values as plain JSON types, every number rounded the same way."""

from __future__ import annotations

import math
import numbers
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

import numpy as np
import pandas as pd

from fptlib.errors import RecordError

# Four decimals are a hundred times finer than any sensor of the plant and keep the record's
# bytes the same where two computers differ in the last bits of a sum.
DECIMALS = 4
# Larger whole numbers do not survive every JSON reader (RFC 8785 refuses them).
_LARGEST_INTEGER = 2**53


def plain(value: Any, where: str) -> Any:
    """``value`` as plain JSON types; ``where`` names it in the error sentence.

    A float is rounded to ``DECIMALS``; not-a-number is null, as a missing value is; times
    are ISO 8601 and carry an offset where they have one.

    Raises:
        RecordError: an infinite number, or a kind of value that JSON has no place for.
    """
    if value is None:
        return None
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, str):
        # The bare text: tomlkit's strings are a subclass with layout attached.
        return str.__str__(value)
    if isinstance(value, numbers.Real):
        return number(value, where)
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(entry, f"{where}.{key}") for key, entry in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes):
        return [plain(entry, where) for entry in value]
    raise RecordError(f"{where}: a {type(value).__name__} has no place in a record")


def number(value: Any, where: str) -> int | float | str | None:
    """A number as JSON can carry it everywhere.

    Raises:
        RecordError: the number is infinite.
    """
    if isinstance(value, numbers.Integral):
        whole = int(value)
        return whole if abs(whole) <= _LARGEST_INTEGER else str(whole)
    real = float(value)
    if math.isnan(real):
        return None
    if math.isinf(real):
        raise RecordError(f"{where} is infinite; a record holds measured numbers only")
    # Adding zero turns minus zero, which prints as zero, into zero.
    return round(real, DECIMALS) + 0.0


def moment(value: datetime | None) -> str | None:
    """ISO 8601 with offset where there is one; a missing time is null."""
    if value is None or value is pd.NaT:
        return None
    return value.isoformat()
