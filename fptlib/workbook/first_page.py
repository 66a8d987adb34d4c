"""The plan's opening: drop the trend files, look through the columns, answer four questions, run.

One tick box for each column that is or may be a point, its row the box's own label, so that the
keyboard alone suffices and a screen reader hears the whole row. One line of entry corrects any row.
"""

from __future__ import annotations

import html
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import fields, replace
from typing import Any

import ipywidgets as widgets

from fptlib import points, units
from fptlib.errors import FormError, IntakeError
from fptlib.job.folder import Job
from fptlib.trends.questions import Question
from fptlib.trends.weather import read_weather
from fptlib.workbook import panels, parts, point_table, questionnaire, static
from fptlib.workbook.forms import FormView, Saved, guarded
from fptlib.workbook.point_table import IN_THE_MAP, TABLE_FILE, PointTable, Row
from fptlib.workbook.reading_form import ReadingForm

# The answers without which there is no first verdict.
FIRST = (("site", ("altitude", "time_zone")), ("plant", ("chillers", "tower_cells")))
EVERYTHING, DOUBTED, NO_POINT = "everything", "what is doubted", -1
_ORDERS: dict[str, Callable[[Row], Any]] = {
    "as in the files": lambda row: 0,
    "doubt first": lambda row: (not row.doubt, row.confidence),
    "by equipment": lambda row: (row.equipment, row.point),
}
_HEADS = ("Point", "Unit", "Sure %", "Column", "File", "First values", "Every min", "Good %",
          "Looks like")


