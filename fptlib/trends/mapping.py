"""The point map: which column of which file is which point, and how the files are written.

It is read from the job's tables ``[points.NAME]`` (keys: the attributes of ``PointSource``),
``[files."NAME"]`` (the attributes of ``FileForm``, all optional) and ``[site]``: ``time_zone``,
``altitude`` for gauge pressures, and ``step_minutes``, the grid's step where it shall not be the
finest of the files.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import tzinfo
from difflib import get_close_matches
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fptlib import points, units
from fptlib.errors import IntakeError
from fptlib.physics.errors import OutsideRange
from fptlib.physics.water import freezing_point
from fptlib.trends.safe import NO_TRENDS, plain_name
from fptlib.trends.zones import zone_of

# No answer is larger, in any unit; a clock further off leaves the times that can be counted.
_LARGEST = 1e9


@dataclass(frozen=True)
class PointSource:
    """Where one point comes from.

    Attributes:
        file: name of the file in ``trends/``; in the job a list where files continue one another.
        column: the column's header, or the name in a long file's point column.
        unit: of the file's values; empty where the header or the cells state it, and for status
            and alarm.
        shared: whether another point may be read from the same column.
        on, off: further words of a status or alarm, beside the usual ones.
        on_above: a status read from a measured column is on where the file's value is above.
        quality_column: a column that says of each value whether it is good.
        unit_changes: moment and unit from then on, in the job as
            ``{from = "2026-01-05T10:00", unit = "degC"}``.
        second: ``{file, column, unit}``: another trend of the same quantity, only compared.
        unusable: why the point must not be used; it is then left out and said.
        confirmed: how and by whom a column was found right that the reading doubts.
        hold: hours for which a value of this point stands, where it is logged on change.
        plus: further columns whose values are added, such as the power of each drive.
        sheet, member: the sheet, or the file inside the zip; in the job a list where several
            continue one another.
        more: the same column in the further files, sheets or members.
    """

    point: points.Point
    file: str
    column: str
    unit: str = ""
    shared: bool = False
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    on_above: float | None = None
    quality_column: str = ""
    unit_changes: tuple[tuple[str, str], ...] = ()
    second: PointSource | None = None
    unusable: str = ""
    confirmed: str = ""
    hold: float | None = None
    plus: tuple[str, ...] = ()
    sheet: str = ""
    member: str = ""
    more: tuple[PointSource, ...] = ()

    @property
    def name(self) -> str:
        """The point's name."""
        return self.point.name

    @property
    def wordy(self) -> bool:
        """Whether the column holds words: a status or alarm not read from a measured value."""
        return self.point.kind in (points.STATUS, points.ALARM) and self.on_above is None


