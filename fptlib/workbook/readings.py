"""Field readings entered beside the plant: checked, stamped and kept in ``readings.csv``."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fptlib import points, units
from fptlib.answer import answers_of, taken
from fptlib.errors import FormError
from fptlib.job.folder import Job, now, write_atomically
from fptlib.job.readings import COLUMNS, numbered_rows
from fptlib.job.schema import Site
from fptlib.physics.atmosphere import pressure_at
from fptlib.workbook.questions import (
    CHANGED_ELSEWHERE,
    CHOICE,
    MOMENT,
    NUMBER,
    Question,
    Rows,
    read,
)

Row = dict[str, Any]


def asked(job: Job) -> Rows:
    """What is asked of a reading; the points mapped on this job come first."""
    answers = job.answers()
    mapped = list(answers.get("points", {}))
    plant = answers.get("plant", {})
    every = [point.name for point in points.all_points(
        *(int(plant.get(name, 0) or 0) for name in ("chillers", "tower_cells", "pumps")))]
    names = tuple(dict.fromkeys([*(name for name in mapped if points.is_point(name)), *every]))
    return Rows("readings", "Field readings", (
        Question("time", "Time", MOMENT, help="Empty: now."),
        Question("point", "Point", CHOICE, choices=names, required=True),
        Question("value", "Value", required=True, help="The number as the instrument shows it."),
        Question("unit", "Unit", CHOICE, help="Empty: the unit of the point's trend."),
        Question("instrument", "Instrument", CHOICE, required=True,
                 choices=tuple(answers.get("instruments", {})),
                 help="Instruments are listed in the Plan."),
        Question("taken_by", "Taken by"),
        Question("remark", "Remark"),
    ), row_word="reading")


def offers(texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
    """The units that fit the chosen point."""
    if not points.is_point(texts["point"]):
        return {}
    return {"unit": units.offered(points.point(texts["point"]).unit)}


def site_time(job: Job, moment: datetime | None = None) -> datetime:
    """A moment, now where none is given, on the site's clock."""
    zone = ZoneInfo(str(job.get("site.time_zone", "UTC")))
    moment = moment or now()
    return moment.astimezone(zone) if moment.tzinfo else moment.replace(tzinfo=zone)


def finish(job: Job, row: Row) -> Row:
    """A reading ready to be kept, or the reason why it cannot be.

    Raises:
        FormError: the value is no number, or is not possible for its point.
    """
    point = points.point(row["point"])
    stated = row.get("unit") or usual_unit(job, point)
    plausible(job, point, str(row["value"]), stated)
    when = site_time(job, datetime.fromisoformat(row["time"]) if row.get("time") else None)
    if when > site_time(job):
        raise FormError(f"Time: {row['time']} has not come yet; write when the reading was taken")
    filled = {name: str(row.get(name, "")) for name in COLUMNS}
    # A comma that was taken stands between thousands; the file holds plain numbers.
    filled["value"] = filled["value"].replace(",", "")
    return {**filled, "unit": stated, "time": when.isoformat(timespec="seconds")}


def usual_unit(job: Job, point: points.Point) -> str:
    """The unit of a reading that states none: its trend's, which the technician sees all day."""
    return str(job.get(f"points.{point.name}.unit") or point.unit)


def plausible(job: Job, point: points.Point, text: str, unit: str) -> str:
    """One sentence on a value that is possible for its point.

    Raises:
        FormError: it is no number or outside the point's range.
        IntakeError: the unit measures something else, or is a gauge's and the job states no
            altitude.
    """
    meaning = point.meaning.capitalize()
    altitude = job.get("site.altitude")
    scale = units.scale(unit, point.unit, meaning, None if altitude is None else float(
        pressure_at(taken(answers_of(Site)["altitude"], altitude, "site.altitude"))))
    question = Question("value", meaning, NUMBER, unit, required=True,
                        low=scale.back(point.low), high=scale.back(point.high))
    value = read(question, text)
    stated = f"{value:g} {units.symbol(unit)}"
    same = "" if unit == point.unit else f" = {scale(value):.4g} {units.symbol(point.unit)}"
    return f"{stated}{same} is possible for {point.meaning}"


class ReadingsStore:
    """The rows of ``readings.csv``, all text as written."""

    def __init__(self, job: Job) -> None:
        self._job = job

    def rows(self) -> list[Row]:
        return [row for _, row in numbered_rows(self._job.readings_file)]

    def put(self, row: Mapping[str, Any], old: Mapping[str, Any] | None) -> None:
        with self._job.locked():
            rows = self.rows()
            if old is None:
                rows.append(dict(row))
            elif dict(old) in rows:
                # A column added by hand, which no form asks for, stays.
                rows[rows.index(dict(old))] = {**old, **row}
            else:
                raise FormError(CHANGED_ELSEWHERE)
            self._write(rows)

    def take(self, old: Mapping[str, Any]) -> None:
        with self._job.locked():
            rows = self.rows()
            if dict(old) in rows:
                rows.remove(dict(old))
            self._write(rows)

    def _write(self, rows: Sequence[Mapping[str, Any]]) -> None:
        names = dict.fromkeys([*COLUMNS, *(key for row in rows for key in row)])
        sheet = io.StringIO()
        writer = csv.DictWriter(sheet, list(names), lineterminator="\n", restval="")
        writer.writeheader()
        writer.writerows(rows)
        write_atomically(self._job.readings_file, sheet.getvalue().encode("utf-8"))
