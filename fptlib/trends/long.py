"""A long file: one row per sample, with the point's name in a column.

Put on the grid while it is read, so that memory does not grow with the number of rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends import align
from fptlib.trends.batches import NUMBER, TEXT, Batch, Reader, coded, texts
from fptlib.trends.cells import looks_numeric
from fptlib.trends.grid import AlarmText
from fptlib.trends.grid_column import GridColumn
from fptlib.trends.long_form import long_columns
from fptlib.trends.opened import OpenedFile
from fptlib.trends.progress import Progress
from fptlib.trends.sniff import tidy

# Larger stretches than for a wide file, as each is divided among the points.
_PIECE = 4 << 20


class LongTable:
    """The samples of one long file, put on stretches while they are read."""

    def __init__(self, opened: OpenedFile, steps: align.Steps, progress: Progress) -> None:
        self.form, self._notes, self._sources = opened.form, opened.notes, opened.sources
        self._stamps, self._steps, sources = opened.stamps, steps, opened.sources
        self._columns = long_columns(
            opened.reader, self.form, self._stamps.columns, opened.mapped
        )
        self._readers = {
            key: opened.point_reader(source, self._columns.value)
            for key, source in sources.items()
        }
        self._grid = {
            key: GridColumn(source.point.kind == points.ALARM) for key, source in sources.items()
        }
        # A log of changes has no steps that its stamps could wander about.
        self._fitted = self.form.hold is not None
        self._keys: dict[str, list[str]] = {}
        for key, source in sources.items():
            self._keys.setdefault(tidy(source.column), []).append(key)
        self._seen: dict[str, None] = {}
        self.alarms: list[AlarmText] = []
        self.rows = self._last_row = 0
        self._shift = self._end_shift()
        self.first_time, self.last_time = np.iinfo(np.int64).max, np.iinfo(np.int64).min
        for batch in opened.reader.batches(self._kinds(opened.reader), _PIECE):
            self._take(batch)
            progress(batch.done, f"reading {self.form.name}")
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
        found = coded(batch.columns[self._columns.point])
        codes, names = self._codes(found, stamps.bad)
        order = np.argsort(codes, kind="stable")
        edges = np.searchsorted(codes[order], np.arange(len(names) + 1))
        utc = self._utc(stamps.ns, stamps.zoned, stamps.bad, batch)
        if len(names) and not self._fitted:
            self._fit(utc[order], edges)
        value = _whole(batch.columns[self._columns.value])
        extra = [
            texts(batch.columns[name]) if name else None
            for name in (self._columns.unit, self._columns.quality)
        ]
        for code, name in enumerate(names):
            mine = order[edges[code] : edges[code + 1]]
            for key in self._keys.get(name, ()) if len(mine) else ():
                self._add(key, mine, utc, stamps.ns, value, extra, batch)

    def _fit(self, utc: np.ndarray, edges: np.ndarray) -> None:
        """Where stamps wander shows in the first rows, at the point with the most samples."""
        most = int(np.argmax(np.diff(edges)))
        self._steps = self._steps.fitting(np.sort(utc[edges[most] : edges[most + 1]]))
        self._fitted = True

    def _codes(self, named: pa.DictionaryArray, bad: np.ndarray) -> tuple[np.ndarray, list[str]]:
        """For each row the position of its mapped name, or a last one for all others."""
        found = [tidy(text) for text in named.dictionary.to_pylist()]
        self._seen.update(dict.fromkeys(found[: 200 - len(self._seen)]))
        names = [name for name in dict.fromkeys(found) if name in self._keys]
        position = {name: at for at, name in enumerate(names)}
        table = np.array([*(position.get(n, len(names)) for n in found), len(names)])
        kind = np.uint8 if len(names) < 255 else np.int32
        codes = table.astype(kind)[named.indices.fill_null(-1).to_numpy()]
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
            moment = align.moment(int(times[at]))
            self.alarms.append(AlarmText(moment, self._sources[key].name, text))
        reader.alarm_texts.clear()

    def _settle(self) -> None:
        self._stamps.check_left_out(self._last_row, self.rows)
        missing = [s.column for k, s in self._sources.items() if not self._grid[k].count]
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

    def span(self, steps: align.Steps) -> tuple[int, int]:
        """Where the first and the last row begin on the grid [ns of UTC]."""
        return self._steps.mark(self.first_time), self._steps.mark(self.last_time)

    @property
    def drift(self) -> float:
        """Not told for a long file."""
        return 0.0

    def samples(self, key: str) -> tuple[np.ndarray, np.ndarray]:
        """One point's samples, the last of each step: times [ns of UTC] and values."""
        return self._grid[key].samples(self._steps)

    def sampled_every(self, key: str) -> float:
        """How far apart the samples of a point are [min]; zero in a log of changes."""
        if self.form.hold is not None:
            return 0.0
        if self.form.interval_minutes is not None:
            return self.form.interval_minutes
        return self._grid[key].usual_rows()[0] * self._steps.step / align.MINUTE

    def on(self, grid: align.Grid, key: str) -> np.ndarray:
        """One point on the grid; may be called once."""
        column = self._grid[key]
        if self.form.hold is not None:
            return column.held(grid, grid.rows_of(align.hours(self.form.hold)))
        if self.form.interval_minutes is not None:
            kept = grid.rows_of(int(self.form.interval_minutes * align.MINUTE))
        else:
            kept, even = column.usual_rows()
            if not even and column.count > 2:
                self._notes.doubt(
                    "the samples come unevenly, as of a change-of-value log; each stands for "
                    f"{kept * grid.steps.step / align.MINUTE:g} min only, the rest is a gap; state "
                    f'hold (hours) under [files."{self.form.name}"] if a value stands until '
                    "the next", self.form.name, self._sources[key].name)
        return column.taken(grid, kept)


def _whole(column: Any) -> Any:
    """Numbers as an array, text as one Arrow array."""
    if pa.types.is_floating(column.type):
        return column.to_numpy() if isinstance(column, pa.ChunkedArray) else column.to_numpy(
            zero_copy_only=False)
    return texts(column)
