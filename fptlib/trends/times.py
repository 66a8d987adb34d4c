"""Time stamps as files write them: their form, and their decoding into nanoseconds.

The form is found once from the first cells. Whether 05/01 is the fifth of January or the
first of May is settled by evidence over the whole file (a number above 12, or days that
follow one another in one reading only), or else asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, tzinfo
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.trends import arrow
from fptlib.trends.cells import shown
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import TEXT, TIME, ZONED_TIME, coded, texts
from fptlib.trends.zones import seconds, words

SECOND = 1_000_000_000
MINUTE = 60 * SECOND
DAY = 86_400 * SECOND
DAY_FIRST, MONTH_FIRST, YEAR_FIRST, SWAPPED = "day first", "month first", "year first", "swapped"
_ISO = r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?)?"
_CLOCK = (
    r"(?:[T ,]+(?P<hour>\d{1,2})[:.](?P<minute>\d{2})(?:[:.](?P<second>\d{2})"
    r"(?:[.,:](?P<part>\d{1,9}))?)?)?"
    # Some spreadsheets put a narrow blank before AM, which "\s" does not mean.
    "(?:[\\s\u00a0\u202f]*" r"(?P<half>[AaPp](?:\.?\s?[Mm]\.?)?))?"
    r"(?:\s*(?P<offset>Z|(?:UTC|GMT)?\s?[+-]\d{1,2}(?::?\d{2})?|[A-Z]{3,4}))?"
    r"(?:\s*\[[A-Za-z_/+-]+\])?"
)
NO_YEAR = "no year"
_WEEKDAY = r"(?:\pL{2,9}\.?,?\s+)?"
# In the order in which they are tried; the first two the CSV parser reads by itself.
_SHAPES = {
    "iso": _ISO,
    "iso zoned": r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?(?:Z|[+-]\d\d:?\d\d)",
    "year": r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})" + _CLOCK,
    "compact": r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})"
    r"(?:[T ]?(?P<hour>\d{2}):?(?P<minute>\d{2})(?::?(?P<second>\d{2}))?)?"
    r"(?P<offset>Z|[+-]\d{2}:?\d{2})?",
    "numbers": r"(?P<first>\d{1,2})[-/. ](?P<next>\d{1,2})[-/. ](?P<year>\d{2,4})" + _CLOCK,
    "day word": _WEEKDAY + r"(?P<day>\d{1,2})[-/. ]+(?P<word>\pL{3,9})\.?[-/. ,]+"
    r"(?P<year>\d{2,4})" + _CLOCK,
    "word day": _WEEKDAY + r"(?P<word>\pL{3,9})\.?[ -]+(?P<day>\d{1,2}),?[ -]+"
    r"(?P<year>\d{4})" + _CLOCK,
    "word day, year last": _WEEKDAY + r"(?P<word>\pL{3,9})\.? +(?P<day>\d{1,2}) +"
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2}):(?P<second>\d{2})"
    r"(?: (?P<offset>Z|[+-]\d{2}:?\d{2}|[A-Z]{3,4}))? +(?P<year>\d{4})",
    NO_YEAR: r"(?P<first>\d{1,2})[-/](?P<next>\d{1,2})[ T]+(?P<hour>\d{1,2}):(?P<minute>\d{2})"
    r"(?::(?P<second>\d{2}))?",
}
# A letter is written differently for Python and for RE2, which reads the columns.
_PYTHON = {shape: re.compile(text.replace(r"\pL", r"[^\W\d_]")) for shape, text in _SHAPES.items()}
_EAST = re.compile(r"[+-]\d{1,2}(?::?\d{2})?$")
_FIRST_DAY = date(1970, 1, 1).toordinal()
_DAYS = re.compile(r"\s*(\d{1,2})([-/. ])(\d{1,2})[-/. ](\d{2,4})")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
# Numbers that are times: name, smallest, largest, seconds of one unit, days from 1970.
_COUNTS = (
    ("days since 1899-12-30 (spreadsheet serial)", 20_000.0, 80_000.0, 86_400.0, -25_569),
    ("seconds since 1970 (UTC)", 3e8, 5e9, 1.0, 0),
    ("milliseconds since 1970 (UTC)", 3e11, 5e12, 1e-3, 0),
    ("microseconds since 1970 (UTC)", 3e14, 5e15, 1e-6, 0),
)
_MONTHS = {name: number for number, names in enumerate((
    "jan january januar janv janvier ene enero",
    "feb february februar fév février febrero", "mar march märz mär mrz mars marzo",
    "apr april avr avril abr abril", "may mai mayo", "jun june juni juin junio",
    "jul july juli juil juillet julio", "aug august août ago agosto",
    "sep sept september septembre septiembre", "oct october okt oktober octobre octubre",
    "nov november novembre noviembre", "dec december dez dezember déc décembre dic diciembre",
), 1) for name in names.split()}


class Stamps(NamedTuple):
    """Times as written.

    Attributes:
        ns: int64 nanoseconds, of UTC where ``zoned``, else of the file's own clock.
        bad: which cells cannot be read.
        zoned: which cells state an offset, or None where none does.
    """

    ns: np.ndarray
    bad: np.ndarray
    zoned: np.ndarray | None = None


class TimeForm(NamedTuple):
    """How a file writes its times: a shape, ``count`` among them, and what it leaves open."""

    shape: str
    order: str = ""
    count: int = 0  # type: ignore[assignment]
    year: int = 0

    @property
    def kind(self) -> str:
        """What the reader should expect."""
        if self.order == SWAPPED:
            return TEXT
        return {"iso": TIME, "iso zoned": ZONED_TIME}.get(self.shape, TEXT)

    @property
    def said(self) -> str:
        """For the remarks; empty for the plain form."""
        if self.shape == "count":
            return "times are " + _COUNTS[self.count][0]
        if self.order == SWAPPED:
            return "days and months of dates were swapped back, as the job says"
        year = f", of {self.year}, as the job says" if self.year else ""
        return f"dates are {self.order}{year}" if self.order else ""

    def read(self, column: Any, zone: tzinfo, stated: bool = False) -> Stamps:
        """A column of times, whatever the reader made of it.

        ``zone`` knows its short words; where it is ``stated``, other words mean it too.
        """
        if pa.types.is_timestamp(column.type):
            if column.type.unit != "ns":
                column = column.cast(pa.timestamp("ns", tz=column.type.tz))
            ns = column.view(pa.int64())
            zoned = np.ones(len(ns), dtype=bool) if column.type.tz else None
            bad = arrow.missing(ns)
            return Stamps(np.where(bad, 0, arrow.positions(ns)), bad, zoned)
        cells = pc.utf8_trim_whitespace(texts(column))
        if self.shape == "count":
            return _counted(cells, self.count)
        if self.order == SWAPPED:
            return _swapped_back(cells, zone)
        shape = "year" if self.shape[:3] == "iso" else self.shape
        return _civil(cells, shape, self.order, zone, stated, self.year)


def time_form(sample: Sequence[str], form: FileForm, columns: Sequence[str],
              all_days: Iterable[Sequence[str]]) -> TimeForm:
    """The form of the time cells of a file that begins with ``sample``.

    ``all_days`` gives the time cells of the whole file, in stretches; it is looked through
    only where the sample does not settle the order of day and month.

    Raises:
        IntakeError: the cells are no times, or the order cannot be told.
    """
    cells = [cell.strip() for cell in sample if cell.strip()][:400]
    column = " and ".join(f"'{name}'" for name in columns)
    if not cells:
        raise IntakeError(f"file '{form.name}': the time column {column} is empty; "
                          f'state time_column under [files."{form.name}"]')
    if shape := shape_of(cells):
        if form.date_order == SWAPPED:
            return TimeForm(shape, SWAPPED)
        if shape == NO_YEAR:
            return _without_year(cells, all_days, form, column)
        order = form.date_order or _order(cells, all_days, form) if shape == "numbers" else ""
        return TimeForm(shape, order)
    if (count := count_of(cells)) is not None:
        return TimeForm("count", count=count)
    raise IntakeError(
        f"file '{form.name}', column {column}: '{shown(cells[0])}' cannot be read as a date and "
        f"time{_lost(cells[0])}; export the trend with times such as 2026-01-05 10:00, or state "
        f'time_column under [files."{form.name}"] if another column holds them')


def _lost(text: str) -> str:
    """What a spreadsheet left out of a time that it showed and saved, in words."""
    if re.fullmatch(r"\d\d:\d\d\.\d", text):
        return ", as a spreadsheet that saved the minutes and seconds alone"
    return ", as a spreadsheet that saved a long number short" if "E+" in text.upper() else ""


def _without_year(cells: Sequence[str], all_days: Iterable[Sequence[str]], form: FileForm,
                  column: str) -> TimeForm:
    """Dates that leave their year out, which the job states.

    Raises:
        IntakeError: it does not, or the rows run over a New Year.
    """
    if form.year is None:
        raise IntakeError(
            f"file '{form.name}', column {column}: dates like '{shown(cells[0], 20)}' leave the "
            f'year out; state year under [files."{form.name}"]')
    year = int(form.year)
    dated = [[f"{cell.split()[0]}/{year}" for cell in stretch if "/" in cell or "-" in cell]
             for stretch in all_days]
    order = form.date_order or _order([day for stretch in dated for day in stretch], (), form)
    at = 1 if order == DAY_FIRST else 0
    months = [int(re.split("[-/]", day)[at]) for stretch in dated for day in stretch]
    if any(after < before for before, after in pairwise(months)):
        raise IntakeError(
            f"file '{form.name}', column {column}: dates like '{shown(cells[0], 20)}' leave the "
            "year out, and the rows run over a New Year; export the trend again with the year")
    return TimeForm(NO_YEAR, order, year=year)


def count_of(cells: Sequence[str]) -> int | None:
    """Which count of time most of these cells may be, or None."""
    numbers = [float(cell.replace(",", ".")) for cell in cells if _NUMBER.fullmatch(cell)]
    return next((count for count, (_, low, high, _, _) in enumerate(_COUNTS)
                 if len(numbers) > 0.5 * len(cells) and low <= min(numbers)
                 and max(numbers) <= high), None)


def shape_of(cells: Sequence[str]) -> str:
    """How most of these cells write a time; empty where they are none."""
    # A few trailing or broken lines may stand among the sample: most of it decides.
    return next((shape for shape, pattern in _PYTHON.items()
                 if sum(1 for cell in cells if pattern.fullmatch(cell)) > 0.5 * len(cells)), "")


def _order(cells: Sequence[str], all_days: Iterable[Sequence[str]], form: FileForm) -> str:
    """Which number of the dates is the day, by the first cells or by the whole file."""
    for stretches in ([cells], all_days):
        days = dict.fromkeys(hit.groups() for cells in stretches
                             for cell in cells if (hit := _DAYS.match(cell)))
        orders = {order: dates for order, dates in _readings(days).items()
                  if all(1 <= month <= 12 and 1 <= day <= 31 for _, month, day in dates)}
        if len(orders) == 1:
            return next(iter(orders))
        if not orders:
            # One broken date is none in any order; it is refused with its row.
            return DAY_FIRST if any(int(first) > 12 for first, *_ in days) else MONTH_FIRST
        # Three days on end read the wrong way round are the same day of three months or years.
        spans = sorted((span, order) for order, dates in orders.items() if (span := _span(dates)))
        if len(spans) == len(orders) and spans[0][0] * 5 < spans[1][0]:
            return spans[0][1]
    listed = [f'date_order = "{order}"' for order in orders]
    raise IntakeError(
        f"file '{form.name}': dates like '{shown(cells[0], 20)}' may be {' or '.join(orders)}; "
        f'state {" or ".join(listed)} under [files."{form.name}"]')


def _readings(days: Iterable[tuple[str, ...]]) -> dict[str, list[tuple[int, int, int]]]:
    """Year, month and day of written days in each order that may be meant.

    Two digits in front are a year at most where the last number has two as well, and never with
    points between them.
    """
    numbers = [(int(first), int(second), int(last)) for first, _, second, last in days]
    orders = {DAY_FIRST: [(c, b, a) for a, b, c in numbers],
              MONTH_FIRST: [(c, a, b) for a, b, c in numbers]}
    if all(len(first) == len(last) == 2 and sign in "-/" for first, sign, _, last in days):
        orders[YEAR_FIRST] = numbers
    return orders


def _span(days: Sequence[tuple[int, int, int]]) -> int:
    """How many days lie between these, one after the other; 0 where one cannot be."""
    try:
        at = [datetime(int(_full(np.array(y))), m, d).toordinal() for y, m, d in days]
    except ValueError:
        return 0
    return sum(abs(b - a) for a, b in zip(at, at[1:], strict=False))


def days_swapped(days: np.ndarray) -> bool:
    """Whether distinct days [since 1970] follow one another only with day and month swapped."""
    dates = [date.fromordinal(_FIRST_DAY + int(day)) for day in days[:200]]
    if len(dates) < 3 or any(each.day > 12 for each in dates):
        return False
    as_read = abs(dates[-1] - dates[0]).days
    swapped = sorted(each.replace(month=each.day, day=each.month) for each in dates)
    return (swapped[-1] - swapped[0]).days * 5 < as_read


def _swapped_back(cells: pa.Array, zone: tzinfo) -> Stamps:
    """Dates that a spreadsheet took the wrong way round; what it could not take is as written."""
    dates, *texts = (_civil(cells, shape, order, zone) for shape, order in (
        ("year", SWAPPED), ("numbers", DAY_FIRST), ("numbers", MONTH_FIRST)))
    ns, bad = dates.ns, dates.bad
    for other in texts:
        ns, bad = np.where(bad, other.ns, ns), bad & other.bad
    return Stamps(ns, bad)


def _full(year: np.ndarray) -> np.ndarray:
    """Years of two digits in full."""
    return np.where(year < 70, year + 2000, np.where(year < 100, year + 1900, year))


def _counted(cells: pa.Array, count: int) -> Stamps:
    _, low, high, seconds, days = _COUNTS[count]
    plain = pc.fill_null(pc.replace_substring(cells, ",", "."), arrow.BLANK)
    fine = pc.match_substring_regex(plain, r"^\d+(\.\d+)?$")
    numbers = arrow.array(pc.if_else(fine, plain, arrow.ZERO).cast(pa.float64()))
    bad = (numbers < low) | (numbers > high)
    # A serial carries the second with a few parts of it too much or too little.
    parts = 1 if seconds > 1 else 1000
    whole = np.rint(np.where(bad, low, numbers) * seconds * parts).astype(np.int64)
    return Stamps(whole * (SECOND // parts) + days * DAY, bad,
                  None if count == 0 else np.ones(len(bad), dtype=bool))


def _civil(cells: pa.Array, shape: str, order: str, zone: tzinfo, stated: bool = False,
           no_year: int = 0) -> Stamps:
    """Dates and clock readings in writing; 24:00 is the next day's beginning.

    ``no_year`` is the year of dates that leave it out.
    """
    parts = pc.extract_regex(cells, f"^{_SHAPES[shape]}$")
    groups = {field.name for field in parts.type}

    def text(name: str) -> pa.Array:
        return (pc.struct_field(parts, name).fill_null(arrow.BLANK) if name in groups
                else pa.repeat(arrow.BLANK, len(parts)))

    def number(name: str) -> np.ndarray:
        found = text(name)
        filled = pc.if_else(pc.equal(found, arrow.BLANK), arrow.ZERO, found)
        return arrow.array(filled.cast(pa.int64()))

    year, minute, second = _full(number("year")), number("minute"), number("second")
    year = np.full(len(year), no_year) if no_year else year
    month, day = number("month"), number("day")
    if "first" in groups:
        month, day = number("first"), number("next")
        if order == YEAR_FIRST:
            year, month, day = _full(month), day, number("year")
        elif order == DAY_FIRST:
            month, day = day, month
    elif order == SWAPPED:
        month, day = day, month
    elif "word" in groups:
        at, words = coded(text("word"))
        month = np.array([_MONTHS.get(word.lower(), 0) for word in words])[at]
    hour = number("hour")
    half = pc.utf8_lower(pc.utf8_slice_codeunits(text("half"), 0, 1))
    afternoon, morning = (arrow.array(pc.equal(half, each)) for each in (arrow.PM, arrow.AM))
    wrong = (afternoon | morning) & ((hour > 12) | (hour == 0))
    hour = np.where(afternoon & (hour < 12), hour + 12,
                    np.where(morning & (hour == 12), 0, hour))
    wrong |= (month < 1) | (month > 12) | (year < 1900) | (year > 2200)
    months = np.where(wrong, 0, (year - 1970) * 12 + month - 1).astype("M8[M]")
    first, end = months.astype("M8[D]"), (months + 1).astype("M8[D]")
    wrong |= (day < 1) | (day > (end - first).astype(int)) | (minute > 59) | (second > 59)
    wrong |= (hour > 23) & ((hour != 24) | (minute != 0) | (second != 0))
    seconds = ((first.astype(np.int64) + day - 1) * 24 + hour) * 3600 + minute * 60 + second
    # Digits behind the point, as nanoseconds.
    behind = arrow.array(pc.utf8_rpad(text("part"), 9, "0").cast(pa.int64()))
    zoned, shift, unknown = _offsets(text("offset"), zone, stated)
    ns = (np.where(wrong, 0, seconds) - shift) * SECOND + behind
    return Stamps(ns, arrow.array(parts.is_null()) | wrong | unknown, zoned)


def _offsets(cells: pa.Array, zone: tzinfo, zone_stated: bool
             ) -> tuple[np.ndarray | None, np.ndarray, np.ndarray]:
    """What the offsets behind the times say: which there are, seconds, which are unknown."""
    at, said = coded(cells)
    known = {**words(zone), "Z": 0, "UTC": 0, "GMT": 0}
    east = np.zeros(len(said), dtype=np.int64)
    unknown = np.zeros(len(said), dtype=bool)
    for index, text in enumerate(said):
        if found := _EAST.search(text):
            east[index] = seconds(found[0])
        elif text:
            east[index], unknown[index] = known.get(text, 0), text not in known
    stated = np.array([bool(text) for text in said], dtype=bool) & ~unknown
    if zone_stated:
        unknown[:] = False
    return stated[at] if any(said) else None, east[at], unknown[at]