@dataclass(frozen=True)
class FileForm:
    """How one file is written, as far as the job states it.

    Attributes:
        form: ``wide`` (a column per point) or ``long`` (time, point, value).
        time_column: header of the time column, or ``["Date", "Time"]``.
        date_order: ``year first``, ``day first``, ``month first``, or ``swapped`` where a
            spreadsheet took days for months.
        year: of dates that leave it out.
        zone: of the file's clock; key ``time_zone``: tz database name or an offset as ``-07:00``.
        zone_stated: whether the job states it; else it is the site's.
        clock_offset_s: the file's clock minus the true time [s].
        stamps: ``begin`` or ``end`` of the interval that a row stands for.
        interval_minutes: how long a value stands where the file's own step does not say it.
        hold: hours for which a change-of-value log's value holds at the longest.
        delimiter: ``,`` ``;`` ``|`` or ``tab``.
        decimal: ``.`` or ``,``.
        encoding: ``utf-8``, ``utf-16`` or ``windows-1252``.
        header_row: row of the header, 1-based.
        header_rows: how many rows the names take.
        sheet: the workbook's sheet; in the job a list where sheets continue one another.
        member: the file inside a zip; a list as well.
        point_column, value_column, unit_column, quality_column: headers of a long file.
        bad: texts and numbers that stand for a bad value, beside the usual ones; ``*`` is any text.
        good: quality words that mean good, beside the usual ones; in ``* {ok}`` the ``*`` is the
            value.
    """

    name: str
    zone: tzinfo
    zone_stated: bool = False
    form: str = ""
    time_column: tuple[str, ...] = ()
    date_order: str = ""
    year: float | None = None
    clock_offset_s: float = 0.0
    stamps: str = "begin"
    interval_minutes: float | None = None
    hold: float | None = None
    delimiter: str = ""
    decimal: str = ""
    encoding: str = ""
    header_row: float | None = None
    header_rows: float | None = None
    sheet: str = ""
    member: str = ""
    point_column: str = ""
    value_column: str = ""
    unit_column: str = ""
    quality_column: str = ""
    bad: tuple[str, ...] = ()
    good: tuple[str, ...] = ()


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

    def unmapped(self, folder: Path) -> list[Path]:
        """Files that no point names; weather, models and hidden files are none of them."""
        return sorted(path for path in folder.iterdir()
                      if path.name not in self.files and path.name[0] != "."
                      and path.suffix.lower() not in NO_TRENDS and not path.is_dir())

    @classmethod
    def from_answers(cls, answers: Mapping[str, Any]) -> PointMap:
        """The map from the ``[points]``, ``[files]`` and ``[site]`` tables of a job.

        Raises:
            IntakeError: a point, unit, key or zone is unknown, a needed answer is missing, or
                two points are read from one column without ``shared = true``.
        """
        site = _table(answers, "site")
        if not (named := str(site.get("time_zone") or "")):
            raise IntakeError(
                "job.toml, [site]: 'time_zone' is missing; state the site's zone, "
                'for example time_zone = "America/Denver"')
        zone = _zone(named, "job.toml, [site]: time_zone")
        if not isinstance(zone, ZoneInfo):
            raise IntakeError(
                f"job.toml, [site]: time_zone '{named}' is an offset; state the zone's name, for "
                "example 'America/Denver', so that summer time is known")
        files, plant = _table(answers, "files"), _table(answers, "plant")
        sources = {name: _source(name, each, files, plant)
                   for name, each in _table(answers, "points").items()}
        _refuse_shared_columns(sources)
        every = [one for source in sources.values() for one in each_of(source)]
        return cls(sources, dict(forms_of(answers, dict.fromkeys(one.file for one in every))), zone,
                   _number(site.get("altitude"), "job.toml, [site]: altitude"),
                   _positive(site.get("step_minutes"), "job.toml, [site]: step_minutes"))


def files_of(table: Mapping[str, Any]) -> list[str]:
    """The files that a point of ``[points]`` is read from."""
    return listed(table.get("file", ""))


def listed(stated: Any) -> list[str]:
    """What is stated once or as a list, as a list."""
    return [stated] if isinstance(stated, str) else list(stated)


def each_of(source: PointSource) -> list[PointSource]:
    """A source, the files that continue it, and its second trend."""
    return [source, *source.more, *([source.second] if source.second else [])]


def forms_of(answers: Mapping[str, Any], files: Iterable[str]) -> list[tuple[str, FileForm]]:
    """The forms of files that need not be mapped yet; UTC where no site zone is stated.

    Raises:
        IntakeError: what the job states of a file cannot be used.
    """
    named = str(_table(answers, "site").get("time_zone") or "UTC")
    site, tables = _zone(named, "job.toml, [site]: time_zone"), _table(answers, "files")
    found = []
    for name in files:
        stated = _read(tables.get(name, {}), _FILE_KEYS, f'[files."{name}"]')
        zone = stated.pop("time_zone", None)
        # Of several each point's sources name theirs.
        stated |= {key: names[0] if len(names) == 1 else ""
                   for key in _PARTS if (names := stated.get(key))}
        found.append((name, FileForm(name, zone or site, zone is not None, **stated)))
    return found


