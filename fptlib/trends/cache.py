"""The trends of a job as they were last read, so that the next workbook opens at once.

One file outside ``trends/``: an Arrow file behind a digest of what the trends were read from,
and a seal of this user over both. Where either does not fit, as in a folder that came from
somebody else, the trend files are read anew. The file may be deleted at any time; it is no part
of the job.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pyarrow as pa

from fptlib import __version__, owner
from fptlib.errors import IntakeError
from fptlib.trends import arrow
from fptlib.trends.grid import AlarmText, Grid, Remark, TrendFile
from fptlib.trends.mapping import PointMap
from fptlib.trends.safe import digest

FORM = 4
_ABOUT = b"about"
_DIGEST = 64


def cached_trends(folder: Path, file: Path, answers: Mapping[str, Any], keep: bool = True,
                  progress: Callable[[float, str], None] | None = None) -> Grid:
    """The trends in ``folder`` from the cache ``file`` where it fits, else read, and kept there.

    Args:
        folder: the job's ``trends/``.
        file: where the trends are cached; its folder is made where it is not there.
        answers: the job's answers; ``[site]``, ``[files]``, ``[points]`` and the plant's glycol
            are used.
        keep: whether what had to be read is cached.
        progress: as for ``read_trends``.

    Raises:
        IntakeError: a trend file, its map or its values cannot be used.
    """
    point_map = PointMap.from_answers(answers)
    if (found := _cached(file, folder, point_map, answers)) is not None:
        return found
    # Imported here: a job out of the cache need not wait for what reads files.
    from fptlib.trends.reading import read_trends

    trends = read_trends(folder, point_map, progress)
    if keep:
        key = _key(answers, ((each.name, each.sha256) for each in trends.files),
                   _beside(folder, point_map))
        _keep(file, key, trends)
    return trends


def _beside(folder: Path, point_map: PointMap) -> list[tuple[str, int]]:
    """The files that no point is read from, which the remarks name."""
    return [(path.name, path.stat().st_size) for path in point_map.unmapped(folder)]


def _key(answers: Mapping[str, Any], files: Iterable[tuple[str, str]],
         beside: list[tuple[str, int]]) -> bytes:
    """Digest of everything the trends were read from: files, map, site and program."""
    tables = {name: answers.get(name) for name in ("site", "files", "points")}
    tables["glycol"] = {name: value for name, value in dict(answers.get("plant") or {}).items()
                        if "glycol" in name}
    text = json.dumps([FORM, __version__, sorted(files), beside, tables], sort_keys=True,
                      default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest().encode("ascii")


def _cached(file: Path, folder: Path, point_map: PointMap, answers: Mapping[str, Any]
            ) -> Grid | None:
    try:
        data = memoryview(file.read_bytes())
        files = [(name, digest(folder / name)) for name in point_map.files]
        beside = _beside(folder, point_map)
    except (OSError, IntakeError):
        return None
    key, sealed, body = data[:_DIGEST], data[_DIGEST : 2 * _DIGEST], data[2 * _DIGEST :]
    if key != _key(answers, files, beside) or not sealed or sealed != _seal(bytes(key), body):
        return None
    return _unpack(pa.ipc.open_file(pa.py_buffer(body)).read_all(), point_map.zone)


def _keep(file: Path, key: bytes, trends: Grid) -> None:
    body, part = _pack(trends), file.with_suffix(".part")
    try:
        file.parent.mkdir(exist_ok=True)
        part.write_bytes(b"".join((key, _seal(key, body), body)))
        os.replace(part, file)
    except OSError:
        # A job on a read-only or a full disk is as good, only slower to open.
        return


def _seal(key: bytes, body: Any) -> bytes:
    return owner.seal(key + hashlib.sha256(body).digest()).encode("ascii")


def _pack(trends: Grid) -> Any:
    """The trends as an Arrow file; what is no column goes into its metadata as JSON."""
    about = {
        "start": trends.start, "step_seconds": trends.step.total_seconds(),
        "rows": trends.rows, "sources": trends.sources, "intervals": trends.intervals,
        "files": [asdict(each) for each in trends.files],
        "remarks": [asdict(each) for each in trends.remarks],
        "alarms": [asdict(each) for each in trends.alarms],
    }
    stated = json.dumps(about, default=lambda time: time.astimezone(UTC).isoformat())
    table = pa.table({name: arrow.column(values) for name, values in trends.columns.items()},
                     metadata={_ABOUT: stated.encode("utf-8")})
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(compression="lz4")
    with pa.ipc.new_file(sink, table.schema, options=options) as writer:
        writer.write_table(table)
    return sink.getvalue()


def _unpack(table: pa.Table, zone: tzinfo) -> Grid:
    about = json.loads(table.schema.metadata[_ABOUT])

    def at(moment: str) -> datetime:
        return datetime.fromisoformat(moment).astimezone(zone)

    return Grid(
        {name: arrow.array(table[name].combine_chunks()) for name in table.column_names},
        at(about["start"]), timedelta(seconds=about["step_seconds"]),
        tuple(TrendFile(**{**each, "first": at(each["first"]), "last": at(each["last"])})
              for each in about["files"]),
        tuple(Remark(**each) for each in about["remarks"]),
        tuple(AlarmText(**{**each, "time": at(each["time"])}) for each in about["alarms"]),
        about["sources"], about["intervals"], about["rows"],
    )
