"""From the job's answers to what the procedure reads: plant, sensors, limits, readings.

Every error names the answer in ``job.toml``, or the row of ``readings.csv``, what was
found and what was expected.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pandas as pd

from fptlib import points, units
from fptlib.errors import FptError, JobError
from fptlib.job.folder import lookup
from fptlib.job.plant import (
    Approach,
    Chiller,
    Exchanger,
    Instrument,
    Mark,
    Plant,
    Reading,
    Sensor,
    Sensors,
)
from fptlib.job.readings import numbered_rows
from fptlib.limits import Deviation, Limits
from fptlib.physics import refrigerant
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.errors import ImpossibleState

Answers = Mapping[str, Any]
MOST_MACHINES = 1000


def number(answers: Answers, path: str, default: float | None = None) -> float | None:
    """A number at a dotted path.

    Raises:
        JobError: the answer is not a number.
    """
    return _number(lookup(answers, path, default), path)


def _number(value: Any, path: str) -> float | None:
    if value is None:
        return None
    if isinstance(value, int | float) and not isinstance(value, bool):
        # TOML knows nan, inf and whole numbers of any length; no quantity is one of them.
        if abs(value) <= sys.float_info.max:
            return value
    raise JobError(f"job.toml, {path}: '{value}' is not a number; enter a number")


def _whole(answers: Answers, path: str) -> int | None:
    value = number(answers, path)
    if value is None:
        return None
    if value == int(value) and 0 <= value <= MOST_MACHINES:
        return int(value)
    raise JobError(f"job.toml, {path}: '{value}' must be a whole number from 0 to "
                   f"{MOST_MACHINES}; enter how many there are")


def _mapping(value: Any, path: str) -> Answers:
    if isinstance(value, Mapping):
        return value
    raise JobError(f"job.toml, {path}: '{value}' stands where a table is expected; write its "
                   f"answers below the heading [{path}]")


def _tables(answers: Answers, path: str) -> dict[str, Answers]:
    """The tables that stand under a path, by name."""
    held = _mapping(lookup(answers, path, {}), path)
    return {name: _mapping(table, f"{path}.{name}") for name, table in held.items()}


def _needed(answers: Answers, path: str, what: str) -> float:
    value = number(answers, path)
    if value is None:
        raise JobError(f"job.toml, {path} is missing: enter {what} in the plan")
    return value


def _altitude(answers: Answers) -> float:
    altitude = _needed(answers, "site.altitude", "the site's altitude (kept in feet)")
    try:
        pressure_at(altitude)
    except ImpossibleState as error:
        raise JobError(f"job.toml, site.altitude: {error}; enter the site's altitude in "
                       "feet") from error
    return altitude


def zone(answers: Answers) -> str:
    """The site's time zone.

    Raises:
        JobError: it is missing, or not in the tz database.
    """
    name = lookup(answers, "site.time_zone")
    if name in (None, ""):
        raise JobError("job.toml, site.time_zone is missing: enter the site's zone, such as "
                       "'America/Denver', in the plan")
    try:
        ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        # "America" is a folder of the database, which the system refuses to read as a file.
        raise JobError(f"job.toml, site.time_zone: '{name}' is not a zone of the tz database; "
                       "enter one such as 'America/Denver'") from error
    return str(name)


def plant(answers: Answers) -> Plant:
    """Plant and site of a job."""
    count = _whole(answers, "plant.chillers") or 0
    window = lookup(answers, "plant.demand_window", "clock")
    if window not in ("clock", "sliding"):
        raise JobError(f"job.toml, plant.demand_window: '{window}' must be 'clock' or 'sliding'")
    return Plant(
        altitude=_altitude(answers),
        time_zone=zone(answers),
        chillers=tuple(_chiller(answers, n) for n in range(1, count + 1)),
        tower_cells=_whole(answers, "plant.tower_cells") or 0,
        exchanger=Exchanger(**_table(answers, "plant.exchanger", Exchanger)),
        tower_approach=_approach(answers, "plant.tower_approach"),
        exchanger_approach=_approach(answers, "plant.exchanger_approach"),
        loop_volume=number(answers, "plant.loop_volume"),
        sump_volume=number(answers, "plant.sump_volume"),
        equipment_limit=_whole(answers, "plant.equipment_limit"),
        pumps=_whole(answers, "plant.pumps") or 0,
        demand_window=window,
    )


def _table(answers: Answers, path: str, kind: type) -> dict[str, Any]:
    """The answers of a table that ``kind`` has a field for, each of the right sort."""
    known = {item.name: item for item in fields(kind)}
    found = {}
    for key, value in _mapping(lookup(answers, path, {}), path).items():
        if key not in known:
            raise JobError(f"job.toml, {path}.{key} is not known; the answers there are: "
                           + ", ".join(name for name in known if name != "number"))
        text = "str" in str(known[key].type)
        found[key] = str(value) if text else number(answers, f"{path}.{key}")
    return found


def _chiller(answers: Answers, n: int) -> Chiller:
    path = f"plant.chiller_{n}"
    chiller = Chiller(**{**_table(answers, path, Chiller), "number": n})
    if chiller.refrigerant and chiller.refrigerant not in refrigerant.REFRIGERANTS:
        raise JobError(f"job.toml, {path}.refrigerant: '{chiller.refrigerant}' is not one of: "
                       + ", ".join(refrigerant.REFRIGERANTS))
    return chiller


def _approach(answers: Answers, path: str) -> Approach | None:
    table = _mapping(lookup(answers, path, {}), path)
    value = _number(table.get("value"), f"{path}.value")
    if value is None:
        return None
    basis = table.get("basis", "design")
    if basis not in ("observed", "design"):
        raise JobError(f"job.toml, {path}.basis: '{basis}' must be 'observed' or 'design'")
    return Approach(value, basis, str(table.get("remark", "")))


def sensors(answers: Answers) -> Sensors:
    """The job's sensors; what it does not state comes from the glossary."""
    return Sensors({name: _sensor(name, table)
                    for name, table in _tables(answers, "sensors").items()})


