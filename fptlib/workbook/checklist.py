"""Checklists: what must be so before the test, and every override until it is released."""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any

import ipywidgets as widgets

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.workbook import parts, static
from fptlib.workbook.forms import Message, Saved, guarded
from fptlib.workbook.parts import button
from fptlib.workbook.questions import position
from fptlib.workbook.readings import site_time

Row = Mapping[str, Any]


def change_row(job: Job, path: str, old: Row, changes: Row) -> None:
    """Change one row of a list, found by what it held when it was read.

    Raises:
        FormError: another window has changed or removed it.
    """
    def change(document: Any) -> None:
        held = document.get(path, [])
        place = position(held, old)
        if place is None:
            raise FormError("this line was changed in another window; run the cell again")
        for name, value in changes.items():
            held[place][name] = value

    job.change(change)


class _Line:
    """One line of a checklist, which keeps what it last read."""

    def __init__(self, job: Job, path: str, row: Row, saved: Saved) -> None:
        self.job, self.path, self.row, self._saved = job, path, dict(row), saved
        self.message = Message()

    def build(self) -> widgets.Widget:
        """The line's widget."""
        raise NotImplementedError

    def change(self, **changes: Any) -> None:
        change_row(self.job, self.path, self.row, changes)
        self.row.update(changes)
        self.message.saved()
        self._saved()

    def _text(self, label: str, name: str, width: str = "16rem") -> widgets.Text:
        box = widgets.Text(value=str(self.row.get(name, "")), description=label,
                           continuous_update=False, style={"description_width": "initial"},
                           layout=widgets.Layout(width=width, max_width="100%"))
        box.observe(lambda change: guarded(
            self.message, lambda: self.change(**{name: change["new"]})), names="value")
        return box


class PrerequisiteLine(_Line):
    """A prerequisite with its tick and who saw it."""

    def build(self) -> widgets.Widget:
        tick = widgets.Checkbox(value=bool(self.row.get("done")), indent=False,
                                description=str(self.row.get("text", "")),
                                layout=widgets.Layout(width="auto", max_width="100%"))
        tick.observe(lambda change: guarded(
            self.message, lambda: self.change(done=change["new"])), names="value")
        return _lined([tick, self._text("Seen by", "by")], self.message)


class OverrideLine(_Line):
    """An override with the moments it was placed and released, and the value read back."""

    def build(self) -> widgets.Widget:
        value = f" = {self.row['value']}" if self.row.get("value") else ""
        self.name = f"{self.row.get('point', '?')}{value}"
        self.said = parts.html()
        stamps = [self._stamp("Placed now", "placed"), self._stamp("Released now", "released")]
        self._say()
        return _lined([self.said, *stamps, self._text("Read back", "readback")], self.message)

    def _stamp(self, text: str, name: str) -> widgets.Button:
        stamp = button(text, f"fpt-{name}", "")
        stamp.tooltip = f"{text}: {self.name}"
        stamp.on_click(lambda _: guarded(self.message, lambda: self._stamped(name)))
        return stamp

    def _stamped(self, name: str) -> None:
        self.change(**{name: site_time(self.job).isoformat(timespec="seconds")})
        self._say()

    def change(self, **changes: Any) -> None:
        super().change(**changes)
        self._say()

    def _say(self) -> None:
        verdict = static.verdict_markup("done" if closed(self.row) else "waiting")
        moments = ", ".join(f"{key} {_moment(self.row.get(key))}" for key in ("placed", "released"))
        self.said.value = f"{verdict} <b>{html.escape(self.name)}</b><br>{html.escape(moments)}"


def _moment(stated: Any) -> str:
    return str(stated or "–")[:16].replace("T", " ")


def closed(row: Row) -> bool:
    """Whether an override was released and its value read back."""
    return bool(row.get("released") and row.get("readback"))


def _lined(content: list[widgets.Widget], message: Message) -> widgets.Widget:
    return parts.column([parts.line(content), message.widget], "fpt-check-line")


class Checklist:
    """A list in ``job.toml`` as lines to be closed one by one."""

    def __init__(self, job: Job, path: str, title: str, line: type[_Line], empty: str,
                 saved: Saved = lambda: None) -> None:
        self.title = title
        rows = [dict(row) for row in job.get(path, [])]
        lines = [line(job, path, row, saved).build() for row in rows]
        head = parts.html(f"<h4 class='fpt-form-title'>{html.escape(title)}</h4>")
        nothing = [] if rows else [parts.html(f"<p>{html.escape(empty)}</p>")]
        self.widget = parts.column([head, *nothing, *lines], "fpt-form")

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        return static.live(self.widget, f"[checklist: {self.title}]", **kwargs)


def prerequisites(job: Job, saved: Saved = lambda: None) -> Checklist:
    """What must be so before the test, to be ticked and signed off."""
    return Checklist(job, "prerequisites", "Prerequisites, signed off", PrerequisiteLine,
                     "No prerequisites are listed.", saved)


def overrides(job: Job, saved: Saved = lambda: None) -> Checklist:
    """Every override until it is released; the record is not signed before."""
    return Checklist(job, "overrides", "Overrides to be released", OverrideLine,
                     "No overrides are listed.", saved)
