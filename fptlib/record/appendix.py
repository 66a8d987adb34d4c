"""The sections behind a report's verdicts: readings, limits, people, worth, trends and files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib import points
from fptlib.errors import RecordError
from fptlib.job.schema import WATCHED
from fptlib.job.tables import labelled
from fptlib.limits import COMMON_PRACTICE
from fptlib.record import approvals
from fptlib.record.blocks import ANSWERS, Block, Content, facts, members, table, text
from fptlib.record.text import clean, moment, number, offset_of, site_moment, span, unit_shown


def readings(content: Content) -> list[Block]:
    """Field readings and the instruments that took them."""
    usual = offset_of(content["test"]["trended_from"])
    return [
        *table("Field readings", {"Time": 15, "Point": 29, "Value": 12, "Instrument": 13,
                                  "Taken by": 14, "Remark": 17},
               [[span(row["time"], "", usual), points.plain(row["point"]), _read(row),
                 *members([row], "instrument taken_by remark")[0]] for row in content["readings"]]),
        *table("Field instruments", {"Tag": 11, "Make and model": 19, "Serial": 14, "Range": 14,
                                     "Accuracy ±": 14, "Calibrated": 14, "Due": 14},
               [[row["tag"], row["make_model"], row["serial"], row["range"],
                 number(row["accuracy"], row["accuracy_unit"]), moment(row["calibrated"])[:10],
                 moment(row["due"])[:10] or "not stated"] for row in content["instruments"]]),
    ]


def _read(row: Content) -> str:
    """A reading, and in brackets what was written down where that is in another unit."""
    value = number(row["value"], row["unit"])
    if row["taken_unit"] in ("", row["unit"]):
        return value
    return f"{value} ({clean(row['taken'])} {unit_shown(row['taken_unit'])})"


def limits(content: Content) -> list[Block]:
    """The limits in force, since when they are frozen, and where they deviate."""
    in_force, frozen = content["limits"]["in_force"], content["limits"]["frozen"]
    return [
        *facts({"Frozen": site_moment(frozen.get("at"), content["test"]["time_zone"]),
                 "Frozen by": frozen.get("by", "")}),
        *table("", {"Digest of the limits": 30, "SHA-256": 70},
               [["when frozen", frozen.get("limits", "not frozen")],
                ["in force", content["limits"]["digest"]]]),
        *table("Deviations from the standard", {"Limit": 20, "Standard": 13, "This job": 13,
                                                "Reason": 26, "Author": 14, "Date": 14},
               [[row["name"], number(row["standard"], row["unit"]),
                 number(row["value"], row["unit"]), *members([row["deviation"]],
                                                           "reason author date")[0]]
                for row in in_force if row["deviation"]]),
        *table("Every limit", {"Limit": 19, "Value": 10, "Meaning": 51, "Basis": 20},
               [[row["name"], number(row["value"], row["unit"]), row["meaning"],
                 "" if row["basis"] == COMMON_PRACTICE else row["basis"]] for row in in_force]),
        text(f"Where no basis is given it is {COMMON_PRACTICE}."),
    ]


def people(content: Content) -> list[Block]:
    """Who took part and approved, what was ready, overridden, watched and marked."""
    named = {role: person for role, person in content["people"].items()
             if isinstance(person, Mapping)}
    return [
        *table("Participants", {"Role": 25, "Name": 40, "Function": 35},
               [[role, person.get("name", ""), person.get("firm_role", "")]
                for role, person in named.items()]),
        *table("Approval of the plan", {"Role": 15, "Name": 20, "Approved on": 12, "Signature": 25,
                                        "Remark": 13, "Changed since": 15},
               [[*members([row], "role name at")[0],
                 _approved_by(row, content["test"]["time_zone"]), str(row.get("remark", "")),
                 ", ".join(row.get("changed", []))] for row in content["approvals"]]),
        *table("Prerequisites", {"What": 60, "Done": 20, "By": 20},
               members(content["prerequisites"], "text done by")),
        *table("Overrides", {"Point": 20, "Value": 10, "Placed": 16, "Released": 16, "By": 10,
                             "Why": 16, "Verified in AUTO": 12},
               [[points.plain(row.get("point", "")), number(row.get("value", "")),
                 moment(row.get("placed")),
                 moment(row.get("released")) or "NOT RELEASED",
                 *members([row], "by reason readback")[0]]
                for row in content["overrides"]]),
        *table("Changeovers that were not natural", {"Changeover": 20, "From": 30, "To": 30,
                                                     "Condition": 20},
               [[row["number"], moment(row["from"]), moment(row["to"]), row["condition"]]
                for row in content["changeovers"] if row["condition"] != "natural"]),
        *table("Abort conditions", {"Condition": 44, "What is watched": 32, "Stop within": 24},
               abort_rows(content["abort"])),
        *table("Moments marked at the plant", {"Time": 25, "What": 50, "By": 25},
               [[moment(row.get("time")), row.get("what", ""), row.get("by", "")]
                for row in content["marks"]]),
    ]


def _approved_by(row: Mapping[str, Any], zone: str) -> str:
    """Whether an approval was signed, when and by which key."""
    try:
        return approvals.read(row["signed"]).line(zone) if "signed" in row else approvals.NOT_SIGNED
    except RecordError:
        return "SIGNATURE DOES NOT MATCH"


def abort_rows(aborts: Sequence[Content]) -> list[list[str]]:
    """Each abort condition with what it watches, its limit with its unit, and the time to stop."""
    return [[str(row.get("text", "")), _watched(row),
             number(row.get("stop_within", 5.0), "min") if row.get("watched") else ""]
            for row in aborts]


def _watched(row: Content) -> str:
    """What an abort condition watches, with its limit."""
    if not row.get("watched"):
        return "stated in words only"
    name = str(row["watched"])
    entry = points.point(name) if points.is_point(name) else None
    words, unit = WATCHED.get(name, (entry.meaning, entry.unit) if entry else (name, ""))
    limit = f" {row.get('side', '')} {number(row['limit'], row.get('unit') or unit)}" \
        if row.get("limit") is not None else ""
    lasting = f" for more than {number(row['minutes'], 'min')}" if row.get("minutes") else ""
    return f"{words}{limit}{lasting}"


def worth(content: Content) -> list[Block]:
    """The owner's questions and the prices they rest on; records from before have none."""
    tariff = content.get("tariff", {})
    stated = {name: value for name, value in tariff.items() if name != "charges"}

    def ends(row: Content, first: str, last: str, without: str) -> str:
        return f"{row.get(first) or without} to {row.get(last) or without}" if (
            row.get(first) or row.get(last)) else without

    lines = [[row.get("name", ""), row.get("kind", ""), row.get("price", ""),
              ends(row, "first_month", "last_month", "all"), row.get("days") or "every day",
              ends(row, "hours_from", "hours_to", "all"),
              f"{row['ratchet']} % of {ends(row, 'ratchet_first', 'ratchet_last', 'all')}"
              if row.get("ratchet") else "none"] for row in tariff.get("charges", [])]
    return [
        *table("", {"Question": 32, "Answer": 68},
               members(content.get("worth", ()), "question answer")),
        *table("Prices, tower water and emissions, as the owner states them", ANSWERS,
               labelled("tariff", stated)),
        *table("Lines of the rate sheet", {
            "Line": 22, "For": 9, "Price": 9, "Months": 18, "Days": 12, "Hours": 14,
            "Ratchet": 16}, lines)]


