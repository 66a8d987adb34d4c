"""The point map: which column of which file is which point, and how the files are written.

Keys of ``[points.NAME]``

==================  ==========================================================================
``file``            name of the file in ``trends/``; a list where files continue one another
``column``          the column's header, or the name in a long file's point column
``unit``            unit of the file's values; may be left out for status and alarm, and where
                    the header or the cells state it
``shared``          true: another point may be read from the same column
``on``, ``off``     further words of a status or alarm, beside the usual ones
``on_above``        a status read from a measured column: on where the file's value is above
``quality_column``  a column that says of each value whether it is good
``unit_changes``    list of ``{from = "2026-01-05T10:00", unit = "degC"}``: unit from then on
``second``          ``{file, column, unit}``: another trend of the same quantity, only compared
``unusable``        why the point must not be used; it is then left out and said
==================  ==========================================================================

Keys of ``[files."NAME"]``, all optional

====================  ========================================================================
``form``              ``wide`` (a column per point) or ``long`` (time, point, value)
``time_column``       header of the time column, or ``["Date", "Time"]``
``date_order``        ``year first``, ``day first`` or ``month first``
``time_zone``         zone of the file's clock: tz database name or an offset as ``-07:00``
``clock_offset_s``    the file's clock minus the true time, seconds
``stamps``            ``begin`` or ``end`` of the interval that a row stands for
``interval_minutes``  how long a value stands where the file's own step does not say it
``hold``              hours for which a change-of-value log's value holds at the longest
``delimiter``         ``,`` ``;`` ``|`` or ``tab``
``decimal``           ``.`` or ``,``
``encoding``          ``utf-8``, ``utf-16``, ``windows-1252``
``header_row``        row of the header, 1-based
``sheet``             the workbook's sheet
``member``            the file inside a zip
``point_column``, ``value_column``, ``unit_column``, ``quality_column``  of a long file
``bad``               texts that stand for a bad value, beside the usual ones
``good``              quality words that mean good, beside the usual ones
====================  ========================================================================

``[site]`` gives ``time_zone``, ``altitude`` (for gauge pressures) and ``step_minutes`` (the
grid's step, where it shall not be the finest of the files).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from fptlib import points, units
from fptlib.errors import IntakeError
from fptlib.trends.forms import FileForm, PointSource
from fptlib.trends.safe import plain_name
from fptlib.trends.tables import (
    known_keys,
    number,
    positive,
    site_zone,
    table,
    text,
    texts,
    zone,
)

_POINT_KEYS = frozenset(
    "file column unit shared on off on_above quality_column unit_changes second unusable".split()
)
_FILE_KEYS = frozenset(
    "form time_column date_order time_zone clock_offset_s stamps interval_minutes hold delimiter "
    "decimal encoding header_row sheet member point_column value_column unit_column "
    "quality_column bad good".split()
)
_CHOICES = {
    "form": ("wide", "long"),
    "date_order": ("year first", "day first", "month first"),
    "stamps": ("begin", "end"),
    "delimiter": (",", ";", "|", "tab"),
    "decimal": (".", ","),
    "encoding": ("utf-8", "utf-16", "windows-1252"),
}


@dataclass(frozen=True)
class PointMap:
    """Every point's source, every file's form, and the site's clock.

    Attributes:
        sources: by point name.
        files: by file name; every file that a source names is there.
        zone: the site's time zone.
        altitude: of the site [ft], or None.
        step_minutes: of the grid, or None for the finest step of the files.
    """

    sources: Mapping[str, PointSource]
    files: Mapping[str, FileForm]
    zone: ZoneInfo
    altitude: float | None = None
    step_minutes: float | None = None

    @classmethod
    def from_answers(cls, answers: Mapping[str, Any]) -> PointMap:
        """The map from the ``[points]``, ``[files]`` and ``[site]`` tables of a job.

        Raises:
            IntakeError: a point, unit, key or zone is unknown, a needed answer is missing, or
                two points are read from one column without ``shared = true``.
        """
        site = table(answers, "site")
        zone_name = str(site.get("time_zone") or "")
        if not zone_name:
            raise IntakeError(
                "job.toml, [site]: 'time_zone' is missing; state the site's zone, "
                'for example time_zone = "America/Denver"'
            )
        zone = site_zone(zone_name)
        sources = {
            name: _source(name, table) for name, table in table(answers, "points").items()
        }
        _refuse_shared_columns(sources)
        return cls(
            sources, _forms(table(answers, "files"), sources, zone), zone,
            number(site, "altitude", "[site]"),
            positive(site, "step_minutes", "[site]"),
        )

def _source(name: str, table: Any) -> PointSource:
    where = f"[points.{name}]"
    try:
        point = points.point(name)
    except points.UnknownPoint as error:
        raise IntakeError(
            f"job.toml, {where}: '{name}' is not a point of the glossary; "
            f"did you mean {_nearest(name)}?"
        ) from error
    known_keys(table, _POINT_KEYS, where)
    files, column = _files(table, where)
    source = PointSource(
        point, files[0], column, _unit(point, table, where),
        table.get("shared") is True, texts(table, "on", where), texts(table, "off", where),
        number(table, "on_above", where), text(table, "quality_column", where),
        _unit_changes(point, table, where), unusable=text(table, "unusable", where),
    )
    more = tuple(replace(source, file=file) for file in files[1:])
    second = _second(point, table["second"], f"{where}, second") if "second" in table else None
    return replace(source, more=more, second=second)


def _files(table: Mapping[str, Any], where: str) -> tuple[list[str], str]:
    """The files and the column of a source."""
    files, column = texts(table, "file", where), text(table, "column", where)
    if not files or not files[0] or not column:
        raise IntakeError(f"job.toml, {where}: state both 'file' and 'column'")
    return [plain_name(file, where) for file in dict.fromkeys(files)], column


def _second(point: points.Point, table: Any, where: str) -> PointSource:
    known_keys(table, frozenset(("file", "column", "unit")), where)
    files, column = _files(table, where)
    return PointSource(point, files[0], column, _unit(point, table, where), shared=True)


def _unit(point: points.Point, table: Mapping[str, Any], where: str) -> str:
    stated = text(table, "unit", where)
    if not stated:
        return ""
    if "on_above" in table:
        return stated
    unit = units.alias(stated, point.unit) or stated
    if not units.is_gauge(unit, point.unit):
        units.scale(unit, point.unit, f"job.toml, {where}")
    return unit


def _unit_changes(
    point: points.Point, table: Mapping[str, Any], where: str
) -> tuple[tuple[str, str], ...]:
    stated, changes = table.get("unit_changes", ()), []
    for change in stated if isinstance(stated, list | tuple) else [stated]:
        if not isinstance(change, Mapping) or set(change) != {"from", "unit"}:
            raise IntakeError(
                f"job.toml, {where}: unit_changes holds {str(change)[:40]!r} where entries as "
                '{from = "2026-01-05T10:00", unit = "degC"} were expected'
            )
        changes.append((str(change["from"]), _unit(point, change, where)))
    return tuple(changes)


def each_of(source: PointSource) -> list[PointSource]:
    """A source, the files that continue it, and its second trend."""
    return [source, *source.more, *([source.second] if source.second else [])]


def _forms(
    tables: Mapping[str, Any], sources: Mapping[str, PointSource], site: tzinfo
) -> dict[str, FileForm]:
    every = (one for source in sources.values() for one in each_of(source))
    names = dict.fromkeys(source.file for source in every)
    return {name: _form(name, tables.get(name, {}), site) for name in names}


def forms_of(answers: Mapping[str, Any], files: Iterable[str]) -> list[tuple[str, FileForm]]:
    """The forms of files that need not be mapped yet; UTC where no site zone is stated.

    Raises:
        IntakeError: what the job states of a file cannot be used.
    """
    named = str(table(answers, "site").get("time_zone") or "UTC")
    site, tables = zone(named, "[site]"), table(answers, "files")
    return [(name, _form(name, tables.get(name, {}), site)) for name in files]


def _form(name: str, table: Any, site: tzinfo) -> FileForm:
    where = f'[files."{name}"]'
    known_keys(table, _FILE_KEYS, where)
    for key, known in _CHOICES.items():
        if key in table and table[key] not in known:
            raise IntakeError(
                f"job.toml, {where}: {key} = '{table[key]}' is not known; "
                f"state one of: {', '.join(known)}"
            )
    named = text(table, "time_zone", where)
    header = positive(table, "header_row", where)
    return FileForm(
        name, zone(named, where) if named else site,
        time_column=texts(table, "time_column", where),
        clock_offset_s=number(table, "clock_offset_s", where) or 0.0,
        interval_minutes=positive(table, "interval_minutes", where),
        hold=positive(table, "hold", where),
        header_row=None if header is None else int(header),
        bad=texts(table, "bad", where), good=texts(table, "good", where),
        stamps=text(table, "stamps", where) or "begin",
        **{key: text(table, key, where) for key in (
            "form", "date_order", "delimiter", "decimal", "encoding", "sheet", "member",
            "point_column", "value_column", "unit_column", "quality_column",
        )},
    )


def _refuse_shared_columns(sources: Mapping[str, PointSource]) -> None:
    taken: dict[tuple[str, str], PointSource] = {}
    for source in (one for first in sources.values() for one in (first, *first.more)):
        other = taken.setdefault((source.file, source.column), source)
        if other.name != source.name and not (source.shared or other.shared):
            raise IntakeError(
                f"job.toml: points {other.name} and {source.name} are both read from column "
                f"'{source.column}' of '{source.file}'; mend one of them, or state "
                "shared = true if that is meant"
            )


def _nearest(name: str) -> str:
    from difflib import get_close_matches

    known = [point.name.replace("{n}", "1") for point in points.GLOSSARY]
    return " or ".join(get_close_matches(name, known, 2, 0.3)) or "one of fptlib/points.py"


