"""Every answer of ``job.toml``, declared once, and the tables they stand in.

The dataclasses are what the procedure reads; their declarations give the forms, the JSON Schema
and the labels and units of the record (see ``fptlib/answer.py``). ``TABLES`` lists where each
stands in the file and what people call it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, replace
from datetime import datetime
from typing import Any

from fptlib import answer, points, units
from fptlib.answer import Answer, Kind, answers_of
from fptlib.limits import STANDARD, Deviation
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.refrigerant import REFRIGERANTS

ROLES = ("technician", "engineer", "witness")
_DIFFERENCE = "degF difference"
_AS_DRAWN = "As on the drawings."


@dataclass(frozen=True, slots=True)
class General:
    """What the job is called and how it was tested."""

    title: str = answer.text("Title", "Stands on every page of the record.", required=True)
    number: str = answer.text("Job number")
    condition: str = answer.choice(
        "Weather condition", ("natural", "simulated", "forced"),
        "natural: real weather. simulated or forced: sensors or setpoints were overridden; the "
        "record says so and no capacity is proven.", "natural", required=True)
    procedure: str = answer.text("Procedure", asked=False)
    created: str = answer.text("Created", asked=False)
    invented: bool = answer.other(Kind.YES, "Invented, for demonstration", default=False,
                                  asked=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the plant stands; altitude in ft."""

    name: str = answer.text("Site")
    place: str = answer.text("Place")
    altitude: float = answer.number(
        "Altitude", "ft", -1500, 20000, "Sets the air pressure for the wet bulb.",
        default=MISSING, required=True)
    time_zone: str = answer.text("Time zone", "A name such as America/Denver.", Kind.ZONE,
                                 default=MISSING, required=True)
    wet_bulb_source: str = answer.choice(
        "Wet bulb the checks use", ("trended", "calculated"),
        "calculated: from dry bulb and humidity, where the trended one is wrong.", "trended")
    weather_file: str = answer.text(
        "Weather file", "Name of an EPW file of a typical year in the trends folder. Optional.")
    step_minutes: float | None = answer.number(
        "Row length of the trends", "min", 0.0, 1e6, asked=False)


@dataclass(frozen=True, slots=True)
class Chiller:
    """One chiller's design data; ``None`` where the job does not state it.

    Temperatures in degF, lift in degF (water) or psi (pressure), capacity in tons.
    """

    number: int
    tag: str = answer.text("Tag", _AS_DRAWN)
    refrigerant: str = answer.choice("Refrigerant", tuple(REFRIGERANTS))
    capacity: float | None = answer.number("Capacity", "tons", 0, 10000)
    minimum_water_lift: float | None = answer.number(
        "Minimum water lift", _DIFFERENCE, 0, 80,
        "From the manufacturer: leaving condenser water minus leaving chilled water. Not known: "
        "leave empty, the lift is then not tested.")
    minimum_pressure_lift: float | None = answer.number(
        "Minimum pressure lift", "psi", 0, 200,
        "From the manufacturer: condenser minus evaporator pressure.")
    cutout: float | None = answer.number(
        "Low-temperature cutout", "degF", 20, 60,
        "Leaving chilled water at which the chiller stops itself.")


@dataclass(frozen=True, slots=True)
class Exchanger:
    """The plate exchanger's design data: degF, gpm, tons."""

    tag: str = answer.text("Tag", _AS_DRAWN)
    load: float | None = answer.number("Load", "tons", 0, 60000)
    chw_flow: float | None = answer.number("Chilled-water flow", "gpm", 0, 60000)
    cw_flow: float | None = answer.number("Condenser-water flow", "gpm", 0, 60000)
    chw_entering: float | None = answer.number("Chilled water entering", "degF", 32, 100)
    chw_leaving: float | None = answer.number("Chilled water leaving", "degF", 32, 100)
    cw_entering: float | None = answer.number("Condenser water entering", "degF", 30, 110)
    cw_leaving: float | None = answer.number("Condenser water leaving", "degF", 30, 120)


