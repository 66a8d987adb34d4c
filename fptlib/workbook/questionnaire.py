"""What a job adds to the declared answers: the files, columns and points it can offer, the last
check of a row before it is saved, and a word on what was saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib import limits, points, units
from fptlib.errors import FormError, FptError, JobError
from fptlib.job import answers, plan, roles
from fptlib.job.folder import Job, site_time
from fptlib.job.schema import WATCHED, Override
from fptlib.job.tables import AFTER, PLANNED, Table, table
from fptlib.procedure import tariff
from fptlib.procedure.settings import compared
from fptlib.procedure.steps import CHECKS
from fptlib.record import approvals
from fptlib.trends.columns import columns_of
from fptlib.trends.mapping import files_of
from fptlib.workbook import static
from fptlib.workbook.forms import Row, Section
from fptlib.workbook.readings import Readings, points_of

# Between the files of one point that continue one another.
_BETWEEN = "; "
# The table of stated settings: its title and heads.
SETTINGS_COMPARED = ("Sequence: specified, programmed, judged against", (
    "Setting", "Specified", "Programmed", "Judged against", "Source", "Contradiction"))


def section(job: Job, path: str) -> Section:
    """The form or list at a place of ``job.toml``, or the job's readings."""
    if path == "readings":
        return Readings(job)
    found = _PARTS.get(path) or table(path)
    if found is None:
        raise FormError(f"there is no form '{path}'")
    return _SECTIONS.get(path, Section)(job, found)


def chillers(job: Job) -> range:
    """The numbers of the job's chillers."""
    return range(1, int(job.get("plant.chillers", 0) or 0) + 1)


class Site(Section):
    """The site, whose weather file lies among the trends."""

    def check(self, name: str, value: Any) -> None:
        if name == "weather_file":
            _in_trends(self.job, value, "Weather file")


class People(Section):
    """Who takes part: several can have one role."""

    def added(self, row: Row) -> Row:
        """A second person in a role gets a number, and takes nobody's place."""
        held = {each["role"]: each.get("name") for each in self.rows()}
        names = (row["role"], *(f"{row['role']} {n}" for n in range(2, len(held) + 3)))
        return {**row, "role": next(role for role in names
                                    if held.get(role) in (None, row["name"]))}


class Files(Section):
    """How the trend files are read."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        return {"file": _files(self.job)}


class OfPoints(Section):
    """Rows that each belong to a point."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        return {"point": points_of(self.job)}


