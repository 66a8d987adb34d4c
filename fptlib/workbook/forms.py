"""The declared answers as widgets: what is typed is checked at once, saved at once, answered.

No answer is judged here (see ``fptlib.answer``) and none is kept here: the file is the truth, and
a reopened form shows what the file holds. A list has one line of entry for all of its rows, so
that sixty points need no three hundred widgets and the keyboard alone suffices: choose the row,
tab through its fields, press the button.
"""

from __future__ import annotations

import html
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import tomlkit

from fptlib import points, units
from fptlib.answer import Answer, Kind, zones
from fptlib.errors import FormError, FptError
from fptlib.job.folder import Job, lookup, place
from fptlib.job.tables import Table, contradictions
from fptlib.workbook import parts, static

Row = dict[str, Any]
Saved = Callable[[], None]
DOUBLE_CLICK = 0.5
NEW = -1
MOST_IN_SIGHT = 6
_READ_BACK = (Kind.DATE, Kind.MOMENT, Kind.CLOCK, Kind.ZONE, Kind.CLOCK_ZONE)
CHANGED_ELSEWHERE = ("not saved: this row was changed or removed elsewhere meanwhile; press “Run "
                     "this step”, then change it again")


class Message:
    """One line beside a field that says what became of an answer."""

    def __init__(self, help_text: str = "") -> None:
        self._help = help_text
        self.widget = parts.html("", "fpt-message")
        self.clear()

    def clear(self) -> None:
        """Show the help again."""
        self.widget.value = f"<span class='fpt-help'>{html.escape(self._help)}</span>"

    def working(self) -> None:
        """Say that what was pressed is at work."""
        self.widget.value = "<span class='fpt-help' role='status'>… at work</span>"

    def saved(self, text: str = "saved", doubt: str = "") -> None:
        """Say that the answer is in the file, and what must be looked at all the same."""
        said = f"<span class='fpt-ok' role='status'>✓ {html.escape(text)}</span>"
        more = f"<br><span class='fpt-bad' role='alert'>✗ {html.escape(doubt)}</span>"
        self.widget.value = said + more * bool(doubt)

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
    # Whatever stops a form is told in it; a traceback would bury the page.
    except Exception as error:  # noqa: BLE001
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


def handle(path: str) -> str:
    """A class name for a path, as a handle for tests and styles."""
    return "".join(letter if letter.isalnum() else "-" for letter in path)


class Field:
    """One answer as a control with a unit beside it and a message below it."""

    def __init__(self, item: Answer, path: str, answered: Callable[[Field], None]) -> None:
        self.item, self.path = item, path
        self.control, self.unit = _control(item), _unit(item)
        self.message = Message(item.help)
        entry = parts.line([self.control, *([self.unit] if self.unit else [])])
        self.widget = parts.column([entry, self.message.widget], "fpt-field")
        self.control.add_class("fpt-at-" + handle(path))
        self._quiet, self._typed = False, False
        self.control.observe(lambda _: self._control_changed(answered), names="value")
        if self.unit:
            self.unit.observe(lambda change: self._unit_changed(answered, change), names="value")

    def _control_changed(self, answered: Callable[[Field], None]) -> None:
        if not self._quiet:
            self._typed = True
            answered(self)

    def _unit_changed(self, answered: Callable[[Field], None], change: Mapping[str, Any]) -> None:
        # A number typed here is meant in the unit chosen for it; one that was shown from the
        # file is only looked at in another unit.
        if self._typed:
            self._control_changed(answered)
        elif not self._quiet and self.text:
            guarded(self.message, lambda: self._restate(change["old"]))

    def _restate(self, old: str) -> None:
        held = self.item.read(self.text, old)
        back = units.scale(self.chosen_unit, self.item.unit, self.item.label).back
        self._put(f"{back(held):.6g}")
        self.message.saved(
            f"shown in {units.symbol(self.chosen_unit)}; the answer was not changed")

    @property
    def text(self) -> str:
        """What stands in the control now."""
        return str(self.control.value or "")

    @property
    def chosen_unit(self) -> str:
        """The unit chosen beside the number."""
        return str(self.unit.value) if self.unit else self.item.unit

    def show(self, value: Any) -> None:
        """Show a saved answer, in the saved unit, without answering."""
        self.fill(self.item.typed(value))

    def fill(self, text: str) -> None:
        """Show a text without answering."""
        self._typed = False
        self._put(text, self.item.unit)

    def _put(self, text: str, unit: str = "") -> None:
        self._quiet = True
        try:
            if self.unit and unit:
                self.unit.value = unit
            self.offer(None, keep=text)
            self.control.value = text
        finally:
            self._quiet = False

    def offer(self, choices: Sequence[str] | None, keep: str = "") -> None:
        """Offer other choices; what is held stays on offer, or it would be lost unseen."""
        if isinstance(self.control, widgets.Combobox):
            # Any change from here redraws the field and takes away what is half typed.
            if choices is not None and list(self.control.options) != list(choices):
                self.control.options = choices
        elif isinstance(self.control, widgets.Dropdown):
            held = keep or self.text
            names = choices if choices is not None else [
                value for _, value in self.control.options if value]
            offered = _options(self.item, [*names, *([held] if held not in ("", *names) else [])])
            if list(self.control.options) != offered:
                self.control.options = offered
            self.control.value = held

    def read(self) -> Any:
        """The answer to save; a date or zone stands in the control as it was understood.

        Raises:
            FormError: what stands in the control cannot be used.
        """
        value = self.item.read(self.text, self.chosen_unit)
        if self.item.kind in _READ_BACK and self.item.typed(value) != self.text:
            self._put(self.item.typed(value))
        return value


