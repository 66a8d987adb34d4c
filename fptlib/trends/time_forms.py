"""How a file writes its times.

The form is found once from the first cells. Whether 05/01 is the fifth of January or the
first of May is settled by evidence over the whole file (a number above 12, or days that
follow one another in one reading only), or else asked.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from fptlib.errors import IntakeError
from fptlib.trends.batches import TEXT, TIME, ZONED_TIME, shown
from fptlib.trends.forms import FileForm

YEAR_FIRST, DAY_FIRST, MONTH_FIRST = "year first", "day first", "month first"
_CLOCK = (
    r"(?:[T ,]+(?P<hour>\d{1,2})[:.](?P<minute>\d{2})(?:[:.](?P<second>\d{2})"
    r"(?:[.,:](?P<part>\d{1,9}))?)?)?"
    r"(?:\s*(?P<half>[AaPp]\.?\s?[Mm]\.?))?"
    r"(?:\s*(?P<offset>Z|[A-Z]{3,4}|[+-]\d{2}:?\d{2}|[+-]\d{2}))?"
)
# A letter is written differently for Python and for RE2, which reads the columns.
_WEEKDAY = r"(?:LETTER{2,9}\.?,?\s+)?"
SHAPES: dict[str, str] = {
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
    name: re.compile(shape.replace("LETTER", r"[^\W\d_]")) for name, shape in SHAPES.items()
}
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_ISO = re.compile(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?)?")
_ISO_ZONED = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?(?:Z|[+-]\d\d:?\d\d)")
# (name, smallest, largest, seconds of one unit, days from 1970): numbers that are times.
COUNTS = (
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
            return "times are " + COUNTS[self.count][0]
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
    for at, (_, low, high, _, _) in enumerate(COUNTS):
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
