"""From what ``job.toml`` and ``readings.csv`` hold to what the procedure reads.

Every error names the answer as its form and its file do, or the row of ``readings.csv``, what was
found, what was expected and what to do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fptlib import limits as standard
from fptlib import points, units
from fptlib.answer import Wrong, answers_of, as_table, load, parsed, taken
from fptlib.errors import FptError, JobError
from fptlib.job.folder import lookup
from fptlib.job.readings import numbered_rows
from fptlib.job.schema import (
    DEMAND,
    WATCHED,
    Abort,
    Approach,
    Charge,
    Chiller,
    Cold,
    EnableCondition,
    Exchanger,
    General,
    Instrument,
    LiftProtection,
    Mark,
    Override,
    Plant,
    Reading,
    Reset,
    Sensor,
    Sensors,
    Sequence,
    Site,
    Tariff,
)

Answers = Mapping[str, Any]


def _tables(answers: Answers, path: str) -> dict[str, Answers]:
    """The tables that stand under a path, by name."""
    held = as_table(lookup(answers, path, {}), path)
    return {name: as_table(table, f"{path}.{name}") for name, table in held.items()}


def general(answers: Answers) -> General:
    """What the job is called and how it was tested."""
    return load(General, lookup(answers, "job", {}), "job")


def site(answers: Answers) -> Site:
    """Where the plant stands."""
    return load(Site, lookup(answers, "site", {}), "site")


def plant(answers: Answers) -> Plant:
    """Plant and site of a job."""
    stated = as_table(lookup(answers, "plant", {}), "plant")
    where = site(answers)
    count = taken(answers_of(Plant)["chillers"], stated["chillers"], "plant.chillers") \
        if stated.get("chillers") else 0
    for side, words in (("chw", "chilled"), ("cw", "condenser")):
        answered = [stated.get(name) in (None, "") for name in (
            f"{side}_glycol", f"{side}_glycol_percent")]
        if answered[0] != answered[1]:
            raise JobError(f"job.toml, plant: of the glycol in the {words} water only one of kind "
                           f"and share is stated; state {side}_glycol and {side}_glycol_percent, "
                           "or neither for water")
    return load(
        Plant, stated, "plant", altitude=where.altitude, time_zone=where.time_zone,
        chillers=tuple(load(Chiller, stated.get(f"chiller_{n}", {}), f"plant.chiller_{n}",
                            closed=True, number=n) for n in range(1, count + 1)),
        exchanger=load(Exchanger, stated.get("exchanger", {}), "plant.exchanger", closed=True),
        cold=load(Cold, stated.get("cold", {}), "plant.cold", closed=True),
        tower_approach=_approach(stated, "tower_approach"),
        exchanger_approach=_approach(stated, "exchanger_approach"),
    )


def sequence(answers: Answers) -> Sequence:
    """The sequence of operation as specified."""
    stated = as_table(lookup(answers, "sequence", {}), "sequence")
    found = load(
        Sequence, stated, "sequence",
        enable=load(EnableCondition, stated.get("enable", {}), "sequence.enable"),
        lift=load(LiftProtection, stated.get("lift", {}), "sequence.lift"),
        reset=load(Reset, stated.get("reset", {}), "sequence.reset"))
    line = found.reset.line
    if 0 < sum(value is not None for value in line) < len(line):
        raise JobError("job.toml, sequence.reset: the line of the reset is not whole; state the "
                       "driver and the setpoint at both ends, or none of the four")
    if line[0] is not None and line[0] == line[2]:
        raise JobError(f"job.toml, sequence.reset: both ends of the line are at {line[0]:g}; state "
                       "two different values of the driver")
    return found


def tariff(answers: Answers) -> Tariff:
    """Prices, tower water and emissions as the owner states them.

    Raises:
        JobError: a line of the rate sheet cannot be used.
    """
    return load(Tariff, lookup(answers, "tariff", {}), "tariff", charges=tuple(
        charge(row, f"tariff.charges, line {count}")
        for count, row in enumerate(_listed(answers, "tariff.charges"), start=1)))


def charge(row: Answers, path: str) -> Charge:
    """One line of the rate sheet.

    Raises:
        JobError: it cannot be used.
    """
    found = load(Charge, row, path, closed=True)
    if (found.hours_from is None) != (found.hours_to is None):
        raise JobError(f"job.toml, {path} ('{found.name}'): of its hours one end only is stated; "
                       "state both, or none for all hours")
    if found.hours_from is not None and found.hours_from == found.hours_to:
        raise JobError(f"job.toml, {path} ('{found.name}'): its hours begin and end at "
                       f"{found.hours_from:%H:%M}; leave both empty for all hours")
    if found.ratchet is not None and found.kind != DEMAND:
        raise JobError(f"job.toml, {path} ('{found.name}'): a ratchet belongs to a demand charge; "
                       "take it away, or make the line one of demand")
    return found


def _approach(stated: Answers, name: str) -> Approach | None:
    held = as_table(stated.get(name, {}), f"plant.{name}")
    if held.get("value") in (None, ""):
        return None
    return load(Approach, {"basis": "design", **held}, f"plant.{name}")


def sensors(answers: Answers) -> Sensors:
    """The job's sensors; what it does not state comes from the glossary."""
    return Sensors({name: _sensor(name, table)
                    for name, table in _tables(answers, "sensors").items()})


def _sensor(name: str, stated: Answers) -> Sensor:
    path = f"sensors.{name}"
    entry = _point(name, f"job.toml, {path}")
    made = load(Sensor, {"accuracy": entry.accuracy, **stated}, path, relative=entry.relative)
    accuracy(entry, made.accuracy, f"job.toml, {path}.accuracy")
    return made


