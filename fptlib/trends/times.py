"""Time stamps as files write them, into nanoseconds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.trends.batches import texts
from fptlib.trends.time_forms import COUNTS, DAY_FIRST, SHAPES, TimeForm

_SECOND = 1_000_000_000
_DAY = 86_400
_MONTHS = {
    name: number + 1
    for number, names in enumerate((
        "jan january januar janv janvier ene enero",
        "feb february februar fév février febrero", "mar march märz mär mrz mars marzo",
        "apr april avr avril abr abril", "may mai mayo", "jun june juni juin junio",
        "jul july juli juil juillet julio", "aug august août ago agosto",
        "sep sept september septembre septiembre", "oct october okt oktober octobre octubre",
        "nov november novembre noviembre", "dec december dez dezember déc décembre dic diciembre",
    ))
    for name in names.split()
}


@dataclass(frozen=True, slots=True)
class Stamps:
    """Times as written.

    Attributes:
        ns: int64 nanoseconds, of UTC where ``zoned``, else of the file's own clock.
        bad: rows whose time cannot be read.
        zoned: per row, or None where no row states an offset.
    """

    ns: np.ndarray
    bad: np.ndarray
    zoned: np.ndarray | None = None


def read_stamps(column: object, form: TimeForm, zone: object) -> Stamps:
    """A column of times, whatever the reader made of it."""
    kind = getattr(column, "type", None)
    if pa.types.is_timestamp(kind):
        return _from_timestamps(column, kind)
    cells = pc.utf8_trim_whitespace(texts(column))
    if form.shape == "count":
        return _from_counts(cells, form.count)
    shape = {"iso": "year", "iso zoned": "year"}.get(form.shape, form.shape)
    return _from_texts(cells, shape, form.order, zone)


def _from_timestamps(column: object, kind: pa.DataType) -> Stamps:
    cast = column.cast(pa.timestamp("ns", tz=kind.tz))  # type: ignore[attr-defined]
    bad = np.asarray(cast.is_null())
    ns = cast.cast(pa.int64()).fill_null(0).to_numpy()
    zoned = np.ones(len(ns), dtype=bool) if kind.tz else None
    return Stamps(ns, bad, zoned)


def _from_counts(cells: pa.Array, count: int) -> Stamps:
    _, low, high, seconds, days = COUNTS[count]
    plain = pc.replace_substring(cells, ",", ".")
    fine = pc.match_substring_regex(plain, r"^\d+(\.\d+)?$")
    numbers = pc.if_else(fine, plain, "0").cast(pa.float64()).to_numpy(zero_copy_only=False)
    bad = (numbers < low) | (numbers > high)
    # A serial carries the second with a few parts of it too much or too little.
    whole = np.rint((np.where(bad, low, numbers) * seconds) * (1 if seconds > 1 else 1000))
    scale = _SECOND if seconds > 1 else _SECOND // 1000
    ns = whole.astype(np.int64) * scale + np.int64(days * _DAY) * _SECOND
    return Stamps(ns, bad, None if count == 0 else np.ones(len(ns), dtype=bool))


def _from_texts(cells: pa.Array, shape: str, order: str, zone: object) -> Stamps:
    parts = pc.extract_regex(cells, "^" + SHAPES[shape].replace("LETTER", r"\pL") + "$")
    bad = np.asarray(parts.is_null())
    field = _Fields(parts)
    year = np.asarray(field.number("year"))
    year = np.where(year < 70, year + 2000, np.where(year < 100, year + 1900, year))
    month, day = _month_and_day(field, shape, order)
    hour = _hours(field)
    seconds, wrong = _civil(year, month, day, hour, field.number("minute"),
                            field.number("second"))
    ns = seconds * _SECOND + field.fraction("part")
    offsets = field.text("offset")
    zoned, shift, unknown = _offsets(offsets, zone)
    return Stamps(ns - shift * _SECOND, bad | wrong | unknown, zoned)


class _Fields:
    """The named groups of a column of matches."""

    def __init__(self, parts: pa.StructArray) -> None:
        self._parts = parts
        self._names = {parts.type.field(at).name for at in range(parts.type.num_fields)}

    def text(self, name: str) -> pa.Array:
        if name not in self._names:
            return pa.nulls(len(self._parts), pa.string()).fill_null("")
        return pc.struct_field(self._parts, name).fill_null("")

    def number(self, name: str) -> np.ndarray:
        text = self.text(name)
        return pc.if_else(pc.equal(text, ""), "0", text).cast(pa.int64()).to_numpy()

    def fraction(self, name: str) -> np.ndarray:
        """Digits behind the point, as nanoseconds."""
        text = pc.utf8_rpad(self.text(name), 9, "0")
        return text.cast(pa.int64()).to_numpy()


def _month_and_day(field: _Fields, shape: str, order: str) -> tuple[np.ndarray, np.ndarray]:
    if shape == "numbers":
        first, second = field.number("first"), field.number("second_number")
        return (second, first) if order == DAY_FIRST else (first, second)
    if shape in ("day word", "word day"):
        words = field.text("word").dictionary_encode()
        numbers = np.array([_MONTHS.get(w.lower(), 0) for w in words.dictionary.to_pylist()])
        return numbers[words.indices.to_numpy()], field.number("day")
    return field.number("month"), field.number("day")


def _hours(field: _Fields) -> np.ndarray:
    hour = field.number("hour")
    half = pc.utf8_lower(pc.utf8_slice_codeunits(field.text("half"), 0, 1))
    afternoon, morning = np.asarray(pc.equal(half, "p")), np.asarray(pc.equal(half, "a"))
    wrong = (afternoon | morning) & ((hour > 12) | (hour == 0))
    hour = np.where(morning & (hour == 12), 0, hour)
    hour = np.where(afternoon & (hour < 12), hour + 12, hour)
    return np.where(wrong, 99, hour)


def _civil(
    year: np.ndarray, month: np.ndarray, day: np.ndarray, hour: np.ndarray,
    minute: np.ndarray, second: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Seconds since 1970 of a clock's reading; 24:00 is the next day's beginning."""
    wrong = (month < 1) | (month > 12) | (year < 1900) | (year > 2200)
    months = np.where(wrong, 0, (year - 1970) * 12 + month - 1).astype("datetime64[M]")
    lengths = ((months + 1).astype("datetime64[D]") - months.astype("datetime64[D]")).astype(int)
    midnight = (hour == 24) & (minute == 0) & (second == 0)
    wrong |= (day < 1) | (day > lengths) | (minute > 59) | (second > 59)
    wrong |= (hour > 23) & ~midnight
    days = months.astype("datetime64[D]").astype(np.int64) + day - 1
    seconds = days * _DAY + hour * 3600 + minute * 60 + second
    return np.where(wrong, 0, seconds), wrong


