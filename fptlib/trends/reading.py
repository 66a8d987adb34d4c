"""All files of a job through the point map onto one grid."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from fptlib.errors import IntakeError
from fptlib.trends import align, beside, clock_offset, safe
from fptlib.trends.grid import Grid, Notes, Remark, TrendFile
from fptlib.trends.long import LongFile
from fptlib.trends.mapping import PointMap, PointSource
from fptlib.trends.plausibility import map_doubts, without_unusable
from fptlib.trends.samples import SECOND_TREND, FileSamples, OpenedFile, Progress, plus_key
from fptlib.trends.times import MINUTE, SECOND
from fptlib.trends.wide import WideFile

# The tables of each file.
Files = Mapping[str, Sequence[FileSamples]]


def read_trends(folder: Path, point_map: PointMap,
                progress: Callable[[float, str], None] | None = None,
               alone: bool = False) -> Grid:
    """The job's trends on one uniform grid.

    Args:
        folder: the job's ``trends/``; nothing in it is changed.
        point_map: which column is which point.
        progress: given the share done (0 to 1) and a few words.
        alone: whether files that no point is read from are not looked at.

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
    _refuse_utc(files, point_map)
    notes += [] if alone else beside.remarks(Path(folder), point_map)
    _compare_second_trends(files, point_map, notes)
    grid = _on_grid(files, steps, point_map, notes)
    show(0.97, "looking at the values")
    notes += [Remark("unusable", f"not used in any check, as the job says: {source.unusable}",
                     source.file, name)
              for name, source in point_map.sources.items() if source.unusable]
    remarks = _answered([*notes, *map_doubts(grid)], point_map)
    read = tuple(replace(file, sha256=hashes[file.name].result()) for file in grid.files)
    show(1.0, "trends read")
    return replace(without_unusable(grid, remarks), files=read, remarks=tuple(remarks))


def _answered(notes: Sequence[Remark], point_map: PointMap) -> list[Remark]:
    """The remarks; a doubt that the job answers with how its column was found right is a note."""
    confirmed = {name: source.confirmed for name, source in point_map.sources.items()
                 if source.confirmed and not source.unusable}
    return [replace(remark, severity="note",
                    text=f"{remark.text}; confirmed: {confirmed[remark.point]}")
            if remark.severity != "note" and remark.point in confirmed else remark
            for remark in notes]


def _read_files(paths: Mapping[str, Path], point_map: PointMap, notes: Notes,
                show: Callable[[float, str], None]) -> tuple[Files, align.Steps]:
    """The samples of all tables of all files; long ones last, as they are cut to the grid's steps
    while they are read."""
    opened = {name: OpenedFile.all_of(path, point_map, notes) for name, path in paths.items()}
    whole, done = sum(path.stat().st_size for path in paths.values()) or 1, 0

    def progress_of(name: str) -> Progress:
        nonlocal done
        begin, size = done, paths[name].stat().st_size
        done += size
        return lambda share: show(0.95 * (begin + share * size) / whole, f"reading {name}")

    wide: list[WideFile] = []
    long: list[LongFile] = []
    for name, tables in opened.items():
        for table in tables:
            if table.is_long:
                long.append(LongFile(table))
            else:
                wide.append(WideFile(table, progress_of(name)))
                _say_rows(wide[-1], point_map, notes)
    steps = _steps(wide, long, point_map)
    for of_columns in wide:
        of_columns.fit(steps)
    for samples in long:
        samples.read(steps, progress_of(samples.form.name))
        _say_rows(samples, point_map, notes)
    read: list[FileSamples] = [*wide, *long]
    return {name: [each for each in read if each.form.name == name] for name in paths}, steps


def _steps(wide: Sequence[FileSamples], long: Sequence[FileSamples], point_map: PointMap
           ) -> align.Steps:
    """The stretches of the grid: as stated, else the finest of the files' round steps."""
    # A log of changes has no step of its own.
    intervals = [MINUTE if file.form.hold else file.interval for file in wide]
    intervals += [file.interval for file in long]
    step = min((align.round_step(each) for each in intervals if each), default=MINUTE)
    if point_map.step_minutes:
        step = int(point_map.step_minutes * MINUTE)
    first = min((file.first_time - file.shift for file in wide), default=0)
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


