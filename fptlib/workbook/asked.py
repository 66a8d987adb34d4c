"""What every form asks: the questions of the plan and of each step, as data."""

from __future__ import annotations

import zoneinfo
from collections.abc import Mapping
from typing import Any

from fptlib import units
from fptlib.job.folder import Job, lookup
from fptlib.limits import STANDARD
from fptlib.physics.refrigerant import REFRIGERANTS
from fptlib.points import all_points
from fptlib.workbook.questions import (
    CHOICE,
    DATE,
    LONG,
    MOMENT,
    NUMBER,
    SUGGESTED,
    TEXT,
    WHOLE,
    YES,
    Form,
    Question,
    Rows,
)

ROLES = ("technician", "engineer", "witness")
CONDITIONS = ("natural", "simulated", "forced")
DIFFERENCE = "degF difference"

JOB = Form("Job", (
    Question("job.title", "Title", required=True, help="Stands on every page of the record."),
    Question("job.number", "Job number"),
    Question("job.condition", "Weather condition", CHOICE, choices=CONDITIONS, required=True,
             help="natural: real weather. simulated or forced: sensors or setpoints were "
                  "overridden; the record says so and no capacity is proven."),
))

SITE = Form("Site", (
    Question("site.name", "Site"),
    Question("site.place", "Place"),
    Question("site.altitude", "Altitude", NUMBER, "ft", required=True, low=-1500, high=20000,
             help="Sets the air pressure for the wet bulb."),
    Question("site.time_zone", "Time zone", required=True,
             help="A name such as America/Denver."),
    Question("site.wet_bulb_source", "Wet bulb the checks use", CHOICE,
             choices=("trended", "calculated"),
             help="calculated: from dry bulb and humidity, where the trended one is wrong."),
    Question("site.weather_file", "Weather file",
             help="Name of an EPW file of a typical year in the trends folder. Optional."),
))

PLANT = Form("Plant", (
    Question("plant.chillers", "Number of chillers", WHOLE, required=True, low=1, high=40),
    Question("plant.tower_cells", "Number of tower cells", WHOLE, required=True, low=1, high=80),
    Question("plant.loop_volume", "Water in the chilled-water loop", NUMBER, "gal", low=0,
             high=5e6, help="With it verdicts on the supply wait until it has turned over."),
    Question("plant.sump_volume", "Water in the sump", NUMBER, "gal", low=0, high=5e6,
             help="With it step 4 tells what the towers took out in each pull-down."),
    Question("plant.equipment_limit", "Most equipment for economizer", WHOLE, low=1, high=100,
             help="From the sequence of operation: so many tower cells, and pumps where it "
                  "counts them."),
    Question("plant.pumps", "Pumps counted with it", WHOLE, low=0, high=40,
             help="Empty: tower cells alone. Otherwise the status of each is needed."),
    Question("plant.demand_window", "Utility's demand interval", CHOICE,
             choices=("clock", "sliding"), help="clock: fixed quarter hours."),
))

EXCHANGER = Form("Plate heat exchanger, design data", (
    Question("plant.exchanger.tag", "Tag", help="As on the drawing."),
    Question("plant.exchanger.load", "Load", NUMBER, "tons", low=0, high=60000),
    Question("plant.exchanger.chw_flow", "Chilled-water flow", NUMBER, "gpm", low=0, high=60000),
    Question("plant.exchanger.cw_flow", "Condenser-water flow", NUMBER, "gpm", low=0, high=60000),
    Question("plant.exchanger.chw_entering", "Chilled water entering", NUMBER, "degF", low=32,
             high=100),
    Question("plant.exchanger.chw_leaving", "Chilled water leaving", NUMBER, "degF", low=32,
             high=100),
    Question("plant.exchanger.cw_entering", "Condenser water entering", NUMBER, "degF", low=30,
             high=110),
    Question("plant.exchanger.cw_leaving", "Condenser water leaving", NUMBER, "degF", low=30,
             high=120),
))


