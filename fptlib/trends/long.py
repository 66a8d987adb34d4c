"""A long file: one row per sample, with the point's name in a column.

Of each point only the last sample of each stretch of the grid is kept while it is read, so
that memory does not grow with the number of rows.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from itertools import chain
from typing import NamedTuple

import numpy as np

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends import align
from fptlib.trends.cells import looks_numeric, tidy
from fptlib.trends.grid import AlarmText
from fptlib.trends.mapping import FileForm
from fptlib.trends.samples import FileSamples, OpenedFile, Progress, hold_for, is_quality
from fptlib.trends.table import NUMBER, TEXT, Batch, Table, coded, given, numbers
from fptlib.trends.times import MINUTE, Stamps

# Headers in small letters, without blanks and underlines.
POINT_HEADERS = {"point", "pointname", "name", "tag", "tagname", "sensor", "variable", "trend",
                 "field"}
VALUE_HEADERS = {"value", "val", "reading", "data", "numericvalue"}
# The column of states, where numbers and states stand in columns of their own.
_STATE_HEADERS = {"stringvalue", "textvalue", "statevalue", "valuestring", "valuetext"}
_UNIT_HEADERS = {"unit", "units", "uom", "engunits", "engineeringunits", "unitofmeasure"}
# Larger stretches than for a wide file, as each is divided among the points.
_PIECE = 4 << 20
# So many rows show the step of the file; of the grid, a point's usual step.
_FIRST_ROWS, _LOOKED_AT = 500, 100_000
# A point that comes so many times rarer than the file's finest is asked for its hold.
_RARER = 3


class LongColumns(NamedTuple):
    """Headers of a long file; unit, quality and state may be empty.

    ``state`` holds what has no number in ``value``.
    """

    point: str
    value: str
    unit: str
    quality: str
    state: str


def long_columns(table: Table, form: FileForm, times: Iterable[str], mapped: Iterable[str] = ()
                 ) -> LongColumns:
    """The columns of a long file: as stated, else by their headers and what they hold.

    ``mapped`` are names of points that should stand in the point column.

    Raises:
        IntakeError: they cannot be told.
    """
    where = f'[files."{form.name}"]'
    point, value, unit, quality = (
        table.header(name, where) if name else "" for name in (
            form.point_column, form.value_column, form.unit_column, form.quality_column))
    taken = (*times, point, value, unit, quality)
    rest = [name for name in table.names if name and name not in taken]
    wanted = {tidy(name) for name in mapped}
    point = point or _first(rest, (
        lambda name: bool(wanted & {tidy(cell) for cell in table.sample(name)}),
        lambda name: plain(name) in POINT_HEADERS,
        lambda name: not looks_numeric(table.sample(name)) and len({*table.sample(name), ""}) > 2,
    ))
    value = value or _first([name for name in rest if name != point], (
        lambda name: plain(name) in VALUE_HEADERS,
        lambda name: looks_numeric(table.sample(name)),
    ))
    if not point or not value:
        raise IntakeError(
            f"file '{form.name}' is read as a long file, but which column holds the point's name "
            f"and which the value cannot be told from {', '.join(table.names[:8])}; state "
            f"point_column and value_column under {where}")
    rest = [name for name in rest if name not in (point, value)]
    unit = unit or _first(rest, (lambda name: plain(name) in _UNIT_HEADERS,))
    state = _first(rest, (lambda name: plain(name) in _STATE_HEADERS,))
    quality = quality or _first([name for name in rest if name not in (unit, state)],
                                (lambda name: is_quality(name, table, form),))
    return LongColumns(point, value, unit, quality, state)


def plain(header: str) -> str:
    """A header as the sets above have it."""
    return re.sub(r"[\s_]+", "", header.lower())


def _first(names: Sequence[str], tests: Sequence[Callable[[str], bool]]) -> str:
    """The first name that passes the first test that any passes."""
    return next((name for test in tests for name in names if test(name)), "")


class LongFile(FileSamples):
    """The samples of one long file: opened, its step looked at, and then read.

    Raises:
        IntakeError: its columns cannot be told.
    """

    def __init__(self, opened: OpenedFile) -> None:
        super().__init__(opened)
        mapped = [source.column for source in self._sources.values()]
        self._columns = long_columns(self.table, self.form, opened.clock.columns, mapped)
        value = self._columns.value
        self._keys: dict[str, list[str]] = {}
        for key, source in self._sources.items():
            self._keys.setdefault(tidy(source.column), []).append(key)
            self._readers[key] = opened.point_reader(source, value)
        kinds = opened.clock.kinds | {name: TEXT for name in self._columns if name}
        kinds[value] = NUMBER if looks_numeric(self.table.sample(value)) else TEXT
        self._stretches = map(self.clock.read, self.table.batches(kinds, _PIECE))
        self._head: list[tuple[Batch, Stamps]] = []
        while sum(len(batch.rows) for batch, _ in self._head) < _FIRST_ROWS:
            if (stretch := next(self._stretches, None)) is None:
                break
            self._head.append(stretch)
        self.interval = self._first_interval()
        self._seen: dict[str, None] = {}
        self._last_row = self._early = 0
        if self.form.stamps == "end":
            if self.form.interval_minutes is None:
                raise IntakeError(
                    f"file '{self.form.name}': stamps = \"end\" in a long file needs the "
                    "interval's length; state interval_minutes under "
                    f'[files."{self.form.name}"]')
            self._early = int(self.form.interval_minutes * MINUTE)

    def _first_interval(self) -> int:
        """The finest even step [ns] of a point in the first rows; one minute without any."""
        times: dict[str, list[np.ndarray]] = {}
        for batch, stamps in self._head if self.form.hold is None else ():
            codes, names = coded(batch.columns[self._columns.point])
            for code, name in enumerate(names[:200]):
                times.setdefault(name, []).append(stamps.ns[codes == code])
        found: list[int] = []
        uneven: list[int] = []
        for parts in times.values():
            steps = np.diff(np.unique(np.concatenate(parts)))
            if len(steps) >= 3 and (usual := int(np.median(steps))):
                (found if align.even(steps, usual) else uneven).append(usual)
        finest = min(found, default=MINUTE)
        # Points that send a value every few hours whatever happens set no step for the others.
        return min(finest, MINUTE) if min(uneven, default=finest) < finest else finest

    def read(self, steps: align.Steps, progress: Progress) -> None:
        """Read all of it, cut into these stretches.

        Raises:
            IntakeError: a cell means nothing, a mapped name does not occur, or the times span
                too long.
        """
        self.steps = steps
        # A log of changes has no steps that its stamps could wander about.
        self._fitted = self.form.hold is not None
        self._logs = {key: _Log(source.point.kind == points.ALARM)
                      for key, source in self._sources.items()}
        for batch, stamps in chain(self._head, self._stretches):
            if len(batch.rows):
                self._take(batch, stamps)
            progress(batch.done)
        self._head.clear()
        self.clock.finish(self._last_row, self.rows)
        missing = [self._sources[key].column for key, log in self._logs.items() if not log.count]
        if missing:
            raise IntakeError(
                f"file '{self.form.name}' has no sample of '{missing[0]}'; its point column "
                f"'{self._columns.point}' names {', '.join(list(self._seen)[:12])}; "
                "correct 'column' in the point map")
        for key, log in self._logs.items():
            self._say(self._sources[key].name, log)
            self.times[key], values = log.merged(self.steps)
            self.values[key] = self._cleared(key, values)
            self._readers[key].finish()
        self.interval = min(self._usual_rows(key)[0] for key in self._sources) * self.steps.step

    def _take(self, batch: Batch, stamps: Stamps) -> None:
        utc = self.clock.utc(stamps, batch.rows, lambda: coded(
            batch.columns[self._columns.point])[0]) - self._early
        ends = (int(utc.min()), int(utc.max()))
        self.first_time = min(self.first_time, ends[0]) if self.rows else ends[0]
        self.last_time = max(self.last_time, ends[1]) if self.rows else ends[1]
        self.rows, self._last_row = self.rows + len(utc), int(batch.rows[-1])
        # Refused before anything is kept of it.
        first, last = self.steps.of(np.array([self.first_time, self.last_time])).tolist()
        self.steps.span(first, last, f"file '{self.form.name}'")

        codes, names = self._mapped(batch)
        order = np.argsort(codes, kind="stable")
        edges = np.searchsorted(codes[order], np.arange(len(names) + 1))
        if names and not self._fitted:
            # Where stamps wander shows at the point with the most samples.
            most = int(np.argmax(np.diff(edges)))
            self.steps = self.steps.fitting(np.sort(utc[order[edges[most] : edges[most + 1]]]))
            self._fitted = True
        columns = {name: batch.columns[name] for name in self._columns[1:] if name}
        of_value = numbers(columns[self._columns.value])
        if of_value is not None:
            columns[self._columns.value] = of_value
        # The mapped points one after the other, so that each is a stretch.
        order = order[: edges[-1]]
        cells, local, utc = Batch(columns, batch.rows).take(order), stamps.ns[order], utc[order]
        for name, begin, end in zip(names, edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if end > begin:
                self._add(name, cells.part(begin, end), local[begin:end], utc[begin:end])

    def _mapped(self, batch: Batch) -> tuple[np.ndarray, list[str]]:
        """For each row the position of its mapped name, or a last one for all others."""
        at, found = coded(batch.columns[self._columns.point])
        found = [tidy(text) for text in found]
        self._seen.update(dict.fromkeys(found[: 200 - len(self._seen)]))
        names = [name for name in dict.fromkeys(found) if name in self._keys]
        position = {name: index for index, name in enumerate(names)}
        table = np.array([*(position.get(name, len(names)) for name in found), len(names)])
        # Bytes are sorted many times quicker.
        return table.astype(np.uint8 if len(names) < 255 else np.int32)[at], names

    def _add(self, name: str, cells: Batch, local: np.ndarray, utc: np.ndarray) -> None:
        value, unit, quality, state = (cells.columns[column] if column else None
                                       for column in self._columns[1:])
        for key in self._keys[name]:
            reader = self._readers[key]
            if state is not None and self._sources[key].wordy and not given(value).any():
                value = state
            values = reader.read(value, cells.rows, local, quality, unit)
            self.alarms += [AlarmText(align.moment(utc[at]), self._sources[key].name, text)
                            for at, text in reader.alarm_texts]
            self._logs[key].add(utc, values, self.steps)

    def _say(self, name: str, log: _Log) -> None:
        file = self.form.name
        if log.late:
            self._notes.note(f"{log.late} samples stood out of order and were put in time order",
                             file, name)
        if same := log.repeated - log.differing:
            self._notes.note(f"{same} samples repeat a moment with the same value", file, name)
        if log.differing:
            self._notes.doubt(f"{log.differing} samples repeat a moment with another value; "
                              "the last is kept", file, name)

    def _usual_rows(self, key: str) -> tuple[int, bool]:
        """The usual distance of a point's samples in rows, and whether they are even."""
        rows = self.steps.of(self.times[key])
        steps = np.diff(rows[rows < rows[0] + _LOOKED_AT])
        usual = int(np.median(steps)) if len(steps) else 1
        return usual, len(steps) > 0 and align.even(steps, usual)

    def _interval_of(self, key: str) -> int:
        if self.form.interval_minutes is not None:
            return int(self.form.interval_minutes * MINUTE)
        return self._usual_rows(key)[0] * self.steps.step

    def _is_log(self, key: str) -> bool:
        return True

    def on(self, first: int, length: int, key: str) -> np.ndarray:
        """A point's values on a grid."""
        if self.hold(key) is None and self.form.interval_minutes is None:
            usual, even = self._usual_rows(key)
            if not even and self._logs[key].count > 2:
                self._ask_hold(key, usual)
                self._notes.doubt(
                    "the samples come unevenly, as of a change-of-value log; each stands for "
                    f"{usual * self.steps.step / MINUTE:g} min only, the rest is a gap; state "
                    f'hold (hours) under [files."{self.form.name}"] if a value stands until '
                    "the next", self.form.name, self._sources[key].name)
        return super().on(first, length, key)

    def _ask_hold(self, key: str, usual: int) -> None:
        """Stop where a point comes so much rarer than others that it is logged on change."""
        step, source = self.steps.step, self._sources[key]
        if usual * step >= _RARER * self.interval:
            longest = int(np.diff(self.times[key]).max())
            raise IntakeError(
                f"file '{self.form.name}': '{source.column}' comes unevenly, mostly "
                f"{usual * step / MINUTE:g} min apart and {longest / MINUTE:g} min at the most, "
                f"where others come every {self.interval / MINUTE:g} min, as a point that is "
                f"logged on change; state {hold_for(longest)} (hours that a value stands) under "
                f"[points.{source.name}], or interval_minutes under "
                f'[files."{self.form.name}"]')