def accuracy(entry: points.Point, value: float, where: str) -> None:
    """Refuse a sensor's accuracy that is no share of the reading where its point needs one.

    Raises:
        JobError: ``where`` opens the sentence.
    """
    if entry.relative and value >= 1.0:
        raise JobError(f"{where}: {value:g} is no share of the reading, as {entry.name} needs "
                       f"it; enter a number below 1, such as 0.02 for 2 %, not {entry.unit}")


def _point(name: str, where: str) -> points.Point:
    try:
        return points.point(name)
    except points.UnknownPoint as error:
        raise JobError(f"{where}: {error}") from error


def limits(answers: Answers) -> standard.Limits:
    """The limits in force with the job's deviations."""
    held = as_table(lookup(answers, "limits", {}), "limits")
    try:
        return standard.Limits({name: standard.own(name, row) for name, row in held.items()})
    except JobError as error:
        raise JobError(f"job.toml, {error}") from error


def instruments(answers: Answers) -> dict[str, Instrument]:
    """Field instruments by tag; their days begin at midnight of the site."""
    held = _tables(answers, "instruments")
    zone = ZoneInfo(site(answers).time_zone) if held else None
    found = {tag: load(Instrument, table, f"instruments.{tag}", tag=tag)
             for tag, table in held.items()}
    return {tag: replace(one, calibrated=_midnight(one.calibrated, zone),
                         due=_midnight(one.due, zone)) for tag, one in found.items()}


def _midnight(day: date | None, zone: ZoneInfo | None) -> datetime | None:
    return None if day is None else datetime.combine(day, time(), zone)


def marks(answers: Answers) -> list[Mark]:
    """Moments marked by hand during the live test.

    Raises:
        JobError: they are no list of tables, or a time cannot be used.
    """
    held = _listed(answers, "marks")
    zone = site(answers).time_zone if held else ""
    return [Mark(moment(str(row.get("time", "")), zone, f"job.toml, mark {count}"),
                 str(row.get("what", "")), str(row.get("by", "")))
            for count, row in enumerate(held, start=1)]


def _listed(answers: Answers, name: str) -> list[Answers]:
    held = lookup(answers, name, [])
    if not isinstance(held, list) or not all(isinstance(row, Mapping) for row in held):
        raise JobError(f"job.toml, {name}: '{held}' stands where tables are expected; write each "
                       f"of them below a heading [[{name}]]")
    return held


def aborts(answers: Answers) -> list[Abort]:
    """The plan's abort conditions, each limit in the unit of what is watched.

    Raises:
        JobError: one of them cannot be used.
    """
    return [_abort(row, f"abort {count}") for count, row in
            enumerate(_listed(answers, "abort"), start=1)]


def _abort(row: Answers, path: str) -> Abort:
    stated = load(Abort, row, path)
    if stated.watched in ("", "at the plant"):
        return stated
    wanted = WATCHED[stated.watched][1] if stated.watched in WATCHED else _point(
        stated.watched, f"job.toml, {path}.watched").unit
    if wanted in ("alarm", "on/off"):
        return stated
    if stated.limit is None or not stated.side:
        raise JobError(f"job.toml, {path} ('{stated.text}'): limit or side is missing; state the "
                       "limit and whether the test stops above or below it")
    scale = units.scale(stated.unit or wanted, wanted, f"job.toml, {path}.limit")
    return replace(stated, limit=float(scale(stated.limit)), unit=wanted)


def overrides(answers: Answers) -> list[Override]:
    """Every override of the job, with its times in the site's zone.

    Raises:
        JobError: one of them cannot be used.
    """
    held = _listed(answers, "overrides")
    zone = site(answers).time_zone if held else ""
    return [_override(row, zone, f"override {count}") for count, row in enumerate(held, start=1)]


def _override(row: Answers, zone: str, path: str) -> Override:
    placed, released = (
        moment(str(row[name]), zone, f"job.toml, {path}.{name}") if row.get(name) else None
        for name in ("placed", "released"))
    found = load(Override, row, path, placed=placed, released=released)
    if found.placed and found.released and found.released < found.placed:
        raise JobError(f"job.toml, {path}: {found.point} was released before it was placed; "
                       "correct one of the times")
    return found


def moment(text: str, site_zone: str, where: str) -> datetime:
    """A time in the site's zone; a time without an offset is the site's own.

    Raises:
        JobError: the text is not a time, or one that comes twice or never on the day the clocks
            change; ``where`` opens the sentence.
    """
    zone = ZoneInfo(site_zone)
    try:
        time = datetime.fromisoformat(text)
    except ValueError as error:
        raise JobError(f"{where}: '{text}' is not a time; enter it as "
                       "2026-01-31 02:15") from error
    if time.tzinfo is not None:
        return time.astimezone(zone)
    time = time.replace(tzinfo=zone)
    if time.utcoffset() != time.replace(fold=1).utcoffset():
        raise JobError(f"{where}: '{text}' comes twice or never on the day the clocks change; "
                       f"enter it with its offset, such as {time.isoformat(' ', 'minutes')}")
    return time


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
    unit = row["unit"].strip() or entry.unit
    try:
        value = parsed(row["value"].strip())
        scale = units.scale(unit, entry.unit, f"{where}, {name}", plant.atmosphere)
    except Wrong as wrong:
        raise JobError(f"{where}, {name}: {wrong}") from wrong
    except FptError as error:
        raise JobError(str(error)) from error
    when = moment(row["time"].strip(), plant.time_zone, where)
    if ":" not in row["time"]:
        raise JobError(f"{where}: '{row['time']}' has no time of day; enter it as "
                       "2026-01-31 02:15")
    return Reading(
        when, name, float(scale(value)),
        row["instrument"].strip(), row.get("taken_by", "").strip(),
        row.get("remark", "").strip(), row["value"].strip(), unit,
    )