def chiller(n: int) -> Form:
    """Design data of one chiller."""
    place = f"plant.chiller_{n}"
    return Form(f"Chiller {n}, design data", (
        Question(f"{place}.tag", "Tag", help="As on the drawing."),
        Question(f"{place}.refrigerant", "Refrigerant", CHOICE, choices=tuple(REFRIGERANTS)),
        Question(f"{place}.capacity", "Capacity", NUMBER, "tons", low=0, high=10000),
        Question(f"{place}.minimum_water_lift", "Minimum water lift", NUMBER, DIFFERENCE, low=0,
                 high=80, help="From the maker: leaving condenser water minus leaving chilled "
                               "water. Not known: leave empty, the lift is then not tested."),
        Question(f"{place}.minimum_pressure_lift", "Minimum pressure lift", NUMBER, "psi", low=0,
                 high=200, help="From the maker: condenser minus evaporator pressure."),
        Question(f"{place}.cutout", "Low-temperature cut-out", NUMBER, "degF", low=20, high=60,
                 help="Chilled water at which the chiller stops itself."),
    ))


def chillers(job: Job) -> list[Form]:
    """A form for every chiller of the job."""
    return [chiller(n) for n in range(1, int(job.get("plant.chillers", 0) or 0) + 1)]


def approaches() -> Form:
    """The two approaches that the enable condition adds to the wet bulb."""
    return Form("Approaches near changeover", (
        *_approach("tower_approach", "Tower approach",
                   "Condenser water leaving minus wet bulb, all fans at full speed. Empty: "
                   "observed in the trends."),
        *_approach("exchanger_approach", "Exchanger approach",
                   "Chilled water leaving minus condenser water entering the exchanger. "
                   "Empty: observed in the trends."),
    ))


def _approach(name: str, label: str, words: str) -> tuple[Question, ...]:
    place = f"plant.{name}"
    return (
        Question(f"{place}.value", label, NUMBER, DIFFERENCE, low=0, high=40, help=words),
        Question(f"{place}.basis", f"{label}: basis", CHOICE, choices=("observed", "design")),
        Question(f"{place}.remark", f"{label}: where it comes from"),
    )


def remarks(step: str) -> Form:
    """Who did the step and what a reader must know of it."""
    return Form("Notes on this step", (
        Question(f"answers.{step}.by", "Done by"),
        Question(f"answers.{step}.remark", "Remarks", LONG,
                 help="Anything that bears on the result: weather, load, what was overridden."),
    ))


FINDINGS = Form("Findings", (
    Question("findings.summary", "Summary", LONG, required=True,
             help="What was found, in words the owner understands."),
    Question("findings.deficiencies", "Deficiencies", LONG,
             help="What must be corrected, by whom, and what must be tested again."),
))


def files(job: Job) -> Rows:
    """How each trend file is read; only what differs from the usual."""
    names = tuple(path.name for path in job.trend_files())
    return Rows("files", "Trend files", (
        Question("time_column", "Column of the time", TEXT),
        Question("time_zone", "Time zone of its clock", TEXT,
                 help="Empty: the site's. For example UTC."),
        Question("clock_offset_s", "Clock ahead of true time", NUMBER, "", low=-86400,
                 high=86400, help="In seconds; negative where it is behind."),
        Question("stamps", "A time stamp is", CHOICE, choices=("begin", "end"),
                 help="begin or end of the interval it stands for."),
        Question("form", "Form", CHOICE, choices=("wide", "long"),
                 help="wide: a column for each point. long: time, point, value."),
        Question("date_order", "Order of dates", CHOICE,
                 choices=("year first", "day first", "month first")),
        Question("hold", "A value holds for at most", NUMBER, "", low=0, high=168,
                 help="In hours, for a log that writes only changes."),
        Question("header_row", "Row of the header", WHOLE, low=1, high=1000),
        Question("point_column", "Column of the point, long form"),
        Question("value_column", "Column of the value, long form"),
    ), key=Question("file", "File", CHOICE, choices=names, required=True), row_word="file")


