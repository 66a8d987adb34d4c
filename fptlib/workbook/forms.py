"""Questions as widgets: what is typed is checked at once, saved at once, and answered.

No answer is judged here (see ``questions``) and none is kept here: the file is the truth,
and a reopened form shows what the file holds.
"""

from __future__ import annotations

import html
import time
from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as widgets

from fptlib import units
from fptlib.errors import FormError, FptError
from fptlib.job.folder import Job, place
from fptlib.workbook import parts, questions, static
from fptlib.workbook.questions import Form, Question

Saved = Callable[[], None]
DOUBLE_CLICK = 0.5


class Message:
    """One line beside a field that says what became of an answer."""

    def __init__(self, help_text: str = "") -> None:
        self._help = help_text
        self.widget = parts.html("", "fpt-message")
        self.clear()

    def clear(self) -> None:
        """Show the help again."""
        self.widget.value = f"<span class='fpt-help'>{html.escape(self._help)}</span>"

    def saved(self, text: str = "saved", doubt: str = "") -> None:
        """Say that the answer is in the file, and what must be looked at all the same."""
        told = f"<span class='fpt-ok' role='status'>✓ {html.escape(text)}</span>"
        more = f"<br><span class='fpt-bad' role='alert'>✗ {html.escape(doubt)}</span>"
        self.widget.value = told + more * bool(doubt)

    def problem(self, error: Exception) -> None:
        """Say why the answer was not taken."""
        text = str(error) if isinstance(error, FptError) else (
            f"not saved, an unexpected fault: {type(error).__name__}: {error}"
        )
        self.widget.value = f"<span class='fpt-bad' role='alert'>✗ {html.escape(text)}</span>"


def guarded(message: Message, work: Callable[[], None]) -> bool:
    """Do ``work`` and tell whether it went well; a fault shows beside the field, for a callback's
    own never shows."""
    try:
        work()
    except Exception as error:
        message.problem(error)
        return False
    return True


class Presses:
    """Takes a double click for one press: its second one waits while the first is worked, and
    would put a fault in the place of what came of it."""

    def __init__(self) -> None:
        self._last: tuple[Any, float] = (None, 0.0)

    def take(self, made: widgets.Button, work: Callable[[], bool]) -> None:
        """Do the work of a button, unless it is the second press of a double click whose first
        one went well."""
        button, ended = self._last
        if button is made and time.monotonic() - ended < DOUBLE_CLICK:
            return
        if work():
            self._last = (made, time.monotonic())


class Field:
    """One question as a control with a unit beside it and a message below it."""

    def __init__(self, question: Question, answered: Callable[[Field], None],
                 help_text: str | None = None) -> None:
        self.question = question
        self.message = Message(question.help if help_text is None else help_text)
        self.control = _control(question)
        self.unit = _unit(question)
        line = [self.control, *([self.unit] if self.unit else [])]
        self.widget = parts.column([parts.line(line), self.message.widget], "fpt-field")
        self.control.add_class("fpt-at-" + handle(question.path))
        self._quiet, self._typed = False, False
        self.control.observe(lambda _: self._told(answered), names="value")
        if self.unit:
            self.unit.observe(lambda change: self._unit_told(answered, change), names="value")

    def _told(self, answered: Callable[[Field], None]) -> None:
        if not self._quiet:
            self._typed = True
            answered(self)

    def _unit_told(self, answered: Callable[[Field], None], change: Mapping[str, Any]) -> None:
        # A number typed here is meant in the unit chosen for it; one that was shown from the
        # file is only looked at in another unit.
        if self._typed:
            self._told(answered)
        elif not self._quiet and self.text:
            guarded(self.message, lambda: self._restate(change["old"]))

    def _restate(self, old: str) -> None:
        question, unit = self.question, self.chosen_unit
        held = questions.read(question, self.text, old)
        back = units.scale(unit, question.unit, question.label).back
        self._put(f"{back(held):.6g}")
        self.message.saved(f"shown in {units.symbol(unit)}; the answer was not changed")

    @property
    def text(self) -> str:
        """What stands in the control now."""
        return str(self.control.value or "")

    @property
    def chosen_unit(self) -> str:
        """The unit chosen beside the number."""
        return str(self.unit.value) if self.unit else self.question.unit

    def show(self, value: Any) -> None:
        """Show a saved answer, in the saved unit, without answering."""
        self.fill(questions.typed(self.question, value))

    def fill(self, text: str) -> None:
        """Show a text without answering."""
        self._typed = False
        self._put(text, self.question.unit)

    def _put(self, text: str, unit: str = "") -> None:
        self._quiet = True
        try:
            if self.unit and unit:
                self.unit.value = unit
            self.offer(None, keep=text)
            self.control.value = text
        finally:
            self._quiet = False

    def offer(self, choices: list[str] | None, keep: str = "") -> None:
        """Offer other choices; what is held stays on offer, or it would be lost unseen."""
        if isinstance(self.control, widgets.Combobox):
            # Any change from here redraws the field and takes away what is half typed.
            if choices is not None and list(self.control.options) != choices:
                self.control.options = choices
            return
        if not isinstance(self.control, widgets.Dropdown):
            return
        held = keep or self.text
        names = list(choices) if choices is not None else _names(self.control)
        offered = _options([*names, *([held] if held not in ("", *names) else [])])
        if list(self.control.options) != offered:
            self.control.options = offered
        self.control.value = held

    def read(self) -> Any:
        """The answer to save.

        Raises:
            FormError: what stands in the control cannot be used.
        """
        return questions.read(self.question, self.text, self.chosen_unit)