@dataclass(frozen=True, slots=True)
class Approach:
    """An approach [degF] as the job states it, with where it comes from.

    ``basis`` is ``observed`` (the job says when and how in ``remark``) or ``design``.
    Only an observed approach may be taken to share the errors of the trended sensors.
    """

    value: float = answer.number("Approach", _DIFFERENCE, 0, 40, "Empty: observed in the trends.",
                          default=MISSING)
    basis: str = answer.choice("Basis", ("observed", "design"), default=MISSING)
    remark: str = answer.text("Where it comes from")


@dataclass(frozen=True, slots=True)
class Plant:
    """Plant and site.

    Attributes:
        altitude: of the site [ft].
        time_zone: of the site, a name of the tz database.
        chillers: design data, one for each chiller.
        tower_cells: number of tower cells.
        loop_volume, sump_volume: [gal], or None.
        equipment_limit: largest number of tower cells, and of the ``pumps`` with them, for
            economizer operation.
        pumps: how many pumps the equipment limit counts; none where it counts cells alone.
        demand_window: ``clock`` or ``sliding``.
        exchanger: the plate exchanger.
        tower_approach, exchanger_approach: as stated in the job, or None.
    """

    altitude: float
    time_zone: str
    chillers: tuple[Chiller, ...] = answer.number(
        "Number of chillers", "", 1, 40, kind=Kind.WHOLE, default=(), required=True)
    tower_cells: int = answer.number(
        "Number of tower cells", "", 1, 80, kind=Kind.WHOLE, default=0, required=True)
    exchanger: Exchanger = Exchanger()
    tower_approach: Approach | None = None
    exchanger_approach: Approach | None = None
    loop_volume: float | None = answer.number(
        "Water in the chilled-water loop", "gal", 0, 5e6,
        "With it verdicts on the chilled-water supply temperature wait until the loop has turned "
        "over.")
    sump_volume: float | None = answer.number(
        "Water in the sump", "gal", 0, 5e6,
        "With it step 4 shows the heat the towers rejected in each pull-down.")
    equipment_limit: int | None = answer.number(
        "Maximum equipment allowed in economizer mode", "", 1, 100,
        "From the sequence of operation: tower cells, and pumps where it counts them.",
        Kind.WHOLE)
    pumps: int = answer.number(
        "Pumps counted with it", "", 0, 40, "Empty: tower cells alone. Otherwise the status of "
        "each is needed.", Kind.WHOLE, default=0)
    demand_window: str = answer.choice(
        "Utility's demand window", ("clock", "sliding"), "Fixed block: each quarter hour of the "
        "clock.", "clock", words={"clock": "fixed block", "sliding": "rolling"})

    @property
    def atmosphere(self) -> float:
        """Pressure of the standard atmosphere at the site [psia]."""
        return float(pressure_at(self.altitude))

    def chiller(self, n: int) -> Chiller:
        """Design data of chiller ``n``; empty where the job has none."""
        return next((c for c in self.chillers if c.number == n), Chiller(n))


@dataclass(frozen=True, slots=True)
class File:
    """How a trend file is written, where it differs from the usual (``trends.mapping``)."""

    time_column: tuple[str, ...] = answer.other(Kind.TEXTS, "Column of the time", default=())
    time_zone: str = answer.text("Time zone of its clock", "Empty: the site's. For example UTC.",
                          Kind.ZONE)
    clock_offset_s: float = answer.number(
        "Clock ahead of true time", "", -86400, 86400,
        "In seconds; negative where it is behind.")
    stamps: str = answer.choice("A time stamp is", ("begin", "end"),
                                "begin or end of the interval it stands for.")
    form: str = answer.choice("Form", ("wide", "long"),
                              "wide: a column for each point. long: time, point, value.")
    date_order: str = answer.choice("Order of dates", ("year first", "day first", "month first"))
    hold: float | None = answer.number(
        "A value holds for at most", "", 0, 168, "In hours, for a log that writes only changes.")
    header_row: int | None = answer.number("Row of the header", "", 1, 1000, kind=Kind.WHOLE)
    point_column: str = answer.text("Column of the point, long form")
    value_column: str = answer.text("Column of the value, long form")
    unit_column: str = answer.text("Column of the unit, long form", asked=False)
    quality_column: str = answer.text("Column of the quality, long form", asked=False)
    interval_minutes: float | None = answer.number("A value stands for", "min", 0, 1e6, asked=False)
    delimiter: str = answer.choice("Delimiter", (",", ";", "|", "tab"), asked=False)
    decimal: str = answer.choice("Decimal sign", (".", ","), asked=False)
    encoding: str = answer.choice("Encoding", ("utf-8", "utf-16", "windows-1252"), asked=False)
    sheet: str = answer.text("Sheet of the workbook", asked=False)
    member: str = answer.text("File inside the zip", asked=False)
    bad: tuple[str, ...] = answer.other(Kind.TEXTS, "Further words for a bad value", asked=False)
    good: tuple[str, ...] = answer.other(Kind.TEXTS, "Further words for good quality", asked=False)