def _source(name: str, table: Any, files: Mapping[str, Any], plant: Mapping[str, Any]
            ) -> PointSource:
    where = f"[points.{name}]"
    try:
        point = _as_filled(points.point(name), plant)
    except points.UnknownPoint as error:
        known = [each.name.replace("{n}", "1") for each in points.GLOSSARY]
        near = " or ".join(get_close_matches(name, known, 2, 0.3)) or "one of fptlib/points.py"
        raise IntakeError(f"job.toml, {where}: '{name}' is not a point of the glossary; "
                          f"did you mean {near}?") from error
    stated = _read(table, _POINT_KEYS, where)
    changes, second = stated.pop("unit_changes", ()), stated.pop("second", None)
    first, *further = _sources(point, stated, files, where)
    first = replace(
        first, more=tuple(further),
        unit_changes=tuple((at, _unit(point, unit, where)) for at, unit in changes))
    if second is None:
        return first
    where = f"{where}, second"
    keys = {key: _POINT_KEYS[key] for key in ("file", "column", "unit")}
    return replace(first, second=replace(
        _sources(point, _read(second, keys, where), files, where)[0], shared=True))


def _as_filled(point: points.Point, plant: Mapping[str, Any]) -> points.Point:
    """A temperature of a side that the plan fills with glycol may be as cold as that freezes at."""
    side = next((side for side in ("chw", "cw") if f"_{side}_" in f"_{point.name}"), "")
    glycol, percent = plant.get(f"{side}_glycol"), plant.get(f"{side}_glycol_percent")
    if point.unit != "degF" or not glycol or not isinstance(percent, int | float):
        return point
    try:
        return replace(point, low=min(point.low, freezing_point(glycol, percent)))
    except OutsideRange:
        # The plan is refused where it is read.
        return point


def _sources(point: points.Point, stated: dict[str, Any], files: Mapping[str, Any], where: str
             ) -> list[PointSource]:
    """The point's column in each of its files, and in each sheet or member of them that is
    stated."""
    named, column = stated.pop("file", ()), stated.get("column")
    own = {key: stated.pop(key, ()) for key in _PARTS}
    if not named or not named[0] or not column:
        raise IntakeError(f"job.toml, {where}: state both 'file' and 'column'")
    if "on_above" not in stated:
        stated["unit"] = _unit(point, stated.get("unit", ""), where)
    found = []
    for file in dict.fromkeys(named):
        of_file = _read(files.get(file, {}), _FILE_KEYS, f'[files."{file}"]')
        sheets, members = (own[key] or of_file.get(key) or ("",) for key in _PARTS)
        found += [PointSource(point, plain_name(file, where), sheet=sheet, member=member, **stated)
                  for sheet in sheets for member in members]
    return found


def _unit(point: points.Point, stated: str, where: str) -> str:
    unit = units.alias(stated, point.unit) or stated
    if unit and not units.is_gauge(unit, point.unit):
        units.scale(unit, point.unit, f"job.toml, {where}")
    return unit


def _refuse_shared_columns(sources: Mapping[str, PointSource]) -> None:
    taken: dict[tuple[str, ...], PointSource] = {}
    for source in (one for first in sources.values() for one in (first, *first.more)):
        place = source.file, source.sheet, source.member, source.column
        other = taken.setdefault(place, source)
        if other.name != source.name and not (source.shared or other.shared):
            raise IntakeError(
                f"job.toml: points {other.name} and {source.name} are both read from column "
                f"'{source.column}' of '{source.file}'; correct one of them, or state "
                "shared = true if that is meant")


# -- the kinds of answers: each takes what is stated and where, and refuses what it is not -------