def _refuse_utc(files: Files, point_map: PointMap) -> None:
    """Stop at a file that lies exactly the zone's offset from another, as if it were in UTC."""
    tables = [table for each in files.values() for table in each
              if not table.clock.zone_stated and not table.clock.stamped]
    for one in tables:
        for other in tables:
            offset = _local(one.first_time, point_map).utcoffset()
            east = int(offset.total_seconds()) * SECOND if offset else 0
            near = min(one.interval, other.interval) // 2
            if east and one.form.name != other.form.name and all(
                    abs(a - b + east) <= near for a, b in (
                        (one.first_time, other.first_time), (one.last_time, other.last_time))):
                name = one.form.name
                raise IntakeError(
                    f"file '{name}' begins and ends {abs(east) / MINUTE / 60:g} h "
                    f"{'later' if east < 0 else 'earlier'} than '{other.form.name}', exactly the "
                    'offset of the site from UTC; state time_zone = "UTC" if its clock is in UTC, '
                    f'or time_zone = "{point_map.zone}" if it is not, under [files."{name}"]')


def _compare_second_trends(files: Files, point_map: PointMap, notes: Notes) -> None:
    for name, source in point_map.sources.items():
        if source.second:
            first, second = (
                (table.times[key], table.values[key]) for table, key in (
                    (_table_of(files, source, name), name),
                    (_table_of(files, source.second, name + SECOND_TREND), name + SECOND_TREND)))
            clock_offset.compare(source, first, second, point_map.zone, notes)


def _table_of(files: Files, source: PointSource, key: str) -> FileSamples:
    """The table that gives a point."""
    return next(table for table in files[source.file] if table.gives(key)
                and (table.form.sheet, table.form.member) == (source.sheet, source.member))


def _on_grid(files: Files, steps: align.Steps, point_map: PointMap, notes: Notes) -> Grid:
    """All points on one grid; the files' own samples are given up."""
    tables = [table for each in files.values() for table in each]
    firsts, lasts = zip(*(table.stretches() for table in tables), strict=True)
    first, length = min(firsts), steps.span(min(firsts), max(lasts), ", ".join(files))
    if length * len(point_map.sources) > safe.CELLS:
        raise IntakeError(
            f"{len(point_map.sources)} points over {length:,} rows of {steps.step / MINUTE:g} min "
            f"are more than {safe.CELLS:,} values; put fewer files into one job, or state a longer "
            "step_minutes under [site]")
    columns, sources, intervals = {}, {}, {}
    for name, source in point_map.sources.items():
        every = [(one, _table_of(files, one, name)) for one in (source, *source.more)]
        intervals[name] = max(table.sampled_every(name) for _, table in every)
        columns[name] = _summed(files, every[0][0], name, first, length)
        sources[name] = every[0][1].source_text(name)
        for further, _ in every[1:]:
            more = _summed(files, further, name, first, length)
            columns[name] = _continued(further, columns[name], more, notes)
            sources[name] = f"{further.sheet or further.member or further.file}, {sources[name]}"
        doubted = any(each.point == name and each.severity == "doubt" for each in notes)
        if not doubted and np.isnan(columns[name]).all():
            notes.doubt(f"column '{source.column}' holds no value", source.file, name)
    read = tuple(_trend_file(name, each, steps, point_map) for name, each in files.items())
    alarms = sorted((alarm for table in tables for alarm in table.alarms),
                    key=lambda alarm: alarm.time)
    return Grid(
        columns, _local(steps.begin(first), point_map), align.duration(steps.step), read, (),
        tuple(replace(alarm, time=alarm.time.astimezone(point_map.zone)) for alarm in alarms),
        sources, intervals, length)


def _summed(files: Files, source: PointSource, name: str, first: int, length: int) -> np.ndarray:
    """A point on the grid, with the columns that are added to it; unknown where one of them is."""
    values = _table_of(files, source, name).on(first, length, name)
    for at in range(1, len(source.plus) + 1):
        key = plus_key(name, at)
        values = values + _table_of(files, source, key).on(first, length, key)
    return values


def _trend_file(name: str, tables: Sequence[FileSamples], steps: align.Steps,
                point_map: PointMap) -> TrendFile:
    """What is kept of a file, over all its tables."""
    # Of a long file the grid's step is stated, as in the records that are signed already.
    step = min(steps.step if isinstance(each, LongFile) else each.interval for each in tables)
    return TrendFile(
        name, "", max(each.rows for each in tables),
        _local(min(each.first_time for each in tables), point_map),
        _local(max(each.last_time for each in tables), point_map), step / MINUTE,
        round(max(tables, key=lambda each: abs(each.drift)).drift, 2))


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
