"""Time stamps as files write them, into nanoseconds of UTC.

The form is found once from the first cells. Whether 05/01 is the fifth of January or the
first of May is settled by evidence over the whole file (a number above 12, or days that
follow one another in one reading only), or else asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.intake.batches import TEXT, TIME, ZONED_TIME, shown, texts
from fptlib.intake.mapping import FileForm

YEAR_FIRST, DAY_FIRST, MONTH_FIRST = "year first", "day first", "month first"
_SECOND = 1_000_000_000
_DAY = 86_400
_CLOCK = (
    r"(?:[T ,]+(?P<hour>\d{1,2})[:.](?P<minute>\d{2})(?:[:.](?P<second>\d{2})"
    r"(?:[.,:](?P<part>\d{1,9}))?)?)?"
    r"(?:\s*(?P<half>[AaPp]\.?\s?[Mm]\.?))?"
    r"(?:\s*(?P<offset>Z|[A-Z]{3,4}|[+-]\d{2}:?\d{2}|[+-]\d{2}))?"
)
# A letter is written differently for Python and for RE2, which reads the columns.
_WEEKDAY = r"(?:LETTER{2,9}\.?,?\s+)?"
_SHAPES: dict[str, str] = {
    "year": r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})" + _CLOCK,
    "compact": r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})"
    r"(?:[T ]?(?P<hour>\d{2}):?(?P<minute>\d{2})(?::?(?P<second>\d{2}))?)?"
    r"(?P<part>)(?P<half>)(?P<offset>Z|[+-]\d{2}:?\d{2})?",
    "numbers": r"(?P<first>\d{1,2})[-/. ](?P<second_number>\d{1,2})[-/. ](?P<year>\d{2,4})"
    + _CLOCK,
    "day word": _WEEKDAY + r"(?P<day>\d{1,2})[-/. ]+(?P<word>LETTER{3,9})\.?[-/. ,]+"
    r"(?P<year>\d{2,4})" + _CLOCK,
    "word day": _WEEKDAY + r"(?P<word>LETTER{3,9})\.?[ -]+(?P<day>\d{1,2}),?[ -]+"
    r"(?P<year>\d{4})" + _CLOCK,
}
_PYTHON = {
    name: re.compile(shape.replace("LETTER", r"[^\W\d_]")) for name, shape in _SHAPES.items()
}
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_ISO = re.compile(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?)?")
_ISO_ZONED = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?(?:Z|[+-]\d\d:?\d\d)")
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
# (name, smallest, largest, seconds of one unit, days from 1970): numbers that are times.
_COUNTS = (
    ("days since 1899-12-30 (spreadsheet serial)", 20_000.0, 80_000.0, 86_400.0, -25_569.0),
    ("seconds since 1970 (UTC)", 3e8, 5e9, 1.0, 0.0),
    ("milliseconds since 1970 (UTC)", 3e11, 5e12, 1e-3, 0.0),
)


@dataclass(frozen=True, slots=True)
class TimeForm:
    """How a file writes its times.

    ``shape`` is a key of the known shapes, ``iso``, ``iso zoned`` or ``count``.
    """

    shape: str
    order: str = YEAR_FIRST
    count: int = 0

    @property
    def kind(self) -> str:
        """What the reader should expect."""
        return {"iso": TIME, "iso zoned": ZONED_TIME}.get(self.shape, TEXT)

    @property
    def said(self) -> str:
        """For the remarks; empty for the plain form."""
        if self.shape == "count":
            return "times are " + _COUNTS[self.count][0]
        return f"dates are {self.order}" if self.shape == "numbers" else ""


def form_of_times(
    sample: Sequence[str], form: FileForm, all_days: Iterable[Sequence[str]]
) -> TimeForm:
    """The form of the time cells of a file that begins with ``sample``.

    ``all_days`` gives the time cells of the whole file, in stretches; it is looked through
    only where the sample does not settle the order of day and month.

    Raises:
        IntakeError: the cells are no times, or the order cannot be told.
    """
    cells = [cell.strip() for cell in sample if cell.strip()][:400]
    if not cells:
        raise IntakeError(
            f"file '{form.name}': the time column {_column(form)} is empty; "
            f'state time_column under [files."{form.name}"]'
        )
    # A few trailing or broken lines may stand among the sample: most of it decides.
    for shape, pattern in (("iso", _ISO), ("iso zoned", _ISO_ZONED)):
        if _most(cells, pattern):
            return TimeForm(shape)
    for shape, pattern in _PYTHON.items():
        if _most(cells, pattern):
            if shape != "numbers":
                return TimeForm(shape)
            return TimeForm(shape, form.date_order or _order(cells, all_days, form))
    if (count := _count(cells)) is not None:
        return TimeForm("count", count=count)
    raise IntakeError(
        f"file '{form.name}', column {_column(form)}: '{shown(cells[0])}' cannot be read as a "
        "date and time; expected for example 2026-01-05 10:00 or 01/05/2026 10:00"
    )


def _column(form: FileForm) -> str:
    return " and ".join(f"'{name}'" for name in form.time_column) or "of time"


def _most(cells: Sequence[str], pattern: re.Pattern[str]) -> bool:
    return sum(1 for cell in cells if pattern.fullmatch(cell)) > 0.5 * len(cells)


def _count(cells: Sequence[str]) -> int | None:
    numbers = [float(c.replace(",", ".")) for c in cells if _NUMBER.fullmatch(c)]
    if len(numbers) <= 0.5 * len(cells):
        return None
    for at, (_, low, high, _, _) in enumerate(_COUNTS):
        if all(low <= number <= high for number in numbers):
            return at
    return None


def looks_like_time(cells: Sequence[str]) -> bool:
    """Whether most of these cells can be read as times."""
    cells = [cell.strip() for cell in cells if cell.strip()]
    patterns = (_ISO, _ISO_ZONED, *_PYTHON.values())
    return bool(cells) and any(_most(cells, pattern) for pattern in patterns)


def _order(cells: Sequence[str], all_days: Iterable[Sequence[str]], form: FileForm) -> str:
    if found := order_of(cells):
        return found
    days: dict[tuple[int, int, int], None] = {}
    for stretch in all_days:
        days.update(dict.fromkeys(_days(stretch)))
    if found := _order_of_days(list(days)):
        return found
    raise IntakeError(
        f"file '{form.name}': dates like '{shown(cells[0], 20)}' may be day first or month first; "
        f'state date_order = "day first" or date_order = "month first" under '
        f'[files."{form.name}"]'
    )


def order_of(cells: Sequence[str]) -> str:
    """Which number of these dates is the day; ``""`` where they do not say."""
    return _order_of_days(list(dict.fromkeys(_days(cells))))


def _days(cells: Iterable[str]) -> list[tuple[int, int, int]]:
    found = []
    for cell in cells:
        if hit := _PYTHON["numbers"].match(cell.strip()):
            found.append((int(hit["first"]), int(hit["second_number"]), int(hit["year"])))
    return found


def _order_of_days(days: Sequence[tuple[int, int, int]]) -> str:
    if any(first > 12 for first, _, _ in days):
        return DAY_FIRST
    if any(second > 12 for _, second, _ in days):
        return MONTH_FIRST
    if len(days) < 2:
        return ""
    # Three days on end read the wrong way round are the same day of three months.
    first = _span([(y, s, f) for f, s, y in days])
    second = _span([(y, f, s) for f, s, y in days])
    if first and second and min(first, second) * 5 < max(first, second):
        return DAY_FIRST if first < second else MONTH_FIRST
    return ""


def _span(days: Sequence[tuple[int, int, int]]) -> int:
    try:
        numbers = [datetime(_year(y), m, d).toordinal() for y, m, d in days]
    except ValueError:
        return 0
    return sum(abs(b - a) for a, b in zip(numbers, numbers[1:], strict=False))


def _year(number: int) -> int:
    if number >= 100:
        return number
    return number + (2000 if number < 70 else 1900)


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
    _, low, high, seconds, days = _COUNTS[count]
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
    parts = pc.extract_regex(cells, "^" + _SHAPES[shape].replace("LETTER", r"\pL") + "$")
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
