"""The time column of one file: found, read, checked, turned into UTC.

In the night the clocks go back one hour is read twice. Which of the two a row belongs to is
seen from the order of the rows: where the clock jumps back, summer time has ended.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta, tzinfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.trends.cells import shown
from fptlib.trends.grid import Notes
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import TEXT, Batch, Table, texts
from fptlib.trends.times import DAY, MINUTE, SECOND, Stamps, looks_like_time, time_form

_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?")
# More broken lines than this share of a file are no accident of export.
_BROKEN_SHARE = 0.01
_EPOCH = datetime(1970, 1, 1)


class Clock:
    """Reads the times of one file.

    Raises:
        IntakeError: there is no time column, or its form cannot be told.
    """

    def __init__(self, table: Table, form: FileForm, notes: Notes) -> None:
        self._table, self._form, self._notes = table, form, notes
        self.columns = _time_columns(table, form)
        sample = zip(*(table.sample(column) for column in self.columns), strict=False)
        self._time_form = time_form([" ".join(cells) for cells in sample], form, self.columns,
                                    self._all_days())
        kind = self._time_form.kind if len(self.columns) == 1 else TEXT
        self.kinds = dict.fromkeys(self.columns, kind)
        self._unreadable: list[tuple[int, str]] = []
        self._blank = self._first_blank = 0
        # The last reading, where it lay in a repeated hour, and whether in its second pass.
        self._last: tuple[int, bool] | None = None
        if self._time_form.said:
            notes.note(self._time_form.said, form.name)

    def _all_days(self) -> Iterator[Sequence[str]]:
        for batch in self._table.batches(dict.fromkeys(self.columns, TEXT)):
            yield pc.utf8_slice_codeunits(self._cells(batch), 0, 10).unique().to_pylist()

    def _cells(self, batch: Batch) -> pa.Array:
        columns = [batch.columns[column] for column in self.columns]
        if len(columns) == 1:
            stamps = pa.types.is_timestamp(columns[0].type)
            return columns[0] if stamps else texts(columns[0])
        return pc.binary_join_element_wise(*map(texts, columns), " ")

    def read(self, batch: Batch) -> tuple[Batch, Stamps]:
        """The lines of a batch that have a time, and their times as the file's clock shows them.

        Lines without one (totals, a repeated header) are remembered; they may hold any text.
        """
        cells = self._cells(batch)
        stamps = self._time_form.read(cells, self._form.zone)
        if not stamps.bad.any():
            return batch, stamps
        for at in np.flatnonzero(stamps.bad).tolist():
            if text := str(cells[at].as_py() or "").strip():
                self._unreadable.append((int(batch.rows[at]), text))
                if len(self._unreadable) > 1000:
                    self._refuse(*self._unreadable[0])
            else:
                self._first_blank = self._first_blank or int(batch.rows[at])
                self._blank += 1
        good = np.flatnonzero(~stamps.bad)
        zoned = None if stamps.zoned is None else stamps.zoned[good]
        return batch.take(good), Stamps(stamps.ns[good], stamps.bad[good], zoned)

    def finish(self, last_row: int, rows: int) -> None:
        """Say which lines are no rows; stop where that is no accident.

        Args:
            last_row: the row of the last line with a time.
            rows: how many lines have a time.

        Raises:
            IntakeError: no time can be read, or one in the middle of the file cannot, or many
                lines are broken.
        """
        name, header = self._form.name, self.columns[0].lower()
        repeated = [row for row, text in self._unreadable if text.split(",")[0].lower() == header]
        others = [entry for entry in self._unreadable if entry[0] not in set(repeated)]
        if others and (others[0][0] < last_row or not rows):
            self._refuse(*others[0])
        if not rows:
            raise IntakeError(f"file '{name}' has no row with a time; export it again")
        if repeated:
            self._notes.note(f"{len(repeated)} repeated header rows were left out", name,
                             row=repeated[0])
        if others:
            self._notes.note(f"{len(others)} last rows ('{shown(others[0][1], 30)}') are no trend "
                             "and were left out", name, row=others[0][0])
        if self._blank:
            self._notes.note(f"{self._blank} rows without a time were left out", name,
                             row=self._first_blank)
        broken, row, text = self._table.broken
        if broken and row > last_row:
            self._notes.note(f"{broken} last lines ('{shown(text, 30)}') are no rows and were left "
                             "out", name, row=row)
        elif broken > max(1, _BROKEN_SHARE * rows):
            raise IntakeError(
                f"file '{name}', row {row}: {broken} lines have another number of cells than the "
                f"header's {len(self._table.names)} ('{shown(text)}'); export the trend again")
        elif broken:
            self._notes.doubt(f"{broken} lines have another number of cells than the header "
                              f"('{shown(text, 30)}') and were left out", name, row=row)

    def _refuse(self, row: int, text: str) -> None:
        raise IntakeError(
            f"file '{self._form.name}', row {row}: '{shown(text)}' in column "
            f"{' and '.join(repr(c) for c in self.columns)} cannot be read as a date and time; "
            "correct the row in the control system's export, or export again")

    def utc(self, stamps: Stamps, rows: np.ndarray) -> np.ndarray:
        """True UTC [ns] of times in the order of the file: zone and clock offset taken out.

        Raises:
            IntakeError: a reading lies in the hour that this zone's clocks leave out.
        """
        local, zoned = stamps.ns, stamps.zoned
        if zoned is None or not zoned.any():
            utc = self._of_local(local, rows)
        elif zoned.all():
            utc = local
        else:
            utc, plain = local.copy(), np.flatnonzero(~zoned)
            utc[plain] = self._of_local(local[plain], rows[plain])
        return utc - int(self._form.clock_offset_s * SECOND)

    def _of_local(self, local: np.ndarray, rows: np.ndarray) -> np.ndarray:
        if not len(local):
            return local
        if np.count_nonzero(np.diff(local) < 0) > 0.5 * len(local):
            return self._of_local(local[::-1], rows[::-1])[::-1]
        first, second = _offsets(local, self._form.zone)
        if (first < second).any():
            self._refuse_missing(local, rows, int(np.argmax(first < second)))
        twice = first > second
        if not twice.any():
            self._last = None
            return local - first
        at = int(np.argmax(twice))
        self._notes.note(
            f"the hour of {_reading(local[at]):%Y-%m-%d %H}:00 is read twice when the clocks go "
            "back; rows before the jump back are taken as summer time, rows after it as standard "
            "time", self._form.name, row=int(rows[at]))
        after = self._after_change(local, twice)
        self._last = (int(local[-1]), bool(after[-1])) if twice[-1] else None
        return local - np.where(after, second, first)

    def _after_change(self, local: np.ndarray, twice: np.ndarray) -> np.ndarray:
        """Which readings of the repeated hour belong to its second pass."""
        after = np.zeros(len(local), dtype=bool)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], twice, [False])).astype(np.int8)))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            last, passed = self._last if begin == 0 and self._last else (local[begin], False)
            # A jump of a few seconds is an out-of-order row, not the end of summer.
            back = np.flatnonzero(np.diff(local[begin:end], prepend=last) <= -20 * MINUTE)
            if passed:
                after[begin:end] = True
            elif len(back):
                after[begin + back[0] : end] = True
        return after

    def _refuse_missing(self, local: np.ndarray, rows: np.ndarray, at: int) -> None:
        zone, file = self._form.zone, self._form.name
        standard = _offset(int(local[at]) - DAY, zone, 0) // SECOND
        sign, minutes = "-" if standard < 0 else "+", abs(standard) // 60
        raise IntakeError(
            f"file '{file}', row {rows[at]}: {_reading(local[at]):%Y-%m-%d %H:%M} does not exist "
            f"in zone {zone}, the clocks go forward over it; if the file's clock stays on standard "
            f'time, state time_zone = "{sign}{minutes // 60:02d}:{minutes % 60:02d}" '
            f'under [files."{file}"]')


def _reading(ns: int) -> datetime:
    """What a clock shows."""
    return _EPOCH + timedelta(microseconds=int(ns) // 1000)


def _offset(ns: int, zone: tzinfo, fold: int) -> int:
    """Local minus UTC [ns] at a clock's reading, in its first or its second pass."""
    offset = _reading(ns).replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0)
    return int(offset.total_seconds()) * SECOND


