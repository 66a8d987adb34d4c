"""Lists that are filled row by row: one table of what is held, one line of entry.

One line of entry serves every row, so that sixty points need no three hundred widgets and
the keyboard alone suffices: choose the row, tab through its fields, press the button.
"""

from __future__ import annotations

import html
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

import tomlkit

from fptlib.job.folder import Job, lookup, place
from fptlib.workbook import parts, questions, static
from fptlib.workbook.forms import DOUBLE_CLICK, Field, Message, Saved, guarded, handle
from fptlib.workbook.questions import Rows

NEW = -1
MOST_IN_SIGHT = 6

Texts = Mapping[str, str]
Offers = Callable[[Texts], Mapping[str, Sequence[str]]]
Finish = Callable[[dict[str, Any]], dict[str, Any]]
Told = Callable[[Mapping[str, Any]], tuple[str, str]]


class Store(Protocol):
    """Where the rows of a list lie."""

    def rows(self) -> list[dict[str, Any]]: ...
    def put(self, row: Mapping[str, Any], old: Mapping[str, Any] | None) -> None: ...
    def take(self, old: Mapping[str, Any]) -> None: ...


class JobStore:
    """Rows in ``job.toml``."""

    def __init__(self, job: Job, rows: Rows) -> None:
        self._job, self._rows = job, rows

    def rows(self) -> list[dict[str, Any]]:
        return self._rows.rows(self._job.answers())

    def put(self, row: Mapping[str, Any], old: Mapping[str, Any] | None) -> None:
        self._edit(lambda held: questions.put_row(self._rows, held, row, old))

    def take(self, old: Mapping[str, Any]) -> None:
        self._edit(lambda held: questions.take_row(self._rows, held, old))

    def _edit(self, edit: Callable[[Any], None]) -> None:
        def change(document: Any) -> None:
            # The document itself is edited, so that comments written by hand stay.
            if not lookup(document, self._rows.path):
                empty = tomlkit.table(is_super_table=True) if self._rows.key else tomlkit.aot()
                place(document, self._rows.path, empty)
            edit(lookup(document, self._rows.path))

        self._job.change(change)


class RowsView:
    """A list on a job.

    Args:
        store: where the rows lie.
        rows: what a row asks.
        saved: called after every save.
        offers: from what stands in the line of entry to the choices of its fields.
        finish: last check of a row before it is saved; may complete it.
        told: what can be said of a row once it is saved: for it, and against it.
    """

    def __init__(self, store: Store, rows: Rows, saved: Saved = lambda: None,
                 offers: Offers | None = None, finish: Finish = lambda row: row,
                 told: Told = lambda row: ("", "")) -> None:
        self.store, self.rows = store, rows
        self._saved, self._offers, self._finish, self._told = saved, offers, finish, told
        self.fields = {item.path: Field(item, self._changed) for item in rows.asked}
        self.message, self._saved_at = Message(), 0.0
        self._build()
        self.refresh()

    def _build(self) -> None:
        name = handle(self.rows.path)
        self.table = parts.html()
        self.chooser = parts.choice(f"Which {self.rows.row_word}", f"fpt-choose-{name}")
        self.save = parts.button(f"Save {self.rows.row_word}", f"fpt-save-{name}", "primary")
        self.remove = parts.button(f"Remove {self.rows.row_word}", f"fpt-remove-{name}", "")
        self.save.on_click(lambda _: guarded(self.message, self._put))
        self.remove.on_click(lambda _: guarded(self.message, self._take))
        self.chooser.observe(lambda _: guarded(self.message, self._show_row), names="value")
        entry = [self.chooser, *(field.widget for field in self.fields.values())]
        buttons = parts.line([self.save, self.remove])
        self.widget = parts.column([self.table, *entry, buttons, self.message.widget], "fpt-form")

    def refresh(self, chosen: int = NEW) -> None:
        """Show what the store holds now."""
        self._list()
        self.chooser.value = chosen
        self._show_row()

    def look_again(self) -> None:
        """List what was changed elsewhere, unless a row of the list is being changed here."""
        if self.chooser.value == NEW and self.store.rows() != self._held:
            self._list()

    def _list(self) -> None:
        self._held = self.store.rows()
        self.table.value = self._folded(held(self.rows, self._held).markup)
        names = [(f"{n + 1}: {_name(self.rows, row)}", n) for n, row in enumerate(self._held)]
        self.chooser.options = [(f"new {self.rows.row_word}", NEW), *names]

    def _folded(self, markup: str) -> str:
        # A long list would push its line of entry out of sight.
        if len(self._held) <= MOST_IN_SIGHT:
            return markup
        return (f"<details><summary><b>{html.escape(self.rows.title)}</b>: {len(self._held)} "
                f"held, show them</summary>{markup}</details>")

    def _show_row(self) -> None:
        row = self._chosen() or {}
        for path, field in self.fields.items():
            field.show(row.get(path))
            field.message.clear()
        self.remove.disabled = not row
        self._offer()

    def _chosen(self) -> dict[str, Any] | None:
        return None if self.chooser.value == NEW else self._held[self.chooser.value]

    def _changed(self, field: Field) -> None:
        field.message.clear()
        guarded(field.message, lambda: field.read() and None)
        self._offer()

    def _offer(self) -> None:
        if self._offers is None:
            return
        texts = {path: field.text for path, field in self.fields.items()}
        for path, choices in self._offers(texts).items():
            self.fields[path].offer(list(choices))

    def _put(self) -> None:
        typed = {path: (f.text, f.chosen_unit) for path, f in self.fields.items()}
        if self._pressed_twice(typed):
            return
        row = self._finish(questions.row_from(self.rows, typed))
        instead = self._replaced(row)
        self.store.put(row, self._chosen())
        self.refresh()
        agrees, doubt = self._told(row)
        said = [f"{self.rows.row_word} saved{instead}: {_name(self.rows, row)}", agrees]
        self.message.saved("; ".join(filter(None, said)), doubt)
        self._saved()
        self._saved_at = time.monotonic()

    def _pressed_twice(self, typed: Mapping[str, tuple[str, str]]) -> bool:
        # The second press of a double click finds the line empty, for the first has saved it.
        empty = not any(text for text, _ in typed.values())
        return empty and time.monotonic() - self._saved_at < DOUBLE_CLICK

    def _replaced(self, row: Mapping[str, Any]) -> str:
        """Words for a new row that takes the place of one with the same key."""
        key = self.rows.key
        held = [each[key.path] for each in self._held] if key else []
        new = key is not None and self.chooser.value == NEW and row[key.path] in held
        return " in place of the one held before" if new else ""

    def _take(self) -> None:
        row = self._chosen()
        if row is not None:
            self.store.take(row)
            self.refresh()
            self.message.saved(f"{self.rows.row_word} removed: {_name(self.rows, row)}")
            self._saved()

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        return static.live(self.widget, f"[form: {self.rows.title}]", **kwargs)


def held(rows: Rows, content: Sequence[Mapping[str, Any]]) -> static.Shown:
    """The rows held, as a static table."""
    asked = [item for item in rows.asked
             if item.required or any(row.get(item.path) not in (None, "") for row in content)]
    texts = [[questions.shown(item, row.get(item.path)) for item in asked] for row in content]
    return static.table(rows.title, [item.label for item in asked], texts)


def _name(rows: Rows, row: Mapping[str, Any]) -> str:
    return questions.shown(rows.asked[0], row.get(rows.asked[0].path))

