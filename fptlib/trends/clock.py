"""The time column of one file: found, read, checked, turned into UTC.

In the night the clocks go back one hour is read twice. Which of the two a row belongs to is
seen from the order of the rows: where the clock jumps back, summer time has ended.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta, tzinfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib.errors import IntakeError
from fptlib.trends import align, arrow
from fptlib.trends.cells import shown, tidy
from fptlib.trends.grid import Notes
from fptlib.trends.mapping import FileForm
from fptlib.trends.table import TEXT, Batch, Table, texts
from fptlib.trends.times import (
    DAY,
    MINUTE,
    SECOND,
    SWAPPED,
    Stamps,
    count_of,
    days_swapped,
    shape_of,
    time_form,
)
from fptlib.trends.zones import has_zone, zone_in

_TIME_OF_DAY_WRITTEN = re.compile(
    r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:\s?[AaPp](?:\.?[Mm]\.?)?)?")
_HAS_HOURS = re.compile(r"\d:\d|\d[T ]\d{2}|\d{12}")
_TIME_OF_DAY = re.compile(r"[01]?\d|2[0-4]")
_TIME_NAME = re.compile(r"(?:date|time|datetime|timestamp|ts)\b", re.IGNORECASE)
# A preamble that says in which zone the times are, not when the report was made.
_ZONE_LINE = re.compile(r"time\s*zone|times?\s+(?:are|in|shown)\b", re.IGNORECASE)
_WORD = re.compile(r"[A-Z]{3,4}$")
_HOUR = 60 * MINUTE
# A line that sums up those above it, wherever it stands.
_SUMMARY = re.compile(
    r"(?:[^\W\d]+\s)?(?:(?:sub|grand )?totals?|sum|average|avg|mean|min|minimum|max|maximum|median)"
    r"\.?:?", re.IGNORECASE)
# More lines of another width at the end are no footer.
_LAST_LINES = 40
# More broken lines than this share of a file are no accident of export.
_BROKEN_SHARE = 0.01
_EPOCH = datetime(1970, 1, 1)


class Clock:
    """Reads the times of one file.

    Args:
        columns: of the time, and perhaps of the hours; left out they are found.

    Raises:
        IntakeError: there is no time column, or its form cannot be told.
    """

    def __init__(self, table: Table, form: FileForm, notes: Notes,
                 columns: tuple[str, ...] = ()) -> None:
        self._table, self._form, self._notes = table, form, notes
        self.columns = columns or time_columns(table, form)[0]
        self.zone, self.zone_stated = self._zone()
        # Whether every time states its own offset, in which nothing is open.
        self.stamped, self._day = False, ""
        sample = [table.sample(column) for column in self.columns]
        cells = self._joined([arrow.text_column(each[: min(map(len, sample))])
                              for each in sample])
        self._time_form = time_form(cells.to_pylist(), form, self.columns, self._all_days())
        self._day = ""
        kind = self._time_form.kind if len(self.columns) == 1 else TEXT
        self.kinds = dict.fromkeys(self.columns, kind)
        self._unreadable: list[tuple[int, str]] = []
        self._blank = self._first_blank = 0
        # The last reading, where it lay in a repeated hour, and whether in its second pass.
        self._last: tuple[int, bool] | None = None
        if self._time_form.said:
            notes.note(self._time_form.said, form.name)

    def _zone(self) -> tuple[tzinfo, bool]:
        """The zone of the file's clock, and whether the job or the file states one."""
        form, table = self._form, self._table
        if form.zone_stated:
            return form.zone, True
        lines = [line for line in table.layout.preamble if _ZONE_LINE.search(line)]
        for text in (" ".join(self.columns), *lines):
            try:
                zone = zone_in(text, form.zone)
            except ValueError as error:
                raise IntakeError(
                    f"file '{form.name}': '{shown(text)}' names the clock's zone by a place "
                    f"({error}); state time_zone, for example time_zone = \"America/Denver\", "
                    f'under [files."{form.name}"]') from error
            if zone:
                self._notes.note(f"times are in the zone {zone}, as '{shown(text)}' says",
                                 form.name)
                return zone, True
        return form.zone, False

    def _all_days(self) -> Iterator[Sequence[str]]:
        self._day = ""
        for batch in self._table.batches(dict.fromkeys(self.columns, TEXT)):
            yield pc.utf8_slice_codeunits(self._cells(batch), 0, 10).unique().to_pylist()

    def _cells(self, batch: Batch) -> pa.Array:
        return self._joined([batch.columns[column] for column in self.columns])

    def _joined(self, columns: Sequence[pa.Array]) -> pa.Array:
        if len(columns) == 1:
            stamps = pa.types.is_timestamp(columns[0].type)
            return columns[0] if stamps else texts(columns[0])
        return pc.binary_join_element_wise(
            self._days(columns[0]), _hours(columns[1]), arrow.SPACE)

    def _days(self, column: pa.Array) -> pa.Array:
        """Dates of which an export may write each only once."""
        cells = pc.utf8_trim_whitespace(texts(column))
        cells = pc.if_else(pc.equal(cells, arrow.BLANK), arrow.NOTHING, cells)
        days = pc.fill_null(pc.fill_null_forward(cells), arrow.text_column([self._day])[0])
        self._day = days[-1].as_py() if len(days) else self._day
        return days

    def read(self, batch: Batch) -> tuple[Batch, Stamps]:
        """The lines of a batch that have a time, and their times as the file's clock shows them.

        Lines without one (totals, a repeated header) are remembered; they may hold any text.
        """
        cells = self._cells(batch)
        stamps = self._time_form.read(cells, self.zone, self.zone_stated)
        if not stamps.bad.any():
            return batch, stamps
        for at in np.flatnonzero(stamps.bad).tolist():
            if text := str(cells[at].as_py() or "").strip():
                self._refuse_other_header(batch, at, text)
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
        name = self._form.name
        repeated = [row for row, text in self._unreadable if self._is_header(text)]
        sums = [(row, text) for row, text in self._unreadable
                if row < last_row and _SUMMARY.fullmatch(text)]
        left_out = {*repeated, *(row for row, _ in sums)}
        others = [entry for entry in self._unreadable if entry[0] not in left_out]
        if others and (others[0][0] < last_row or not rows):
            self._refuse(*others[0])
        if not rows:
            raise IntakeError(f"file '{name}' has no row with a time; export it again")
        if sums:
            self._notes.note(f"{len(sums)} rows of sums ('{shown(sums[0][1], 30)}') were left out",
                             name, row=sums[0][0])
        if repeated:
            self._notes.note(f"{len(repeated)} repeated header rows were left out", name,
                             row=repeated[0])
        if others:
            self._notes.note(f"{len(others)} last rows ('{shown(others[0][1], 30)}') are no trend "
                             "and were left out", name, row=others[0][0])
        if self._blank:
            self._notes.note(f"{self._blank} rows without a time were left out", name,
                             row=self._first_blank)
        titles, row, text = self._table.titles
        if titles:
            which = "last lines" if row > last_row else "lines of words"
            self._notes.note(f"{titles} {which} ('{shown(text, 30)}') are no rows and were left "
                             "out", name, row=row)
        broken, row, text = self._table.broken
        if broken > _LAST_LINES and row > last_row:
            raise IntakeError(
                f"file '{name}', row {row}: {broken} lines from here on have another number of "
                f"cells than the header's {len(self._table.names)} ('{shown(text)}'), as where "
                "another table stands below; export each table into a file of its own")
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

    def _is_header(self, text: str) -> bool:
        # In the middle of files that were put one behind the other stands a byte order mark.
        return tidy(text).split(",")[0].lower() == self.columns[0].lower()

    def _refuse_other_header(self, batch: Batch, at: int, time: str) -> None:
        """Stop at a header in the middle that names other columns or units than the first one."""
        groups = self._table.layout.groups or ("",) * len(self._table.names)
        for name, column in batch.columns.items() if self._is_header(time) else ():
            cell = column[at]
            text = tidy(str(cell.as_py() or "") if isinstance(column, pa.Array) else "")
            group = groups[self._table.names.index(name)]
            own = (name, re.sub(r" \(\d+\)$", "", name), group, name.removeprefix(f"{group} "))
            if text and name not in self.columns and text not in own:
                raise IntakeError(
                    f"file '{self._form.name}', row {batch.rows[at]}: a header begins here anew, "
                    f"with '{shown(text)}' where '{name}' stood; what stands below it has other "
                    "columns or units: export it again into a file of its own")

    def _refuse(self, row: int, text: str) -> None:
        under = f'under [files."{self._form.name}"]'
        found, advice = f"file '{self._form.name}', row {row}: '{shown(text)}' in column ", (
            "correct the row in the control system's export, or export again")
        shape = shape_of([text])
        if {shape, self._time_form.shape} in ({"numbers", "iso"}, {"numbers", "year"}):
            advice = ("other rows are written otherwise, as after a spreadsheet took days for "
                      f'months; if so, state date_order = "{SWAPPED}" {under}')
        elif word := _WORD.search(text) if shape else None:
            advice = (f"the zone '{word[0]}' is not known here; state time_zone, the zone of the "
                      f'file\'s clock, for example time_zone = "America/New_York" {under}')
        raise IntakeError(f"{found}{' and '.join(repr(c) for c in self.columns)} cannot be read as "
                          f"a date and time; {advice}")

    def utc(self, stamps: Stamps, rows: np.ndarray,
            points: Callable[[], np.ndarray] = lambda: np.zeros(1, np.int64)) -> np.ndarray:
        """True UTC [ns] of times in the order of the file: zone and clock offset taken out.

        ``points`` gives a number for the point of each row, where several share a time.

        Raises:
            IntakeError: a reading lies in the hour that this zone's clocks leave out.
        """
        local, zoned = stamps.ns, stamps.zoned
        self.stamped = zoned is not None and bool(zoned.any())
        if zoned is None or not zoned.any():
            utc = self._of_local(local, rows, points)
        elif zoned.all():
            utc = local
        else:
            utc, plain = local.copy(), np.flatnonzero(~zoned)
            utc[plain] = self._of_local(local[plain], rows[plain], lambda: _each(
                points(), len(local))[plain])
        return utc - int(self._form.clock_offset_s * SECOND)

    def _of_local(self, local: np.ndarray, rows: np.ndarray, points: Callable[[], np.ndarray]
                  ) -> np.ndarray:
        if not len(local):
            return local
        self._refuse_misread(local)
        if np.count_nonzero(np.diff(local) < 0) > 0.5 * len(local):
            return self._of_local(local[::-1], rows[::-1], lambda: points()[::-1])[::-1]
        first, second = _offsets(local, self.zone)
        if (first < second).any():
            at = int(np.argmax(first < second))
            self._refuse_clock(
                f"row {rows[at]}: {_reading(local[at]):%Y-%m-%d %H:%M} does not exist in zone "
                f"{self.zone}, the clocks go forward over it", int(local[at]))
        twice = first > second
        if not twice.any():
            self._last = None
            return local - first
        at = int(np.argmax(twice))
        self._notes.note(
            f"the hour of {_reading(local[at]):%Y-%m-%d %H}:00 is read twice when the clocks go "
            "back; rows before the jump back are taken as summer time, rows after it as standard "
            "time", self._form.name, row=int(rows[at]))
        after = self._after_change(local, twice, _each(points(), len(local)))
        if not self.zone_stated:
            self._refuse_standard(local, twice, after)
        self._last = (int(local[-1]), bool(after[-1])) if twice[-1] else None
        return local - np.where(after, second, first)

    def _after_change(self, local: np.ndarray, twice: np.ndarray, points: np.ndarray
                      ) -> np.ndarray:
        """Which readings of the repeated hour belong to its second pass."""
        after = np.zeros(len(local), dtype=bool)
        for begin, end in align.stretches(twice):
            last, passed = self._last if begin == 0 and self._last else (local[begin] - 1, False)
            steps = np.diff(local[begin:end], prepend=last)
            # A jump of a few seconds is an out-of-order row, not the end of summer. Where rows
            # are an hour apart the same reading of a point comes again.
            back = np.flatnonzero(steps <= -20 * MINUTE)
            before = np.unique(local[max(begin - 1000, 0) : begin + 1])
            if not len(back) and (np.diff(before[-3:]) == _HOUR).any():
                firsts = np.unique(local[begin:end] + points[begin:end], return_index=True)[1]
                back = np.setdiff1d(np.arange(end - begin), firsts)
            if passed:
                after[begin:end] = True
            elif len(back):
                after[begin + back[0] : end] = True
        return after

    def _refuse_misread(self, local: np.ndarray) -> None:
        """Stop where the order of the rows shows that their times are not what they look like."""
        file = self._form.name
        steps = np.abs(np.diff(local))
        noon = (steps > 10 * _HOUR) & (steps < 12 * _HOUR)
        hours = local % DAY // _HOUR if noon.any() else np.zeros(1)
        if 1 <= hours.min() and hours.max() == 12:
            raise IntakeError(
                f"file '{file}': the hours run from 1 to 12 twice a day without AM or PM; export "
                "the trend again with AM and PM, or with hours from 0 to 23")
        if not self._form.date_order and days_swapped(
                np.unique(local[:: len(local) // 2000 + 1] // DAY)):
            raise IntakeError(
                f"file '{file}': the dates follow one another only with day and month swapped, as "
                f'after a spreadsheet took days for months; state date_order = "{SWAPPED}" if so, '
                f'or date_order = "year first" if they are right, under [files."{file}"]')

    def _refuse_standard(self, local: np.ndarray, twice: np.ndarray, after: np.ndarray) -> None:
        """Stop where the rows run evenly through an hour that a clock in this zone shows twice."""
        for begin in np.flatnonzero(np.diff(twice.astype(np.int8), prepend=0) == 1).tolist():
            hour = local[begin] // _HOUR * _HOUR
            near = np.unique(local[(local >= hour - 2 * _HOUR) & (local <= hour + 3 * _HOUR)])
            steps, later = np.diff(near), np.flatnonzero(local[begin:] >= hour + _HOUR)
            # Rows up to the end of the batch, or a second pass, leave nothing to say.
            if not len(later) or near[0] >= hour or after[begin:][: later[0]].any():
                continue
            if steps.max() <= min(1.5 * np.median(steps), _HOUR):
                self._refuse_clock(
                    f"the rows run through {_reading(hour):%Y-%m-%d %H}:00 once, where the clocks "
                    "go back and show that hour twice", int(local[begin]))

    def _refuse_clock(self, found: str, local: int) -> None:
        """Stop because a clock may stay on standard time."""
        standard = _offset(int(local) + DAY * 2, self.zone, 0) // SECOND
        standard = min(standard, _offset(int(local) - DAY * 2, self.zone, 0) // SECOND)
        sign, minutes = "-" if standard < 0 else "+", abs(standard) // 60
        raise IntakeError(
            f"file '{self._form.name}': {found}; if the file's clock stays on standard time, state "
            f'time_zone = "{sign}{minutes // 60:02d}:{minutes % 60:02d}", and if the export left '
            f'the hour out, time_zone = "{self.zone}", under [files."{self._form.name}"]')


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


def _each(points: np.ndarray, count: int) -> np.ndarray:
    """A number for each row, where one stands for all."""
    return points if len(points) == count else np.broadcast_to(points[:1], count)


def _hours(column: pa.Array) -> pa.Array:
    """Clock readings; a bare hour stands for its beginning."""
    cells = pc.utf8_trim_whitespace(texts(column))
    return pc.replace_substring_regex(cells, r"^(\d{1,2})$", r"\1:00")


def time_columns(table: Table, form: FileForm) -> list[tuple[str, ...]]:
    """The time column of each of the tables that lie side by side in a file, from left to right,
    each perhaps with its column of hours.

    Raises:
        IntakeError: many rows have the same date and no column holds hours.
    """
    if form.time_column:
        where = f"file '{form.name}', time column"
        return [tuple(table.header(column, where) for column in form.time_column)]
    groups: list[list[str]] = []
    before = -2
    for at, column in enumerate(table.names):
        if column and shape_of(list(filter(None, table.sample(column)))):
            if at != before + 1:
                groups.append([])
            groups[-1].append(column)
            before = at
    if not groups:
        # A count of seconds or days is a time only where nothing else is.
        counts = [name for name in table.names if name and count_of(table.sample(name)) is not None]
        named = [name for name in table.names if _TIME_NAME.match(name)]
        both = [name for name in named if name in counts]
        return [(name,) for name in both or (named or counts or table.names)[:1]]
    axes = [_best(table, form, group) for group in groups]
    return [_with_hours(table, form, axis) for at, axis in enumerate(axes)
            if not at or _is_axis(table.sample(axis))]


def _best(table: Table, form: FileForm, group: Sequence[str]) -> str:
    """Of the same moment told in several ways the one that leaves nothing open."""
    # What stands in every row alike, such as the query's first and last time, is no row's time.
    group = [name for name in group if len({*table.sample(name), ""}) > 2] or group
    marked = [name for name in group if has_zone(name, form.zone)]
    zoned = [name for name in group if shape_of(table.sample(name)) == "iso zoned"]
    return (marked or zoned or group)[0]


def _is_axis(cells: Sequence[str]) -> bool:
    """Whether times are those of rows, each another one, and no property of the rows."""
    given = [cell for cell in cells if cell]
    return len(given) > 1 and len(set(given)) > 0.9 * len(given)


def _with_hours(table: Table, form: FileForm, axis: str) -> tuple[str, ...]:
    """A column of dates with the column that holds the time of day, wherever that stands."""
    cells = table.sample(axis)
    if any(_HAS_HOURS.search(cell) for cell in cells):
        return (axis,)
    at = table.names.index(axis)
    # The nearest, to the right first.
    others = sorted((name for name in table.names if name and name != axis),
                    key=lambda name: (abs(table.names.index(name) - at),
                                      table.names.index(name) < at))
    for shape in (_TIME_OF_DAY_WRITTEN, _TIME_OF_DAY):
        for name in others:
            hours = [cell for cell in table.sample(name) if cell]
            named = shape is _TIME_OF_DAY_WRITTEN or name.lower() in ("hour", "hr", "time")
            if named and hours and all(map(shape.fullmatch, hours)):
                return axis, name
    given = [cell for cell in cells if cell]
    if len(given) > 3 and len(set(given)) < 0.7 * len(given):
        raise IntakeError(
            f"file '{form.name}': column '{axis}' holds dates, many rows have the same one, and no "
            f"column with the time of day was found among {', '.join(others[:8])}; state "
            f'time_column = ["{axis}", "..."] with the column of the time of day under '
            f'[files."{form.name}"]')
    return (axis,)
