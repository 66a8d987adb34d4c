"""A long file: one row per sample, with the point's name in a column.

Put on the grid while it is read, so that memory does not grow with the number of rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.intake import align
from fptlib.intake.batches import NUMBER, TEXT, Batch, Reader, texts, whole
from fptlib.intake.headers import resolve
from fptlib.intake.mapping import FileForm, PointSource
from fptlib.intake.notes import Notes
from fptlib.intake.progress import Progress
from fptlib.intake.safe import BOUNDS
from fptlib.intake.sniff import split_unit, tidy
from fptlib.intake.stamps import StampReader
from fptlib.intake.values import PointReader
from fptlib.intake.wide import looks_numeric
from fptlib.trends import AlarmText

POINT_HEADERS = ("point", "point name", "name", "tag", "tag name", "sensor", "variable", "trend")
VALUE_HEADERS = ("value", "val", "reading", "data")
# A point whose samples follow one another this evenly is sampled, not logged on change.
_EVEN_SHARE = 0.8
# So many rows of the grid show a point's usual step.
_LOOKED_AT = 100_000
# Larger stretches than for a wide file, as each is divided among the points.
_PIECE = 4 << 20


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Headers of a long file; unit and quality may be empty."""

    point: str
    value: str
    unit: str
    quality: str


def long_columns(
    reader: Reader, form: FileForm, times: Sequence[str], mapped: Iterable[str] = ()
) -> LongColumns:
    """The columns of a long file: as stated, else by their headers and what they hold.

    ``mapped`` are names of points that should stand in the point column.

    Raises:
        IntakeError: they cannot be told.
    """
    where = f'[files."{form.name}"]'

    def stated(name: str) -> str:
        return resolve(reader, name, where) if name else ""

    point, value = stated(form.point_column), stated(form.value_column)
    taken = (*times, point, value, form.unit_column, form.quality_column)
    rest = [name for name in reader.names if name and name not in taken]
    wanted = {tidy(name) for name in mapped}
    if not point:
        point = _first(rest, (
            lambda n: bool(wanted & {tidy(cell) for cell in reader.sample(n)}),
            lambda n: n.lower() in POINT_HEADERS,
            lambda n: _names(reader.sample(n)),
        ))
    if not value:
        value = _first([n for n in rest if n != point], (
            lambda n: n.lower() in VALUE_HEADERS, lambda n: looks_numeric(reader.sample(n)),
        ))
    if not point or not value:
        raise IntakeError(
            f"file '{form.name}' is read as a long file, but which column holds the point's name "
            f"and which the value cannot be told from {', '.join(reader.names[:8])}; state "
            f"point_column and value_column under {where}"
        )
    return LongColumns(point, value, stated(form.unit_column), stated(form.quality_column))


def _first(names: Sequence[str], tests: Sequence[Callable[[str], bool]]) -> str:
    """The first name that passes the first test that any passes."""
    return next((name for test in tests for name in names if test(name)), "")


def _names(sample: Sequence[str]) -> bool:
    cells = [cell for cell in sample if cell]
    return bool(cells) and not looks_numeric(cells) and len(set(cells)) > 1


def is_long(reader: Reader, form: FileForm, wanted: Sequence[str]) -> bool:
    """Whether the mapped names stand in a column rather than in the header."""
    if form.form:
        return form.form == "long"
    if form.point_column or form.value_column:
        return True
    headers = {name for full in reader.names for name in (full, split_unit(full)[0])}
    if len(reader.names) > 8 or any(tidy(name) in headers for name in wanted):
        return False
    cells = {tidy(cell) for name in reader.names for cell in reader.sample(name)}
    return any(tidy(name) in cells for name in wanted)


