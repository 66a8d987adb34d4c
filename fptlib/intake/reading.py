"""All files of a job through the point map onto one grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.intake import align, safe
from fptlib.intake.batches import Reader
from fptlib.intake.delimited import DelimitedReader
from fptlib.intake.headers import resolve
from fptlib.intake.mapping import FileForm, PointMap, PointSource
from fptlib.intake.notes import Notes
from fptlib.intake.progress import Progress, part, silent
from fptlib.intake.stamps import StampReader
from fptlib.intake.wide import WideTable
from fptlib.trends import TrendFile, Trends

_SECOND_TREND = " (second)"


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


class _Reading:
    """One run of ``read_trends``."""

    def __init__(self, folder: Path, point_map: PointMap, progress: Progress) -> None:
        self._map, self._notes, self._progress = point_map, Notes(), progress
        self._paths = {name: safe.inside(folder, name) for name in point_map.files}
        self._hashes = {name: safe.Hash(path) for name, path in self._paths.items()}

    def trends(self) -> Trends:
        tables = self._tables()
        grid = self._grid(tables)
        columns, sources = self._on_grid(tables, grid)
        index = grid.index(self._map.zone)
        frame = pd.DataFrame(columns, index=index, copy=False)
        files = tuple(self._file(name, table) for name, table in tables.items())
        alarms = sorted((a for t in tables.values() for a in t.alarms), key=lambda a: a.time)
        zone = self._map.zone
        return Trends(
            frame, pd.Timedelta(grid.step), files, tuple(self._notes.remarks),
            tuple(replace(a, time=a.time.tz_convert(zone)) for a in alarms), sources,
        )

    def _tables(self) -> dict[str, WideTable]:
        sizes = {name: path.stat().st_size for name, path in self._paths.items()}
        total, done, tables = max(sum(sizes.values()), 1), 0, {}
        for name in self._map.files:
            progress = part(self._progress, 0.9 * done / total, 0.9 * sizes[name] / total)
            tables[name] = self._table(name, progress)
            done += sizes[name]
        return tables

    def _table(self, name: str, progress: Progress) -> WideTable:
        form, sources = self._map.files[name], _keyed(self._map, name)
        wanted = [*form.time_column, *(source.column for source in sources.values())]
        reader = open_reader(self._paths[name], form, wanted)
        columns = {
            key: resolve(reader, source.column, f"point {source.name}")
            for key, source in sources.items()
        }
        stamps = StampReader(reader, form, self._notes)
        table = WideTable(
            reader, form, sources, columns, stamps, self._map.altitude, self._notes, progress
        )
        self._say_rows(reader, table)
        return table

    def _say_rows(self, reader: Reader, table: WideTable) -> None:
        said = f" ({'; '.join(reader.said)})" if reader.said else ""
        first, last = (self._local(int(t)) for t in (table.times[0], table.times[-1]))
        self._notes.note(
            f"{len(table.times):,} rows from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, "
            f"usual step {table.interval / align.MINUTE:g} min{said}", table.form.name)
        if table.form.clock_offset_s:
            self._notes.note(
                f"the file's clock is {table.form.clock_offset_s:g} s ahead of true time; "
                "taken out", table.form.name)

    def _local(self, ns: int) -> pd.Timestamp:
        return pd.Timestamp(ns, tz="UTC").tz_convert(self._map.zone)

    def _grid(self, tables: Mapping[str, WideTable]) -> align.Grid:
        stated = self._map.step_minutes
        step = (
            int(stated * align.MINUTE) if stated
            else align.finest([table.interval for table in tables.values()])
        )
        first = min(int(table.begin) for table in tables.values())
        last = max(int(table.last) for table in tables.values())
        offset = self._local(first).utcoffset()
        shift = int(offset.total_seconds()) * align.SECOND if offset is not None else 0
        return align.Grid.over(first, last, step, shift, ", ".join(tables))

    def _on_grid(
        self, tables: Mapping[str, WideTable], grid: align.Grid
    ) -> tuple[dict[str, np.ndarray], dict[str, str]]:
        columns: dict[str, np.ndarray] = {}
        sources: dict[str, str] = {}
        for point, source in self._map.sources.items():
            table = tables[source.file]
            columns[point] = table.on(grid, point)
            sources[point] = table.sources[point]
        return columns, sources

    def _file(self, name: str, table: WideTable) -> TrendFile:
        return TrendFile(
            name, self._hashes[name].result(), len(table.times),
            self._local(int(table.times[0])), self._local(int(table.times[-1])),
            table.interval / align.MINUTE,
        )


def _keyed(point_map: PointMap, file: str) -> dict[str, PointSource]:
    """The sources of one file; a second trend has a key of its own."""
    keyed = {name: s for name, s in point_map.sources.items() if s.file == file}
    for name, source in point_map.sources.items():
        if source.second and source.second.file == file:
            keyed[name + _SECOND_TREND] = source.second
    return keyed


def open_reader(path: Path, form: FileForm, wanted: Sequence[str] = ()) -> Reader:
    """The reader that fits a file's content.

    Raises:
        IntakeError: none does.
    """
    return DelimitedReader(path, form, wanted)
