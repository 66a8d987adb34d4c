"""Canonical JSON (RFC 8785) and strict base64url: one value, one sequence of bytes.

A record is compared byte for byte, so every text that could be written in two ways is
refused: other white space, another order of members, a member named twice.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from typing import Any

import rfc8785

from fptlib.errors import RecordError


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
    except (TypeError, ValueError, binascii.Error) as error:
        raise RecordError(f"{what} is not base64url text") from error
    if to_base64(data) != text:
        raise RecordError(f"{what} is not base64url text in its one proper form")
    return data


def digest(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
