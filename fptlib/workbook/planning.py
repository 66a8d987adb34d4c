"""What the plan's lists offer and how their rows are completed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from fptlib import points, units
from fptlib.errors import FormError, FptError
from fptlib.job.answers import accuracy
from fptlib.job.folder import Job
from fptlib.limits import Deviation, Limits, standard
from fptlib.trends.columns import columns_of
from fptlib.trends.suggest import Suggestion, suggest_map
from fptlib.workbook import static
from fptlib.workbook.asked import points as points_asked
from fptlib.workbook.asked import time_zone_known
from fptlib.workbook.questions import NUMBER, Question, choice, read
from fptlib.workbook.rows import JobStore

Row = dict[str, Any]


class PointOffers:
    """Columns of the chosen file and units of the chosen point; a file is opened once."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._columns: dict[str, list[str]] | None = None

    def __call__(self, texts: Mapping[str, str]) -> Mapping[str, Sequence[str]]:
        offers: dict[str, Sequence[str]] = {}
        if texts.get("file"):
            offers["column"] = self.columns(texts["file"])
        if points.is_point(texts.get("point", "")):
            offers["unit"] = units.offered(points.point(texts["point"]).unit)
        return offers

    def columns(self, name: str) -> list[str]:
        """The column names of a trend file; none where it cannot be read yet."""
        if self._columns is None:
            self._columns = _columns(self._job)
        return self._columns.get(name, [])

    def finish(self, row: Row) -> Row:
        """A mapped point, if its column and unit can be used.

        Raises:
            FormError: the file has no such column, or the unit measures something else.
        """
        _in_trends(self._job, row["file"], "File")
        names = self.columns(row["file"])
        if names and row["column"] not in names:
            raise FormError(f"Column: '{row['file']}' has no column '{row['column']}'; "
                            "choose one of those offered")
        wanted = points.point(row["point"]).unit
        if not units.is_gauge(row["unit"], wanted):
            units.scale(row["unit"], wanted, "Unit in the file")
        return row


def _columns(job: Job) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    try:
        for column in columns_of(job.trends_folder, job.answers()):
            found.setdefault(column.file, []).append(column.name)
    except FptError:
        return {}
    return found


def suggestions(job: Job) -> list[Suggestion]:
    """Likely columns for the points that are not mapped yet, the surest first.

    Raises:
        IntakeError: no trend file can be read.
    """
    answers = job.answers()
    mapped = answers.get("points", {})
    found = suggest_map(job.trends_folder, answers)
    return sorted((s for s in found if s.point not in mapped), key=lambda s: -s.confidence)


def take(job: Job, chosen: Sequence[Suggestion]) -> None:
    """Put suggested columns into the point map."""
    rows = JobStore(job, points_asked(job))
    for each in chosen:
        rows.put({"point": each.point, "file": each.file, "column": each.column,
                  "unit": each.unit}, None)


def site_checks(job: Job) -> dict[str, Callable[[Any], None]]:
    """What the site's answers must be, beyond their sort."""
    return {"site.time_zone": known_zone,
            "site.weather_file": lambda name: _in_trends(job, name, "Weather file")}


def finish_file(row: Row) -> Row:
    """How a file is read, if its time zone exists.

    Raises:
        FormError: the tz database does not know it.
    """
    if row.get("time_zone"):
        known_zone(row["time_zone"])
    return row


def _in_trends(job: Job, name: str, label: str) -> None:
    if not (job.trends_folder / name).is_file():
        raise FormError(f"{label}: trends holds no file '{name}'; put it there first")


def finish_sensor(row: Row) -> Row:
    """A sensor, if its accuracy is stated as its point needs it.

    Raises:
        JobError: it is no share of the reading where one is meant.
    """
    accuracy(points.point(row["point"]), row["accuracy"], "Accuracy ±")
    return row


def told_sensor(row: Row) -> tuple[str, str]:
    """What a saved accuracy means, with its unit, for the file may state another one."""
    point = points.point(row["point"])
    share = f"{100 * row['accuracy']:g} % of the reading"
    return f"± {share if point.relative else _shown(row['accuracy'], point.unit)}", ""


def told_limit(row: Row) -> tuple[str, str]:
    """A saved limit with its unit, beside the standard's."""
    usual = standard(row["name"])
    return f"{_shown(row['value'], usual.unit)}; the standard's is " + _shown(
        usual.value, usual.unit), ""


def finish_instrument(row: Row) -> Row:
    """A field instrument, if its accuracy says what it is in.

    Raises:
        FormError: the accuracy is a bare number.
    """
    if row.get("accuracy") is not None and not row.get("accuracy_unit"):
        raise FormError("Unit of the accuracy: choose the unit that the data sheet gives it in")
    return row


def finish_limit(row: Row) -> Row:
    """A limit's own value as number or word, checked against the standard.

    Raises:
        FormError: the value is not a number.
        JobError: the standard does not know it so.
    """
    usual = standard(row["name"]).value
    value: Any = row["value"]
    if not isinstance(usual, str):
        try:
            value = read(Question("value", "Value", NUMBER), value)
        except FormError as error:
            raise FormError(f"{error}; the standard's is "
                            + _shown(usual, standard(row["name"]).unit)) from error
    Limits({row["name"]: Deviation(value, row["reason"], row["author"], row.get("date", ""))})
    return {**row, "value": value}


def known_zone(name: str) -> None:
    """Refuse a time zone that does not exist.

    Raises:
        FormError: the tz database does not know it.
    """
    if not time_zone_known(name):
        raise FormError(f"Time zone: '{name}' is not a zone of the tz database; write one such "
                        "as America/Denver")


def limits(in_force: Limits) -> static.Shown:
    """Every limit in force with its meaning and basis."""
    rows = [
        [name, _shown(value, standard(name).unit),
         standard(name).meaning, in_force.basis(name)]
        for name, value in in_force.in_force().items()
    ]
    return static.table("Limits in force", ("Limit", "Value", "Meaning", "Basis"), rows)


def _shown(value: float | str, unit: str) -> str:
    text = value if isinstance(value, str) else f"{value:g}"
    return f"{text} {units.symbol(unit)}".strip()


def glossary() -> static.Shown:
    """Every point's name, unit, meaning and plausible range."""
    rows = [[p.name, choice(p.unit), p.meaning, f"{p.low:g} to {p.high:g}"]
            for p in points.GLOSSARY]
    return static.table("Points", ("Name", "Unit", "Meaning", "Plausible"), rows)
