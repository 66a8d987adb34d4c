"""The tables of ``job.toml``: where each answer stands, what people call it, what contradicts what.

The dataclasses of ``job.schema`` stand in most of them; what only forms and record read is declared
here. Forms, the JSON Schema and the labels of the record come from ``TABLES``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from fptlib import units
from fptlib.answer import Answer, Kind, answer, answers_of, quantity
from fptlib.job.roles import APPROVERS, AWAITED
from fptlib.job.schema import (
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
    Reset,
    Sensor,
    Sequence,
    Site,
    Tariff,
)
from fptlib.limits import STANDARD, Deviation

# How a trend file is written, and which file and column a point comes from, where they differ
# from the usual; ``trends.mapping`` reads them.
_FILE = {
    "time_column": answer("Column of the time", "Date; Time where they stand apart.", Kind.TEXTS),
    "time_zone": answer("Time zone of its clock", "Empty: the site's. For example UTC or -07:00.",
                        Kind.CLOCK_ZONE),
    "clock_offset_s": quantity("Clock ahead of true time", "", -86400, 86400, "In seconds; "
                               "negative where it is behind."),
    "stamps": answer("A time stamp is", "begin or end of the interval it stands for.",
                     choices=("begin", "end")),
    "form": answer("Form", "wide: a column for each point. long: time, point, value.",
                   choices=("wide", "long")),
    "date_order": answer("Order of dates", "swapped: a spreadsheet took days for months.",
                         choices=("year first", "day first", "month first", "swapped")),
    "year": quantity("Year of dates that leave it out", "", 1970, 2200, kind=Kind.WHOLE),
    "hold": quantity("A value holds for at most", "", 0, 168, "In hours, for a log that writes "
                     "only changes."),
    "header_row": quantity("Row of the header", "", 1, 1000, kind=Kind.WHOLE),
    "header_rows": quantity("Rows that the names take", "", 1, 3, kind=Kind.WHOLE),
    "point_column": answer("Column of the point, long form"),
    "value_column": answer("Column of the value, long form"),
    "unit_column": answer("Column of the unit, long form"),
    "quality_column": answer("Column of the quality, long form"),
    "interval_minutes": quantity("A value stands for", "min", 0, 1e6),
    "delimiter": answer("Delimiter", choices=(",", ";", "|", "tab")),
    "decimal": answer("Decimal sign", choices=(".", ",")),
    "encoding": answer("Encoding", choices=("utf-8", "utf-16", "windows-1252")),
    "sheet": answer("Sheet of the workbook", "Several with ; between continue one another.",
                    Kind.TEXTS),
    "member": answer("File inside the zip", "Several with ; between continue one another.",
                     Kind.TEXTS),
    "bad": answer("Further words and numbers for a bad value", "Several with ; between. "
                  "* is any text: ??? *",
                  Kind.TEXTS),
    "good": answer("Further words for good quality", "* is the value: * {ok}", Kind.TEXTS),
}
_POINT = {
    "file": answer("File", "", Kind.CHOICE, required=True),
    "column": answer("Column", "As it stands in the file.", Kind.SUGGESTED, required=True),
    "unit": answer("Unit in the file", "", Kind.CHOICE, required=True),
    "shared": answer("Another point is read from this column too", "", Kind.YES),
    "on": answer("Further words for on", "Words or numbers, several with ; between.", Kind.TEXTS),
    "off": answer("Further words for off", "Words or numbers, several with ; between.",
                  Kind.TEXTS),
    "on_above": quantity("On where the file's value is above"),
    "quality_column": answer("Column of the quality"),
    "hold": quantity("A value holds for at most", "", 0, 168, "In hours, where the point is logged "
                     "on change."),
    "plus": answer("Columns whose values are added", "The power of each drive, for one; several "
                   "with ; between.", Kind.TEXTS),
    "sheet": answer("Sheet of its own", "", Kind.TEXTS),
    "member": answer("File of its own inside the zip", "", Kind.TEXTS),
    "unusable": answer("Why it must not be used", asked=False),
    "confirmed": answer("How and by whom a doubted column was found right", asked=False),
}
_PERSON = {"name": answer("Name", required=True), "firm_role": answer("Firm and position")}
_PREREQUISITE = {
    "text": answer("Prerequisite", required=True), "done": answer("Done", "", Kind.YES),
    "by": answer("Verified by"),
}
# What is written down after the test; the rest of its facts belongs to the plan.
_AFTER = {
    "weather": answer("Weather, as noted"),
    "returned_to_normal": answer("Returned to normal", "When, by whom, and how it was verified: "
                                 "overrides released, HOA switches in AUTO, setpoints as found.",
                                 Kind.LONG),
}
_TEST = {
    "purpose": answer("Purpose", "What the test is to show, in one sentence."),
    "requirement": answer("Requirement", "Clause of the owner's project requirements."),
    "revision": answer("Test revision"),
    "sequence": answer("Sequence of operation", "Document and clause."),
    "sequence_revision": answer("Revision of the sequence"),
    "initial_conditions": answer("Initial state", "As it must be before the test: chillers on, "
                                 "setpoints, alarms.", Kind.LONG),
    "safe_state": answer("Safe state", "What the plant is brought to when the test is stopped.",
                         Kind.LONG),
    "sampling": answer("Sampling", "What was not tested on every unit, and why."),
    "deferred_until": answer("Deferred until"), "deferral_reason": answer("Reason of deferral"),
    **_AFTER,
}
# The limits that are settings of the sequence, and the check that shows what was observed.
SETTINGS: Mapping[str, str] = {
    "enable.tower_tolerance": "", "enable.exchanger_tolerance": "", "enable.dwell": "enable.dwell",
    "enable.stay": "enable.stay", "enable.rest": "enable.rest", "enable.attempts": "",
    "lift.offset": "", "lift.lowest_setpoint": "", "lift.release": "lift.release",
    "recovery.rate": "recovery.rate", "recovery.shortest": "recovery.duration",
    "running.tower_offset": "", "exit.band": "", "exit.delay": "exit.supply",
    "exit.equipment_delay": "", "exit.comparative_delay": "",
}
_SETTING = {
    "specified": quantity("As specified", "", help="In the limit's unit, as listed below."),
    "source": answer("Source", "Drawing, controls submittal, sequence clause.", Kind.SUGGESTED,
                     required=True),
    "revision": answer("Revision"),
    "programmed": quantity("As programmed", "", help="As read from the controller."),
    "read_by": answer("Read by"), "read_on": answer("Read on", "", Kind.DATE),
}
OUTCOMES = ("pass", "fail", "not done")
# What of a step is written when it is performed; the rest is planned.
RESULTS = ("observed", "time", "initials", "outcome", "remark")
SCRIPT = {
    "number": quantity("Step", "", 1, 999, kind=Kind.WHOLE, required=True),
    "kind": answer("Kind", choices=("prepare", "natural", "induced", "failure", "return")),
    "action": answer("Action", "Who does what, where, by which command or screen.", Kind.LONG,
                     required=True),
    "expected": answer("Expected result", "With its number and limit.", Kind.LONG),
    "checks": answer("Judged by", "Ids of the checks, with commas between."),
    "observed": answer("Observed result", "", Kind.LONG),
    "time": answer("Time", "Empty: now, when a result is given.", Kind.MOMENT),
    "initials": answer("Initials"),
    "outcome": answer("Result", choices=OUTCOMES),
    "remark": answer("Remark", "A step that is not done needs its reason."),
}
_APPROVAL = {
    "role": answer("Role", "Add what your firm asks for.", Kind.SUGGESTED, required=True,
                   choices=APPROVERS),
    "name": answer("Name", required=True), "at": answer("Approved on", "", Kind.DATE),
    "remark": answer("Remark"),
}
_NOTES = {
    "by": answer("Done by"),
    "remark": answer("Remarks", "Anything that bears on the result: weather, load, what was "
                     "overridden.", Kind.LONG),
}
_FINDINGS = {
    "summary": answer("Summary", "What was found, in words the owner understands.", Kind.LONG,
                      required=True),
    "conclusion": answer("Conclusion", "Your own two sentences, where you would say it otherwise "
                         "than the verdicts do; the record keeps both.", Kind.LONG),
    "deficiencies": answer("Deficiencies", "What must be corrected, by whom, and what must be "
                           "tested again.", Kind.LONG),
}
DECISION = {
    "severity": answer("Severity", "Empty: by the kind of check. Critical: before the economizer "
                       "runs again.", Kind.SUGGESTED),
    "responsible": answer("Responsible", "Empty: by the kind of work."), "due": answer("Due"),
    "setting_from": answer("Setting to change, from"), "setting_to": answer("to"),
    "corrective_action": answer("Corrective action", "What was done, and how it was verified.",
                                Kind.LONG),
    "cost_party": answer("Cost borne by", "Where the contract asks."), "remark": answer("Remark"),
    "status": answer("Status", choices=("open", "corrected", "verified", "accepted as is")),
    "status_by": answer("Status set by"), "status_on": answer("on", "", Kind.DATE),
}
_READING = {
    "time": answer("Time", "Empty: now.", Kind.MOMENT),
    "point": answer("Point", "", Kind.CHOICE, required=True),
    "value": answer("Value", "The number as the instrument shows it.", required=True),
    "unit": answer("Unit", "Empty: the unit of the point's trend.", Kind.CHOICE),
    "instrument": answer("Instrument", "Instruments are listed in the Plan.", Kind.CHOICE,
                         required=True),
    "taken_by": answer("Taken by"), "remark": answer("Remark"),
}


@dataclass(frozen=True, slots=True)
class Table:
    """A place of ``job.toml``: its title, its answers, and whether it is a list.

    A list has a ``row`` word. With ``key`` it is a table of tables (``points.chw_flow``), else an
    array. ``{n}`` in the path numbers the chillers; ``{step}`` stands for a step's name.
    """

    path: str
    title: str
    declared: type[Any] | Mapping[str, Any]
    about: str = ""
    row: str = ""
    key: Answer | None = None

    @property
    def answers(self) -> dict[str, Answer]:
        """What stands in the table, or in each row of the list, by name."""
        return answers_of(self.declared)

    @property
    def asked(self) -> tuple[Answer, ...]:
        """What a form asks here, the key of a row first."""
        items = tuple(item for item in self.answers.values() if item.asked)
        return ((self.key,) if self.key else ()) + items


def _key(name: str, label: str, choices: tuple[str, ...] = (), help: str = "",
         kind: Kind = Kind.CHOICE) -> Answer:
    return Answer(name, label, kind, choices=choices, help=help, required=True)


TEST = Table("test", "Test", _TEST)
PLANNED = replace(TEST, declared={n: item for n, item in _TEST.items() if n not in _AFTER})
AFTER = Table("test", "After the test", _AFTER)
TABLES = (
    Table("job", "Job", General),
    Table("site", "Site", Site),
    Table("people", "People", _PERSON, row="person", key=_key(
        "role", "Role", tuple(dict.fromkeys((*AWAITED, *APPROVERS))),
        "A second person in a role gets a number: technician 2.", Kind.SUGGESTED)),
    Table("plant", "Plant", Plant),
    Table("plant.exchanger", "Plate heat exchanger, design data", Exchanger),
    Table("plant.cold", "Cold weather", Cold),
    Table("plant.chiller_{n}", "Chiller {n}, design data", Chiller),
    Table("plant.tower_approach", "Tower approach near changeover", Approach,
          "Condenser-water supply temperature minus wet bulb, all fans at full speed."),
    Table("plant.exchanger_approach", "Exchanger approach near changeover", Approach,
          "Chilled water leaving minus condenser water entering the exchanger."),
    Table("sequence", "Exits of the sequence, as specified", Sequence),
    Table("sequence.enable", "Enable condition, as specified", EnableCondition),
    Table("sequence.lift", "Lift protection, as specified", LiftProtection),
    Table("sequence.reset", "Setpoint reset, as specified", Reset),
    Table("tariff", "Prices, tower water and emissions", Tariff),
    Table("tariff.charges", "Lines of the rate sheet", Charge, row="line"),
    Table("files", "Trend files", _FILE, row="file", key=_key("file", "File")),
    Table("points", "Points", _POINT, row="point", key=_key("point", "Point")),
    Table("sensors", "Plant sensors", Sensor, row="sensor", key=_key("point", "Point")),
    Table("instruments", "Field instruments", Instrument, row="instrument",
          key=_key("tag", "Tag", help="Short, as on its label: T1, F1.", kind=Kind.TEXT)),
    Table("limits", "Own limits of this job", Deviation, row="limit",
          key=_key("name", "Limit", tuple(limit.name for limit in STANDARD))),
    Table("prerequisites", "Prerequisites", _PREREQUISITE, row="prerequisite"),
    Table("overrides", "Overrides", Override, row="override"),
    Table("abort", "Stop the test when", Abort, row="condition"),
    Table("marks", "Marks of the live test", Mark, row="mark"),
    TEST,
    Table("settings", "Settings of the sequence", _SETTING, row="setting",
          key=_key("name", "Setting", tuple(SETTINGS))),
    Table("script", "Test script", SCRIPT, row="step"),
    Table("approvals", "Approval of the plan", _APPROVAL, row="approval"),
    Table("answers.{step}", "Notes on this step", _NOTES),
    Table("findings", "Findings", _FINDINGS),
    Table("deficiencies", "Deficiencies", DECISION, row="deficiency",
          key=_key("check", "Check", kind=Kind.TEXT)),
)
READINGS = Table("readings", "Field readings", _READING, row="reading")


def _moment(value: Any) -> datetime:
    """A day or moment as it is compared: a day begins at midnight, each on the site's clock."""
    return datetime.fromisoformat(str(value)).replace(tzinfo=None)


