"""A wide file: one column per point, one row per moment."""

from __future__ import annotations

import numpy as np

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends import align, safe
from fptlib.trends.cells import looks_numeric
from fptlib.trends.grid import AlarmText
from fptlib.trends.samples import FileSamples, OpenedFile, Progress, hold_for, is_quality
from fptlib.trends.table import NUMBER, TEXT, Batch
from fptlib.trends.times import DAY, MINUTE, SECOND, Stamps
from fptlib.trends.values import given_or_unknown

# So many values, each another than the one before, are no accident of gaps.
_FEWEST_CHANGES = 13
# A row so much earlier than the usual step is none of the samples.
_OFF_STEP = 0.9
# More rows than this share that repeat a moment out of order are those of another table.
_TABLES_BELOW = 0.2
# With more moments than this share that contradict themselves a column is not to be believed.
_CONTRADICTIONS = 0.01


class WideFile(FileSamples):
    """The samples of one wide file, in order, each moment once.

    Raises:
        IntakeError: a mapped column is not there, a cell means nothing, or it is too large.
    """

    def __init__(self, opened: OpenedFile, progress: Progress) -> None:
        super().__init__(opened)
        kinds = dict(opened.clock.kinds)
        self._columns: dict[str, tuple[str, str]] = {}
        for key, source in self._sources.items():
            header, *quality = (self.table.header(column, f"point {source.name}")
                                for column in (source.column, source.quality_column) if column)
            quality = quality or self._quality_of(header)
            words = source.wordy and not looks_numeric(self.table.sample(header))
            kinds[header] = TEXT if words else NUMBER
            kinds |= dict.fromkeys(quality, TEXT)
            self._columns[key] = header, quality[0] if quality else ""
            self._readers[key] = opened.point_reader(source, header)
        # Stretch by stretch, put together once.
        self._parts: dict[str, list[np.ndarray]] = {key: [] for key in self._sources}
        self._local: list[np.ndarray] = []
        self._zoned: list[np.ndarray] = []
        self._numbers: list[np.ndarray] = []
        self._alarms: list[tuple[int, str, str]] = []
        for batch in self.table.batches(kinds):
            self._take(*self.clock.read(batch))
            progress(batch.done)
        self._settle()

    def _take(self, batch: Batch, stamps: Stamps) -> None:
        for key, (header, quality) in self._columns.items():
            reader, column = self._readers[key], batch.columns[header]
            values = reader.read(column, batch.rows, stamps.ns,
                                 batch.columns[quality] if quality else None)
            if self.hold(key) is not None:
                values = given_or_unknown(values, column)
            self._parts[key].append(values)
            self._alarms += [(self.rows + at, self._sources[key].name, text)
                             for at, text in reader.alarm_texts]
        self._local.append(stamps.ns)
        self._zoned.append(
            np.zeros(len(stamps.ns), bool) if stamps.zoned is None else stamps.zoned)
        self._numbers.append(batch.rows)
        self.rows += len(batch.rows)
        if self.rows * (len(self._parts) + 1) > safe.CELLS or self.rows > safe.ROWS:
            raise IntakeError(f"file '{self.form.name}' has more than {self.rows:,} rows of "
                              f"{len(self._parts)} mapped columns; export a shorter span")

    def _settle(self) -> None:
        """UTC, in order, each moment once; what was done is said."""
        numbers, local, zoned = map(_together, (self._numbers, self._local, self._zoned))
        self.values = {key: _together(parts) for key, parts in self._parts.items()}
        self.clock.finish(int(numbers[-1]) if self.rows else 0, self.rows)
        times = self.clock.utc(Stamps(local, zoned, zoned), numbers)
        self.alarms = [AlarmText(align.moment(times[at]), name, text)
                       for at, name, text in self._alarms]
        times = self._ordered(times, numbers)
        self.interval = self._usual_interval(times)
        times = self._without_events(times)
        self.rows, self.first_time, self.last_time = len(times), int(times[0]), int(times[-1])
        self.drift = self._drift(times)
        self.shift = self.interval if self.form.stamps == "end" else 0
        times = times - self.shift if self.shift else times
        self.times = dict.fromkeys(self._sources, times)
        for key, reader in self._readers.items():
            self.values[key] = self._cleared(key, self.values[key])
            reader.finish()
        self._refuse_changes()

    def _quality_of(self, header: str) -> list[str]:
        """The column beside a point's that says of each value whether it is good."""
        beside = self.table.names[self.table.names.index(header) + 1 :][:1]
        mapped = [source.column for source in self._sources.values()]
        if not beside or beside[0] in mapped or not is_quality(beside[0], self.table, self.form):
            return []
        self._notes.note(f"column '{beside[0]}' says which values of '{header}' are good",
                         self.form.name)
        return list(beside)

    def _refuse_changes(self) -> None:
        """Stop at columns that are written only where their value changes, and not said to be."""
        if self.form.interval_minutes:
            return
        longest = dict[str, int]()
        for key, values in self.values.items():
            there = np.flatnonzero(~np.isnan(values))
            if self.hold(key) is None and self._sources[key].point.kind != points.MEASURED and (
                    _FEWEST_CHANGES <= len(there) <= 0.5 * len(values)) and (
                    np.diff(values[there]).all()):
                longest[key] = int(np.diff(self.times[key][there]).max())
        if not longest:
            return
        apart = max(longest.values())
        where = [f"[points.{self._sources[key].name}]" for key in longest]
        names = ", ".join(f"'{self._columns[key][0]}'" for key in longest)
        raise IntakeError(
            f"file '{self.form.name}', column {names}: a value is written only where it changes, "
            f"at most {apart / MINUTE:g} min apart; state {hold_for(apart)} (hours that a value "
            f"stands) under {' and under '.join(where)}")

    def _ordered(self, times: np.ndarray, numbers: np.ndarray) -> np.ndarray:
        """Ascending times, each once, the values with them; what is late or repeated is said."""
        steps = np.diff(times)
        late = bool((steps < 0).any())
        if late:
            self._notes.note(f"{int((steps < 0).sum())} rows stood out of order and were sorted by "
                             "time", self.form.name, row=int(numbers[np.argmax(steps < 0) + 1]))
            order = np.argsort(times, kind="stable")
            times, numbers, steps = times[order], numbers[order], np.diff(times[order])
            self._select(order)
        if steps.all():
            return times
        firsts = np.flatnonzero(np.append(True, steps != 0))
        differ = np.zeros(len(firsts), dtype=bool)
        for key in self.values:
            differ |= self._merged(key, firsts)
        again, numbers = np.diff(firsts, append=len(times)) > 1, numbers[firsts]
        if (same := again & ~differ).any():
            self._notes.note(f"{int(same.sum())} rows repeat a moment with the same values and "
                             "were dropped", self.form.name, row=int(numbers[np.argmax(same)]))
        if late and np.count_nonzero(differ) > _TABLES_BELOW * len(firsts):
            raise IntakeError(
                f"file '{self.form.name}', row {numbers[np.argmax(differ)]}: its times begin "
                "anew and come again with other values, as where a table stands below another; "
                "export each point into a file of its own, or all of them side by side")
        if differ.any():
            self._notes.doubt(
                f"{int(differ.sum())} rows repeat a moment with other values, which are missing "
                "there", self.form.name, row=int(numbers[np.argmax(differ)]))
        return times[firsts]

    def _merged(self, key: str, firsts: np.ndarray) -> np.ndarray:
        """Make one value of those that a point has in each moment, and say which contradict one
        another: they are not known. What was logged on change has both, the last one stands; an
        alarm counts."""
        values = self.values[key]
        low, high = np.fmin.reduceat(values, firsts), np.fmax.reduceat(values, firsts)
        differ = low < high
        if self.hold(key) is not None:
            last = values[np.append(firsts[1:], len(values)) - 1]
            self.values[key] = np.where(np.isnan(last), high, last)
            return np.zeros(len(firsts), dtype=bool)
        alarm = self._sources[key].point.kind == points.ALARM
        self.values[key] = high if alarm else np.where(differ, np.nan, high)
        if np.count_nonzero(differ) > _CONTRADICTIONS * len(firsts):
            self._notes.doubt(
                f"in {np.count_nonzero(differ)} of {len(firsts)} moments the rows hold different "
                "values", self.form.name, self._sources[key].name)
        return np.asarray(differ)

    def _without_events(self, times: np.ndarray) -> np.ndarray:
        """The moments without a logger's own events: rows off the steps that hold no value, and
        would end the sample before them."""
        off = np.diff(times, prepend=times[0] - self.interval) < _OFF_STEP * self.interval
        for values in self.values.values() if off.any() else ():
            off &= np.isnan(values)
        if off.any():
            self._notes.note(f"{np.count_nonzero(off)} rows between the samples hold no value and "
                             "were left out", self.form.name)
            self._select(~off)
        return times[~off]

    def _select(self, which: np.ndarray) -> None:
        # One column at a time, as they are large.
        for key in self.values:
            self.values[key] = self.values[key][which]

    def _usual_interval(self, times: np.ndarray) -> int:
        if self.form.interval_minutes is not None:
            return int(self.form.interval_minutes * MINUTE)
        usual, steps = align.usual_step(times), np.diff(times)
        uneven = int(np.count_nonzero(np.abs(steps - usual) > align.WANDER * usual)) if usual else 0
        if uneven > 0.05 * len(steps):
            self._notes.note(
                f"{uneven} of {len(steps)} steps differ from the usual {usual / MINUTE:g} "
                "min; a value stands for the usual step only (state interval_minutes or hold "
                "where it stands longer)", self.form.name)
        return usual

    def _drift(self, times: np.ndarray) -> float:
        """How the stamps run away from even steps [s/day]; 0 where they do not."""
        if len(times) < 100 or not self.interval:
            return 0.0
        slips = np.diff(times) - self.interval
        slips = slips[np.abs(slips) < 0.1 * self.interval]
        days = len(slips) * self.interval / DAY
        return float(slips.sum() / SECOND / days) if days > 0 else 0.0

    def fit(self, steps: align.Steps) -> None:
        """Settle to which stretches of the grid the samples belong."""
        times = next(iter(self.times.values()))
        self.steps = steps if self.form.hold is not None else steps.fitting(times)


def _together(parts: list[np.ndarray]) -> np.ndarray:
    """The stretches of a column as one array; they are given up, as they are large."""
    whole = np.concatenate(parts or [np.empty(0)])
    parts.clear()
    return whole