def files(content: Content) -> list[Block]:
    """Every point and file, what reading them found, and the program that did."""
    inputs, trends = content["inputs"], content["trends"]
    small = {name: inputs[name] for name in ("job.toml", "readings.csv") if inputs[name]}
    program, clock = content["program"], content["clock"]
    return [
        *table("Points and where they come from", {"Point": 22, "File, column and unit": 28},
               [[f"{points.plain(name)} ({name})", source]
                for name, source in trends["sources"].items()], doubled=True),
        *table("Files with SHA-256", {"File": 26, "Bytes": 12, "SHA-256": 62},
               [[name, number(file["size"]), file["sha256"]]
                for name, file in {**inputs["trends"], **small}.items()]),
        *table("Workbooks used, SHA-256 of their code and text", {"Workbook": 38, "SHA-256": 62},
               [[name, book["sha256"]]
                for name, book in content["procedure"]["workbooks"].items()]),
        *table("What reading the trends did and found", {"Kind": 12, "Where": 28, "Remark": 60},
               [[row["severity"], row["point"] or row["file"], row["text"]]
                for row in trends["remarks"]]),
        *table("Alarms in the trends", {"Time": 25, "Point": 30, "Text": 45},
               [[moment(row["time"]), row["point"], row["text"]] for row in trends["alarms"]]),
        *facts({
            "Program": f"{program['name']} {program['version']}, Python {program['python']}",
            "Packages": ", ".join(f"{name} {v}" for name, v in program["packages"].items()),
            "Clock of the computer": f"{moment(clock['computer'])} ({clock['computer_zone']})",
        }),
    ]
