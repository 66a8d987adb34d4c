"""All files of a job through the point map onto one grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.intake import align, safe
from fptlib.intake.batches import Reader
from fptlib.intake.delimited import DelimitedReader
from fptlib.intake.doubts import map_doubts, without_unusable
from fptlib.intake.forms import FileForm, PointSource
from fptlib.intake.headers import resolve
from fptlib.intake.long import LongTable
from fptlib.intake.long_form import is_long, peek_interval
from fptlib.intake.mapping import PointMap
from fptlib.intake.notes import Notes
from fptlib.intake.offset import clock_offset
from fptlib.intake.progress import Progress, part, silent
from fptlib.intake.series import frozen_text, stuck, stuck_hours
from fptlib.intake.stamps import StampReader
from fptlib.intake.wide import WideTable
from fptlib.trends import AlarmText, Remark, TrendFile, Trends

_SECOND_TREND = " (second)"
Table = WideTable | LongTable


def read_trends(folder: Path, point_map: PointMap, progress: Progress | None = None) -> Trends:
    """The job's trends on one uniform grid.

    Args:
        folder: the job's ``trends/``; nothing in it is changed.
        point_map: which column is which point.
        progress: told the share done (0 to 1) and a few words.

    Raises:
        IntakeError: a file, its map or its values cannot be used.
    """
    if not point_map.sources:
        raise IntakeError("job.toml: the point map is empty; map at least one point to a column")
    return _Reading(Path(folder), point_map, progress or silent).trends()


def open_reader(path: Path, form: FileForm, wanted: Sequence[str] = ()) -> Reader:
    """The reader that fits a file's content; ``wanted`` are headers that it should have.

    Raises:
        IntakeError: none does.
    """
    kind = safe.form_of(path)
    # Imported only where such a file lies there: they take a quarter of a second and 40 MB.
    if kind == "workbook":
        from fptlib.intake.workbook_file import WorkbookReader

        return WorkbookReader(path, form, wanted)
    if kind == "parquet":
        from fptlib.intake.parquet import ParquetReader

        return ParquetReader(path, form)
    return DelimitedReader(path, form, wanted)


@dataclass(frozen=True, slots=True)
class _Opened:
    """A file about to be read."""

    form: FileForm
    reader: Reader
    stamps: StampReader
    sources: dict[str, PointSource]
    long: bool


class _Reading:
    """One run of ``read_trends``."""

    def __init__(self, folder: Path, point_map: PointMap, progress: Progress) -> None:
        self._map, self._notes, self._progress = point_map, Notes(), progress
        self._paths = {name: safe.inside(folder, name) for name in point_map.files}
        self._hashes = {name: safe.Hash(path) for name, path in self._paths.items()}
        self._total = max(sum(path.stat().st_size for path in self._paths.values()), 1)
        self._done = 0

    def trends(self) -> Trends:
        trends = self._aligned()
        self._progress(0.97, "looking at the values")
        remarks = self._notes.remarks + self._stated_unusable() + map_doubts(trends)
        frame = without_unusable(trends.frame, remarks)
        self._progress(1.0, "trends read")
        return replace(trends, frame=frame, remarks=tuple(remarks))

    def _aligned(self) -> Trends:
        """All points on one grid; the files' own samples are given up."""
        tables, steps = self._tables()
        first = min(table.begin for table in tables.values())
        last = max(table.last for table in tables.values())
        grid = align.Grid.over(first, last, steps, ", ".join(tables))
        columns, sources = self._on_grid(tables, grid)
        frame = pd.DataFrame(columns, index=grid.index(self._map.zone), copy=False)
        files = tuple(self._file(name, tables[name]) for name in self._map.files)
        self._compare(tables, grid, frame)
        return Trends(frame, pd.Timedelta(steps.step), files, (), self._alarms(tables), sources)

    def _alarms(self, tables: Mapping[str, Table]) -> tuple[AlarmText, ...]:
        found = sorted((a for t in tables.values() for a in t.alarms), key=lambda a: a.time)
        return tuple(replace(a, time=a.time.tz_convert(self._map.zone)) for a in found)

    def _stated_unusable(self) -> list[Remark]:
        return [
            Remark("unusable", f"not used in any check, as the job says: {source.unusable}",
                   source.file, name)
            for name, source in self._map.sources.items() if source.unusable
        ]

    def _compare(self, tables: Mapping[str, Table], grid: align.Grid, frame: pd.DataFrame) -> None:
        """Second trends of a quantity against the first: clocks and values."""
        for name, source in self._map.sources.items():
            if source.second:
                column = tables[source.second.file].on(grid, name + _SECOND_TREND)
                second = pd.Series(column, frame.index)
                self._say_second(name, source, frame[name], second, grid.steps.step)

    def _say_second(
        self, name: str, source: PointSource, first: pd.Series, second: pd.Series, step: int
    ) -> None:
        other = source.second.file if source.second else ""
        minutes, point = step / align.MINUTE, source.point
        hours = stuck_hours(point)
        found = clock_offset(_moving(first, minutes, hours), _moving(second, minutes, hours))
        frozen = frozen_text(pd.DatetimeIndex(second.index), second.to_numpy(), minutes, point)
        if frozen:
            self._notes.doubt(f"in the second trend {frozen}", other, name)
        if found is None or not found.sharp:
            self._notes.doubt(f"the second trend in '{other}' does not follow this one; their "
                              "clocks cannot be compared", source.file, name)
            return
        unit = source.point.unit
        tell = self._notes.doubt if abs(found.seconds) > 60.0 * minutes else self._notes.note
        tell(f"the clock of '{other}' is about {found.seconds / 60.0:+.1f} min against that of "
             f"'{source.file}', and its values {found.difference:+.2g} {unit} (median); state "
             "clock_offset_s if the clocks differ", source.file, name)

    def _tables(self) -> tuple[dict[str, Table], align.Steps]:
        """All files; long ones last, because they are put on the grid while they are read."""
        opened = {name: self._opened(name) for name in self._map.files}
        tables: dict[str, Table] = {}
        for name, file in opened.items():
            if not file.long:
                tables[name] = self._wide(name, file)
                self._say_rows(file, tables[name])
        steps = self._steps(tables, [file for file in opened.values() if file.long])
        for name, file in opened.items():
            if file.long:
                tables[name] = self._long(name, file, steps)
                self._say_rows(file, tables[name])
        return tables, steps

    def _opened(self, name: str) -> _Opened:
        form, sources = self._map.files[name], _keyed(self._map, name)
        mapped = [source.column for source in sources.values()]
        own = [form.point_column, form.value_column]
        wanted = [name for name in (*form.time_column, *own, *mapped) if name]
        reader = open_reader(self._paths[name], form, wanted)
        stamps = StampReader(reader, form, self._notes)
        return _Opened(form, reader, stamps, sources, is_long(reader, form, mapped))

    def _wide(self, name: str, file: _Opened) -> WideTable:
        columns = {
            key: resolve(file.reader, source.column, f"point {source.name}")
            for key, source in file.sources.items()
        }
        return WideTable(
            file.reader, file.form, file.sources, columns, file.stamps, self._map.altitude,
            self._notes, self._share(name),
        )

    def _long(self, name: str, file: _Opened, steps: align.Steps) -> LongTable:
        return LongTable(
            file.reader, file.form, file.sources, file.stamps, steps, self._map.altitude,
            self._notes, self._share(name),
        )

    def _share(self, name: str) -> Progress:
        size = self._paths[name].stat().st_size
        begin, self._done = self._done, self._done + size
        return part(self._progress, 0.95 * begin / self._total, 0.95 * size / self._total)

    def _steps(self, wide: Mapping[str, Table], long: Sequence[_Opened]) -> align.Steps:
        if self._map.step_minutes:
            step = int(self._map.step_minutes * align.MINUTE)
        else:
            # A log of changes has no step of its own.
            intervals = [
                align.MINUTE if table.form.hold else table.interval for table in wide.values()
            ]
            intervals += [
                peek_interval(file.reader, file.form, file.stamps,
                              [source.column for source in file.sources.values()])
                for file in long
            ]
            step = align.finest(intervals)
        first = min((table.begin for table in wide.values()), default=0)
        if step > 60 * align.MINUTE:
            return align.Steps(step, -first % step)
        offset = self._local(first).utcoffset()
        return align.Steps(step, int(offset.total_seconds()) * align.SECOND if offset else 0)

    def _say_rows(self, file: _Opened, table: Table) -> None:
        said = f" ({'; '.join(file.reader.said)})" if file.reader.said else ""
        first, last = self._local(table.first_time), self._local(table.last_time)
        self._notes.note(
            f"{table.rows:,} rows from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, "
            f"usual step {table.interval / align.MINUTE:g} min{said}", file.form.name)
        if file.form.clock_offset_s:
            self._notes.note(
                f"the file's clock is {file.form.clock_offset_s:g} s ahead of true time; "
                "taken out", file.form.name)

    def _local(self, ns: int) -> pd.Timestamp:
        return pd.Timestamp(ns, tz="UTC").tz_convert(self._map.zone)

    def _on_grid(
        self, tables: Mapping[str, Table], grid: align.Grid
    ) -> tuple[dict[str, np.ndarray], dict[str, str]]:
        columns = {
            point: tables[source.file].on(grid, point)
            for point, source in self._map.sources.items()
        }
        sources = {
            point: tables[source.file].sources[point]
            for point, source in self._map.sources.items()
        }
        return columns, sources

    def _file(self, name: str, table: Table) -> TrendFile:
        return TrendFile(
            name, self._hashes[name].result(), table.rows, self._local(table.first_time),
            self._local(table.last_time), table.interval / align.MINUTE, round(table.drift, 2),
        )


def _moving(column: pd.Series, minutes: float, hours: float) -> pd.Series:
    """A trend without the stretches in which it stands still."""
    values = column.to_numpy().copy()
    for stretch in stuck(values, minutes, hours):
        values[stretch.begin : stretch.end] = np.nan
    return pd.Series(values, column.index)


def _keyed(point_map: PointMap, file: str) -> dict[str, PointSource]:
    """The sources of one file; a second trend has a key of its own."""
    keyed = {name: s for name, s in point_map.sources.items() if s.file == file}
    for name, source in point_map.sources.items():
        if source.second and source.second.file == file:
            keyed[name + _SECOND_TREND] = source.second
    return keyed