class _Log:
    """One point's samples while its file is read."""

    def __init__(self, alarm: bool) -> None:
        self._alarm = alarm
        self._parts: list[tuple[np.ndarray, np.ndarray]] = []
        self._held = self._merged = 0
        self._newest = np.iinfo(np.int64).min
        self.count = self.repeated = self.differing = self.late = 0

    def add(self, times: np.ndarray, values: np.ndarray, steps: align.Steps) -> None:
        """Samples in the order of the file."""
        ahead = np.diff(times)
        if times[0] < self._newest or (len(ahead) and ahead.min() < 0):
            self.late += int((ahead < 0).sum()) + int(times[0] < self._newest)
            times, values = _sorted(times, values)
            ahead = np.diff(times)
        self.count += len(values)
        if len(same := np.flatnonzero(ahead == 0)):
            one, other = values[same], values[same + 1]
            self.repeated += len(same)
            self.differing += int(((one != other) & ~np.isnan(one + other)).sum())
        self._newest = max(self._newest, int(times[-1]))
        # A sample without a value ends the one before.
        self._keep(times, np.where(np.isnan(values), np.inf, values), steps)
        if self._held > max(2 * self._merged, 1 << 16):
            self.merged(steps)

    def merged(self, steps: align.Steps) -> tuple[np.ndarray, np.ndarray]:
        """Ascending samples, the last of each stretch."""
        times, values = _sorted(*map(np.concatenate, zip(*self._parts, strict=True)))
        self._parts, self._held = [], 0
        self._keep(times, values, steps)
        self._merged = self._held
        return self._parts[0]

    def _keep(self, times: np.ndarray, values: np.ndarray, steps: align.Steps) -> None:
        stretches = steps.of(times)
        if self._alarm:
            values = align.keep_any(stretches, values)
        last = np.append(np.diff(stretches) != 0, True)
        self._parts.append((times[last], values[last]))
        self._held += int(np.count_nonzero(last))


def _sorted(times: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    if (np.diff(times) >= 0).all():
        return times, values
    # Of equal times the later in the file stays behind.
    order = np.argsort(times, kind="stable")
    return times[order], values[order]
