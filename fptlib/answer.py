"""One answer of a job, declared once.

A dataclass whose fields are made by ``answer`` and ``quantity`` is a table of ``job.toml``; so is a
plain mapping of them, where nothing reads the table as an object. The form, the loader, the JSON
Schema and the record's tables read the same declaration, and a wrong answer gets the same sentence
in the form and in the file: what was found and where, what was expected, what to do.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Hashable, Mapping
from contextlib import suppress
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import date, datetime, time
from enum import StrEnum
from functools import cache
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from fptlib import points, units
from fptlib.errors import FormError, JobError

T = TypeVar("T", bound=Hashable)
_LONGEST_QUOTE = 80


class Kind(StrEnum):
    """What sort of answer it is; a message names it so."""

    TEXT = "text"
    LONG = "long text"
    SUGGESTED = "text with suggestions"
    TEXTS = "text or list of texts"
    NUMBER = "number"
    WHOLE = "whole number"
    CHOICE = "choice"
    YES = "yes or no"
    DATE = "date"
    MOMENT = "moment"
    CLOCK = "time of day"
    ZONE = "time zone"
    CLOCK_ZONE = "time zone or offset"


_EXAMPLES = {Kind.DATE: "2026-01-31", Kind.MOMENT: "2026-01-31 02:15", Kind.CLOCK: "06:00"}
_READ: dict[Kind, Callable[[str], Any]] = {
    Kind.DATE: date.fromisoformat, Kind.MOMENT: datetime.fromisoformat,
    Kind.CLOCK: time.fromisoformat}
# How the trade writes dates and times besides; 1/31/2026 is month first, as in the United States.
_DATES = ("%m/%d/%Y", "%m/%d/%y", "%m-%d-%Y", "%b %d, %Y", "%b %d %Y", "%d %b %Y", "%B %d, %Y",
          "%B %d %Y", "%d %B %Y")
_CLOCKS = ("%H:%M", "%I:%M %p", "%I:%M%p", "%I %p", "%I%p")
_FORMS: Mapping[Kind, tuple[tuple[str, ...], str]] = {
    Kind.DATE: (_DATES, "%Y-%m-%d"), Kind.CLOCK: (_CLOCKS, "%H:%M"),
    Kind.MOMENT: (tuple(f"{day} {clock}" for day in (*_DATES, "%Y-%m-%d") for clock in _CLOCKS),
                  "%Y-%m-%d %H:%M")}
_NUMBERS = (Kind.NUMBER, Kind.WHOLE)
_OFFSET = re.compile(r"(?:UTC|GMT)?[+-]\d{1,2}(?::?\d{2})?")
# Between several texts that are typed in one field; a comma stands in names of columns.
_PARTS = ";"


class Wrong(ValueError):
    """An answer that cannot be used, without the place where it stands."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one answer is.

    ``unit`` is the unit that is saved; in a form other units of the same kind may be typed.
    ``low`` and ``high`` bound a number in the saved unit, only to catch slips. ``required`` marks
    it in its form; ``asked`` tells whether a form asks it at all; ``words`` are what people read
    for the words that are saved.
    """

    name: str
    label: str
    kind: Kind = Kind.TEXT
    unit: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False
    low: float = -math.inf
    high: float = math.inf
    asked: bool = True
    words: Mapping[str, str] = field(default_factory=dict)

    def read(self, typed: str, unit: str = "") -> Any:
        """The answer to save for what a person typed, or ``None`` for an empty field.

        Args:
            typed: the text as typed.
            unit: the unit chosen beside the number; the saved one where empty.

        Raises:
            FormError: the text cannot be used, in one sentence.
            IntakeError: the unit measures something else.
        """
        text = typed.strip()
        if not text:
            return None
        if self.kind is Kind.YES:
            return text.lower() == "yes"
        try:
            if self.kind in _NUMBERS:
                return self._in_range(parsed(text), text, unit or self.unit)
            text = _as_saved(self.kind, text)
            self.take(text)
        except Wrong as wrong:
            raise FormError(f"{self.label}: {wrong}") from None
        if self.kind is Kind.TEXTS and _PARTS in text:
            return [part.strip() for part in text.split(_PARTS) if part.strip()]
        return text

    def take(self, value: Any) -> Any:
        """The value of this answer as a file holds it: a number, text, yes, date or time.

        Raises:
            Wrong: it is of another kind or out of range; the sentence lacks its place.
        """
        if self.kind in _NUMBERS:
            # TOML knows nan, inf and whole numbers of any length; no quantity is one of them.
            if isinstance(value, bool) or not isinstance(value, int | float) or (
                    not abs(value) <= sys.float_info.max):
                ends = f" from {self.range()}" if math.isfinite(self.low) else ""
                raise Wrong(f"'{_quoted(value)}' is not a number; write a number{ends}, without "
                            "quotes")
            return self._in_range(value, f"{value:.10g}", self.unit)
        if self.kind is Kind.YES and not isinstance(value, bool):
            raise Wrong(f"'{_quoted(value)}' is not yes or no; write true or false")
        if self.kind is Kind.TEXTS and not isinstance(value, Mapping):
            return tuple(map(str, value)) if isinstance(value, list | tuple) else (str(value),)
        if isinstance(value, Mapping | list | tuple):
            raise Wrong(f"'{_quoted(value)}' stands where a {self.kind} is expected; write it in "
                        "quotes")
        return value if self.kind is Kind.YES else self._word(str(value))

    def _word(self, text: str) -> Any:
        if self.kind is Kind.CHOICE and self.choices and text not in self.choices:
            raise Wrong(f"'{_quoted(text)}' is not offered; choose one of: "
                        + ", ".join(self.choices))
        try:
            offset = self.kind is Kind.CLOCK_ZONE and _OFFSET.fullmatch(text)
            if self.kind in (Kind.ZONE, Kind.CLOCK_ZONE) and not offset:
                ZoneInfo(text)
            if self.kind in _EXAMPLES:
                return _READ[self.kind](text)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            # "America" is a folder of the database, which the system refuses to read as a file.
            raise Wrong(
                f"'{_quoted(text)}' is not a {self.kind}; write it as {_EXAMPLES[self.kind]}"
                + (", or month first: 1/31/2026" if self.kind is Kind.DATE else "")
                if self.kind in _EXAMPLES else f"'{_quoted(text)}' is not a zone of the tz "
                "database; write one such as America/Denver") from None
        return text

    def _in_range(self, value: float, stated: str, unit: str) -> float | int:
        """A number stated in ``unit``, in the saved unit."""
        if self.kind is Kind.WHOLE and value != int(value):
            raise Wrong(f"'{stated}' is not a whole number; write how many there are")
        if unit != self.unit:
            value = round(units.scale(unit, self.unit, self.label)(value), 4)
        if not self.low <= value <= self.high:
            raise Wrong(f"{stated} {units.symbol(unit)}".strip() + " is outside what is possible "
                        f"here ({self.range(unit)}); check the number and its unit")
        return int(value) if self.kind is Kind.WHOLE else value

    def range(self, unit: str = "") -> str:
        """What is possible, in the saved unit or the one a number was typed in."""
        back = units.scale(unit, self.unit, self.label).back if unit else float
        low, high = (f"{back(end):.4g}" if abs(back(end)) < 1e4 else f"{back(end):,.0f}"
                     for end in (self.low, self.high))
        words = f"{low} or more" if math.isinf(self.high) else f"{low} to {high}"
        return f"{words} {units.symbol(unit or self.unit)}".strip()

    def typed(self, value: Any) -> str:
        """A saved answer as the text that a person would type for it."""
        if value is None:
            return ""
        if self.kind is Kind.YES:
            return "yes" if value else "no"
        if self.kind is Kind.TEXTS and isinstance(value, list | tuple):
            return f"{_PARTS} ".join(map(str, value))
        return f"{value:.10g}" if isinstance(value, float) else str(value)

    def shown(self, value: Any) -> str:
        """A saved answer as a reader sees it, with its unit; a dash for none."""
        if value in (None, ""):
            return "–"
        if self.kind is Kind.MOMENT:
            return str(value)[:16].replace("T", " ")
        if self.kind is Kind.SUGGESTED:
            return self.words.get(value) or points.plain(str(value))
        if self.kind is Kind.CHOICE:
            return self.words.get(value) or points.plain(units.symbol(str(value)) or str(value))
        return f"{self.typed(value)} {units.symbol(self.unit)}".strip()

    def json_schema(self) -> dict[str, Any]:
        """This answer as JSON Schema."""
        kinds: Mapping[Kind, Mapping[str, Any]] = {
            Kind.NUMBER: {"type": "number"}, Kind.WHOLE: {"type": "integer"},
            Kind.YES: {"type": "boolean"},
            Kind.TEXTS: {"type": ["string", "array"], "items": {"type": "string"}},
        }
        unit = f" [{units.symbol(self.unit) or self.unit}]" if self.unit else ""
        found = {"title": self.label + unit, **kinds.get(self.kind, {"type": "string"}),
                 "description": self.help, "enum": list(self.choices),
                 "minimum": self.low, "maximum": self.high}
        return {name: fact for name, fact in found.items()
                if fact not in ("", [], -math.inf, math.inf)}


@cache
def zones() -> tuple[str, ...]:
    """Every time zone with its region, those of the United States by their short names too."""
    return tuple(sorted(name for name in available_timezones()
                        if "/" in name and not name.startswith(("Etc/", "SystemV/"))))


def _as_saved(kind: Kind, text: str) -> str:
    """What was typed as the file holds it: a date or time as the trade writes it, a zone by its
    city alone. What cannot be understood stays, and is refused with its example."""
    if kind in (Kind.ZONE, Kind.CLOCK_ZONE):
        city = text.replace(" ", "_").casefold()
        named = [zone for zone in zones()
                 if city in (zone.casefold(), zone.casefold().rpartition("/")[2])]
        return named[0] if len(named) == 1 else text
    if kind not in _EXAMPLES:
        return text
    forms, saved = _FORMS[kind]
    for form in forms:
        with suppress(ValueError):
            return datetime.strptime(" ".join(text.split()), form).strftime(saved)
    return text


def _quoted(value: Any) -> str:
    text = str(value)
    return text if len(text) <= _LONGEST_QUOTE else f"{text[:_LONGEST_QUOTE]}…"


def parsed(text: str) -> float:
    """The number a person wrote: '14,000' is fourteen thousand, '14,5' nobody's number here.

    Raises:
        Wrong: it is none.
    """
    head, *groups = text.lstrip("+-").split(".")[0].split(",")
    thousands = groups and 1 <= len(head) <= 3 and all(len(group) == 3 for group in groups)
    try:
        value = float(text.replace(",", "") if thousands else text)
    except ValueError:
        value = math.nan
    # Python reads 4_4 as forty-four.
    if not math.isfinite(value) or "_" in text:
        hint = "; write a decimal point, not a comma" if "," in text else ""
        raise Wrong(f"'{text}' is not a number{hint}; type digits only")
    return value


def answer(label: str, help: str = "", kind: Kind = Kind.TEXT, default: Any = "",
           **facts: Any) -> Any:
    """A declared field; with ``choices`` it is one of them."""
    kind = Kind.CHOICE if "choices" in facts else kind
    return field(default=default, metadata={"answer": Answer("", label, kind, help=help, **facts)})


def quantity(label: str, unit: str = "", low: float = -math.inf, high: float = math.inf,
           help: str = "", kind: Kind = Kind.NUMBER, default: Any = None, **facts: Any) -> Any:
    """A declared field that is a number in ``unit``."""
    return answer(label, help, kind, default, unit=unit, low=low, high=high, **facts)


def answers_of(table: type[Any] | Mapping[str, Any]) -> dict[str, Answer]:
    """The declared answers of a table by name, in their order."""
    declared = table if isinstance(table, Mapping) else {
        item.name: item for item in fields(table) if "answer" in item.metadata}
    return {name: replace(item.metadata["answer"], name=name) for name, item in declared.items()}


def load(table: type[T], stated: Any, path: str, closed: bool = False, **given: Any) -> T:
    """The object of one table of ``job.toml``.

    Args:
        table: its dataclass.
        stated: what the file holds there.
        path: the dotted place, for the sentences.
        closed: whether a key that is not declared is refused.
        given: fields that do not stand in the table itself.

    Raises:
        JobError: it is no table, or an answer is missing, unknown or cannot be used.
    """
    known, found = answers_of(table), dict(given)
    for name, value in as_table(stated, path).items():
        if name in known and name not in given:
            if value not in (None, ""):
                found[name] = taken(known[name], value, f"{path}.{name}")
        elif closed and name not in known:
            raise JobError(f"job.toml, {path}.{name} is not known; the answers there are: "
                           f"{', '.join(known)}; correct its name, or take it away")
    for item in fields(table):  # type: ignore[arg-type]
        if item.default is MISSING and item.name not in found:
            raise JobError(f"job.toml, {path}.{item.name} ({known[item.name].label}) is missing; "
                           "enter it in the plan")
    return table(**found)


def taken(item: Answer, value: Any, path: str) -> Any:
    """One answer of ``job.toml``.

    Raises:
        JobError: it cannot be used.
    """
    try:
        return item.take(value)
    except Wrong as wrong:
        raise JobError(f"job.toml, {path} ({item.label}): {wrong}") from None


def as_table(value: Any, path: str) -> Mapping[str, Any]:
    """What stands at a place, which must be a table.

    Raises:
        JobError: it is something else.
    """
    if isinstance(value, Mapping):
        return value
    raise JobError(f"job.toml, {path}: '{_quoted(value)}' stands where a table is expected; write "
                   f"its answers below the heading [{path}]")
