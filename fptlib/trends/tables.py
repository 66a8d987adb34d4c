"""Reading a job's tables with sentences where an answer is of the wrong kind."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fptlib.errors import IntakeError

# No answer is larger, in any unit; a clock further off leaves the times that can be counted.
_LARGEST = 1e9


def zone(text: str, where: str) -> tzinfo:
    """The zone that a text names: tz database name or an offset as ``-07:00``.

    Raises:
        IntakeError: the text names no zone.
    """
    bare = text.removeprefix("UTC").removeprefix("GMT") if text[3:4] in "+-" else text
    if bare[:1] in ("+", "-") and len(bare) in (5, 6) and bare[1:].replace(":", "").isdigit():
        digits = bare[1:].replace(":", "")
        offset = timedelta(hours=int(digits[:2]), minutes=int(digits[2:]))
        if offset < timedelta(hours=24):
            return timezone(-offset if bare[0] == "-" else offset)
    try:
        return ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise IntakeError(
            f"job.toml, {where}: time_zone '{text}' is not known; state a name as "
            "'America/Denver' or an offset as '-07:00'"
        ) from error


def site_zone(text: str) -> ZoneInfo:
    """The site's zone, which must be a name so that summer time is known."""
    found = zone(text, "[site]")
    if not isinstance(found, ZoneInfo):
        raise IntakeError(
            f"job.toml, [site]: time_zone '{text}' is an offset; state the zone's name, for "
            "example 'America/Denver', so that summer time is known"
        )
    return found


def table(answers: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    """One table of the answers, empty where it is not there."""
    table = answers.get(key, {})
    if not isinstance(table, Mapping):
        raise IntakeError(f"job.toml: [{key}] holds '{table}' where a table was expected")
    return table


def known_keys(table: Any, known: frozenset[str], where: str) -> None:
    """Refuse keys that mean nothing, mostly typing errors."""
    if not isinstance(table, Mapping):
        raise IntakeError(f"job.toml, {where}: '{table}' was found where a table was expected")
    for key in table:
        if key not in known:
            raise IntakeError(
                f"job.toml, {where}: key '{key}' is not known; "
                f"known are: {', '.join(sorted(known))}"
            )


def text(table: Mapping[str, Any], key: str, where: str) -> str:
    """A text, empty where it is not stated."""
    value = table.get(key, "")
    if not isinstance(value, str):
        raise IntakeError(f"job.toml, {where}: {key} = {value!r} should be a text in quotes")
    return value


def texts(table: Mapping[str, Any], key: str, where: str) -> tuple[str, ...]:
    """A text or a list of texts."""
    value = table.get(key, ())
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
        raise IntakeError(f"job.toml, {where}: {key} should be a text or a list of texts")
    return tuple(value)


def number(table: Mapping[str, Any], key: str, where: str) -> float | None:
    """A number, None where it is not stated."""
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise IntakeError(f"job.toml, {where}: {key} = {value!r} should be a number")
    if not abs(value) <= _LARGEST:  # nan compares with nothing
        raise IntakeError(
            f"job.toml, {where}: {key} = {value!r} should be a number between -{_LARGEST:,.0f} "
            f"and {_LARGEST:,.0f}"
        )
    return float(value)


def positive(table: Mapping[str, Any], key: str, where: str) -> float | None:
    """A number above zero, None where it is not stated."""
    value = number(table, key, where)
    if value is not None and not 0 < value < 1e6:
        raise IntakeError(f"job.toml, {where}: {key} = {value:g} should be above zero")
    return value
