"""Canonical JSON (RFC 8785) and strict base64url: one value, one sequence of bytes.

A record is compared byte for byte, so every number is rounded in one way on its way in, and
every text that could be written in two ways is refused on its way out: other white space,
another order of members, a member named twice.
"""

from __future__ import annotations

import base64
import hashlib
import json
import math
import numbers
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time
from typing import Any

import numpy as np
import rfc8785

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
        return _number(value, where)
    if isinstance(value, date | time):
        return moment(value)
    if isinstance(value, Mapping):
        return {str(key): plain(entry, f"{where}.{key}") for key, entry in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes):
        return [plain(entry, where) for entry in value]
    raise RecordError(f"{where}: a {type(value).__name__} has no place in a record")


def _number(value: numbers.Real, where: str) -> int | float | str | None:
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


def moment(value: date | time | None) -> str | None:
    """ISO 8601 with offset where there is one; a missing time is null.

    A time that is not equal to itself is missing too, as not-a-number is among numbers.
    """
    return None if value is None or value != value else value.isoformat()


def read_moment(text: str, what: str) -> datetime:
    """A moment in ISO 8601; a bare date is its first moment in UTC.

    Raises:
        RecordError: the text is no such moment.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise RecordError(f"{what} is '{text[:40]}'; write it as 2026-01-31T14:00:00Z") from None
    if len(text) <= len("2026-01-31"):
        return found.replace(tzinfo=UTC)
    if found.tzinfo is None:
        raise RecordError(f"{what} is '{text[:40]}', without a time zone")
    return found


def encode(value: Any) -> bytes:
    """The canonical bytes of a value of plain JSON types.

    Raises:
        RecordError: the value has no canonical form (not a number, an infinite one, a whole
            number above 2**53, broken text).
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise RecordError(f"this cannot be written into a record: {error}") from error


def decode(data: bytes, what: str) -> Any:
    """The value of canonical JSON bytes; ``what`` names them in the error sentence.

    Raises:
        RecordError: the bytes are no JSON, name a member twice or are not canonical.
    """
    value = parse(data, what)
    if encode(value) != data:
        raise RecordError(f"{what} is not in canonical form: it was changed after it was made")
    return value


def parse(data: bytes, what: str) -> Any:
    """The value of JSON bytes in which no member is named twice.

    Raises:
        RecordError: the bytes are no JSON or name a member twice.
    """
    try:
        return json.loads(
            data.decode("utf-8"), object_pairs_hook=_no_duplicates, parse_constant=_no_constant
        )
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{what} cannot be read: {error}") from error


def _no_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        raise ValueError("a member is named twice")
    return members


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not a number")


def to_base64(data: bytes) -> str:
    """base64url without padding (RFC 7515, section 2)."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


def from_base64(text: Any, what: str) -> bytes:
    """The bytes of base64url text, which must be the one way to write them.

    Raises:
        RecordError: the text is no base64url or could be written in another way.
    """
    try:
        padded = text + "=" * (-len(text) % 4)
        data = base64.b64decode(padded.encode("ascii"), altchars=b"-_", validate=True)
    except (TypeError, ValueError) as error:
        raise RecordError(f"{what} is not base64url text") from error
    if to_base64(data) != text:
        raise RecordError(f"{what} is not base64url text in its one proper form")
    return data


def digest(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