class Points(OfPoints):
    """The point map: columns of the chosen file and units of the chosen point."""

    def __init__(self, job: Job, table: Table) -> None:
        super().__init__(job, table)
        self._columns: dict[str, list[str]] | None = None

    def words(self) -> Mapping[str, Mapping[str, str]]:
        # The tag has a column of its own here.
        return {}

    def rows(self) -> list[Row]:
        # Files that continue one another stand in one field.
        return [{**row, "file": _BETWEEN.join(files_of(row))} for row in super().rows()]

    def offers(self, texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
        held = [row["file"] for row in self.rows() if _BETWEEN in row["file"]]
        offered: dict[str, Sequence[str]] = {"file": [*_files(self.job), *dict.fromkeys(held)]}
        if texts["file"]:
            offered["column"] = self.columns(texts["file"].split(_BETWEEN)[0])
        if points.is_point(texts["point"]):
            offered["unit"] = units.offered(points.point(texts["point"]).unit)
        return offered

    def columns(self, name: str) -> list[str]:
        """The column names of a trend file, opened once; none where it cannot be read yet."""
        if self._columns is None:
            self._columns = {}
            try:
                for column in columns_of(self.job.trends_folder, self.job.answers()):
                    for file in (column.file, *column.more):
                        self._columns.setdefault(file, []).append(column.name)
            except FptError:
                pass
        return self._columns.get(name, [])

    def finish(self, row: Row) -> Row:
        files = row["file"].split(_BETWEEN)
        for file in files:
            _in_trends(self.job, file, "File")
            names = self.columns(file)
            if names and row["column"] not in names:
                raise FormError(f"Column: '{file}' has no column '{row['column']}'; "
                                "choose one of those offered")
        wanted = points.point(row["point"]).unit
        if not units.is_gauge(row["unit"], wanted):
            units.scale(row["unit"], wanted, "Unit in the file")
        return {**row, "file": files if len(files) > 1 else files[0]}


class Sensors(OfPoints):
    """The plant's own sensors."""

    def finish(self, row: Row) -> Row:
        answers.accuracy(points.point(row["point"]), row["accuracy"], "Accuracy ±")
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        # With its unit, for the file may state another one.
        point = points.point(row["point"])
        share = f"{100 * row['accuracy']:g} % of the reading"
        return f"± {share if point.relative else units.stated(row['accuracy'], point.unit)}", ""


class Instruments(Section):
    """The field instruments."""

    def finish(self, row: Row) -> Row:
        if row.get("accuracy") is not None and not row.get("accuracy_unit"):
            raise FormError("Unit of the accuracy: choose the unit that the data sheet gives it "
                            "in")
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        stated = row.get("accuracy") is not None
        return "", "" if stated else ("Accuracy: none stated, so no reading taken with "
                                      f"{row['tag']} is compared with a trend; enter it from the "
                                      "data sheet")


class OwnLimits(Section):
    """The job's own limits, held against the standard's."""

    def finish(self, row: Row) -> Row:
        usual = limits.standard(row["name"])
        try:
            value = usual.answer.read(row["value"])
        except FormError as error:
            raise FormError(f"{error}; the standard's is "
                            + units.stated(usual.value, usual.unit)) from error
        row = {**row, "value": value}
        limits.own(row["name"], row)
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        usual = limits.standard(row["name"])
        return (f"{units.stated(row['value'], usual.unit)}; the standard's is "
                f"{units.stated(usual.value, usual.unit)}"), ""


class Overrides(OfPoints):
    """The overrides: points of the glossary, or in words what was adjusted."""

    def finish(self, row: Row) -> Row:
        found = points.point(row["point"]) if points.is_point(row["point"]) else None
        if found and found.kind == points.ALARM:
            raise FormError("Point overridden: an alarm is a safety; it is never overridden")
        answers.overrides({"site": self.job.get("site", {}), "overrides": [row]})
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        sensor = Override(row["point"]).sensor
        return ("its reading is unknown meanwhile" if sensor else "a changeover under it is "
                "induced: it proves function, not capacity"), ""


class Settings(Section):
    """The settings of the sequence, each in its limit's unit."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        held = self.job.get("settings", {}).values()
        return {"source": list(dict.fromkeys(
            [row["source"] for row in held if row.get("source")]
            + ["sequence of operation", "drawing", "controls submittal"]))}

    def finish(self, row: Row) -> Row:
        for name in ("specified", "programmed"):
            if row.get(name) is not None:
                limits.standard(row["name"]).answer.read(str(row[name]))
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        found, = compared({row["name"]: row}, answers.limits(self.job.answers()).in_force())
        return found.meaning, "; ".join(found.contradictions)


class Script(Section):
    """The test script: planned before, performed step by step."""

    def finish(self, row: Row) -> Row:
        unknown = [id for id in str(row.get("checks", "")).replace(" ", "").split(",")
                   if id and id not in CHECKS]
        if unknown:
            raise FormError(f"Judged by: there is no check '{unknown[0]}'; the checks are: "
                            + ", ".join(CHECKS))
        outcome = row.get("outcome", "")
        if outcome in ("pass", "fail") and not (row.get("observed") and row.get("initials")):
            raise FormError(f"Result: a step that is a {outcome} needs what was observed, and the "
                            "initials of who saw it")
        if outcome == "not done" and not row.get("remark"):
            raise FormError("Remark: a step that is not done needs its reason")
        if outcome and not row.get("time"):
            return {**row, "time": site_time(self.job).isoformat(timespec="seconds")}
        return row


class Approvals(Section):
    """Who approved the plan, as it stands now; what was signed is not edited."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        return {"role": roles.approvers(self.job.answers())}

    def put(self, row: Row, old: Row | None) -> None:
        if old is not None and "signed" in old:
            raise FormError("this approval is signed; take it away, and have the plan approved "
                            "again")
        super().put(row, old)

    def finish(self, row: Row) -> Row:
        if not self.job.get("frozen.limits"):
            raise FormError("the limits are not frozen; freeze them, then have the plan approved")
        when = row.get("at") or site_time(self.job).date().isoformat()
        return {**row, "at": str(when), "plan": plan.digests(self.job.answers())}


class Deficiencies(Section):
    """What becomes of each failed check, to its closure."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        failed = [f"script.{row['number']}" for row in self.job.get("script", [])
                  if row.get("outcome") == "fail"]
        return {"check": [*CHECKS, *failed], "severity": ["critical", "major", "minor"]}

    def finish(self, row: Row) -> Row:
        if row.get("status") in ("verified", "accepted as is") and not row.get("status_by"):
            raise FormError(f"Status set by: '{row['status']}' needs who says so")
        if row.get("status") and not row.get("status_on"):
            return {**row, "status_on": site_time(self.job).date().isoformat()}
        return row


class Aborts(Section):
    """The abort conditions: what is watched, and its limit in a unit that fits."""

    def choices(self) -> Mapping[str, Sequence[str]]:
        return {"watched": [*WATCHED, *points_of(self.job)]}

    def offers(self, texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
        watched = texts["watched"]
        wanted = WATCHED[watched][1] if watched in WATCHED else (
            points.point(watched).unit if points.is_point(watched) else "")
        return {"unit": units.offered(wanted) if wanted else []}

    def finish(self, row: Row) -> Row:
        answers.aborts({"abort": [row]})
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        if row.get("watched"):
            return "", ""
        return "", "stated in words only: no trend and no spot reading can be held against it"


class Charges(Section):
    """The lines of the rate sheet."""

    def finish(self, row: Row) -> Row:
        answers.charge(row, "tariff.charges")
        return row

    def receipt(self, row: Row) -> tuple[str, str]:
        if not self.job.get("tariff.currency"):
            return "", "the currency above is not stated: no money is shown"
        try:
            tariff.with_one_price(answers.tariff(self.job.answers()))
        except JobError as error:
            return "", str(error)
        return "", ""


_PARTS = {"test.planned": PLANNED, "test.after": AFTER}
_SECTIONS: Mapping[str, type[Section]] = {
    "site": Site, "people": People, "files": Files, "points": Points, "sensors": Sensors,
    "instruments": Instruments, "limits": OwnLimits,
    "overrides": Overrides, "abort": Aborts, "settings": Settings, "script": Script,
    "tariff.charges": Charges, "approvals": Approvals, "deficiencies": Deficiencies,
}


def _files(job: Job) -> list[str]:
    return [path.name for path in job.trend_files()]


def _in_trends(job: Job, name: str, label: str) -> None:
    if not (job.trends_folder / name).is_file():
        raise FormError(f"{label}: trends holds no file '{name}'; put it there first")


def limits_in_force(job: Job) -> static.Shown:
    """Every limit in force with its meaning and basis."""
    found = answers.limits(job.answers())
    rows = []
    for name, value in found.in_force().items():
        usual = limits.standard(name)
        rows.append([name, units.stated(value, usual.unit), usual.meaning, found.basis(name)])
    return static.table("Limits in force", ("Limit", "Value", "Meaning", "Basis"), rows)


def glossary() -> static.Shown:
    """Every point's name, unit, meaning and plausible range."""
    rows = [[p.name, units.symbol(p.unit) or p.unit, p.meaning, f"{p.low:g} to {p.high:g}"]
            for p in points.GLOSSARY]
    return static.table("Points", ("Name", "Unit", "Meaning", "Plausible"), rows)


def approved(job: Job) -> static.Shown:
    """Every approval of the plan: signed or only entered, and what changed since."""
    return static.table("Approvals of the plan", ("By", "How it stands"),
                        list(approvals.standing(job.answers())), "nobody approved the plan")


def contradictions(job: Job) -> static.Shown:
    """Every stated setting of the sequence, and what contradicts what."""
    return static.table(*SETTINGS_COMPARED, settings_compared(job))


def settings_compared(job: Job) -> list[list[str]]:
    """The rows of ``SETTINGS_COMPARED``."""
    held = job.answers()
    return [[each.meaning, each.specified, each.programmed, each.judged, each.source,
             "; ".join(each.contradictions) or "none"]
            for each in compared(held.get("settings", {}), answers.limits(held).in_force())]
