"""The time column of one file: found, read, checked, turned into UTC."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.trends.batches import TEXT, Batch, Dropped, Reader, shown, texts
from fptlib.trends.clock import Clock
from fptlib.trends.forms import FileForm
from fptlib.trends.headers import resolve
from fptlib.trends.notes import Notes
from fptlib.trends.time_forms import form_of_times, looks_like_time
from fptlib.trends.times import Stamps, read_stamps

_SECOND = 1_000_000_000
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?")
# More broken lines than this share of a file are no accident of export.
_BROKEN_SHARE = 0.01


class StampReader:
    """Reads the times of one file.

    Raises:
        IntakeError: there is no time column, or its form cannot be told.
    """

    def __init__(self, reader: Reader, form: FileForm, notes: Notes) -> None:
        self._reader, self.form, self._notes = reader, form, notes
        self.columns = _time_columns(reader, form)
        self._time_form = form_of_times(self._sample(), form, self._all_days())
        self.kind = self._time_form.kind if len(self.columns) == 1 else TEXT
        self._clock = Clock(form.zone, form.name, notes)
        self._unreadable: list[tuple[int, str]] = []
        self.blank = Dropped()
        if self._time_form.said:
            notes.note(self._time_form.said, form.name)

    def _sample(self) -> list[str]:
        samples = [self._reader.sample(column) for column in self.columns]
        return [" ".join(cells) for cells in zip(*samples, strict=False)]

    def _all_days(self) -> Iterator[Sequence[str]]:
        for batch in self._reader.batches(dict.fromkeys(self.columns, TEXT)):
            days = pc.utf8_slice_codeunits(self._joined(batch), 0, 10)
            yield days.unique().to_pylist()

    def _joined(self, batch: Batch) -> pa.Array:
        parts = [texts(batch.columns[column]) for column in self.columns]
        return parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " ")

    def read(self, batch: Batch) -> Stamps:
        """The times of a batch, as the file's clock shows them."""
        stamps = self.peek(batch)
        if stamps.bad.any():
            self._remember(batch, self._cells(batch), stamps.bad)
        return stamps

    def peek(self, batch: Batch) -> Stamps:
        """The times of a batch that will be read again: nothing of it is remembered."""
        return read_stamps(self._cells(batch), self._time_form, self.form.zone)

    def _cells(self, batch: Batch) -> Any:
        column: Any = batch.columns[self.columns[0]]
        if len(self.columns) > 1 or not pa.types.is_timestamp(column.type):
            return self._joined(batch)
        return column

    def _remember(self, batch: Batch, column: Any, bad: np.ndarray) -> None:
        for at in np.flatnonzero(bad):
            text = str(column[int(at)].as_py() or "").strip()
            if text:
                self._unreadable.append((batch.row(int(at)), text))
                if len(self._unreadable) > 1000:
                    self._refuse(*self._unreadable[0])
            else:
                self.blank.add(batch.row(int(at)), "")

    def check_left_out(self, last_row: int, rows: int) -> None:
        """Say which lines are no rows; stop where that is no accident.

        ``last_row`` is the row of the last line with a time.

        Raises:
            IntakeError: a time in the middle of the file cannot be read, or many lines are
                broken.
        """
        header = self.columns[0].lower()
        repeated = [row for row, text in self._unreadable if text.split(",")[0].lower() == header]
        others = [entry for entry in self._unreadable if entry[0] not in set(repeated)]
        middle = [entry for entry in others if entry[0] < last_row]
        if middle:
            self._refuse(*middle[0])
        if repeated:
            self._notes.note(f"{len(repeated)} repeated header rows were left out",
                             self.form.name, row=repeated[0])
        if others:
            self._notes.note(f"{len(others)} last rows ('{shown(others[0][1], 30)}') are no trend "
                             "and were left out", self.form.name, row=others[0][0])
        if self.blank.count:
            self._notes.note(f"{self.blank.count} rows without a time were left out",
                             self.form.name, row=self.blank.first[0][0])
        self._check_broken(last_row, rows)

    def _check_broken(self, last_row: int, rows: int) -> None:
        dropped = self._reader.dropped
        if not dropped.count:
            return
        row, text = dropped.first[0]
        if row > last_row:
            self._notes.note(f"{dropped.count} last lines ('{shown(text, 30)}') are no rows and "
                             "were left out", self.form.name, row=row)
        elif dropped.count <= max(1, _BROKEN_SHARE * rows):
            self._notes.doubt(
                f"{dropped.count} lines have another number of cells than the header "
                f"('{shown(text, 30)}') and were left out", self.form.name, row=row)
        else:
            raise IntakeError(
                f"file '{self.form.name}', row {row}: {dropped.count} lines have another number of "
                f"cells than the header's {len(self._reader.names)} ('{shown(text)}'); "
                "export the trend again"
            )

    def refuse_all(self) -> None:
        """Say why a file has no row with a time.

        Raises:
            IntakeError: always.
        """
        if self._unreadable:
            self._refuse(*self._unreadable[0])
        raise IntakeError(f"file '{self.form.name}' has no row with a time; export it again")

    def _refuse(self, row: int, text: str) -> None:
        raise IntakeError(
            f"file '{self.form.name}', row {row}: '{shown(text)}' in column "
            f"{' and '.join(repr(c) for c in self.columns)} cannot be read as a date and time; "
            "mend the row in the control system's export, or export again"
        )

    def utc(self, ns: np.ndarray, zoned: np.ndarray | None, row: Callable[[int], int]
            ) -> np.ndarray:
        """True UTC of the file clock's times: zone and clock offset taken out."""
        if zoned is None or not zoned.any():
            utc = self._clock.utc(ns, row)
        elif zoned.all():
            utc = ns
        else:
            utc = ns.copy()
            local = np.flatnonzero(~zoned)
            utc[local] = self._clock.utc(ns[local], lambda at: row(int(local[at])))
        return utc - int(self.form.clock_offset_s * _SECOND)


def _time_columns(reader: Reader, form: FileForm) -> tuple[str, ...]:
    where = f"file '{form.name}', time column"
    if form.time_column:
        return tuple(resolve(reader, column, where) for column in form.time_column)
    for at, column in enumerate(reader.names):
        cells = reader.sample(column)
        if not looks_like_time(cells):
            continue
        after = reader.names[at + 1] if at + 1 < len(reader.names) else ""
        days_only = not any(":" in cell for cell in cells)
        if days_only and after and all(
            _TIME_OF_DAY.fullmatch(cell) for cell in reader.sample(after) if cell
        ) and any(reader.sample(after)):
            return column, after
        return (column,)
    named = [c for c in reader.names if c.lower() in ("time", "timestamp", "date", "datetime")]
    return (named[0] if named else reader.names[0],)