@dataclass(frozen=True, slots=True)
class Order:
    """Two answers of a table of which the first cannot lie beyond the second."""

    path: str
    first: str
    second: str
    says: str
    of: Callable[[Any], Any] = float
    equal: bool = False

    def broken(self, row: Mapping[str, Any]) -> bool:
        """Whether both are answered and stand the wrong way round."""
        if any(row.get(name) in (None, "") for name in (self.first, self.second)):
            return False
        try:
            first, second = self.of(row[self.first]), self.of(row[self.second])
        except (TypeError, ValueError):
            return False  # the answer's own check has said so
        return bool(first > second or first == second and not self.equal)


ORDERS = (
    Order("plant.exchanger", "chw_leaving", "chw_entering", "chilled water must leave the "
          "exchanger colder than it enters; correct one of the two"),
    Order("plant.exchanger", "cw_entering", "cw_leaving", "condenser water must leave the "
          "exchanger warmer than it enters; correct one of the two"),
    Order("plant.exchanger", "cw_entering", "chw_leaving", "chilled water cannot leave the "
          "exchanger as cold as the condenser water that enters it; correct one of the two"),
    Order("instruments", "calibrated", "due", "the next calibration must be due after the last "
          "one; correct one of the two", _moment),
    Order("overrides", "placed", "released", "an override cannot be released before it was placed; "
          "correct one of the two", _moment, equal=True),
)


