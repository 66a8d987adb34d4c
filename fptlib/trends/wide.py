"""A wide file: one column per point, one row per moment."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyarrow as pa

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends import align, safe
from fptlib.trends.batches import NUMBER, TEXT, Batch, Reader, Rows
from fptlib.trends.cells import looks_numeric
from fptlib.trends.grid import AlarmText
from fptlib.trends.opened import OpenedFile
from fptlib.trends.progress import Progress
from fptlib.trends.stamps import StampReader


class WideTable:
    """The samples of one wide file, sorted, each moment once."""

    def __init__(self, opened: OpenedFile, progress: Progress) -> None:
        self.form, self._notes, self._sources = opened.form, opened.notes, opened.sources
        self._columns = {
            key: opened.header(source, source.column) for key, source in opened.sources.items()
        }
        self._qualities = {
            key: opened.header(source, source.quality_column)
            for key, source in opened.sources.items() if source.quality_column
        }
        self._readers = {
            key: opened.point_reader(source, self._columns[key])
            for key, source in opened.sources.items()
        }
        for point in self._readers.values():
            point.marks_bad = self.form.hold is not None
        self._numbers, guess = Rows(), opened.reader.rows_guess
        self._values = {key: _Growing(guess) for key in opened.sources}
        self._times, self._bad = _Growing(guess, np.int64), _Growing(guess, bool)
        self._zoned = _Growing(guess, bool)
        self._alarms: list[tuple[str, int, str]] = []
        self._read(opened.reader, opened.stamps, progress)
        self._settle(opened.stamps)

    @property
    def sources(self) -> dict[str, str]:
        """``file: column [unit]`` of each point."""
        return {key: reader.source_text() for key, reader in self._readers.items()}

    def _read(self, reader: Reader, stamps: StampReader, progress: Progress) -> None:
        kinds = dict.fromkeys(stamps.columns, stamps.kind)
        for key, source in self._sources.items():
            column = self._columns[key]
            words = source.wordy and not looks_numeric(reader.sample(column))
            kinds[column] = TEXT if words else NUMBER
        kinds |= dict.fromkeys(self._qualities.values(), TEXT)
        for batch in reader.batches(kinds):
            self._take(batch, stamps)
            self._refuse_too_many()
            progress(batch.done, f"reading {self.form.name}")

    def _take(self, batch: Batch, stamps: StampReader) -> None:
        read = stamps.read(batch)
        self._times.add(read.ns)
        self._bad.add(read.bad)
        self._zoned.add(np.zeros(batch.length, bool) if read.zoned is None else read.zoned)
        # Lines without a time (totals, a repeated header) may hold any text.
        good = np.flatnonzero(~read.bad) if read.bad.any() else None
        for key in self._readers:
            self._values[key].add(self._point(key, batch, read.ns, good))
        self._numbers.add(batch)

    def _point(self, key: str, batch: Batch, local: np.ndarray,
               good: np.ndarray | None) -> np.ndarray:
        reader, named = self._readers[key], self._qualities.get(key)
        column = batch.columns[self._columns[key]]
        quality = batch.columns[named] if named else None
        begin = self._numbers.count
        if good is None:
            values = reader.read(column, batch.row, quality, local)
        else:
            kept = pa.array(good)
            values = np.full(batch.length, np.nan)
            values[good] = reader.read(
                column.take(kept), lambda at: batch.row(int(good[at])),
                None if quality is None else quality.take(kept), local[good],
            )
        for at, text in reader.alarm_texts:
            self._alarms.append((key, begin + (at if good is None else int(good[at])), text))
        reader.alarm_texts.clear()
        return values

    def _refuse_too_many(self) -> None:
        cells = self._numbers.count * (len(self._values) + 1)
        if cells > safe.BOUNDS.cells or self._numbers.count > safe.BOUNDS.rows:
            raise IntakeError(
                f"file '{self.form.name}' has more than {self._numbers.count:,} rows of "
                f"{len(self._values)} mapped columns; export a shorter span"
            )

    def _settle(self, stamps: StampReader) -> None:
        """UTC, in order, each moment once; what was done is said."""
        local, zoned, bad = self._times.taken(), self._zoned.taken(), self._bad.taken()
        chosen = np.flatnonzero(~bad) if bad.any() else None
        if chosen is not None:
            local, zoned = local[chosen], zoned[chosen]
        if not len(local):
            stamps.refuse_all()

        def row(at: int) -> int:
            return self._numbers.row(at if chosen is None else int(chosen[at]))

        stamps.check_left_out(row(len(local) - 1), len(local))
        self.times = stamps.utc(local, zoned, row)
        self.alarms = self._alarm_texts(chosen)
        self._order, self._stays = self._in_order(chosen, row)
        self.interval = self._interval()
        for point in self._readers.values():
            point.finish()

    def _alarm_texts(self, chosen: np.ndarray | None) -> list[AlarmText]:
        at = {int(sample): i for i, sample in enumerate(chosen)} if chosen is not None else None
        found = []
        for key, sample, text in self._alarms:
            index = sample if at is None else at.get(sample)
            if index is not None:
                time = align.moment(int(self.times[index]))
                found.append(AlarmText(time, self._sources[key].name, text))
        return found

    def _in_order(
        self, chosen: np.ndarray | None, row: Callable[[int], int]
    ) -> tuple[np.ndarray | None, np.ndarray | None]:
        """The order of samples, and which stay where a moment comes more than once."""
        order = chosen
        steps = np.diff(self.times)
        if (steps < 0).any():
            by_time = np.argsort(self.times, kind="stable")
            self._notes.note(
                f"{int((steps < 0).sum())} rows stood out of order and were sorted by time",
                self.form.name, row=row(int(np.argmax(steps < 0)) + 1),
            )
            self.times = self.times[by_time]
            order = by_time if order is None else order[by_time]
            steps = np.diff(self.times)
        if not (steps == 0).any():
            return order, None
        stays = np.append(steps != 0, True)
        self._say_duplicates(order, stays)
        self.times = self.times[stays]
        return order, stays

    def _say_duplicates(self, order: np.ndarray | None, stays: np.ndarray) -> None:
        gone = np.flatnonzero(~stays)
        at = gone if order is None else order[gone]
        following = gone + 1 if order is None else order[gone + 1]
        differ = np.zeros(len(gone), dtype=bool)
        for column in self._values.values():
            values = column.view()
            a, b = values[at], values[following]
            differ |= (a != b) & ~(np.isnan(a) & np.isnan(b))
        same = int((~differ).sum())
        if same:
            self._notes.note(f"{same} rows repeat a moment with the same values and were dropped",
                             self.form.name, row=self._numbers.row(int(at[np.argmax(~differ)])))
        if differ.any():
            self._notes.doubt(
                f"{int(differ.sum())} rows repeat a moment with other values; the last row of each "
                "moment is kept", self.form.name, row=self._numbers.row(int(at[np.argmax(differ)])))

    @property
    def drift(self) -> float:
        """How the stamps run away from even steps [s/day]; 0 where they do not."""
        if len(self.times) < 100 or not self.interval:
            return 0.0
        usual = np.abs(np.diff(self.times) - self.interval) < 0.1 * self.interval
        slips = (np.diff(self.times) - self.interval)[usual] / align.SECOND
        days = usual.sum() * self.interval / align.SECOND / 86_400
        return float(slips.sum() / days) if days > 0 else 0.0

    def _interval(self) -> int:
        if self.form.interval_minutes is not None:
            return int(self.form.interval_minutes * align.MINUTE)
        usual = align.own_interval(self.times)
        steps = np.diff(self.times)
        off = np.abs(steps - usual) > align.WANDER * usual
        uneven = int(np.count_nonzero(off)) if usual else 0
        if uneven > 0.05 * len(steps):
            self._notes.note(
                f"{uneven} of {len(steps)} steps differ from the usual {usual / align.MINUTE:g} "
                "min; a value stands for the usual step only (state interval_minutes or hold "
                "where it stands longer)", self.form.name)
        return usual

    def sampled_every(self, key: str) -> float:
        """How far apart the samples of a point are [min]; zero in a log of changes."""
        return 0.0 if self.form.hold is not None else self.interval / align.MINUTE

    @property
    def begin(self) -> int:
        """The beginning of the first row's interval [ns of UTC]."""
        return int(self.times[0]) - self._shift

    def span(self, steps: align.Steps) -> tuple[int, int]:
        """Where the first and the last row begin on a grid of these steps [ns of UTC]."""
        times = self.times - self._shift
        self._steps = steps if self.form.hold is not None else steps.fitting(times)
        return self._steps.mark(int(times[0])), self._steps.mark(int(times[-1]))

    @property
    def _shift(self) -> int:
        return self.interval if self.form.stamps == "end" else 0

    @property
    def rows(self) -> int:
        """Moments read."""
        return len(self.times)

    @property
    def first_time(self) -> int:
        return int(self.times[0])

    @property
    def last_time(self) -> int:
        return int(self.times[-1])

    def samples(self, key: str) -> tuple[np.ndarray, np.ndarray]:
        """One point's samples: times [ns of UTC] and values."""
        values = self._sorted(self._values[key].view())
        return self.times - self._shift, np.where(np.isinf(values), np.nan, values)

    def _sorted(self, values: np.ndarray) -> np.ndarray:
        if self._order is not None:
            values = values[self._order]
        return values if self._stays is None else values[self._stays]

    def on(self, grid: align.Grid, key: str) -> np.ndarray:
        """One point on the grid; may be called once, the samples are given up."""
        values = self._sorted(self._values[key].taken())
        rows = self._grid_rows(grid)
        if self._sources[key].point.kind == points.ALARM:
            values = align.keep_any(rows, values)
        if self.form.hold is not None:
            return self._held(values, rows, grid)
        source = self._standing(grid, rows)
        if source is None:
            return values
        return np.where(source >= 0, values[source], np.nan)

    def _grid_rows(self, grid: align.Grid) -> np.ndarray:
        if not hasattr(self, "_cached_rows"):
            self._cached_rows = self._steps.of(self.times - self._shift) - grid.first
        return self._cached_rows

    def _standing(self, grid: align.Grid, rows: np.ndarray) -> np.ndarray | None:
        if not hasattr(self, "_cached_source"):
            kept, at = grid.rows_of(self.interval), self.times / grid.steps.step
            self._cached_source = align.holding(rows, at, grid.length, kept)
        return self._cached_source

    def _held(self, values: np.ndarray, rows: np.ndarray, grid: align.Grid) -> np.ndarray:
        there, out = ~np.isnan(values), np.full(grid.length, np.nan)
        out[rows[there]] = values[there]
        return align.fill(out, grid.rows_of(align.hours(self.form.hold or 0.0)))


class _Growing:
    """A column that grows; memory is touched only as far as it is filled."""

    def __init__(self, guess: int, kind: type = float) -> None:
        self._data: np.ndarray = np.empty(max(guess, 1024), dtype=kind)
        self._count = 0

    def add(self, values: np.ndarray) -> None:
        need = self._count + len(values)
        if need > len(self._data):
            larger = np.empty(max(need, 2 * len(self._data)), dtype=self._data.dtype)
            larger[: self._count] = self._data[: self._count]
            self._data = larger
        self._data[self._count : need] = values
        self._count = need

    def view(self) -> np.ndarray:
        return self._data[: self._count]

    def taken(self) -> np.ndarray:
        """The values; the column is empty afterwards."""
        values = self.view()
        self._data, self._count = np.empty(0, dtype=values.dtype), 0
        return values
