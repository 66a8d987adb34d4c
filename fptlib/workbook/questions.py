"""What a form asks and which answers it takes, without any widget.

A question knows its place in ``job.toml``, its unit and its plain range; an answer is text
as a person typed it. Everything that is right or wrong about an answer is decided here, so
that forms, tests and the command line agree.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fptlib import units
from fptlib.errors import FormError
from fptlib.job.folder import lookup

TEXT = "text"
LONG = "long text"
NUMBER = "number"
WHOLE = "whole number"
SUGGESTED = "text with suggestions"
CHOICE = "choice"
YES = "yes or no"
DATE = "date"
MOMENT = "moment"

NO_CHOICE = ""
CHANGED_ELSEWHERE = ("not saved: this row was changed or removed elsewhere meanwhile; press “Run "
                     "this step”, then change it again")


@dataclass(frozen=True, slots=True)
class Question:
    """One question of a form.

    ``path`` is the dotted place of the answer in ``job.toml`` (or in a row of a list).
    ``unit`` is the unit that is saved; other units of the same kind may be typed.
    ``low`` and ``high`` bound a number in the saved unit, only to catch slips.
    """

    path: str
    label: str
    kind: str = TEXT
    unit: str = ""
    help: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False
    low: float = -math.inf
    high: float = math.inf

    @property
    def units(self) -> list[str]:
        """The units an answer may be typed in, the saved one first."""
        return units.choices(self.unit) if self.unit else []


@dataclass(frozen=True, slots=True)
class Form:
    """The questions of one form, with a name that shows above it."""

    title: str
    questions: tuple[Question, ...]

    def open_points(self, answers: Mapping[str, Any]) -> list[str]:
        """One sentence for every required question that has no usable answer."""
        return [text for item in self.questions if (text := missing(item, answers))]

    def held(self, answers: Mapping[str, Any]) -> list[tuple[str, str]]:
        """Label and answer of every question, as a reader sees them."""
        return [(item.label, shown(item, lookup(answers, item.path))) for item in self.questions]


@dataclass(frozen=True, slots=True)
class Rows:
    """A list in ``job.toml`` that is filled row by row.

    With ``key`` the list is a table of tables (``points.chw_supply_temp``), else an array.
    ``fixed`` names the only keys allowed, in order.
    """

    path: str
    title: str
    questions: tuple[Question, ...]
    key: Question | None = None
    row_word: str = "row"
    fixed: tuple[str, ...] = field(default=())

    @property
    def asked(self) -> tuple[Question, ...]:
        """Every question of a row, the key first."""
        return ((self.key,) if self.key else ()) + self.questions

    def rows(self, answers: Mapping[str, Any]) -> list[dict[str, Any]]:
        """The rows held now; a keyed row carries its key under the key's path."""
        held = lookup(answers, self.path, {} if self.key else [])
        if self.key is None:
            return [dict(row) for row in held]
        return [{self.key.path: name, **row} for name, row in held.items()]


def missing(question: Question, answers: Mapping[str, Any]) -> str:
    """The sentence for a required question without an answer, or nothing."""
    value = lookup(answers, question.path)
    if not question.required or value not in (None, ""):
        return ""
    return f"{question.label}: no answer yet; fill it in, it is marked * on this page"


def read(question: Question, typed: str, unit: str = "") -> Any:
    """The answer to save for what was typed, or ``None`` for an empty field.

    Args:
        typed: the text as typed.
        unit: the unit chosen beside the number; the saved one where empty.

    Raises:
        FormError: the text cannot be used, in one sentence.
    """
    text = typed.strip()
    if not text:
        return None
    if question.kind in (NUMBER, WHOLE):
        return _number(question, text, unit or question.unit)
    if question.kind == CHOICE:
        return _choice(question, text)
    if question.kind in (DATE, MOMENT):
        return _time(question, text)
    if question.kind == YES:
        return text.lower() == "yes"
    return text


def _choice(question: Question, text: str) -> str:
    if question.choices and text not in question.choices:
        raise FormError(
            f"{question.label}: '{text}' is not offered; choose one of: "
            + ", ".join(question.choices)
        )
    return text


def _number(question: Question, text: str, unit: str) -> float | int:
    value = _plain(question, text)
    if question.unit and unit != question.unit:
        value = round(units.scale(unit, question.unit, question.label)(value), 4)
    _bounds(question, text, unit, value)
    return int(value) if question.kind == WHOLE else value