def _options(item: Answer, names: Sequence[str]) -> list[tuple[str, str]]:
    return [("- choose -", ""), *((item.shown(name), name) for name in names)]


def _control(item: Answer) -> widgets.DOMWidget:
    label = f"{item.label} *" if item.required else item.label
    if item.kind is Kind.CHOICE:
        return parts.choice(label, options=_options(item, item.choices), value="")
    if item.kind is Kind.YES:
        return parts.choice(label, value="",
                            options=[("- choose -", ""), ("yes", "yes"), ("no", "no")])
    if item.kind is Kind.LONG:
        return parts.area(label)
    if item.kind is Kind.SUGGESTED:
        return parts.suggested(label, options=item.choices)
    if item.kind is Kind.ZONE:
        return parts.suggested(label, options=zones())
    number = item.kind in (Kind.NUMBER, Kind.WHOLE)
    return parts.text(label, layout=parts.NUMBER_WIDTH if number else parts.WIDE)


def _unit(item: Answer) -> widgets.Dropdown | None:
    if not item.unit:
        return None
    # The label is for screen readers; the unit stands beside its number anyway.
    return parts.choice(
        f"Unit of {item.label}", "fpt-unit", layout=parts.UNIT_WIDTH, value=item.unit,
        options=[(units.symbol(unit), unit) for unit in units.choices(item.unit)],
    )