def _offsets(local: np.ndarray, zone: tzinfo) -> tuple[np.ndarray, np.ndarray]:
    """Local minus UTC [ns] of each reading in its first and in its second pass.

    They differ in a repeated hour, and the other way round in one that is left out.
    """
    day, low = local // DAY, int(local.min() // DAY)
    at_midnight = np.array([_offset(each * DAY, zone, 0)
                            for each in range(low, int(local.max() // DAY) + 2)])
    if (at_midnight == at_midnight[0]).all():
        return at_midnight[0], at_midnight[0]
    first = at_midnight[day - low]
    second = first.copy()
    changing = np.flatnonzero(first != at_midnight[day - low + 1])
    if len(changing):
        minutes, back = np.unique(local[changing] // MINUTE, return_inverse=True)
        for offsets, fold in ((first, 0), (second, 1)):
            exact = np.array([_offset(minute * MINUTE, zone, fold) for minute in minutes.tolist()])
            offsets[changing] = exact[back]
    return first, second


def _time_columns(table: Table, form: FileForm) -> tuple[str, ...]:
    """The stated time column, or the first that holds times, perhaps with one of hours."""
    if form.time_column:
        where = f"file '{form.name}', time column"
        return tuple(table.header(column, where) for column in form.time_column)
    for at, column in enumerate(table.names):
        cells = table.sample(column)
        if looks_like_time(cells):
            after = table.names[at + 1] if at + 1 < len(table.names) else ""
            hours = [cell for cell in table.sample(after) if cell] if after else []
            days_only = not any(":" in cell for cell in cells)
            if days_only and hours and all(map(_TIME_OF_DAY.fullmatch, hours)):
                return column, after
            return (column,)
    named = [c for c in table.names if c.lower() in ("time", "timestamp", "date", "datetime")]
    return ((named or table.names)[0],)