class GridColumn:
    """One point's samples, the last of each stretch, while a log is read."""

    def __init__(self, alarm: bool) -> None:
        self._alarm = alarm
        self._first = 0
        self._values, self._parts = np.empty(0), np.zeros(0, dtype=np.uint8)
        self._newest = np.iinfo(np.int64).min
        self.samples = self.repeated = self.differing = self.late = 0

    def add(self, times: np.ndarray, stretches: np.ndarray, parts: np.ndarray,
            values: np.ndarray) -> None:
        """Samples in the order of the file."""
        steps = np.diff(times)
        if times[0] < self._newest or (len(steps) and steps.min() < 0):
            self.late += int((steps < 0).sum()) + int(times[0] < self._newest)
            order = np.argsort(times, kind="stable")
            times, stretches = times[order], stretches[order]
            parts, values = parts[order], values[order]
            steps = np.diff(times)
        self._count(steps, values)
        if self._alarm:
            values = align.keep_any(stretches, values)
        # A sample without a value ends the one before (see align.fill).
        values = np.where(np.isnan(values), np.inf, values)
        at = self._room(stretches)
        if times[0] < self._newest or self._alarm:
            at, parts, values = self._not_overtaken(at, parts, values)
        self._values[at] = values
        self._parts[at] = parts
        self._newest = max(self._newest, int(times[-1]))

    def _count(self, steps: np.ndarray, values: np.ndarray) -> None:
        self.samples += len(values)
        if len(steps) and not steps.all():
            same = np.flatnonzero(steps == 0)
            self.repeated += len(same)
            self.differing += int((values[same] != values[same + 1]).sum())

    def _room(self, stretches: np.ndarray) -> np.ndarray:
        """Positions in the column, which grows to hold them."""
        low, high = int(stretches[0]), int(stretches[-1])
        if not len(self._values):
            self._first = low
        if low < self._first or high >= self._first + len(self._values):
            self._grow(low, high)
        return stretches - self._first

    def _grow(self, low: int, high: int) -> None:
        first = min(low, self._first)
        need = max(high + 1, self._first + len(self._values)) - first
        # Untouched memory of empty arrays costs nothing, so they may be long.
        length = max(need, min(2 * need, BOUNDS.grid_rows), 1 << 16)
        values, parts = np.empty(length), np.zeros(length, dtype=np.uint8)
        at = self._first - first
        values[at : at + len(self._values)] = self._values
        parts[at : at + len(self._parts)] = self._parts
        self._first, self._values, self._parts = first, values, parts

    def _not_overtaken(
        self, at: np.ndarray, parts: np.ndarray, values: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Without samples whose stretch already holds a later one."""
        last = np.append(np.diff(at) != 0, True)
        at, parts, values = at[last], parts[last], values[last]
        held = self._parts[at]
        if self._alarm:
            return at, parts, np.where(held > 0, np.fmax(self._values[at], values), values)
        fresh = parts >= held
        return at[fresh], parts[fresh], values[fresh]

    def usual_rows(self) -> tuple[int, bool]:
        """The usual distance of samples in rows, and whether they are even."""
        steps = np.diff(np.flatnonzero(self._parts[:_LOOKED_AT]))
        if not len(steps):
            return 1, False
        usual = int(np.median(steps))
        return max(usual, 1), bool(np.mean(steps == usual) >= _EVEN_SHARE)

    def taken(self, grid: align.Grid, kept_rows: int) -> np.ndarray:
        """The column on the grid; it is empty afterwards."""
        values = np.full(grid.length, np.nan)
        begin = max(self._first, grid.first)
        end = min(self._first + len(self._values), grid.first + grid.length)
        mine = slice(begin - self._first, end - self._first)
        there = slice(begin - grid.first, end - grid.first)
        np.copyto(values[there], self._values[mine], where=self._parts[mine] > 0)
        self._values, self._parts = np.empty(0), np.zeros(0, dtype=np.uint8)
        return align.fill(values, kept_rows)


class LongTable:
    """The samples of one long file, put on stretches while they are read."""

    def __init__(
        self, reader: Reader, form: FileForm, sources: Mapping[str, PointSource],
        stamps: StampReader, steps: align.Steps, altitude: float | None, notes: Notes,
        progress: Progress,
    ) -> None:
        self.form, self._notes, self._sources, self._steps = form, notes, sources, steps
        self._stamps, self._columns = stamps, long_columns(
            reader, form, stamps.columns, [s.column for s in sources.values()]
        )
        headed = reader.unit_of(self._columns.value)
        self._readers = {
            key: PointReader(source, form, headed, reader.decimal, altitude, notes)
            for key, source in sources.items()
        }
        self._grid = {
            key: GridColumn(source.point.kind == points.ALARM) for key, source in sources.items()
        }
        self._keys: dict[str, list[str]] = {}
        for key, source in sources.items():
            self._keys.setdefault(tidy(source.column), []).append(key)
        self._seen: dict[str, None] = {}
        self.alarms: list[AlarmText] = []
        self.rows = self._last_row = 0
        self._shift = self._end_shift()
        self.first_time, self.last_time = np.iinfo(np.int64).max, np.iinfo(np.int64).min
        for batch in reader.batches(self._kinds(reader), _PIECE):
            self._take(batch)
            progress(batch.done, f"reading {form.name}")
        self._settle()

    def _end_shift(self) -> int:
        """From the end of an interval, where stamps say that, to its beginning [ns]."""
        if self.form.stamps != "end":
            return 0
        if self.form.interval_minutes is None:
            raise IntakeError(
                f"file '{self.form.name}': stamps = \"end\" in a long file needs the interval's "
                f'length; state interval_minutes under [files."{self.form.name}"]'
            )
        return int(self.form.interval_minutes * align.MINUTE)

    def _kinds(self, reader: Reader) -> dict[str, str]:
        columns = self._columns
        kinds = dict.fromkeys(self._stamps.columns, self._stamps.kind)
        kinds |= {name: TEXT for name in (columns.point, columns.unit, columns.quality) if name}
        kinds[columns.value] = NUMBER if looks_numeric(reader.sample(columns.value)) else TEXT
        return kinds

    def _take(self, batch: Batch) -> None:
        stamps = self._stamps.read(batch)
        coded = _coded(batch.columns[self._columns.point])
        codes, names = self._codes(coded, stamps.bad)
        order = np.argsort(codes, kind="stable")
        edges = np.searchsorted(codes[order], np.arange(len(names) + 1))
        utc = self._utc(stamps.ns, stamps.zoned, stamps.bad, batch)
        value = _whole(batch.columns[self._columns.value])
        extra = [
            texts(batch.columns[name]) if name else None
            for name in (self._columns.unit, self._columns.quality)
        ]
        for code, name in enumerate(names):
            mine = order[edges[code] : edges[code + 1]]
            for key in self._keys.get(name, ()) if len(mine) else ():
                self._add(key, mine, utc, stamps.ns, value, extra, batch)

    def _codes(self, coded: pa.DictionaryArray, bad: np.ndarray) -> tuple[np.ndarray, list[str]]:
        """For each row the position of its mapped name, or a last one for all others."""
        found = [tidy(text) for text in coded.dictionary.to_pylist()]
        self._seen.update(dict.fromkeys(found[: 200 - len(self._seen)]))
        names = [name for name in dict.fromkeys(found) if name in self._keys]
        position = {name: at for at, name in enumerate(names)}
        table = np.array([*(position.get(n, len(names)) for n in found), len(names)])
        kind = np.uint8 if len(names) < 255 else np.int32
        codes = table.astype(kind)[coded.indices.fill_null(-1).to_numpy()]
        if bad.any():
            codes[bad] = len(names)
        return codes, names

    def _utc(self, ns: np.ndarray, zoned: np.ndarray | None, bad: np.ndarray,
             batch: Batch) -> np.ndarray:
        shift = self._shift
        if not bad.any():
            utc = self._stamps.utc(ns, zoned, batch.row) - shift
            self._note_span(utc, batch.row(batch.length - 1) if batch.length else 0)
            return utc
        good = np.flatnonzero(~bad)
        utc = np.zeros(len(ns), dtype=np.int64)
        utc[good] = self._stamps.utc(
            ns[good], None if zoned is None else zoned[good], lambda at: batch.row(int(good[at]))
        ) - shift
        self._note_span(utc[good], batch.row(int(good[-1])) if len(good) else 0)
        return utc

    def _note_span(self, utc: np.ndarray, last_row: int) -> None:
        if not len(utc):
            return
        self.rows += len(utc)
        self._last_row = last_row
        self.first_time = min(self.first_time, int(utc.min()))
        self.last_time = max(self.last_time, int(utc.max()))
        # Refused before anything is allocated for it.
        align.Grid.over(self.first_time, self.last_time, self._steps, f"file '{self.form.name}'")

    def _add(self, key: str, mine: np.ndarray, utc: np.ndarray, local: np.ndarray, value: Any,
             extra: Sequence[Any], batch: Batch) -> None:
        reader, index = self._readers[key], pa.array(mine)
        unit, quality = (None if e is None else e.take(index) for e in extra)
        column = value[mine] if isinstance(value, np.ndarray) else value.take(index)

        def row(at: int) -> int:
            return batch.row(int(mine[at]))

        changing = local[mine] if self._sources[key].unit_changes else None
        if unit is not None:
            cells = pa.array(column, from_pandas=True) if isinstance(column, np.ndarray) else column
            values = reader.read_units(cells, row, unit, quality, changing)
        elif quality is None and isinstance(column, np.ndarray):
            values = reader.numbers(column, row, changing)
        else:
            cells = pa.array(column, from_pandas=True) if isinstance(column, np.ndarray) else column
            values = reader.read(cells, row, quality, changing)
        times = utc[mine]
        self._grid[key].add(times, self._steps.of(times), self._steps.part(times), values)
        for at, text in reader.alarm_texts:
            moment = pd.Timestamp(int(times[at]), tz="UTC")
            self.alarms.append(AlarmText(moment, self._sources[key].name, text))
        reader.alarm_texts.clear()

    def _settle(self) -> None:
        self._stamps.check_left_out(self._last_row, self.rows)
        missing = [s.column for k, s in self._sources.items() if not self._grid[k].samples]
        if missing:
            raise IntakeError(
                f"file '{self.form.name}' has no sample of '{missing[0]}'; its point column "
                f"'{self._columns.point}' names {', '.join(list(self._seen)[:12])}; "
                "mend 'column' in the point map"
            )
        for key, column in self._grid.items():
            self._say(self._sources[key].name, column)
            self._readers[key].finish()

    def _say(self, name: str, column: GridColumn) -> None:
        if column.late:
            self._notes.note(f"{column.late} samples stood out of order and were put in time order",
                             self.form.name, name)
        if column.repeated - column.differing:
            self._notes.note(f"{column.repeated - column.differing} samples repeat a moment with "
                             "the same value", self.form.name, name)
        if column.differing:
            self._notes.doubt(f"{column.differing} samples repeat a moment with another value; "
                              "the last is kept", self.form.name, name)

    @property
    def sources(self) -> dict[str, str]:
        """``file: column [unit]`` of each point."""
        return {key: reader.source_text() for key, reader in self._readers.items()}

    @property
    def interval(self) -> int:
        """The finest usual step of its points [ns]."""
        return min(column.usual_rows()[0] for column in self._grid.values()) * self._steps.step

    @property
    def begin(self) -> int:
        """Where the first sample's stretch begins [ns of UTC]."""
        return self.first_time

    @property
    def last(self) -> int:
        """Where the last sample's stretch begins [ns of UTC]."""
        return self.last_time

    @property
    def drift(self) -> float:
        """Not told for a long file."""
        return 0.0

    def on(self, grid: align.Grid, key: str) -> np.ndarray:
        """One point on the grid; may be called once."""
        column = self._grid[key]
        if self.form.hold is not None:
            kept = grid.rows_of(align.hours(self.form.hold))
        elif self.form.interval_minutes is not None:
            kept = grid.rows_of(int(self.form.interval_minutes * align.MINUTE))
        else:
            kept, even = column.usual_rows()
            if not even and column.samples > 2:
                self._notes.doubt(
                    "the samples come unevenly, as of a change-of-value log; each stands for "
                    f"{kept * grid.steps.step / align.MINUTE:g} min only, the rest is a gap; state "
                    f'hold (hours) under [files."{self.form.name}"] if a value stands until '
                    "the next", self.form.name, self._sources[key].name)
        return column.taken(grid, kept)


def peek_interval(
    reader: Reader, form: FileForm, stamps: StampReader, mapped: Iterable[str]
) -> int:
    """The step [ns] that a long file's first rows suggest; one minute for a log."""
    if form.hold is not None:
        return align.MINUTE
    columns = long_columns(reader, form, stamps.columns, mapped)
    kinds = dict.fromkeys(stamps.columns, stamps.kind) | {columns.point: TEXT}
    batch = next(iter(reader.batches(kinds)), None)
    if batch is None:
        return align.MINUTE
    read = stamps.read(batch)
    codes = _coded(batch.columns[columns.point]).indices.fill_null(-1).to_numpy()
    found = [_even_step(read.ns[(codes == code) & ~read.bad]) for code in np.unique(codes)[:200]]
    return min((step for step in found if step), default=align.MINUTE)


def _even_step(times: np.ndarray) -> int:
    steps = np.diff(np.unique(times))
    if len(steps) < 3:
        return 0
    usual = int(np.median(steps))
    return usual if np.mean(np.abs(steps - usual) <= 0.1 * usual) >= _EVEN_SHARE else 0


def _coded(column: Any) -> pa.DictionaryArray:
    if isinstance(column, pa.ChunkedArray):
        column = whole(column)
    return column if pa.types.is_dictionary(column.type) else column.dictionary_encode()


def _whole(column: Any) -> Any:
    """Numbers as an array, text as one Arrow array."""
    if pa.types.is_floating(column.type):
        return column.to_numpy() if isinstance(column, pa.ChunkedArray) else column.to_numpy(
            zero_copy_only=False)
    return texts(column)
