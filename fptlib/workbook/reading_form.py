"""How the trend files are read: what they leave open with a field for each answer, what the reading
doubts, and ten rows as they are, or would be, read."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import numpy as np
import tomlkit

from fptlib import points, units
from fptlib.answer import Answer
from fptlib.errors import IntakeError
from fptlib.job.folder import Job
from fptlib.job.tables import table
from fptlib.trends.cache import cached_trends
from fptlib.trends.continuing import same_series
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import files_of
from fptlib.trends.questions import Asked, Question, asked_by, preview
from fptlib.workbook import panels, parts, static
from fptlib.workbook.forms import Field, Message, Saved, guarded

_ROWS = 10


class ReadingForm:
    """A panel on a job; ``look`` reads the files and shows what came of it. ``again`` is called
    when the last question is answered; without it the files are read again."""

    def __init__(self, job: Job, saved: Saved = lambda: None, again: Saved | None = None) -> None:
        self.job, self._saved = job, saved
        self.asked: list[Asked] = []
        self._grid: Grid | None = None
        self._open, self._unread = 0, tuple[str, ...]()
        read = parts.button("Read the files", "fpt-read-files", "")
        self.questions = parts.column([], "fpt-questions")
        self.file = parts.choice("Ten rows of the file", "fpt-preview")
        self.shown, self.doubts = parts.html(), parts.html()
        self.inside = parts.column([parts.html("<p>No point is in the map yet.</p>")])
        self.panel = panels.Panel("How the files are read", [self.inside])
        self.controls = read, self.questions, self.doubts, self.file, self.shown
        self._again = again or (lambda: self.panel.message.saved(self.look()))
        self.panel.does(read, lambda: self.look(self._unread), saved)
        self.file.observe(lambda _: guarded(self.panel.message, self._preview), names="value")
        self.widget = self.panel.widget

    def look(self, unread: Iterable[str] = ()) -> str:
        """Read every file that a point comes from, and say whether anything is left open.

        Args:
            unread: files whose columns cannot be read yet, which are asked for too.
        """
        answers = self.job.answers()
        mapped = list(dict.fromkeys(
            file for row in answers.get("points", {}).values() for file in files_of(row)))
        self.inside.children = self.controls
        self._unread = tuple(unread)
        names, stop, self._grid = dict.fromkeys(unread), "", None
        try:
            if mapped:
                self._grid = cached_trends(
                    self.job.trends_folder, self.job.folder / ".cache" / "trends", answers)
        except IntakeError as error:
            names, stop = dict.fromkeys([*names, *mapped]), str(error)
        every = [asked_by(self.job.trends_folder, answers, name) for name in names]
        self.asked = [one for one in every if one.questions]
        if stop and not self.asked:
            self.asked = [Asked("", (Question.of(stop),), answers)]
        self._show(mapped)
        if not self._open and self._grid is None:
            return "no point is in the map yet; accept the ticked points above"
        if self._open or self._grid is None:
            return (f"{self._open} question{'s' * (self._open != 1)} open; answer them, and the "
                    "files are read again")
        return (f"every point of the map is read: {len(self._grid):,} rows from "
                f"{self._grid.start:%Y-%m-%d %H:%M}")

    def _show(self, mapped: Sequence[str]) -> None:
        # What the files of one series ask alike is asked once.
        alike: dict[Any, list[Question]] = {}
        for one in self.asked:
            for question in one.questions:
                point = question.place[1:] if question.place[:1] == ("points",) else ()
                key = same_series(one.file), point, str(question.options), question.free
                alike.setdefault(key if question.place else question, []).append(question)
        self._open = len(alike)
        self.questions.children = [
            widget for questions in alike.values() for widget in self._ask(questions)]
        doubts = [[remark.file, points.plain(remark.point), remark.text]
                  for remark in (self._grid.remarks if self._grid else ())
                  if remark.severity != "note"]
        self.doubts.value = static.table(
            "Doubts; no check passes on a point that is doubted", ("File", "Point", "Doubt"),
            doubts).markup if doubts else ""
        offered = [one.file for one in self.asked if one.file] or list(mapped)
        self.file.options = offered
        self.file.value = offered[0] if offered else None
        self._preview()

    # -- questions ------------------------------------------------------------------------------

    def _ask(self, questions: Sequence[Question]) -> list[widgets.Widget]:
        """What several files ask alike: the first sentence, a button for each answer that it
        offers, a field for what must be typed."""
        message, question = Message(), questions[0]
        others = [each.place[1] for each in questions[1:] if each.place != question.place]
        more = f" The same answer counts for {', '.join(others)}." if others else ""
        said = parts.html(f"<p class='fpt-bad'>{html.escape(_found(question) + more)}</p>")
        if not question.place:
            return [said]
        items = _items(question)
        answered: dict[str, Any] = {}
        # The words of a status take two fields.
        both = {"on", "off"} if {"on", "off"} <= set(question.free) else set[str]()

        def left() -> set[str]:
            return both - answered.keys() if both & answered.keys() else set()

        def taken(given: Mapping[str, Any]) -> None:
            was_open = not answered or bool(left())
            answered.update(given)
            for place in dict.fromkeys(place for each in questions
                                       for place in (each.place, *each.also)):
                self._state(place, given)
            still = ", ".join(items[key].label for key in left())
            message.saved("saved; " + _told(items, answered)
                          + f"; still open: {still}" * bool(still))
            closed = was_open and not left()
            self._open -= closed
            if closed and not self._open:
                self._again()
            self._saved()

        made = [parts.button(_told(items, option), "fpt-answer", "") for option in question.options]
        for button, option in zip(made, question.options, strict=True):
            button.on_click(lambda _, option=option: guarded(message, lambda: taken(option)))
        def typed(field: Field) -> None:
            guarded(field.message, lambda: taken({field.item.name: field.read()}))

        fields = [Field(item, f"{'.'.join(question.place)}.{key}", typed)
                  for key in question.free if (item := items.get(key))]
        return [said, parts.line(made), *(field.widget for field in fields), message.widget]

    def _state(self, place: tuple[str, ...], given: Mapping[str, Any]) -> None:
        """Put answers into ``job.toml``, at a place whose name may hold a full stop."""
        def edit(document: Any) -> None:
            held = document.setdefault(place[0], tomlkit.table(is_super_table=True))
            named = held.setdefault(place[1], tomlkit.table())
            for key, value in given.items():
                if isinstance(value, list):
                    # A further word does not take the place of those before.
                    before = named.get(key, [])
                    before = before if isinstance(before, list) else [before]
                    value = list(dict.fromkeys([*before, *value]))
                named[key] = value

        self.job.change(edit)

    # -- ten rows ---------------------------------------------------------------------------------

    def _preview(self) -> None:
        """The first ten rows of the chosen file in which anything is known."""
        name = str(self.file.value or "")
        grid = self._grid or next((preview(self.job.trends_folder, one) for one in self.asked
                                   if one.file == name and one.answers.get("points")), None)
        title = "As they are read" if self._grid else (
            "As they would be read with the first answer to each question")
        # Many columns are wider than a window: the table moves under it, by key as well.
        self.shown.value = (
            "<div role='region' tabindex='0' aria-label='Ten rows of the file' class='fpt-wide'>"
            f"{_rows_of(grid, self._points_of(name), title).markup}</div>") if grid else ""

    def _points_of(self, file: str) -> list[str]:
        return [name for name, row in self.job.get("points", {}).items() if file in files_of(row)]


def _found(question: Question) -> str:
    """The sentence; what it says to state only where no button and no field says so, or where it
    says when which answer is right."""
    found, _, advice = question.text.partition("; state ")
    return question.text if " if " in advice or not question.options else found


def _items(question: Question) -> dict[str, Answer]:
    """The declared answers that a question is about, with what it offers."""
    declared = table(question.place[0]) if question.place else None
    items = declared.answers if declared else {}
    return {name: replace(item, choices=question.offered)
            if name == "unit" and question.offered else item for name, item in items.items()}


def _told(items: Mapping[str, Answer], given: Mapping[str, Any]) -> str:
    return ", ".join(f"{items[key].label if key in items else key}: "
                     f"{items[key].shown(value) if key in items else value}"
                     for key, value in given.items())


def _rows_of(grid: Grid, names: Sequence[str], title: str) -> static.Shown:
    """A line for each point, its first ten values; times in the site's zone."""
    held = [name for name in names if name in grid.columns]
    known = np.flatnonzero(np.any([~np.isnan(grid.columns[name]) for name in held], axis=0)) \
        if held else np.empty(0, int)
    rows = known[:_ROWS].tolist()
    heads = ["Point", "Unit", *(f"{grid.time(row):%m-%d %H:%M}" for row in rows)]
    return static.table(f"{title}, in the time of the site", heads, [
        [points.tagged(name, grid.tag(name)), units.symbol(points.point(name).unit),
         *(_cell(name, float(grid.columns[name][row])) for row in rows)] for name in held],
        "no value can be read")


def _cell(name: str, value: float) -> str:
    if value != value:
        return "–"
    if points.point(name).kind in (points.STATUS, points.ALARM):
        return "on" if value else "off"
    return f"{value:.4g}"