def _table(answers: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = answers.get(key, {})
    if not isinstance(found, Mapping):
        raise IntakeError(f"job.toml: [{key}] holds '{found}' where a table was expected")
    return found


def _read(table: Any, keys: Mapping[str, Kind], where: str) -> dict[str, Any]:
    """The stated keys of a table, each by its kind; unknown ones are mostly typing errors."""
    if not isinstance(table, Mapping):
        raise IntakeError(f"job.toml, {where}: '{table}' was found where a table was expected")
    for key in table:
        if key not in keys:
            raise IntakeError(f"job.toml, {where}: key '{key}' is not known; "
                              f"known are: {', '.join(sorted(keys))}")
    return {key: keys[key](value, f"job.toml, {where}: {key}") for key, value in table.items()
            if value not in (None, "")}


def _text(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise IntakeError(f"{where} = {value!r} should be a text in quotes")
    return value


def _texts(value: Any, where: str) -> tuple[str, ...]:
    if isinstance(value, str):
        return (value,)
    if not isinstance(value, list | tuple) or not all(isinstance(v, str) for v in value):
        raise IntakeError(f"{where} should be a text or a list of texts")
    return tuple(value)


def _number(value: Any, where: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise IntakeError(f"{where} = {value!r} should be a number")
    if not abs(value) <= _LARGEST:  # nan compares with nothing
        raise IntakeError(f"{where} = {value!r} should be a number between -{_LARGEST:,.0f} "
                          f"and {_LARGEST:,.0f}")
    return float(value)


def _positive(value: Any, where: str) -> float | None:
    found = _number(value, where)
    if found is not None and not 0 < found < 1e6:
        raise IntakeError(f"{where} = {found:g} should be above zero")
    return found


def _choice(*known: str) -> Kind:
    def chosen(value: Any, where: str) -> str:
        if value not in known:
            raise IntakeError(
                f"{where} = '{value}' is not known; state one of: {', '.join(known)}")
        return str(value)

    return chosen


def _zone(value: Any, where: str) -> tzinfo:
    """A zone: tz database name or an offset as ``-07:00``."""
    text = _text(value, where)
    if (zone := zone_of(text)) is None:
        raise IntakeError(f"{where} '{text}' is not known; state a name as 'America/Denver' or an "
                          "offset as '-07:00'")
    return zone


def _unit_changes(value: Any, where: str) -> tuple[tuple[str, str], ...]:
    changes = []
    for change in value if isinstance(value, list | tuple) else [value]:
        if not isinstance(change, Mapping) or set(change) != {"from", "unit"}:
            raise IntakeError(
                f"{where} holds {str(change)[:40]!r} where entries as "
                '{from = "2026-01-05T10:00", unit = "degC"} were expected')
        changes.append((str(change["from"]), _text(change["unit"], where)))
    return tuple(changes)


Kind = Callable[[Any, str], Any]
_POINT_KEYS: dict[str, Kind] = {
    "file": _texts, "column": _text, "unit": _text, "shared": lambda value, where: value is True,
    "on": _texts, "off": _texts, "on_above": _number, "quality_column": _text,
    "unit_changes": _unit_changes, "second": lambda value, where: value, "unusable": _text,
    "confirmed": _text,
    "hold": _positive, "plus": _texts, "sheet": _texts, "member": _texts,
}
_FILE_KEYS: dict[str, Kind] = {
    "form": _choice("wide", "long"), "time_column": _texts, "time_zone": _zone,
    "date_order": _choice("year first", "day first", "month first", "swapped"),
    "clock_offset_s": _number, "year": _positive,
    "stamps": _choice("begin", "end"), "interval_minutes": _positive, "hold": _positive,
    "delimiter": _choice(",", ";", "|", "tab"), "decimal": _choice(".", ","),
    "encoding": _choice("utf-8", "utf-16", "windows-1252"), "header_row": _positive,
    "header_rows": _positive,
    "bad": _texts, "good": _texts, "sheet": _texts, "member": _texts,
    **dict.fromkeys(("point_column", "value_column", "unit_column", "quality_column"), _text),
}
_PARTS = ("sheet", "member")