def contradictions(path: str, row: Mapping[str, Any], name: str = "") -> list[str]:
    """What in a table, or in a row of a list, cannot be true together, one sentence each; with
    ``name`` only what that answer has a part in."""
    found = table(path)
    label = {key: item.label for key, item in found.answers.items()} if found else {}
    return [f"{label[order.first]} {row[order.first]} and {label[order.second]} "
            f"{row[order.second]}: {order.says}" for order in ORDERS
            if order.path == path and name in ("", order.first, order.second)
            and order.broken(row)]


def table(path: str) -> Table | None:
    """The table at a dotted path such as ``plant.chiller_2``; None where none is declared."""
    for entry in TABLES:
        pattern = re.escape(entry.path).replace(r"\{n\}", r"(?P<n>[1-9]\d*)")
        if found := re.fullmatch(pattern.replace(r"\{step\}", r"(?P<step>\w+)"), path):
            return replace(entry, path=path, title=entry.title.format(**found.groupdict()))
    return None


def labelled(path: str, content: Any, before: str = "") -> list[tuple[str, str]]:
    """Nested answers as rows of label and value with unit, as the record prints them: in the order
    of the forms, which a signed record does not keep."""
    if not isinstance(content, Mapping):
        return [(before, units.stated(content))]
    here, rows = table(path), []
    known = here.answers if here else {}
    order = [*known, *content]
    for name, value in sorted(content.items(), key=lambda item: order.index(item[0])):
        label = known[name].label if name in known else name.replace("_", " ")
        if isinstance(value, Mapping):
            below = table(f"{path}.{name}")
            label = below.title.split(",")[0] if below else label
            rows += labelled(f"{path}.{name}", value, f"{before}{label}: ")
        elif isinstance(value, list):
            rows += labelled("", {f"{label} {n}": each for n, each in enumerate(value, 1)}, before)
        else:
            text = known[name].shown(value) if name in known else units.stated(value)
            rows.append((before + label, text))
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
    items = {name: item.json_schema() for name, item in entry.answers.items()}
    one: dict[str, Any] = {"type": "object", "properties": items}
    if entry.path == "limits":
        one = {"type": "object", "additionalProperties": False, "properties": {
            limit.name: {"type": "object",
                         "properties": {**items, "value": limit.answer.json_schema()}}
            for limit in STANDARD}}
    elif entry.row:
        one = {"type": "object", "additionalProperties": one} if entry.key else {
            "type": "array", "items": one}
    return {"title": entry.title, **one}