class FirstPage:
    """Files, points, first answers and the run, one below the other."""

    def __init__(self, job: Job, saved: Saved = lambda: None) -> None:
        self.job, self._saved = job, saved
        self.rows: list[Row] = []
        self.table: PointTable | None = None
        self.boxes: dict[int, widgets.Checkbox] = {}
        self.upload = panels.upload(job, self._taken)
        self.upload.widget.add_class("fpt-drop")
        self._build()
        self.answers = [FormView(_only(job, path, names), self._answered) for path, names in FIRST]
        self.reading = ReadingForm(job, saved, self._look_again)
        self.widget = parts.column([
            self.upload.widget, self.panel.widget, *(view.widget for view in self.answers),
            self.reading.widget, panels.run_every(job, saved).widget])
        if job.trend_files():
            guarded(self.panel.message, self.look)
            self._read()

    def _build(self) -> None:
        self.order = parts.choice("Sort", "fpt-sort", options=list(_ORDERS))
        self.filter = parts.choice("Show", "fpt-show", options=[EVERYTHING])
        self.heads = parts.html(_cells(_HEADS, "fpt-heads"))
        self.list = parts.column([], "fpt-points")
        self.column = parts.choice("Correct the column", "fpt-correct")
        self.point = parts.choice("It is", "fpt-is", options=[("- not used -", "")])
        self.unit = parts.choice("Unit in the file", "fpt-unit")
        self.rest = parts.html()
        certain = parts.button("Tick all that are certain", "fpt-certain", "")
        correct = parts.button("Correct this column", "fpt-correct-row", "")
        accept = parts.button("Accept the ticked points", "fpt-accept", "primary")
        write = parts.button("Write this table as a file", "fpt-write-table", "")
        self.edited = parts.files("Read the edited table file", "fpt-read-table", accept=".csv")
        self.written = parts.html()
        # What works on columns stands there once there are some.
        self.inside = parts.column([parts.html("<p>None yet: drop the trend files above.</p>")])
        self.controls = (
            parts.line([self.order, self.filter]), self.heads, self.list,
            parts.line([certain, accept]), self.column, self.point, self.unit, correct,
            parts.line([write, self.edited, self.written]), self.rest)
        self.panel = panels.Panel("Columns of the trend files", [self.inside])
        self.panel.does(certain, self._certain).does(correct, self._corrected)
        self.panel.does(accept, lambda: self._accepted(self.rows), self._answered)
        self.panel.does(write, self._written)
        self.edited.observe(
            lambda change: change["new"] and guarded(self.panel.message, self._read_back),
            names="value")
        for control, work in ((self.order, self._arrange), (self.filter, self._arrange),
                              (self.column, self._chosen), (self.point, self._offer_units)):
            control.observe(lambda _, work=work: guarded(self.panel.message, work), names="value")

    # -- what the files hold ----------------------------------------------------------------

    def look(self) -> None:
        """Read the files anew and show their columns; what was corrected and not accepted goes."""
        self.table = point_table.of(self.job)
        self.rows = list(self.table.rows)
        self.inside.children = self.controls
        self.boxes = {at: self._box(at) for at, row in enumerate(self.rows) if row.point}
        self.column.options = [("- choose -", NO_POINT), *(
            (f"{row.column} ({row.files})", at) for at, row in enumerate(self.rows))]
        known = sorted({points.point(row.point).name for row in self.rows
                        if points.is_point(row.point)})
        counts = max(self.table.chillers, 1), max(self.table.tower_cells, 1)
        offered = [point.name for point in points.all_points(
            *counts, *(int(self.job.get(f"plant.{name}", 0) or 0)
                       for name in ("pumps", "air_handlers", "sumps", "exchangers")))]
        self.point.options = [("- not used -", ""), *(
            (points.point(name).meaning, name) for name in dict.fromkeys([*offered, *known]))]
        self.filter.options = [EVERYTHING, DOUBTED, *sorted(
            {row.equipment for row in self.rows if row.point})]
        self._arrange()
        self._say_rest()

    def _taken(self) -> None:
        guarded(self.panel.message, self.look)
        self._answered()

    def _look_again(self) -> None:
        """Show the columns of files that could not be read before, and read what is mapped."""
        self.look()
        if any("continues it" in row.doubt for row in self.rows):
            self.panel.message.saved("look through the doubts: a file that can be read now "
                                     "continues points of the map once they are accepted again")
        self._read()

    def _answered(self) -> None:
        self._saved()
        self._read()

    def _read(self) -> None:
        """Ask what the files leave open; read them once the map is there and what the reading
        needs is answered."""
        unread = [name for name, text in (self.table.unread if self.table else {}).items()
                  if Question.of(text).place]
        ready = self.job.get("points") and all(
            self.job.get(path) is not None for path in ("site.altitude", "site.time_zone"))
        if unread or ready or self.reading.asked:
            panel = self.reading.panel
            guarded(panel.message, lambda: panel.message.saved(self.reading.look(unread)))

    def _box(self, at: int) -> widgets.Checkbox:
        row = self.rows[at]
        box = parts.tick(_label(row), value=row.accept, description_allow_html=True)
        box.observe(lambda change: self._ticked(at, bool(change["new"])), names="value")
        return box

    def _ticked(self, at: int, value: bool) -> None:
        self.rows[at] = replace(self.rows[at], accept=value)
        guarded(self.panel.message, self._say_rest)

    def _arrange(self) -> None:
        """The boxes in the order and of the choice that stand above them."""
        chosen = str(self.filter.value)
        shown = [at for at in self.boxes if chosen == EVERYTHING or (
            bool(self.rows[at].doubt) if chosen == DOUBTED else
            self.rows[at].equipment == chosen)]
        shown.sort(key=lambda at: _ORDERS[str(self.order.value)](self.rows[at]))
        self.list.children = [self.boxes[at] for at in shown]

    def _say_rest(self) -> None:
        """What is not used, what is missing and what that costs."""
        assert self.table is not None
        unused = [[row.column, row.files, row.first, row.looks] for row in self.rows
                  if not row.point]
        lacking = point_table.costs(self.job.answers(), self.rows)
        missing = [[points.point(name).meaning, str(len(checks)), "; ".join(checks)]
                   for name, checks in lacking.items()]
        unread = [[name, text] for name, text in self.table.unread.items()]
        said = [static.table("Missing points, and the checks that are not tested without them",
                             ("Point", "Checks", "What stays open"), missing,
                             "no point is missing")]
        said += [static.table("Not read", ("File", "Why"), unread)] if unread else []
        said += [static.table("Not used", ("Column", "File", "First values", "Looks like"), unused,
                              "every column is used")]
        self.rest.value = "".join(each.markup for each in said)

    # -- buttons ----------------------------------------------------------------------------

    def _certain(self) -> str:
        """Tick what is certain, and nothing else."""
        assert self.table is not None
        for at, box in self.boxes.items():
            row = self.table.rows[at]
            box.value = row.accept and self.rows[at].point == row.point
        count = sum(row.accept for row in self.rows)
        return f"{count} columns are ticked; look at the others, then accept"

    def _chosen(self) -> None:
        """Show the chosen column's point and unit in the line of entry."""
        if self.column.value is not None and self.column.value != NO_POINT:
            row = self.rows[int(self.column.value)]
            self.point.value = row.point
            self._offer_units(row.unit)

    def _offer_units(self, held: str = "") -> None:
        name = str(self.point.value or "")
        offered = units.offered(points.point(name).unit) if name else []
        self.unit.options = offered
        self.unit.value = held if held in offered else next(iter(offered), None)

    def _corrected(self) -> str:
        """Give the chosen column the point and unit of the line of entry, ticked."""
        if self.column.value in (None, NO_POINT):
            raise FormError("Correct the column: no column is chosen")
        at, name = int(self.column.value), str(self.point.value or "")
        old = self.rows[at]
        self.rows[at] = replace(old, point=name, unit=str(self.unit.value or ""),
                                accept=bool(name), confidence=1.0 if name else 0.0, doubt="",
                                why="corrected here")
        self.boxes.pop(at, None)
        if name or old.was:
            self.boxes[at] = self._box(at)
            self.boxes = dict(sorted(self.boxes.items()))
        self._arrange()
        self._say_rest()
        return f"'{old.column}' is {points.point(name).meaning if name else 'not used'}; accept it"

    def _shown(self) -> PointTable:
        """The table with its rows as they are ticked and corrected."""
        assert self.table is not None
        return replace(self.table, rows=tuple(self.rows))

    def _written(self) -> str:
        """Write the rows, as they are ticked and corrected, for a spreadsheet."""
        point_table.write(self._shown(), self.job.folder / TABLE_FILE)
        self.written.value = f"<a href='/files/{TABLE_FILE}' download>{TABLE_FILE}</a>"
        return (f"{TABLE_FILE} is written; change Accept, Point and Unit in a spreadsheet, save it "
                "as CSV, then read it back here")

    def _read_back(self) -> None:
        """Take over an edited table file: what it accepts is in the map, or nothing is."""
        file, = self.edited.value
        # Emptied, so that the same file can be chosen again once it is corrected.
        self.edited.value = ()
        rows = point_table.taken(self._shown(), str(file["name"]), bytes(file["content"]))
        self.panel.message.saved(self._accepted(rows))
        self._answered()

    def _accepted(self, rows: Sequence[Row]) -> str:
        """Save what is ticked, with the counts that the plan does not state yet."""
        count = point_table.save(self.job, rows)
        self.look()
        found = {path: value for path, value in self._read_off().items()
                 if value and not self.job.get(path)}
        for path, value in found.items():
            self.job.put(path, value)
        for view in self.answers:
            for path, field in view.fields.items():
                field.show(self.job.get(path))
        said = ", ".join(f"{view.fields[path].item.label} {view.fields[path].text}"
                         for view in self.answers for path in view.fields if path in found)
        more = f"; read off the files: {said}; correct it below if need be"
        return f"{count} points are in the map" + more * bool(said)

    def _read_off(self) -> dict[str, Any]:
        """What the files say of the first answers: the numbers of the equipment, and the altitude
        of a weather file's station."""
        assert self.table is not None
        found: dict[str, Any] = {"plant.chillers": self.table.chillers,
                                 "plant.tower_cells": self.table.tower_cells}
        for file in self.job.trend_files():
            if file.suffix.lower() == ".epw":
                # One that cannot be read is said where the plan names it.
                with suppress(IntakeError):
                    found["site.altitude"] = round(read_weather(file).altitude)
        return found


def _only(job: Job, path: str, names: Sequence[str]) -> Any:
    """The form at a place with some of its answers only."""
    whole = questionnaire.section(job, path)
    assert isinstance(whole.table.declared, type)
    kept = {item.name: item for item in fields(whole.table.declared) if item.name in names}
    return type(whole)(job, replace(whole.table, declared=kept, about="",
                                    title=f"{whole.table.title}: what the first verdict needs"))


def _label(row: Row) -> str:
    """A row as the label of its box."""
    sure = "in the map" if row.confidence == IN_THE_MAP else row.sure
    cells = (points.plain(row.point), units.symbol(row.unit), sure, row.column, row.files,
             row.first, row.interval, row.good, row.looks)
    doubt = f"<span class='fpt-doubt'>✗ {html.escape(row.doubt)}</span>" if row.doubt else ""
    return _cells(cells, "", row.why) + doubt


def _cells(texts: Sequence[str], name: str, title: str = "") -> str:
    inside = "".join(f"<span>{html.escape(text) or '–'}</span>" for text in texts)
    return f"<span class='fpt-cells {name}' title='{html.escape(title)}'>{inside}</span>"