def _plain(question: Question, text: str) -> float:
    try:
        value = float(text.replace(",", "") if _thousands(text) else text)
    except ValueError:
        value = math.nan
    # Python reads 4_4 as forty-four.
    if not math.isfinite(value) or "_" in text:
        hint = "; write a decimal point, not a comma" if "," in text else ""
        raise FormError(f"{question.label}: '{text}' is not a number{hint}; type digits only")
    if question.kind == WHOLE and value != int(value):
        raise FormError(f"{question.label}: '{text}' is not a whole number")
    return value


def _thousands(text: str) -> bool:
    # "14,000" is fourteen thousand in the trade; "14,5" is nobody's number here.
    head, *groups = text.lstrip("+-").split(".")[0].split(",")
    return bool(groups) and 1 <= len(head) <= 3 and all(len(group) == 3 for group in groups)


def _bounds(question: Question, text: str, unit: str, value: float) -> None:
    if question.low <= value <= question.high:
        return
    stated = f"{text} {units.symbol(unit)}".strip()
    raise FormError(
        f"{question.label}: {stated} is outside what is possible here "
        f"({_range(question, unit)}); check the number and its unit"
    )


def _range(question: Question, unit: str) -> str:
    """The range in the unit that the number was typed in."""
    back = units.scale(unit, question.unit, question.label).back
    low, high = (f"{back(end):.4g}" if abs(back(end)) < 1e4 else f"{back(end):,.0f}"
                 for end in (question.low, question.high))
    words = f"{low} or more" if math.isinf(question.high) else f"{low} to {high}"
    return f"{words} {units.symbol(unit)}".strip()


def _time(question: Question, text: str) -> str:
    kind = date if question.kind == DATE else datetime
    example = "2026-01-31" if question.kind == DATE else "2026-01-31 02:15"
    try:
        kind.fromisoformat(text)
    except ValueError:
        raise FormError(
            f"{question.label}: '{text}' is not a {question.kind}; write it as {example}"
        ) from None
    return text


def shown(question: Question, value: Any) -> str:
    """An answer as a reader sees it, with its unit; a dash for none."""
    if value in (None, ""):
        return "–"
    if question.kind == YES:
        return "yes" if value else "no"
    if question.kind == MOMENT:
        return str(value)[:16].replace("T", " ")
    if question.kind == CHOICE:
        return choice(str(value))
    return f"{typed(question, value)} {units.symbol(question.unit)}".strip()


def choice(value: str) -> str:
    """One of several to choose from as a reader sees it: a unit by its symbol."""
    return units.symbol(value) or value


def typed(question: Question, value: Any) -> str:
    """A saved answer as the text that a person would type for it."""
    if value is None:
        return ""
    if question.kind == YES:
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value)


def row_from(rows: Rows, texts: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """A row from what was typed: path to (text, unit).

    Raises:
        FormError: an answer cannot be used or a required one is missing.
    """
    row: dict[str, Any] = {}
    for item in rows.asked:
        value = read(item, *texts.get(item.path, ("", "")))
        if value is None and item.required:
            raise FormError(f"{item.label}: no answer; a {rows.row_word} needs it")
        if value is not None:
            row[item.path] = value
    return row


def put_row(rows: Rows, held: Any, row: Mapping[str, Any], old: Mapping[str, Any] | None) -> None:
    """Put ``row`` into the list ``held``, in the place of ``old`` where that is given.

    Raises:
        FormError: ``old`` is there no more as it was read, and no key finds it.
    """
    if rows.key is not None:
        name = row[rows.key.path]
        if old is not None and old[rows.key.path] != name:
            held.pop(old[rows.key.path], None)
        fields = {key: value for key, value in row.items() if key != rows.key.path}
        # What the form does not ask (written by hand) stays.
        kept = dict(held.get(name, {}))
        asked = {item.path for item in rows.questions}
        held[name] = {**{k: v for k, v in kept.items() if k not in asked}, **fields}
        return
    place = position(held, old)
    if old is None:
        held.append(dict(row))
    elif place is None:
        raise FormError(CHANGED_ELSEWHERE)
    else:
        held[place] = {**dict(held[place]), **row}


def take_row(rows: Rows, held: Any, old: Mapping[str, Any]) -> None:
    """Take ``old`` out of the list ``held``."""
    if rows.key is not None:
        held.pop(old[rows.key.path], None)
    elif (place := position(held, old)) is not None:
        del held[place]


def position(held: Sequence[Mapping[str, Any]], old: Mapping[str, Any] | None) -> int | None:
    """Where a row stands that may have moved since it was read."""
    if old is None:
        return None
    return next((n for n, row in enumerate(held) if dict(row) == dict(old)), None)