@dataclass(frozen=True, slots=True)
class MappedPoint:
    """Which file and column a point comes from (``trends.mapping``)."""

    file: str = answer.choice("File", required=True)
    column: str = answer.text("Column", "As it stands in the file.", Kind.SUGGESTED, required=True)
    unit: str = answer.choice("Unit in the file", required=True)
    shared: bool = answer.other(Kind.YES, "Another point is read from this column too", asked=False)
    on: tuple[str, ...] = answer.other(Kind.TEXTS, "Further words for on", asked=False)
    off: tuple[str, ...] = answer.other(Kind.TEXTS, "Further words for off", asked=False)
    on_above: float | None = answer.number("On where the file's value is above", asked=False)
    quality_column: str = answer.text("Column of the quality", asked=False)
    unusable: str = answer.text("Why it must not be used", asked=False)


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor's errors: half-widths in the point's unit, offset = reading - truth."""

    accuracy: float = answer.number(
        "Accuracy ±", "", 0, 1000,
        "Half-width from the data sheet, in the unit of the glossary below and not the file's (a "
        "temperature: °F); for flow, power, current and load as a share of the reading: 0.02 for "
        "2 %.", default=MISSING, required=True)
    resolution: float = answer.number(
        "Resolution", "", 0, 1000,
        "Smallest step of the trend, in the unit of the glossary below.", default=0.0)
    offset: float = answer.number("Offset, reading minus truth", default=0.0, asked=False)
    relative: bool = False


@dataclass(frozen=True)
class Sensors:
    """The job's sensors; a point without its own entry has the glossary's accuracy."""

    stated: Mapping[str, Sensor] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Sensor:
        if name in self.stated:
            return self.stated[name]
        entry = points.point(name)
        return Sensor(entry.accuracy, relative=entry.relative)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A field instrument; ``accuracy`` is a half-width in ``accuracy_unit`` (which may be per
    cent of the reading), ``None`` where the job does not state it."""

    tag: str
    make_model: str = answer.text("Make and model")
    serial: str = answer.text("Serial number")
    range: str = answer.text("Range")
    accuracy: float | None = answer.number(
        "Accuracy ±", "", 0, 1000, "Half-width from its data sheet. Without it and its unit no "
        "reading taken with it is compared with the trend.")
    accuracy_unit: str = answer.choice(
        "Unit of the accuracy", tuple(units.half_width_units()),
        "Per cent of the reading, or the unit of what it reads.")
    calibrated: datetime | None = answer.other(Kind.DATE, "Calibrated on")
    due: datetime | None = answer.other(Kind.DATE, "Calibration due")


@dataclass(frozen=True, slots=True)
class Written:
    """A field reading as it stands in a row of ``readings.csv``."""

    time: datetime = answer.other(Kind.MOMENT, "Time", "Empty: now.")
    point: str = answer.choice("Point", required=True)
    value: str = answer.text("Value", "The number as the instrument shows it.", required=True)
    unit: str = answer.choice("Unit", (), "Empty: the unit of the point's trend.")
    instrument: str = answer.choice("Instrument", (), "Instruments are listed in the Plan.",
                                    required=True)
    taken_by: str = answer.text("Taken by")
    remark: str = answer.text("Remark")