def points(job: Job, answers: Mapping[str, Any] | None = None) -> Rows:
    """Which file and column each point comes from."""
    return Rows("points", "Points", (
        Question("file", "File", CHOICE, required=True,
                 choices=tuple(path.name for path in job.trend_files())),
        Question("column", "Column", SUGGESTED, required=True, help="As it stands in the file."),
        Question("unit", "Unit in the file", CHOICE, required=True),
    ), key=_point(job, answers), row_word="point")


def _point(job: Job, answers: Mapping[str, Any] | None = None) -> Question:
    answers = job.answers() if answers is None else answers
    names = tuple(point.name for point in all_points(
        int(lookup(answers, "plant.chillers", 0) or 0),
        int(lookup(answers, "plant.tower_cells", 0) or 0),
        int(lookup(answers, "plant.pumps", 0) or 0),
    ))
    return Question("point", "Point", CHOICE, choices=names, required=True)


def sensors(job: Job) -> Rows:
    """Accuracy of the plant's own sensors, where it differs from the glossary's."""
    return Rows("sensors", "Plant sensors", (
        Question("accuracy", "Accuracy ±", NUMBER, low=0, high=1000, required=True,
                 help="Half-width from the data sheet, in the unit of the glossary below and not "
                      "the file's (a temperature: °F); for flow, power, current and load as a "
                      "share of the reading: 0.02 for 2 %."),
        Question("resolution", "Resolution", NUMBER, low=0, high=1000,
                 help="Smallest step of the trend, in the unit of the glossary below."),
    ), key=_point(job), row_word="sensor")


LIMITS = Rows("limits", "Own limits of this job", (
    Question("value", "Value", required=True,
             help="In the limit's own unit, as listed below under “Limits in force”: °F, min, %."),
    Question("reason", "Reason", required=True),
    Question("author", "Author", required=True),
    Question("date", "Date", DATE),
), key=Question("name", "Limit", CHOICE, required=True,
                choices=tuple(limit.name for limit in STANDARD)), row_word="limit")

PEOPLE = Rows("people", "People", (
    Question("name", "Name", required=True),
    Question("firm_role", "Firm and position"),
), key=Question("role", "Role", CHOICE, choices=ROLES, required=True), row_word="person",
    fixed=ROLES)

INSTRUMENTS = Rows("instruments", "Field instruments", (
    Question("make_model", "Make and model"),
    Question("serial", "Serial number"),
    Question("range", "Range"),
    Question("accuracy", "Accuracy ±", NUMBER, low=0, high=1000,
             help="Half-width from its data sheet. Without it and its unit no reading taken "
                  "with it is compared with the trend."),
    Question("accuracy_unit", "Unit of the accuracy", CHOICE,
             choices=tuple(units.half_width_units()),
             help="Per cent of the reading, or the unit of what it reads."),
    Question("calibrated", "Calibrated on", DATE),
    Question("due", "Calibration due", DATE),
), key=Question("tag", "Tag", required=True, help="Short, as on its label: T1, F1."),
    row_word="instrument")

PREREQUISITES = Rows("prerequisites", "Before the test", (
    Question("text", "What must be so", required=True),
    Question("done", "Done", YES),
    Question("by", "Seen by"),
), row_word="prerequisite")

OVERRIDES = Rows("overrides", "Overrides", (
    Question("point", "Point overridden", required=True),
    Question("value", "Value put in"),
    Question("placed", "Placed at", MOMENT),
    Question("released", "Released at", MOMENT),
    Question("readback", "Read back after release"),
), row_word="override")

ABORT = Rows("abort", "Stop the test when", (
    Question("text", "Condition", required=True),
), row_word="condition")


def time_zone_known(name: str) -> bool:
    """Whether the tz database knows the name."""
    return name in zoneinfo.available_timezones()
