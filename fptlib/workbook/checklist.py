"""Checklists: the prerequisites before the test, and every override until it is released."""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any

import ipywidgets as widgets

from fptlib.errors import FormError
from fptlib.job.folder import Job, site_time
from fptlib.job.tables import Table, contradictions, table
from fptlib.workbook import parts, state, static
from fptlib.workbook.forms import Message, Saved, Section, guarded

Row = Mapping[str, Any]


def _table(path: str) -> Table:
    found = table(path)
    assert found is not None
    return found


class Line:
    """One line of a checklist, which keeps what it last read."""

    def __init__(self, job: Job, path: str, row: Row, saved: Saved) -> None:
        self.job, self.row, self._saved = job, dict(row), saved
        self.section = Section(job, _table(path))
        self.items = self.section.table.answers
        self.message = Message()
        self.widget = parts.column([parts.line(self.controls()), self.message.widget],
                                   "fpt-check-line")

    def controls(self) -> list[widgets.Widget]:
        """The line's controls."""
        raise NotImplementedError

    def change(self, **changes: Any) -> None:
        """Save some answers of the row, found by what it held when it was read.

        Raises:
            FormError: another window has changed or removed it, or it contradicts itself.
        """
        row = {**self.row, **changes}
        if wrong := contradictions(self.section.table.path, row):
            raise FormError(" ".join(wrong))
        self.section.put(row, self.row)
        self.row = row
        self.message.saved()
        self._saved()

    def _saves(self, control: widgets.Widget, name: str) -> widgets.Widget:
        control.observe(lambda change: guarded(
            self.message, lambda: self.change(**{name: change["new"]})), names="value")
        return control

    def _text(self, label: str, name: str) -> widgets.Widget:
        return self._saves(widgets.Text(
            value=str(self.row.get(name, "")), description=label, continuous_update=False,
            style={"description_width": "initial"},
            layout=widgets.Layout(width="20rem", max_width="100%")), name)


class PrerequisiteLine(Line):
    """A prerequisite with its tick and who verified it."""

    def controls(self) -> list[widgets.Widget]:
        tick = parts.tick(str(self.row.get("text", "")), value=bool(self.row.get("done")))
        return [self._saves(tick, "done"),
                self._text(self.items["by"].label, "by")]


class OverrideLine(Line):
    """An override with the moments it was placed and released, and the value verified in AUTO."""

    def controls(self) -> list[widgets.Widget]:
        value = f" = {self.row['value']}" if self.row.get("value") else ""
        self.name = f"{self.items['point'].shown(self.row.get('point'))}{value}"
        self.state = parts.html()
        self._show()
        return [self.state, self._stamp("Placed now", "placed"),
                self._stamp("Released now", "released"), self._text("Verified in AUTO", "readback")]

    def _stamp(self, text: str, name: str) -> widgets.Button:
        stamp = parts.button(text, f"fpt-{name}", "")
        stamp.tooltip = f"{text}: {self.name}"
        stamp.on_click(lambda _: guarded(self.message, lambda: self.change(
            **{name: site_time(self.job).isoformat(timespec="seconds")})))
        return stamp

    def change(self, **changes: Any) -> None:
        super().change(**changes)
        self._show()

    def _show(self) -> None:
        moments = ", ".join(f"{name} {self.items[name].shown(self.row.get(name))}"
                            for name in ("placed", "released"))
        mark = static.verdict_markup("done" if state.closed(self.row) else "waiting")
        self.state.value = f"{mark} <b>{html.escape(self.name)}</b><br>{html.escape(moments)}"


class Checklist:
    """A list in ``job.toml`` as lines to be closed one by one."""

    def __init__(self, job: Job, path: str, line: type[Line], title: str,
                 saved: Saved = lambda: None) -> None:
        lines = [line(job, path, row, saved).widget for row in job.get(path, [])]
        nothing = f"<p>No {html.escape(_table(path).row)} is listed.</p>" if not lines else ""
        self.widget = parts.column([parts.title(title, nothing), *lines], "fpt-form")


def prerequisites(job: Job, saved: Saved = lambda: None) -> Checklist:
    """The prerequisites, to be ticked and signed off before the test."""
    return Checklist(job, "prerequisites", PrerequisiteLine, "Prerequisites, signed off", saved)


def overrides(job: Job, saved: Saved = lambda: None) -> Checklist:
    """Every override until it is released; the record is not signed before."""
    return Checklist(job, "overrides", OverrideLine, "Overrides to be released", saved)