def _offsets(
    cells: pa.Array, zone: object
) -> tuple[np.ndarray | None, np.ndarray, np.ndarray]:
    """What the offsets behind the times say: zoned, seconds, unknown."""
    coded = cells.dictionary_encode()
    said = [_offset(text, zone) for text in coded.dictionary.to_pylist()]
    at = coded.indices.to_numpy()
    if all(entry is None for entry in said):
        none = np.zeros(len(at), dtype=bool)
        return None, np.zeros(len(at), dtype=np.int64), none
    known = np.array([entry is not None for entry in said])
    unknown = np.array([entry == "unknown" for entry in said])
    seconds = np.array([entry if isinstance(entry, int) else 0 for entry in said], dtype=np.int64)
    return (known & ~unknown)[at], seconds[at], unknown[at]


def _offset(text: str, zone: object) -> int | str | None:
    if not text:
        return None
    if text in ("Z", "UTC", "GMT"):
        return 0
    if text[0] in "+-":
        digits = text[1:].replace(":", "").ljust(4, "0")
        seconds = int(digits[:2]) * 3600 + int(digits[2:]) * 60
        return -seconds if text[0] == "-" else seconds
    return zone_names(zone).get(text, "unknown")


def zone_names(zone: object) -> dict[str, int]:
    """Offsets in seconds by the short names that a zone uses (``MST``, ``MDT``)."""
    if not isinstance(zone, ZoneInfo):
        return {}
    names: dict[str, int] = {}
    for month in (1, 7):
        moment = datetime(2024, month, 1, tzinfo=zone)
        offset = moment.utcoffset() or timedelta(0)
        names[moment.tzname() or ""] = int(offset.total_seconds())
    return names
