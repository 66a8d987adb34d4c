"""All files of a job through the point map onto one grid."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from fptlib.errors import IntakeError
from fptlib.trends import align, clock_offset, safe
from fptlib.trends.grid import Grid, Notes, Remark, TrendFile
from fptlib.trends.long import LongFile
from fptlib.trends.mapping import PointMap, PointSource
from fptlib.trends.plausibility import map_doubts, without_unusable
from fptlib.trends.samples import SECOND_TREND, FileSamples, OpenedFile, Progress
from fptlib.trends.times import MINUTE, SECOND
from fptlib.trends.wide import WideFile


def read_trends(folder: Path, point_map: PointMap,
                progress: Callable[[float, str], None] | None = None) -> Grid:
    """The job's trends on one uniform grid.

    Args:
        folder: the job's ``trends/``; nothing in it is changed.
        point_map: which column is which point.
        progress: given the share done (0 to 1) and a few words.

    Raises:
        IntakeError: a file, its map or its values cannot be used.
    """
    if not point_map.sources:
        raise IntakeError("job.toml: the point map is empty; map at least one point to a column")
    show, notes = progress or (lambda share, text: None), Notes()
    paths = {name: safe.inside(Path(folder), name) for name in point_map.files}
    hashing = ThreadPoolExecutor(2)
    hashes = {name: hashing.submit(safe.digest, path) for name, path in paths.items()}
    hashing.shutdown(wait=False)

    files, steps = _read_files(paths, point_map, notes, show)
    _compare_second_trends(files, point_map, notes)
    grid = _on_grid(files, steps, point_map, notes)
    show(0.97, "looking at the values")
    notes += [Remark("unusable", f"not used in any check, as the job says: {source.unusable}",
                     source.file, name)
              for name, source in point_map.sources.items() if source.unusable]
    notes += map_doubts(grid)
    read = tuple(replace(file, sha256=hashes[file.name].result()) for file in grid.files)
    show(1.0, "trends read")
    return replace(without_unusable(grid, notes), files=read, remarks=tuple(notes))


def _read_files(paths: Mapping[str, Path], point_map: PointMap, notes: Notes,
                show: Callable[[float, str], None]) -> tuple[dict[str, FileSamples], align.Steps]:
    """The samples of all files; long ones last, as they are cut to the grid's steps while they
    are read."""
    opened = {name: OpenedFile.of(path, point_map, notes) for name, path in paths.items()}
    whole, done = sum(path.stat().st_size for path in paths.values()) or 1, 0

    def progress_of(name: str) -> Progress:
        nonlocal done
        begin, size = done, paths[name].stat().st_size
        done += size
        return lambda share: show(0.95 * (begin + share * size) / whole, f"reading {name}")

    wide, long = {}, {}
    for name, file in opened.items():
        if not file.is_long:
            wide[name] = WideFile(file, progress_of(name))
            _say_rows(wide[name], point_map, notes)
    for name, file in opened.items():
        if name not in wide:
            long[name] = LongFile(file)
    steps = _steps(wide, long, point_map)
    for of_columns in wide.values():
        of_columns.fit(steps)
    for name, samples in long.items():
        samples.read(steps, progress_of(name))
        _say_rows(samples, point_map, notes)
    return {name: wide.get(name) or long[name] for name in paths}, steps


def _steps(wide: Mapping[str, FileSamples], long: Mapping[str, FileSamples], point_map: PointMap
           ) -> align.Steps:
    """The stretches of the grid: as stated, else the finest of the files' round steps."""
    # A log of changes has no step of its own.
    intervals = [MINUTE if file.form.hold else file.interval for file in wide.values()]
    intervals += [file.interval for file in long.values()]
    step = min((align.round_step(each) for each in intervals if each), default=MINUTE)
    if point_map.step_minutes:
        step = int(point_map.step_minutes * MINUTE)
    first = min((file.first_time - file.shift for file in wide.values()), default=0)
    if step > 60 * MINUTE:
        return align.Steps(step, -first % step)
    offset = _local(first, point_map).utcoffset()
    return align.Steps(step, int(offset.total_seconds()) * SECOND if offset else 0)


def _local(ns: int, point_map: PointMap) -> datetime:
    return align.moment(ns).astimezone(point_map.zone)


def _say_rows(file: FileSamples, point_map: PointMap, notes: Notes) -> None:
    first, last = _local(file.first_time, point_map), _local(file.last_time, point_map)
    said = f" ({'; '.join(file.table.said)})" if file.table.said else ""
    notes.note(f"{file.rows:,} rows from {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M}, "
               f"usual step {file.interval / MINUTE:g} min{said}", file.form.name)
    if file.form.clock_offset_s:
        notes.note(f"the file's clock is {file.form.clock_offset_s:g} s ahead of true time; "
                   "taken out", file.form.name)


def _compare_second_trends(files: Mapping[str, FileSamples], point_map: PointMap, notes: Notes
                           ) -> None:
    for name, source in point_map.sources.items():
        if source.second:
            first, second = (
                (files[one.file].times[key], files[one.file].values[key])
                for one, key in ((source, name), (source.second, name + SECOND_TREND)))
            clock_offset.compare(source, first, second, point_map.zone, notes)


def _on_grid(files: Mapping[str, FileSamples], steps: align.Steps, point_map: PointMap,
             notes: Notes) -> Grid:
    """All points on one grid; the files' own samples are given up."""
    firsts, lasts = zip(*(file.stretches() for file in files.values()), strict=True)
    first, length = min(firsts), steps.span(min(firsts), max(lasts), ", ".join(files))
    columns, sources, intervals = {}, {}, {}
    for name, source in point_map.sources.items():
        intervals[name] = max(files[one.file].sampled_every(name) for one in (source, *source.more))
        columns[name] = files[source.file].on(first, length, name)
        sources[name] = files[source.file].source_text(name)
        for further in source.more:
            more = files[further.file].on(first, length, name)
            columns[name] = _continued(further, columns[name], more, notes)
            sources[name] = f"{further.file}, {sources[name]}"
    # Of a long file the grid's step is stated, as in the records that are signed already.
    read = tuple(
        TrendFile(name, "", file.rows, _local(file.first_time, point_map),
                  _local(file.last_time, point_map),
                  (steps.step if isinstance(file, LongFile) else file.interval) / MINUTE,
                  round(file.drift, 2))
        for name, file in files.items())
    alarms = sorted((alarm for file in files.values() for alarm in file.alarms),
                    key=lambda alarm: alarm.time)
    return Grid(
        columns, _local(steps.begin(first), point_map), align.duration(steps.step), read, (),
        tuple(replace(alarm, time=alarm.time.astimezone(point_map.zone)) for alarm in alarms),
        sources, intervals, length)


def _continued(source: PointSource, first: np.ndarray, more: np.ndarray, notes: Notes
               ) -> np.ndarray:
    """A point whose files continue one another; the earlier file wins where both have it."""
    both = ~np.isnan(first) & ~np.isnan(more)
    differ = both & (np.abs(first - more) > 1e-6)
    if differ.any():
        notes.doubt(
            f"{int(differ.sum())} of {int(both.sum())} rows that this file shares with the one "
            "before differ from it; the one before is kept", source.file, source.name)
    return np.where(np.isnan(first), more, first)