def handle(path: str) -> str:
    """A class name for a path, as a handle for tests and styles."""
    return "".join(letter if letter.isalnum() else "-" for letter in path)


def _names(control: widgets.Dropdown) -> list[str]:
    return [value for _, value in control.options if value]


def _options(names: list[str]) -> list[tuple[str, str]]:
    shown = ((questions.choice(name), name) for name in names)
    return [("- choose -", questions.NO_CHOICE), *shown]


def _control(question: Question) -> widgets.DOMWidget:
    label = _label(question)
    if question.kind == questions.CHOICE:
        return parts.choice(label, options=_options(list(question.choices)), value="")
    if question.kind == questions.YES:
        return parts.choice(label, options=_options(["yes", "no"]), value="")
    if question.kind == questions.LONG:
        return parts.area(label)
    if question.kind == questions.SUGGESTED:
        return parts.suggested(label, options=question.choices)
    number = question.kind in (questions.NUMBER, questions.WHOLE)
    return parts.text(label, layout=parts.NUMBER_WIDTH if number else parts.WIDE)


def _label(question: Question) -> str:
    return f"{question.label} *" if question.required else question.label


def _unit(question: Question) -> widgets.Dropdown | None:
    if not question.unit:
        return None
    # The label is for screen readers; the unit stands beside its number anyway.
    return parts.choice(
        f"Unit of {question.label}", "fpt-unit", layout=parts.UNIT_WIDTH, value=question.unit,
        options=[(units.symbol(unit), unit) for unit in question.units],
    )


class FormView:
    """A form on a job: shows what the file holds, saves every good answer at once."""

    def __init__(self, job: Job, form: Form, saved: Saved = lambda: None,
                 checks: Mapping[str, Callable[[Any], None]] | None = None) -> None:
        self.job, self.form = job, form
        self._saved = saved
        self._checks = dict(checks or {})
        self.fields = {item.path: Field(item, self._answered) for item in form.questions}
        title = parts.html(f"<h4 class='fpt-form-title'>{html.escape(form.title)}</h4>")
        fields = [field.widget for field in self.fields.values()]
        self.widget = parts.column([title, *fields], "fpt-form")
        self.refresh()

    def refresh(self) -> None:
        """Show what the file holds now."""
        for path, field in self.fields.items():
            field.show(self.job.get(path))

    def _answered(self, field: Field) -> None:
        guarded(field.message, lambda: self._save(field))

    def _save(self, field: Field) -> None:
        path, value = field.question.path, field.read()
        if value is not None and path in self._checks:
            self._checks[path](value)
        self.job.change(lambda document: place(document, path, value))
        field.message.saved(_receipt(field.question, value, field.chosen_unit))
        self._saved()

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        return static.live(self.widget, f"[form: {self.form.title}]", **kwargs)

    def gate(self) -> None:
        """Stop the notebook where a required answer is missing.

        Raises:
            FormError: names every missing answer.
        """
        if open_points := self.form.open_points(self.job.answers()):
            raise FormError(" · ".join(open_points))


def _receipt(question: Question, value: Any, unit: str) -> str:
    if value is None:
        return "taken away"
    if unit != question.unit:
        return f"saved as {questions.shown(question, value)}"
    return "saved"
