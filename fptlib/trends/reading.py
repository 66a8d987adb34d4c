"""All files of a job through the point map onto one grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.trends import align, safe
from fptlib.trends.forms import PointSource
from fptlib.trends.grid import AlarmText, Grid, Remark, TrendFile
from fptlib.trends.long import LongTable
from fptlib.trends.long_form import peek_interval
from fptlib.trends.mapping import PointMap
from fptlib.trends.notes import Notes
from fptlib.trends.opened import SECOND_TREND, OpenedFile
from fptlib.trends.plausibility import map_doubts, without_unusable
from fptlib.trends.progress import Progress, part, silent
from fptlib.trends.second import compare
from fptlib.trends.wide import WideTable

Table = WideTable | LongTable


def read_trends(folder: Path, point_map: PointMap, progress: Progress | None = None) -> Grid:
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
        self._total = max(sum(path.stat().st_size for path in self._paths.values()), 1)
        self._done = 0

    def trends(self) -> Grid:
        trends = self._aligned()
        self._progress(0.97, "looking at the values")
        remarks = self._notes.remarks + self._stated_unusable() + map_doubts(trends)
        self._progress(1.0, "trends read")
        return replace(without_unusable(trends, remarks), remarks=tuple(remarks))

    def _aligned(self) -> Grid:
        """All points on one grid; the files' own samples are given up."""
        tables, steps = self._tables()
        firsts, lasts = zip(*(table.span(steps) for table in tables.values()), strict=True)
        grid = align.Grid.over(min(firsts), max(lasts), steps, ", ".join(tables))
        self._compare(tables)
        intervals = self._intervals(tables)
        columns, sources = self._on_grid(tables, grid)
        files = tuple(self._file(name, tables[name]) for name in self._map.files)
        return Grid(columns, self._local(steps.begin(grid.first)), align.duration(steps.step),
                    files, (), self._alarms(tables), sources, intervals, grid.length)

    def _alarms(self, tables: Mapping[str, Table]) -> tuple[AlarmText, ...]:
        found = sorted((a for t in tables.values() for a in t.alarms), key=lambda a: a.time)
        return tuple(replace(a, time=a.time.astimezone(self._map.zone)) for a in found)

    def _stated_unusable(self) -> list[Remark]:
        return [
            Remark("unusable", f"not used in any check, as the job says: {source.unusable}",
                   source.file, name)
            for name, source in self._map.sources.items() if source.unusable
        ]

    def _compare(self, tables: Mapping[str, Table]) -> None:
        """Second trends of a quantity against the first: clocks and values."""
        for name, source in self._map.sources.items():
            if source.second:
                first = self._samples(tables[source.file], name)
                second = self._samples(tables[source.second.file], name + SECOND_TREND)
                compare(source, first, second, self._notes)

    def _samples(self, table: Table, key: str) -> pd.Series:
        times, values = table.samples(key)
        index = pd.DatetimeIndex(times.view("M8[ns]"), tz="UTC").tz_convert(self._map.zone)
        return pd.Series(values, index).dropna()

    def _tables(self) -> tuple[dict[str, Table], align.Steps]:
        """All files; long ones last, because they are put on the grid while they are read."""
        opened = {
            name: OpenedFile.of(path, self._map, self._notes) for name, path in self._paths.items()
        }
        tables: dict[str, Table] = {}
        for name, file in opened.items():
            if not file.long:
                tables[name] = WideTable(file, self._share(name))
                self._say_rows(file, tables[name])
        steps = self._steps(tables, [file for file in opened.values() if file.long])
        for name, file in opened.items():
            if file.long:
                tables[name] = LongTable(file, steps, self._share(name))
                self._say_rows(file, tables[name])
        return tables, steps

    def _share(self, name: str) -> Progress:
        size = self._paths[name].stat().st_size
        begin, self._done = self._done, self._done + size
        return part(self._progress, 0.95 * begin / self._total, 0.95 * size / self._total)

    def _steps(self, wide: Mapping[str, Table], long: Sequence[OpenedFile]) -> align.Steps:
        if self._map.step_minutes:
            step = int(self._map.step_minutes * align.MINUTE)
        else:
            # A log of changes has no step of its own.
            intervals = [
                align.MINUTE if table.form.hold else table.interval for table in wide.values()
            ]
            intervals += [
                peek_interval(file.reader, file.form, file.stamps, file.mapped) for file in long
            ]
            step = align.finest(intervals)
        first = min((table.begin for table in wide.values()), default=0)
        if step > 60 * align.MINUTE:
            return align.Steps(step, -first % step)
        offset = self._local(first).utcoffset()
        return align.Steps(step, int(offset.total_seconds()) * align.SECOND if offset else 0)

    def _say_rows(self, file: OpenedFile, table: Table) -> None:
        said = f" ({'; '.join(file.reader.said)})" if file.reader.said else ""
        first, last = self._local(table.first_time), self._local(table.last_time)
        self._notes.note(
            f"{table.rows:,} rows from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, "
            f"usual step {table.interval / align.MINUTE:g} min{said}", file.form.name)
        if file.form.clock_offset_s:
            self._notes.note(
                f"the file's clock is {file.form.clock_offset_s:g} s ahead of true time; "
                "taken out", file.form.name)

    def _local(self, ns: int) -> datetime:
        return align.moment(ns).astimezone(self._map.zone)

    def _intervals(self, tables: Mapping[str, Table]) -> dict[str, float]:
        return {
            point: max(tables[each.file].sampled_every(point) for each in (source, *source.more))
            for point, source in self._map.sources.items()
        }

    def _on_grid(
        self, tables: Mapping[str, Table], grid: align.Grid
    ) -> tuple[dict[str, np.ndarray], dict[str, str]]:
        columns, sources = {}, {}
        for point, source in self._map.sources.items():
            columns[point] = tables[source.file].on(grid, point)
            sources[point] = tables[source.file].sources[point]
            for further in source.more:
                more = tables[further.file].on(grid, point)
                columns[point] = self._continued(further, columns[point], more)
                sources[point] = f"{further.file}, {sources[point]}"
        return columns, sources

    def _continued(
        self, source: PointSource, first: np.ndarray, more: np.ndarray
    ) -> np.ndarray:
        """A point whose files continue one another; the earlier file wins where both have it."""
        both = ~np.isnan(first) & ~np.isnan(more)
        differ = both & (np.abs(first - more) > 1e-6)
        if differ.any():
            self._notes.doubt(
                f"{int(differ.sum())} of {int(both.sum())} rows that this file shares with the one "
                "before differ from it; the one before is kept", source.file, source.name)
        return np.where(np.isnan(first), more, first)

    def _file(self, name: str, table: Table) -> TrendFile:
        return TrendFile(
            name, self._hashes[name].result(), table.rows, self._local(table.first_time),
            self._local(table.last_time), table.interval / align.MINUTE, round(table.drift, 2),
        )