class Section:
    """A form or a list on a job: where its answers lie, and what the job adds to the declared
    ones: choices, last checks, a word on what was saved."""

    def __init__(self, job: Job, table: Table) -> None:
        self.job, self.table = job, table

    def check(self, name: str, value: Any) -> None:
        """A last look at one answer of a form before it is saved.

        Raises:
            FptError: it cannot be saved, in one sentence.
        """

    def choices(self) -> Mapping[str, Sequence[str]]:
        """What the job offers for the fields whose choices it knows."""
        return {}

    def words(self) -> Mapping[str, Mapping[str, str]]:
        """What people read for choices that the job knows by another word: points, with their tags
        beside them."""
        return {"point": {name: points.tagged(name, row.get("column"))
                          for name, row in self.job.get("points", {}).items()}}

    def offers(self, texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
        """What is offered besides, by what stands in the line of entry."""
        return {}

    def finish(self, row: Row) -> Row:
        """The row to save.

        Raises:
            FptError: it cannot be saved, in one sentence.
        """
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        """What can be said of a row once it is saved: for it, and against it."""
        return "", ""

    def usual(self, row: Row | None = None) -> Row:
        """What a new line of entry begins with: after a row as it was typed, or on a page that
        was just opened."""
        return {}

    def added(self, row: Row) -> Row:
        """A row that is new; one whose key is held takes the place of that one."""
        return row

    def rows(self) -> list[Row]:
        """The rows held now; the key of a row stands in it."""
        if key := self.table.key:
            return [{key.name: name, **row}
                    for name, row in self.job.get(self.table.path, {}).items()]
        return [dict(row) for row in self.job.get(self.table.path, [])]

    def put(self, row: Row, old: Row | None) -> None:
        """Save a row, in the place of ``old`` where that is given; what its form does not ask,
        and what was remarked by hand, stays.

        Raises:
            FormError: ``old`` is there no more as it was read, and no key finds it.
        """
        key = self.table.key

        def filled(held: Any) -> Any:
            for item in self.table.asked:
                if item.name not in row:
                    held.pop(item.name, None)
            held.update({n: value for n, value in row.items() if not key or n != key.name})
            return held

        def change(held: Any) -> None:
            if key:
                name = row[key.name]
                if old is not None and old[key.name] != name:
                    held.pop(old[key.name], None)
                filled(held.setdefault(name, {}))
            elif old is None:
                held.append(filled({}))
            elif (at := position(held, old)) is not None:
                filled(held[at])
            else:
                raise FormError(CHANGED_ELSEWHERE)

        self.edit(change)

    def take(self, old: Row) -> None:
        """Take a row away."""
        def change(held: Any) -> None:
            if self.table.key:
                held.pop(old[self.table.key.name], None)
            elif (at := position(held, old)) is not None:
                del held[at]

        self.edit(change)

    def edit(self, change: Callable[[Any], None]) -> None:
        """Change the rows where they are kept: a mapping by key, or a list."""
        def within(document: Any) -> None:
            # The document itself is edited, so that comments written by hand stay.
            path = self.table.path
            if not lookup(document, path):
                empty = tomlkit.table(is_super_table=True) if self.table.key else tomlkit.aot()
                place(document, path, empty)
            change(lookup(document, path))

        self.job.change(within)


def position(held: Sequence[Row], old: Row) -> int | None:
    """Where a row stands that may have moved since it was read."""
    return next((n for n, row in enumerate(held) if dict(row) == dict(old)), None)


class FormView:
    """A form on a job: shows what the file holds, saves every good answer at once."""

    def __init__(self, section: Section, saved: Saved = lambda: None) -> None:
        self.section, self._saved = section, saved
        self.job, table = section.job, section.table
        self.fields = {path: Field(item, path, self._answered)
                       for item in table.asked for path in [f"{table.path}.{item.name}"]}
        about = f"<p class='fpt-help'>{html.escape(table.about)}</p>" if table.about else ""
        self.widget = parts.column(
            [parts.title(table.title, about), *(field.widget for field in self.fields.values())],
            "fpt-form")
        for path, field in self.fields.items():
            field.show(self.job.get(path))

    def _answered(self, field: Field) -> None:
        guarded(field.message, lambda: self._save(field))

    def _save(self, field: Field) -> None:
        value = field.read()
        if value is not None:
            self.section.check(field.item.name, value)
        self.job.put(field.path, value)
        receipt = f"saved as {field.item.shown(value)}" if field.chosen_unit != field.item.unit \
            else "saved"
        table = self.section.table.path
        wrong = contradictions(table, self.job.get(table, {}), field.item.name)
        field.message.saved("taken away" if value is None else receipt, " ".join(wrong))
        self._saved()

    def missing(self, answers: Mapping[str, Any]) -> list[str]:
        """One sentence for every required answer that is not there, and for what cannot be."""
        path = self.section.table.path
        wrong = contradictions(path, lookup(answers, path, {}))
        return wrong + [
            f"{field.item.label}: no answer yet; fill it in, it is marked * on this page"
            for path, field in self.fields.items()
            if field.item.required and lookup(answers, path) in (None, "")]

    def shown(self) -> static.Shown:
        """What the file holds, as a static table."""
        answers = self.job.answers()
        texts = {field.item.label: field.item.shown(lookup(answers, path))
                 for path, field in self.fields.items()}
        stated = [(label, text) for label, text in texts.items() if text != "–"]
        left = ", ".join(label for label, text in texts.items() if text == "–")
        return static.facts(self.section.table.title,
                            [*stated, ("Not stated", left)] if stated and left else stated)


class RowsView:
    """A list that is filled row by row: one table of what is held, one line of entry."""

    def __init__(self, section: Section, saved: Saved = lambda: None) -> None:
        self.section, self.table, self._saved = section, section.table, saved
        choices, words = section.choices(), section.words()
        self.items = tuple(replace(
            item, choices=tuple(choices.get(item.name, item.choices)),
            words=words.get(item.name, item.words)) for item in self.table.asked)
        self.fields = {item.name: Field(item, item.name, self._changed) for item in self.items}
        self.message, self._saved_at = Message(), 0.0
        self._usual = section.usual()
        self._build()
        self.refresh()

    def _build(self) -> None:
        name, word = handle(self.table.path), self.table.row
        self.list = parts.html()
        self.chooser = parts.choice(f"Which {word}", f"fpt-choose-{name}")
        self.save = parts.button(f"Save {word}", f"fpt-save-{name}", "primary")
        self.remove = parts.button(f"Remove {word}", f"fpt-remove-{name}", "")
        self.save.on_click(lambda _: guarded(self.message, self._put))
        self.remove.on_click(lambda _: guarded(self.message, self._take))
        self.chooser.observe(lambda _: guarded(self.message, self._show_row), names="value")
        entry = [self.chooser, *(field.widget for field in self.fields.values())]
        buttons = parts.line([self.save, self.remove])
        self.widget = parts.column([self.list, *entry, buttons, self.message.widget], "fpt-form")

    def refresh(self) -> None:
        """Show what the store holds now, and an empty line of entry."""
        self._list()
        self.chooser.value = NEW
        self._show_row()

    def look_again(self) -> None:
        """List what was changed elsewhere, unless a row of the list is being changed here."""
        if self.chooser.value == NEW and self.section.rows() != self._held:
            self._list()
        self._offer()

    def _list(self) -> None:
        self._held = self.section.rows()
        markup = self._shown(self._held).markup
        if len(self._held) > MOST_IN_SIGHT:
            # A long list would push its line of entry out of sight.
            markup = (f"<details><summary><b>{html.escape(self.table.title)}</b>: "
                      f"{len(self._held)} held, show them</summary>{markup}</details>")
        self.list.value = markup
        names = [(f"{n + 1}: {self._name(row)}", n) for n, row in enumerate(self._held)]
        self.chooser.options = [(f"new {self.table.row}", NEW), *names]

    def _show_row(self) -> None:
        row = self._chosen() or self._usual
        for name, field in self.fields.items():
            field.show(row.get(name))
            field.message.clear()
        self.remove.disabled = self._chosen() is None
        self._offer()

    def _chosen(self) -> Row | None:
        return None if self.chooser.value == NEW else self._held[self.chooser.value]

    def _changed(self, field: Field) -> None:
        field.message.clear()
        guarded(field.message, lambda: field.read() and None)
        self._offer()

    def _offer(self) -> None:
        texts = {name: field.text for name, field in self.fields.items()}
        for name, offered in self.section.offers(texts).items():
            self.fields[name].offer(offered)

    def _put(self) -> None:
        # The second press of a double click finds the line as the first, which has saved, left it.
        untouched = all(field.text == field.item.typed(self._usual.get(name))
                        for name, field in self.fields.items())
        if untouched and time.monotonic() - self._saved_at < DOUBLE_CLICK:
            return
        typed, old = self._typed(), self._chosen()
        row = self.section.finish(typed)
        if old is None:
            row = self.section.added(row)
        if wrong := contradictions(self.table.path, row):
            raise FormError(" ".join(wrong))
        instead = self._replaced(row)
        self.section.put(row, old)
        if old is None:
            self._usual = self.section.usual(typed)
        self.refresh()
        agrees, doubt = self.section.receipt(row)
        said = [f"{self.table.row} saved{instead}: {self._name(row)}", agrees]
        self.message.saved("; ".join(filter(None, said)), doubt)
        self._saved()
        self._saved_at = time.monotonic()

    def _typed(self) -> Row:
        row: Row = {}
        for name, field in self.fields.items():
            value = field.read()
            if value is None and field.item.required:
                raise FormError(f"{field.item.label}: no answer; a {self.table.row} needs it")
            if value is not None:
                row[name] = value
        return row

    def _replaced(self, row: Row) -> str:
        """Words for a new row that takes the place of one with the same key."""
        key = self.table.key
        new = key is not None and self.chooser.value == NEW and any(
            each[key.name] == row[key.name] for each in self._held)
        return " in place of the one held before" if new else ""

    def _take(self) -> None:
        row = self._chosen()
        if row is not None:
            self.section.take(row)
            self.refresh()
            self.message.saved(f"{self.table.row} removed: {self._name(row)}")
            self._saved()

    def shown(self) -> static.Shown:
        """What the store holds, as a static table."""
        return self._shown(self.section.rows())

    def _shown(self, rows: Sequence[Row]) -> static.Shown:
        asked = [item for item in self.items
                 if item.required or any(row.get(item.name) not in (None, "") for row in rows)]
        texts = [[item.shown(row.get(item.name)) for item in asked] for row in rows]
        return static.table(self.table.title, [item.label for item in asked], texts)

    def _name(self, row: Row) -> str:
        first = self.items[0]
        return first.shown(row.get(first.name))