def _sensor(name: str, table: Answers) -> Sensor:
    path = f"sensors.{name}"
    entry = _point(name, f"job.toml, {path}")
    own = _number(table.get("accuracy"), f"{path}.accuracy")
    return Sensor(
        entry.accuracy if own is None else accuracy(entry, own, f"job.toml, {path}.accuracy"),
        _number(table.get("resolution"), f"{path}.resolution") or 0.0,
        _number(table.get("offset"), f"{path}.offset") or 0.0,
        entry.relative,
    )


def accuracy(entry: points.Point, value: float, where: str) -> float:
    """A sensor's accuracy, in the point's unit or as a share of the reading.

    Raises:
        JobError: it is no share where one is meant; ``where`` opens the sentence.
    """
    if entry.relative and value >= 1.0:
        raise JobError(f"{where}: {value:g} is no share of the reading, as {entry.name} needs "
                       f"it; enter a number below 1, such as 0.02 for 2 %, not {entry.unit}")
    return value


def _point(name: str, where: str) -> points.Point:
    try:
        return points.point(name)
    except points.UnknownPoint as error:
        raise JobError(f"{where}: {error}") from error


def limits(answers: Answers) -> Limits:
    """The limits in force with the job's deviations."""
    deviations = {}
    for name, table in _mapping(lookup(answers, "limits", {}), "limits").items():
        if not isinstance(table, Mapping) or "value" not in table:
            raise JobError(f"job.toml, limits.\"{name}\" needs value, reason, author and date")
        deviations[name] = Deviation(
            table["value"], *(str(table.get(key, "")) for key in ("reason", "author", "date"))
        )
    return Limits(deviations)


def instruments(answers: Answers) -> dict[str, Instrument]:
    """Field instruments by tag."""
    return {tag: _instrument(tag, table, answers)
            for tag, table in _tables(answers, "instruments").items()}


def _instrument(tag: str, table: Answers, answers: Answers) -> Instrument:
    path = f"instruments.{tag}"
    return Instrument(
        tag,
        str(table.get("serial", "")),
        _number(table.get("accuracy"), f"{path}.accuracy"),
        _day(table.get("calibrated"), f"{path}.calibrated", answers),
        _day(table.get("due"), f"{path}.due", answers),
        str(table.get("make_model", "")),
        str(table.get("range", "")),
        _accuracy_unit(table, path),
    )


def _accuracy_unit(table: Answers, path: str) -> str:
    stated = str(table.get("accuracy_unit", ""))
    if stated and stated not in units.half_width_units():
        raise JobError(f"job.toml, {path}.accuracy_unit: '{stated}' is not known; state one of: "
                       + ", ".join(units.half_width_units()))
    return stated


def _day(value: Any, path: str, answers: Answers) -> pd.Timestamp | None:
    if value in (None, ""):
        return None
    try:
        return pd.Timestamp(str(value), tz=zone(answers))
    except ValueError as error:
        raise JobError(f"job.toml, {path}: '{value}' is not a date; enter it as "
                       "2026-01-31") from error


def marks(answers: Answers) -> list[Mark]:
    """Moments marked by hand during the live test.

    Raises:
        JobError: they are no list of tables, or a time cannot be used.
    """
    held = lookup(answers, "marks", [])
    if not isinstance(held, list) or not all(isinstance(row, Mapping) for row in held):
        raise JobError(f"job.toml, marks: '{held}' stands where tables are expected; write each "
                       "mark with time, what and by below a heading [[marks]]")
    return [
        Mark(moment(str(row.get("time", "")), zone(answers), f"job.toml, mark {count}"),
             str(row.get("what", "")), str(row.get("by", "")))
        for count, row in enumerate(held, start=1)
    ]


def moment(text: str, site_zone: str, where: str) -> pd.Timestamp:
    """A time in the site's zone; a time without an offset is the site's own.

    Raises:
        JobError: the text is not a time; ``where`` opens the sentence.
    """
    try:
        time = pd.Timestamp(text)
        if pd.isna(time):
            raise ValueError(text)
        if time.tzinfo is None:
            return time.tz_localize(site_zone)
        return time.tz_convert(site_zone)
    except (ValueError, TypeError) as error:
        raise JobError(f"{where}: '{text}' is not a time; enter it as "
                       "2026-01-31 02:15") from error


def readings(file: Path, plant: Plant) -> list[Reading]:
    """The field readings of a job, in the glossary's units; none where there is no file.

    Raises:
        JobError: the file or one of its rows cannot be used.
    """
    return [_reading(row, f"{file.name}, row {number}", plant)
            for number, row in numbered_rows(file)]


def _reading(row: Mapping[str, str], where: str, plant: Plant) -> Reading:
    name = row["point"].strip()
    entry = _point(name, where)
    value = _value(row["value"].strip(), f"{where}, {name}")
    unit = row["unit"].strip() or entry.unit
    try:
        scale = units.scale(unit, entry.unit, f"{where}, {name}", plant.atmosphere)
    except FptError as error:
        raise JobError(str(error)) from error
    return Reading(
        moment(row["time"], plant.time_zone, where), name, float(scale(value)),
        row["instrument"].strip(), row.get("taken_by", "").strip(),
        row.get("remark", "").strip(), row["value"].strip(), unit,
    )


def _value(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    # Python reads 4_4 as forty-four.
    if not math.isfinite(value) or "_" in text:
        raise JobError(f"{where}: '{text}' is not a number; enter the reading as a number "
                       "such as 44.6")
    return value
