"""The samples of one file, on their way to the grid.

A file is opened with its map, read into ascending samples of each point (``wide.py``,
``long.py``), and each point is then put on the grid in the same way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends import align, safe
from fptlib.trends.cells import GOOD, POOR, marks, split_unit, tidy
from fptlib.trends.clock import Clock, time_columns
from fptlib.trends.delimited import DelimitedTable
from fptlib.trends.grid import AlarmText, Notes
from fptlib.trends.mapping import FileForm, PointMap, PointSource
from fptlib.trends.table import Table
from fptlib.trends.times import MINUTE
from fptlib.trends.values import PointReader

SECOND_TREND = " (second)"
QUALITY = re.compile(r"\b(?:quality|status|state|qual|flags?)\b", re.IGNORECASE)
# Takes the share of a file that is read (0 to 1).
Progress = Callable[[float], None]


def open_table(path: Path, form: FileForm, wanted: Sequence[str] = ()) -> Table:
    """The table of a file, by its content; ``wanted`` are headers that it should have.

    Raises:
        IntakeError: it cannot be read.
    """
    kind = safe.form_of(path)
    # Imported only where such a file lies there: they take a quarter of a second and 40 MB.
    if kind == "workbook":
        from fptlib.trends.spreadsheet import SpreadsheetTable

        return SpreadsheetTable(path, form, wanted)
    if kind == "parquet":
        from fptlib.trends.parquet import ParquetTable

        return ParquetTable(path, form)
    return DelimitedTable(path, form, wanted)


def parts_of(path: Path, form: FileForm) -> list[FileForm]:
    """The forms of what a file holds: of each sheet of a workbook, each file in a zip; its own
    where it holds one table, or the job states which.

    Raises:
        IntakeError: it is damaged or of a form that is not read.
    """
    kind = "" if form.sheet or form.member else safe.form_of(path)
    found: list[FileForm] = []
    if kind == "workbook":
        from fptlib.trends.spreadsheet import sheets_of

        found = [replace(form, sheet=name) for name in sheets_of(path)]
    elif kind == "zip":
        found = [replace(form, member=name) for name in safe.members_of(path)]
    return found if len(found) > 1 else [form]


def is_quality(column: str, table: Table, form: FileForm) -> bool:
    """Whether a column says of the value beside it how good it is.

    Raises:
        IntakeError: it says so in numbers that mean good in one system and bad in another.
    """
    if not QUALITY.search(column):
        return False
    found = dict.fromkeys(cell.lower() for cell in table.sample(column) if cell)
    good = GOOD | {text.lower() for text in form.good}
    if any(good.issuperset(marks(word)) for word in found):
        return True
    named = "quality" in column.lower()
    if named and found and all(word.isdigit() for word in found):
        either = " or ".join(f'good = ["{word}"]' for word in list(found)[:6])
        raise IntakeError(
            f"file '{form.name}', column '{column}' gives the quality in numbers "
            f"({', '.join(list(found)[:6])}), which mean good in one system and bad in another; "
            f'state {either} under [files."{form.name}"]')
    return all(POOR.intersection(marks(word)) for word in found) and bool(found or named)


def hold_for(longest: int) -> str:
    """The advice for a log of changes whose samples are ``longest`` [ns] apart at the most."""
    return f"hold = {max(-(-longest // (60 * MINUTE)), 1)}"


@dataclass(frozen=True, slots=True)
class OpenedFile:
    """A file with what the job states of it.

    Attributes:
        sources: by key: a point's name, or that of its second trend.
        mapped: columns, or names in the point column, that points are read from.
    """

    form: FileForm
    table: Table
    clock: Clock
    sources: dict[str, PointSource]
    altitude: float | None
    notes: Notes

    @classmethod
    def all_of(cls, path: Path, point_map: PointMap, notes: Notes) -> list[OpenedFile]:
        """Open one file of a map: each of its sheets or members that is mapped, and in it each of
        the tables that lie side by side.

        Raises:
            IntakeError: it cannot be read, or its time column cannot be found.
        """
        parts: dict[tuple[str, str], dict[str, PointSource]] = {}
        for key, source in _sources_in(path.name, point_map):
            parts.setdefault((source.sheet, source.member), {})[key] = source
        found = []
        for (sheet, member), sources in parts.items():
            form = point_map.files[path.name]
            form = replace(form, sheet=sheet, member=member)
            wanted = [*form.time_column, form.point_column, form.value_column,
                      *(source.column for source in sources.values())]
            table = open_table(path, form, [column for column in wanted if column])
            found += cls._tables(table, form, sources, point_map.altitude, notes)
        return found

    @classmethod
    def _tables(cls, table: Table, form: FileForm, sources: dict[str, PointSource],
                altitude: float | None, notes: Notes) -> list[OpenedFile]:
        """The tables of one sheet, each with the points to the right of its time column."""
        axes = time_columns(table, form)
        whole = cls(form, table, Clock(table, form, notes, axes[0]), sources, altitude, notes)
        if len(axes) == 1 or whole.is_long:
            return [whole]
        begins = [table.names.index(axis[0]) for axis in axes]
        shares: list[dict[str, PointSource]] = [{} for _ in axes]
        for key, source in sources.items():
            at = table.names.index(table.header(source.column, f"point {source.name}"))
            shares[max(sum(begin <= at for begin in begins) - 1, 0)][key] = source
        return [replace(whole, sources=share,
                        clock=Clock(table, form, notes, axis) if at else whole.clock)
                for at, (axis, share) in enumerate(zip(axes, shares, strict=True)) if share]

    @property
    def is_long(self) -> bool:
        """Whether the mapped names stand in a column rather than in the header."""
        if self.form.form:
            return self.form.form == "long"
        if self.form.point_column or self.form.value_column:
            return True
        names = self.table.names
        wanted = {tidy(source.column) for source in self.sources.values()}
        if len(names) > 8 or wanted & {n for full in names for n in (full, split_unit(full)[0])}:
            return False
        return bool(wanted & {tidy(cell) for name in names for cell in self.table.sample(name)})

    def point_reader(self, source: PointSource, header: str) -> PointReader:
        """What turns the cells of a column into the point's unit."""
        return PointReader(source, self.form, self.table.unit_of(header), self.table.decimal,
                           self.altitude, self.notes)