@dataclass(frozen=True, slots=True)
class Reading:
    """One field reading in the glossary's unit, with the instrument that took it; ``taken`` is
    what was written down and ``taken_unit`` its unit."""

    time: datetime
    point: str
    value: float
    instrument: str
    taken_by: str
    remark: str = ""
    taken: str = ""
    taken_unit: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment marked by hand during the live test."""

    time: datetime = answer.other(Kind.MOMENT, "Time", default=MISSING)
    what: str = answer.text("What")
    by: str = answer.text("By")


@dataclass(frozen=True, slots=True)
class Person:
    """Who takes part in the test."""

    name: str = answer.text("Name", required=True)
    firm_role: str = answer.text("Firm and position")


@dataclass(frozen=True, slots=True)
class Prerequisite:
    """What must be so before the test."""

    text: str = answer.text("Prerequisite", required=True)
    done: bool = answer.other(Kind.YES, "Done", default=False)
    by: str = answer.text("Verified by")


@dataclass(frozen=True, slots=True)
class Override:
    """A point that was overridden for the test."""

    point: str = answer.text("Point overridden", required=True)
    value: str = answer.text("Value put in")
    placed: datetime | None = answer.other(Kind.MOMENT, "Placed at")
    released: datetime | None = answer.other(Kind.MOMENT, "Released at")
    readback: str = answer.text("Verified in AUTO after release")


@dataclass(frozen=True, slots=True)
class Abort:
    """What stops the test."""

    text: str = answer.text("Condition", required=True)


@dataclass(frozen=True, slots=True)
class Notes:
    """Who did a step and what a reader must know of it."""

    by: str = answer.text("Done by")
    remark: str = answer.text(
        "Remarks", "Anything that bears on the result: weather, load, what was overridden.",
        Kind.LONG)


@dataclass(frozen=True, slots=True)
class Findings:
    """What the technician found."""

    summary: str = answer.text("Summary", "What was found, in words the owner understands.",
                               Kind.LONG, required=True)
    deficiencies: str = answer.text(
        "Deficiencies", "What must be corrected, by whom, and what must be tested again.",
        Kind.LONG)


@dataclass(frozen=True, slots=True)
class Frame:
    """What the record states of the test as a whole."""

    purpose: str = answer.text("Purpose")
    requirement: str = answer.text("Requirement")
    revision: str = answer.text("Test revision")
    sequence: str = answer.text("Sequence of operation")
    sequence_revision: str = answer.text("Revision of the sequence")
    weather: str = answer.text("Weather, as noted")
    initial_conditions: str = answer.text("Initial conditions")
    sampling: str = answer.text("Sampling")
    deferred_until: str = answer.text("Deferred until")
    deferral_reason: str = answer.text("Reason of deferral")
    safe_state: str = answer.text("Safe state")
    returned_to_normal: str = answer.text("Returned to normal")


@dataclass(frozen=True, slots=True)
class Decision:
    """What the job's people decided about a deficiency."""

    severity: str = answer.text("Severity")
    responsible: str = answer.text("Responsible")
    due: str = answer.text("Due")
    corrective_action: str = answer.text("Corrective action")
    cost_party: str = answer.text("Cost borne by")
    remark: str = answer.text("Remark")


@dataclass(frozen=True, slots=True)
class Table:
    """A place of ``job.toml``: its title, what stands there, and whether it is a list.

    A list has a ``row`` word. With ``key`` it is a table of tables (``points.chw_flow``), else an
    array. ``{n}`` in the path numbers the chillers; ``{step}`` stands for a step's name.
    """

    path: str
    title: str
    kind: type
    about: str = ""
    row: str = ""
    key: Answer | None = None

    @property
    def asked(self) -> tuple[Answer, ...]:
        """What a form asks here, the key of a row first."""
        items = tuple(item for item in answers_of(self.kind).values() if item.asked)
        return ((self.key,) if self.key else ()) + items

    def of(self, **names: Any) -> Table:
        """The table with its number or step filled in."""
        return replace(self, path=self.path.format(**names), title=self.title.format(**names))


def _key(name: str, label: str, choices: tuple[str, ...] = (), help: str = "",
         kind: Kind = Kind.CHOICE) -> Answer:
    return Answer(name, label, kind, choices=choices, help=help, required=True)


