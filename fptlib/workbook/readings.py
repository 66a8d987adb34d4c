"""Field readings entered beside the plant: checked, stamped, kept in ``readings.csv``, and held
at once against the trend of their minute; they are judged where step 1 judges."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from fptlib import points, units
from fptlib.answer import Answer, Kind, answers_of, taken
from fptlib.errors import FormError, FptError
from fptlib.job.folder import Job, lookup, site_time, write_atomically
from fptlib.job.readings import COLUMNS, numbered_rows
from fptlib.job.schema import Site
from fptlib.job.tables import READINGS
from fptlib.physics.atmosphere import pressure_at
from fptlib.procedure import instruments
from fptlib.procedure.assemble import assemble
from fptlib.procedure.verdict import Event, Verdict
from fptlib.workbook.forms import Row, Section

_WORDS: Mapping[Verdict, str] = {
    Verdict.PASS: "agrees with the trend",
    Verdict.FAIL: "does not agree with the trend; read once more before you go on",
    Verdict.INDETERMINATE: "is too near the limit to say whether it agrees with the trend",
}


# A reading is entered on the day, or soon after; one this many days old has a slip in its year
# more often than not (common practice, no source).
LONG_AGO = 180


class Readings(Section):
    """The field readings of a job: the rows of ``readings.csv``, all text as written."""

    def __init__(self, job: Job) -> None:
        super().__init__(job, READINGS)

    def choices(self) -> Mapping[str, Sequence[str]]:
        """The points mapped on this job come first."""
        mapped = [name for name in self.job.get("points", {}) if points.is_point(name)]
        return {"point": list(dict.fromkeys([*mapped, *points_of(self.job)])),
                "instrument": list(self.job.get("instruments", {}))}

    def offers(self, texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
        if not points.is_point(texts["point"]):
            return {}
        return {"unit": units.offered(points.point(texts["point"]).unit)}

    def finish(self, row: Row) -> Row:
        return finish(self.job, row)

    def receipt(self, row: Row) -> tuple[str, str]:
        told, doubt = against_trend(self.job, row)
        # What was compared with the trend of its minute has its year and its instrument.
        return told, doubt or ("" if told else _unlikely(self.job, row))

    def usual(self, row: Row | None = None) -> Row:
        """Time, instrument and name stay for the next reading; a page that was just opened has
        the last one's instrument and name, and no time."""
        kept = {"instrument", "taken_by"} if row is None else {"time", "instrument", "taken_by"}
        if row is None:
            row = next(reversed(self.rows()), {})
        return {name: value for name, value in row.items() if name in kept}

    def rows(self) -> list[Row]:
        return [row for _, row in numbered_rows(self.job.readings_file)]

    def edit(self, change: Callable[[Any], None]) -> None:
        with self.job.locked():
            rows = self.rows()
            change(rows)
            names = dict.fromkeys([*COLUMNS, *(key for row in rows for key in row)])
            sheet = io.StringIO()
            writer = csv.DictWriter(sheet, list(names), lineterminator="\n", restval="")
            writer.writeheader()
            writer.writerows(rows)
            write_atomically(self.job.readings_file, sheet.getvalue().encode("utf-8"))


def points_of(job: Job) -> list[str]:
    """The names of every point that the job's equipment can have."""
    counts = (int(job.get(f"plant.{name}", 0) or 0)
              for name in ("chillers", "tower_cells", "pumps", "air_handlers", "sumps",
                           "exchangers"))
    return [point.name for point in points.all_points(*counts)]


def finish(job: Job, row: Row) -> Row:
    """A reading ready to be kept, or the reason why it cannot be.

    Raises:
        FormError: the value is no number, or is not possible for its point.
    """
    point = points.point(row["point"])
    # Without a unit it counts in that of its trend, which the technician sees all day.
    stated = row.get("unit") or str(job.get(f"points.{point.name}.unit") or point.unit)
    plausible(job, point, str(row["value"]), stated)
    if row.get("time") and ":" not in str(row["time"]):
        raise FormError(f"Time: {row['time']} has no time of day; write it as 2026-01-31 02:15")
    when = site_time(job, datetime.fromisoformat(row["time"]) if row.get("time") else None)
    if when > site_time(job):
        raise FormError(f"Time: {row['time']} has not come yet; write when the reading was taken")
    filled = {name: str(row.get(name, "")) for name in COLUMNS}
    # A comma that was taken stands between thousands; the file holds plain numbers.
    filled["value"] = filled["value"].replace(",", "")
    return {**filled, "unit": stated, "time": when.isoformat(timespec="seconds")}


def _unlikely(job: Job, row: Row) -> str:
    """What to look at again in a reading that is possible: its instrument and its year."""
    tag, point = str(row["instrument"]), points.point(row["point"])
    unit = str(lookup(job.answers(), f'instruments."{tag}".accuracy_unit', ""))
    if unit and units.half_width(1.0, unit, point.unit, 1.0) is None:
        return (f"Instrument {tag}: its accuracy is stated in {units.symbol(unit)}, and "
                f"{point.meaning} is read in {units.symbol(point.unit)}; choose the instrument "
                "that it was read with")
    days = (site_time(job) - datetime.fromisoformat(str(row["time"]))).days
    return "" if days < LONG_AGO else (f"Time: {str(row['time'])[:10]} is {days} days ago; look "
                                       "at the year")


def plausible(job: Job, point: points.Point, text: str, unit: str) -> str:
    """One sentence on a value that is possible for its point.

    Raises:
        FormError: it is no number or outside the point's range.
        IntakeError: the unit measures something else, or is a gauge's and the job states no
            altitude.
    """
    altitude, meaning = job.get("site.altitude"), point.meaning.capitalize()
    scale = units.scale(unit, point.unit, meaning, None if altitude is None else float(
        pressure_at(taken(answers_of(Site)["altitude"], altitude, "site.altitude"))))
    value = Answer("value", meaning, Kind.NUMBER, unit, low=scale.back(point.low),
                   high=scale.back(point.high)).read(text)
    same = "" if unit == point.unit else f" = {scale(value):.4g} {units.symbol(point.unit)}"
    return f"{units.stated(value, unit)}{same} is possible for {point.meaning}"


def against_trend(job: Job, row: Mapping[str, Any]) -> tuple[str, str]:
    """One sentence on a saved reading that agrees with the trend of its minute, or else one on
    what is wrong with it; both are empty where there is no trend to compare it with."""
    try:
        found = _judged(job, row)
    except FptError:
        # A job whose trends cannot be read yet still takes readings.
        return "", ""
    if found is None or found.measured is None:
        return "", ""
    said = (f"{_WORDS[found.verdict]}: {found.text}; difference "
            f"{units.shown(found.measured, found.unit)} ± "
            f"{units.shown(found.uncertainty, found.unit)}, at most "
            f"{units.shown(found.limit, found.unit)}")
    return (said, "") if found.verdict is Verdict.PASS else ("", said)


def _judged(job: Job, row: Mapping[str, Any]) -> Event | None:
    case = assemble(job)
    when = datetime.fromisoformat(str(row["time"]))
    same = [r for r in case.readings if (r.point, r.time) == (row["point"], when)]
    if not same:
        return None
    return instruments.agreement(replace(case, readings=same[-1:])).events[0]