def _sources_in(file: str, point_map: PointMap) -> Iterator[tuple[str, PointSource]]:
    """What a file gives, by key: a point's name, that of its second trend, or a part of its sum."""
    for name, source in point_map.sources.items():
        for one in (source, *source.more):
            if one.file == file:
                yield name, one
                for at, column in enumerate(one.plus, 1):
                    yield plus_key(name, at), replace(one, column=column, plus=())
        if source.second and source.second.file == file:
            yield name + SECOND_TREND, source.second


def plus_key(name: str, at: int) -> str:
    """The key of a column that is added to a point."""
    return f"{name} (plus {at})"


class FileSamples:
    """Samples of the points of one file.

    Attributes:
        times, values: of each point, ascending [ns of UTC]; an infinite value says that the
            point is not known from there on.
        steps: the stretches of the grid that its stamps fit.
        interval: its usual step [ns].
        rows, first_time, last_time: what was read, by the file's own stamps.
        shift: from a stamp to the beginning of its row [ns].
        drift: how its stamps run away from even steps [s/day].
        alarms: texts of its alarm points.
    """

    def __init__(self, opened: OpenedFile) -> None:
        self.form, self.table, self.clock = opened.form, opened.table, opened.clock
        self._notes, self._sources = opened.notes, opened.sources
        self._readers: dict[str, PointReader] = {}
        self.times: dict[str, np.ndarray] = {}
        self.values: dict[str, np.ndarray] = {}
        self.steps: align.Steps
        self.interval = self.rows = self.first_time = self.last_time = self.shift = 0
        self.drift = 0.0
        self.alarms: list[AlarmText] = []
        self._standing: tuple[np.ndarray, np.ndarray | None] | None = None

    def gives(self, key: str) -> bool:
        """Whether a point comes from here."""
        return key in self._sources

    def source_text(self, key: str) -> str:
        """``file: column [unit]``."""
        return self._readers[key].source_text

    def sampled_every(self, key: str) -> float:
        """How far apart the samples of a point are [min]; zero in a log of changes."""
        return 0.0 if self.hold(key) is not None else self._interval_of(key) / MINUTE

    def hold(self, key: str) -> float | None:
        """For how many hours a value stands at the longest in a log of changes."""
        return self._sources[key].hold or self.form.hold

    def _cleared(self, key: str, values: np.ndarray) -> np.ndarray:
        """Values without those that stand for none; of a log they end the one before."""
        if (found := self._readers[key].stand_ins(values)) is not None:
            gone = np.inf if self._is_log(key) else np.nan
            values = np.where(found, gone, values)
        return values

    def _is_log(self, key: str) -> bool:
        """Whether a missing value ends the one before it."""
        return self.hold(key) is not None

    def _interval_of(self, key: str) -> int:
        """For how long a sample of a point stands [ns]."""
        return self.interval

    def stretches(self) -> tuple[int, int]:
        """The first and the last stretch with a sample."""
        ends = np.array([self.first_time, self.last_time]) - self.shift
        first, last = self.steps.of(ends).tolist()
        return first, last

    def on(self, first: int, length: int, key: str) -> np.ndarray:
        """One point on the grid of ``length`` stretches from the ``first``; its samples are
        given up."""
        lasts, slack = float(self._interval_of(key)), align.WANDER
        times, values = self.times.pop(key), self.values.pop(key)
        if self._sources[key].point.kind == points.ALARM:
            values = align.keep_any(self.steps.of(times), values)
        if (hold := self.hold(key)) is not None:
            there, lasts, slack = ~np.isnan(values), hold * 60 * MINUTE, 0.0
            times, values = times[there], values[there]
        if not len(values):
            return np.full(length, np.nan)
        # The points of a wide file share their times.
        if self._standing is None or self._standing[0] is not times:
            rows, at = self.steps.of(times) - first, times / self.steps.step
            kept = self.steps.rows(lasts)
            self._standing = times, align.standing(rows, at, length, kept, slack)
        return align.placed(values, self._standing[1])