TABLES = (
    Table("job", "Job", General),
    Table("site", "Site", Site),
    Table("people", "People", Person, row="person", key=_key("role", "Role", ROLES)),
    Table("plant", "Plant", Plant),
    Table("plant.exchanger", "Plate heat exchanger, design data", Exchanger),
    Table("plant.chiller_{n}", "Chiller {n}, design data", Chiller),
    Table("plant.tower_approach", "Tower approach near changeover", Approach,
          "Condenser-water supply temperature minus wet bulb, all fans at full speed."),
    Table("plant.exchanger_approach", "Exchanger approach near changeover", Approach,
          "Chilled water leaving minus condenser water entering the exchanger."),
    Table("files", "Trend files", File, row="file", key=_key("file", "File")),
    Table("points", "Points", MappedPoint, row="point", key=_key("point", "Point")),
    Table("sensors", "Plant sensors", Sensor, row="sensor", key=_key("point", "Point")),
    Table("instruments", "Field instruments", Instrument, row="instrument",
          key=_key("tag", "Tag", help="Short, as on its label: T1, F1.", kind=Kind.TEXT)),
    Table("limits", "Own limits of this job", Deviation, row="limit",
          key=_key("name", "Limit", tuple(limit.name for limit in STANDARD))),
    Table("prerequisites", "Prerequisites", Prerequisite, row="prerequisite"),
    Table("overrides", "Overrides", Override, row="override"),
    Table("abort", "Stop the test when", Abort, row="condition"),
    Table("marks", "Marks of the live test", Mark, row="mark"),
    Table("test", "Test", Frame),
    Table("answers.{step}", "Notes on this step", Notes),
    Table("findings", "Findings", Findings),
    Table("deficiencies", "Deficiencies", Decision, row="deficiency",
          key=_key("check", "Check", kind=Kind.TEXT)),
)
READINGS = Table("readings", "Field readings", Written, row="reading")


def table(path: str) -> Table | None:
    """The table at a dotted path such as ``plant.chiller_2``; None where none is declared."""
    for entry in TABLES:
        pattern = re.escape(entry.path).replace(r"\{n\}", r"(?P<n>[1-9]\d*)")
        if found := re.fullmatch(pattern.replace(r"\{step\}", r"(?P<step>\w+)"), path):
            return entry.of(**found.groupdict())
    return None


def labelled(path: str, content: Mapping[str, Any], before: str = "") -> list[tuple[str, str]]:
    """Nested answers as rows of label and value with unit, as the record prints them."""
    here, rows = table(path), []
    known = answers_of(here.kind) if here else {}
    for name, value in content.items():
        below = table(f"{path}.{name}")
        label = below.title.split(",")[0] if below else name.replace("_", " ")
        if isinstance(value, Mapping):
            rows += labelled(f"{path}.{name}", value, f"{before}{label}: ")
        elif isinstance(value, list):
            rows += labelled("", {f"{label} {n}": each for n, each in enumerate(value, 1)}, before)
        elif name in known:
            rows.append((before + known[name].label, known[name].shown(value)))
        else:
            rows.append((before + label, units.stated(value)))
    return rows


def json_schema() -> dict[str, Any]:
    """The JSON Schema of ``job.toml``, for editors that check it while it is written."""
    top: dict[str, Any] = {"$schema": "https://json-schema.org/draft/2020-12/schema",
                           "title": "job.toml", "type": "object"}
    for entry in TABLES:
        *above, last = entry.path.split(".")
        held = top
        for name in above:
            held = held.setdefault("properties", {}).setdefault(name, {"type": "object"})
        if "{" in last:
            last = last.replace("{n}", "[1-9][0-9]*").replace("{step}", "[a-z]+")
            held.setdefault("patternProperties", {})[f"^{last}$"] = _json(entry)
        else:
            held.setdefault("properties", {})[last] = _json(entry)
    return top


def _json(entry: Table) -> dict[str, Any]:
    items = answers_of(entry.kind).values()
    one = {"type": "object", "properties": {item.name: item.json_schema() for item in items}}
    if entry.path == "limits":
        return {"title": entry.title, "type": "object", "additionalProperties": False,
                "properties": {limit.name: {**one, "properties": {
                    **one["properties"], "value": limit.answer.json_schema()}}
                    for limit in STANDARD}}
    if not entry.row:
        return {"title": entry.title, **one}
    if entry.key is None:
        return {"title": entry.title, "type": "array", "items": one}
    return {"title": entry.title, "type": "object", "additionalProperties": one}
