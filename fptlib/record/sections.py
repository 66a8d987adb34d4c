"""The sections of a report, made of the payload's members alone.

A section has a title and blocks of plain text: ``text``, ``facts`` (label and value),
``table``, ``check`` (one check in full) and ``figure``.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from PIL import Image

from fptlib import points
from fptlib.errors import RecordError
from fptlib.job.schema import WATCHED, labelled
from fptlib.limits import COMMON_PRACTICE
from fptlib.procedure.settings import compared
from fptlib.procedure.steps import TITLES
from fptlib.procedure.verdict import Verdict
from fptlib.record import approvals
from fptlib.record.deficiencies import still_open
from fptlib.record.text import (
    clean,
    likelihood,
    moment,
    number,
    site_moment,
    span,
    unit_shown,
)
from fptlib.units import shown

Content = Mapping[str, Any]
Block = dict[str, Any]
Figures = Mapping[str, bytes]
_MOST_CAUTIONS = 8
_MOST_FIRST = 6
_ANSWERS = {"What": 40, "Answer": 60}


def all_sections(content: Content, figures: Figures) -> list[dict[str, Any]]:
    """Every section with its blocks, what an owner reads first."""
    return [
        section("At a glance", _first_page(content, figures)),
        section("Verdict per step", _summary(content)),
        section("Cautions", [_text(caution) for caution in _cautions(content)]),
        section("Plant and conditions", _conditions(content)),
        section("Deficiencies and retest", _deficiencies(content, figures)),
        section("Sequence of operation", _settings(content)),
        section("Test script", _script(content)),
        *(section(step["title"], _step(content, step, figures)) for step in content["steps"]),
        section("Readings and instruments", _readings(content)),
        section("Limits in force", _limits(content)),
        section("People, prerequisites, overrides", _people(content)),
        section("Trends and files", _files(content)),
        section("What it is worth, for the owner", _worth(content)),
    ]


def section(title: str, blocks: list[Block]) -> dict[str, Any]:
    """A section of a report."""
    return {"title": clean(title), "blocks": blocks}


def _text(words: str) -> Block:
    return {"kind": "text", "text": clean(words)}


def _facts(rows: Mapping[str, Any]) -> list[Block]:
    """Labels with their values; an empty value is left out."""
    shown = [[label, clean(value)] for label, value in rows.items() if str(value or "").strip()]
    return [{"kind": "facts", "rows": shown}] if shown else []


def table(
    caption: str, columns: Mapping[str, int], rows: Iterable[Sequence[Any]], doubled: bool = False
) -> list[Block]:
    """A table, none where it has no row.

    Args:
        caption: what stands above it.
        columns: heads with their shares of the line.
        rows: rows of cells, each a text or a verdict.
        doubled: two rows to a line, down the left half first.
    """
    made = [[_cell(cell) for cell in row] for row in rows]
    heads, widths = list(columns), list(columns.values())
    if doubled:
        half = (len(made) + 1) // 2
        right = [*made[half:], [_cell("")] * len(heads)]
        made = [[*row, *right[n]] for n, row in enumerate(made[:half])]
        heads, widths = heads * 2, widths * 2
    return [{"kind": "table", "caption": caption, "head": heads, "rows": made,
             "widths": widths}] if made else []


def _cell(cell: Any) -> dict[str, str]:
    if isinstance(cell, Verdict):
        return {"verdict": cell.value, "text": cell.value}
    return {"verdict": "", "text": clean(cell)}


def figure(name: str, about: str, figures: Figures) -> list[Block]:
    """The figure of that name, where there is one; its own description is read out for it."""
    if name not in figures:
        return []
    with Image.open(io.BytesIO(figures[name]), formats=["PNG"]) as opened:
        said = str(opened.info.get("Description", ""))
        ratio = opened.height / opened.width
    return [{"kind": "figure", "key": name, "caption": f"Evidence: {clean(about)}",
             "alt": clean(said or f"Chart of the trends behind: {about}"), "ratio": ratio}]


def _first_page(content: Content, figures: Figures) -> list[Block]:
    """What must be corrected first, what was not tested and why, which abort conditions were met,
    and one picture: that of the first deficiency."""
    items, told = still_open(content["deficiencies"]), content["statement"]
    engineer = told["conclusion_of_the_engineer"]
    abort = next((c for c in content["checks"] if c["id"] == "abort.conditions"), None)
    met = [event for event in abort["events"] if event["quantities"]] if abort else []
    unproven = [check for check in content["checks"] if check["verdict"] in (
        Verdict.NOT_TESTED, Verdict.DEFERRED, Verdict.INDETERMINATE)]
    first = items[0]["step"] if items else "handover"
    return [
        *([_text(f"In the engineer's words: {engineer}")] if engineer else []),
        *table("Must be corrected, the critical first",
               {"No.": 6, "What": 36, "Severity": 10, "Responsible": 22, "Due": 26},
               _rows(items[:_MOST_FIRST], "number title severity responsible due")),
        *([_text(f"{len(items) - _MOST_FIRST} more stand under Deficiencies and retest.")]
          if len(items) > _MOST_FIRST else []),
        *table("Abort conditions that were met", {"Condition": 34, "From when, for how long": 66},
               _abort_log(met)),
        *table("Not proven, and why", {"Check": 40, "Verdict": 16, "Why": 44},
               [[check["question"], Verdict(check["verdict"]), points.plain(check["reason"])]
                for check in unproven]),
        *figure(first, next((step["title"] for step in content["steps"]
                             if step["step"] == first), first), figures),
    ]


def _abort_log(met: Sequence[Content]) -> list[list[str]]:
    """Each abort condition with every time that it was met."""
    times: dict[str, list[str]] = {}
    for event in sorted(met, key=lambda event: str(event["start"])):
        when, *_, how = str(event["text"]).removeprefix("met from ").split("; ")
        times.setdefault(event["subject"], []).append(
            f"{when.split(',')[0]} ({how.removeprefix('the test was ')})")
    return [[condition, "; ".join(said)] for condition, said in times.items()]


def _script(content: Content) -> list[Block]:
    verdicts = {check["id"]: check["verdict"] for check in content["checks"]}

    def judged(row: Content) -> str:
        ids = [id for id in str(row.get("checks", "")).replace(" ", "").split(",") if id]
        return ", ".join(f"{id} {verdicts.get(id, 'not made')}" for id in ids)

    return table(
        "Steps with expected and observed results",
        {"No.": 4, "Action": 24, "Expected": 19, "Observed": 14, "Time, by": 11, "Result": 7,
         "Remark": 8, "Judged by": 13},
        [[row.get("number", ""), f"{row.get('kind', '')}: {row.get('action', '')}",
          row.get("expected", ""), row.get("observed", ""),
          " ".join(filter(None, (moment(row.get("time")), row.get("initials", "")))),
          row.get("outcome", "") or "not done", row.get("remark", ""), judged(row)]
         for row in content["script"]])


def _settings(content: Content) -> list[Block]:
    limits = {row["name"]: row["value"] for row in content["limits"]["in_force"]}
    stated = compared(content["settings"], limits, content["checks"])
    exits = labelled("sequence", content["sequence"])
    return [
        *table("Settings", {"Setting": 22, "Specified": 9, "Programmed": 10, "Judged": 9,
                            "Observed": 14, "Source": 16, "Contradiction": 20},
               [[each.meaning, each.specified, each.programmed, each.judged, each.observed,
                 each.source, "; ".join(each.contradictions) or "none"] for each in stated]),
        *table("Exits of the sequence, as specified", _ANSWERS, exits),
        *_settings_sheet(content),
    ]


def _settings_sheet(content: Content) -> list[Block]:
    """What to set and where the plant did otherwise; nothing in records made without it."""
    sheet = content.get("settings_sheet")
    if not sheet:
        return []
    lines = [[each[name] for name in ("name", "specified", "found", "recommended", "why", "valid")]
             for each in sheet["lines"]]
    rows = [[moment(each["from"]), f"{each['minutes']:.0f} min", each["plant"], each["sequence"],
             each["reason"]] for each in sheet["disagreements"]]
    return [
        _text(f"Path from chillers to exchanger: {sheet['verdict']}. {sheet['reason']}"),
        *(_text(f"What would help: {each}") for each in sheet["helps"]),
        *table("Settings sheet, from the sequence replayed", {
            "Setting": 20, "Specified": 10, "Found": 14, "Recommended": 14, "Why": 26,
            "Valid here": 16}, lines),
        *([_text(sheet["not_replayed"])] if sheet["not_replayed"] else []),
        *table("Sequence replayed: where the plant did otherwise", {
            "From": 16, "For": 8, "Plant": 18, "Sequence": 14, "Reason": 44}, rows),
    ]


def _of_step(content: Content, step: Content) -> list[Content]:
    return [check for check in content["checks"] if check["step"] == step["step"]]


def _summary(content: Content) -> list[Block]:
    rows = []
    for step in content["steps"]:
        checks, verdict = _of_step(content, step), Verdict(step["verdict"])
        counts = ", ".join(f"{count} {name}" for name, count in step["counts"].items() if count)
        deciding = [check["reason"] for check in checks if check["verdict"] == verdict]
        if verdict is Verdict.PASS and len(deciding) == len(checks):
            deciding = ["every check passed"]
        rows.append([step["title"], verdict, counts or "none",
                     deciding[0] if deciding else "no check was made"])
    found = content["findings"].get("summary", "")
    return [
        *table("", {"Step": 24, "Verdict": 18, "Checks": 18, "What decided": 40}, rows),
        *([_text(f"Findings: {found}")] if found else []),
    ]


def _cautions(content: Content) -> list[str]:
    said = []
    condition = content["job"]["condition"]
    unchanged = content["limits"]["unchanged_since_frozen"]
    remarks = content["trends"]["remarks"]
    if content["job"]["invented"]:
        said.append("The data of this record are invented, for demonstration; no such plant "
                    "exists.")
    if condition not in ("", "natural"):
        said.append(f"The condition was {condition}, not natural: the test shows what the "
                    "controls do, not what the plant can carry.")
    if not content["readings"]:
        said.append("No field reading was taken: the trends were not compared with an "
                    "instrument.")
    if unchanged is None:
        said.append("The acceptance limits were not frozen before the trends were read.")
    if unchanged is False:
        said.append("The acceptance limits were changed after they had been frozen; see the "
                    "limits in force.")
    said += [f"The override of {points.plain(entry.get('point', 'a point'))} is not shown as "
             "released."
             for entry in content["overrides"] if not entry.get("released")]
    unusable = [points.plain(f"Not used: {remark['text']} "
                             f"({remark['point'] or remark['file'] or 'trends'})")
                for remark in remarks if remark["severity"] == "unusable"]
    said += unusable[:_MOST_CAUTIONS]
    if (rest := len(unusable) - _MOST_CAUTIONS) > 0:
        said.append(f"{rest} more points are not used.")
    if doubts := sum(remark["severity"] == "doubt" for remark in remarks):
        said.append(f"{doubts} doubts about the trends are listed under Trends and files.")
    return said


def _conditions(content: Content) -> list[Block]:
    test, site = content["test"], content["site"]
    steps = {step["step"] for step in content["steps"]}
    others = [row for name, answers in content["answers"].items() if name not in steps
              for row in labelled(f"answers.{name}", answers, f"{TITLES.get(name, name)}: ")]
    return [
        *_facts({
            "Purpose": test["purpose"], "Requirement": test["requirement"],
            "Test revision": test["revision"],
            "Sequence of operation": f"{test['sequence']} {test['sequence_revision']}".strip(),
            "Condition": content["job"]["condition"],
            "Altitude": number(site.get("altitude"), "ft") if "altitude" in site else "",
            "Time zone": test["time_zone"], "Weather, as noted": test["weather"],
            **{f"Trended {name.replace('_', ' ')}":
               f"{number(seen['lowest'])} to {number(seen['highest'], seen['unit'])}"
               for name, seen in test["observed_weather"].items()},
            "Initial conditions": test["initial_conditions"], "Sampling": test["sampling"],
            "Deferred until": test["deferred_until"],
            "Reason of deferral": test["deferral_reason"],
            "Safe state": test["safe_state"], "Returned to normal": test["returned_to_normal"],
        }),
        *table("Plant as the job states it", {"What": 24, "Value": 26},
               labelled("plant", content["plant"]), doubled=True),
        *table("Other answers given in the workbooks", _ANSWERS, others),
    ]


def _deficiencies(content: Content, figures: Figures) -> list[Block]:
    items, shown = content["deficiencies"], dict[str, str]()
    sheet = content.get("settings_sheet", {}).get("lines", [])
    return [
        *([] if items else [_text("No check failed; there is no deficiency.")]),
        *_facts({"Deficiencies as the engineer wrote them":
                 content["findings"].get("deficiencies", "")}),
        *(block for item in items for block in _work_order(item, sheet, figures, shown)),
        *table("This job is a retest", {"What": 40, "Value": 60},
               labelled("retest", {name: value for name, value in content["retest"].items()
                                   if name != "numbers"})),
    ]


def _work_order(item: Content, sheet: Sequence[Content], figures: Figures, shown: dict[str, str]
                ) -> list[Block]:
    """One deficiency so that whoever corrects it needs no other page; ``shown`` keeps which
    pictures stand with which one already."""
    values = [f"{line['name']}: {line['recommended']}" for line in sheet
              if line["group"] == item["step"] and "settings sheet" in item["recommended"]]
    picture = item["check"] if item["check"] in figures else item["step"]
    first = shown.setdefault(picture, item["number"])
    moved = str(item["recommended"]).partition(": ")[2] if item["causes"] else ""
    when, steps = moment(item["at"]), [TITLES.get(step, step) for step in item["retest"]]
    causes = "\n".join(f"{n}. {cause}" for n, cause in enumerate(item["causes"], start=1))
    setting = " to ".join(filter(None, (item["setting_from"], item["setting_to"])))
    status = ", ".join(filter(None, (item["status"], item["status_by"], item["status_on"])))
    rows = {
        "Check, step": f"{item['check']}, {TITLES.get(item['step'], item['step'])}",
        "Event": ", ".join(filter(None, (points.plain(item["event"]), when))),
        "Found": points.plain(item["found"]), "Required": item["required"],
        "Likely causes": causes,
        "Recommended": moved[:1].upper() + moved[1:] or item["recommended"],
        "Settings sheet": "\n".join(values), "Setting to change, from and to": setting,
        "Severity": item["severity"], "Responsible": item["responsible"], "Due": item["due"],
        "Corrective action": item["corrective_action"], "Status": status,
        "Steps to repeat": "; ".join(steps), "Cost borne by": item["cost_party"],
        "Remark": item["remark"],
        "Picture": f"with deficiency {first}"
                   if first != item["number"] and picture in figures else ""}
    return [*table(f"Deficiency {item['number']}", {"What": 20, item["title"]: 80},
                   [[label, value] for label, value in rows.items() if value]),
            *(figure(picture, item["title"], figures) if first == item["number"] else [])]


def _rows(entries: Iterable[Content], members: str) -> list[list[Any]]:
    """The named members of each entry; one that it does not have is empty."""
    return [[entry.get(name, "") for name in members.split()] for entry in entries]


def _step(content: Content, step: Content, figures: Figures) -> list[Block]:
    return [
        *(block for check in _of_step(content, step) for block in _check(check, figures)),
        *figure(step["step"], step["title"], figures),
        *table("Answers given in the workbook", _ANSWERS,
               labelled(f"answers.{step['step']}", content["answers"].get(step["step"], {}))),
    ]


def _check(check: Content, figures: Figures) -> list[Block]:
    numbers = {"Measured": check["measured"], "Limit": check["limit"], "Margin": check["margin"],
               # Zero is what a check without an uncertainty of its own carries: no statement.
               "Uncertainty (k = 2)": check["uncertainty"] or None}
    words = {name: clean(points.plain(check[name]))
             for name in ("id", "question", "reason", "basis", "meaning", "adjust")}
    if words["reason"] in words["meaning"]:
        words["meaning"] = ""
    return [{
        "kind": "check", **words, "verdict": check["verdict"],
        "values": [[label, clean(shown(value, check["unit"]))] for label, value in numbers.items()
                   if value is not None],
        "probability": likelihood(check["probability"]),
        "events": _events(check),
    }, *figure(check["id"], check["question"], figures)]


def _events(check: Content) -> list[Block]:
    rows = [[points.plain(event["name"]), span(event["start"], event["end"]),
             points.plain(event["text"]), Verdict(event["verdict"])] for event in check["events"]]
    if all(event["verdict"] == check["verdict"] for event in check["events"]):
        # The check's own verdict says it for each of them.
        shown = table("", {"Event": 19, "When": 26, "What was seen": 55},
                      [row[:3] for row in rows])
    else:
        shown = table("", {"Event": 17, "When": 26, "What was seen": 43, "Verdict": 14}, rows)
    return [*shown, *_worksheet(check)]


def _worksheet(check: Content) -> list[Block]:
    """What the formula was given in each event, as it was calculated; what was the same in every
    event is said once."""
    known = [event for event in check["events"] if event["quantities"]]
    names = list(dict.fromkeys(name for event in known for name in event["quantities"]))
    given = {name: [number(event["quantities"].get(name)) for event in known] for name in names}
    steady = [name for name in names if len(known) > 1 and len(set(given[name])) == 1]
    if len(steady) == len(names):
        steady = []
    same = "; ".join(f"{name} = {given.pop(name)[0]}" for name in steady)
    caption = "How it was calculated" + (f", in every event: {same}" if same else "")
    widths = {"Event": 16, **{name: max(84 // len(given), 8) for name in given}}
    return table(caption, widths, [[points.plain(event["name"]), *values] for event, *values
                                   in zip(known, *given.values(), strict=True)])


def _readings(content: Content) -> list[Block]:
    return [
        *table("Field readings", {"Time": 18, "Point": 23, "Value": 13, "Instrument": 13,
                                  "Taken by": 16, "Remark": 17},
               [[moment(row["time"]), points.plain(row["point"]), _read(row), row["instrument"],
                 row["taken_by"], row["remark"]] for row in content["readings"]]),
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


def _limits(content: Content) -> list[Block]:
    limits, frozen = content["limits"]["in_force"], content["limits"]["frozen"]
    return [
        *_facts({"Frozen": site_moment(frozen.get("at"), content["test"]["time_zone"]),
                 "Frozen by": frozen.get("by", "")}),
        *table("", {"Digest of the limits": 30, "SHA-256": 70},
               [["when frozen", frozen.get("limits", "not frozen")],
                ["in force", content["limits"]["digest"]]]),
        *table("Deviations from the standard", {"Limit": 20, "Standard": 13, "This job": 13,
                                                "Reason": 26, "Author": 14, "Date": 14},
               [[row["name"], number(row["standard"], row["unit"]),
                 number(row["value"], row["unit"]), *_rows([row["deviation"]],
                                                           "reason author date")[0]]
                for row in limits if row["deviation"]]),
        *table("Every limit", {"Limit": 22, "Value": 14, "Meaning": 42, "Basis": 22},
               [[row["name"], number(row["value"], row["unit"]), row["meaning"],
                 "" if row["basis"] == COMMON_PRACTICE else row["basis"]] for row in limits]),
        _text(f"Where no basis is given it is {COMMON_PRACTICE}."),
    ]


def _people(content: Content) -> list[Block]:
    people = {role: person for role, person in content["people"].items()
              if isinstance(person, Mapping)}
    return [
        *table("Participants", {"Role": 25, "Name": 40, "Function": 35},
               [[role, person.get("name", ""), person.get("firm_role", "")]
                for role, person in people.items()]),
        *table("Approval of the plan", {"Role": 15, "Name": 20, "Approved on": 12, "Signature": 25,
                                        "Remark": 13, "Changed since": 15},
               [[*_rows([row], "role name at")[0],
                 _approved_by(row, content["test"]["time_zone"]), str(row.get("remark", "")),
                 ", ".join(row.get("changed", []))] for row in content["approvals"]]),
        *table("Prerequisites", {"What": 60, "Done": 20, "By": 20},
               _rows(content["prerequisites"], "text done by")),
        *table("Overrides", {"Point": 20, "Value": 10, "Placed": 16, "Released": 16, "By": 10,
                             "Why": 16, "Verified in AUTO": 12},
               [[points.plain(row.get("point", "")), number(row.get("value", "")),
                 moment(row.get("placed")),
                 moment(row.get("released")) or "NOT RELEASED",
                 *_rows([row], "by reason readback")[0]]
                for row in content["overrides"]]),
        *table("Changeovers that were not natural", {"Changeover": 20, "From": 30, "To": 30,
                                                     "Condition": 20},
               [[row["number"], moment(row["from"]), moment(row["to"]), row["condition"]]
                for row in content["changeovers"] if row["condition"] != "natural"]),
        *table("Abort conditions", {"Condition": 44, "What is watched": 32, "Stop within": 24},
               [[row.get("text", ""), _watched(row),
                 number(row.get("stop_within", 5.0), "min") if row.get("watched") else ""]
                for row in content["abort"]]),
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


def _worth(content: Content) -> list[Block]:
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
               _rows(content.get("worth", ()), "question answer")),
        *table("Prices, tower water and emissions, as the owner states them", _ANSWERS,
               labelled("tariff", stated)),
        *table("Lines of the rate sheet", {
            "Line": 22, "For": 9, "Price": 9, "Months": 18, "Days": 12, "Hours": 14,
            "Ratchet": 16}, lines)]


def _files(content: Content) -> list[Block]:
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
        *_facts({
            "Program": f"{program['name']} {program['version']}, Python {program['python']}",
            "Packages": ", ".join(f"{name} {v}" for name, v in program["packages"].items()),
            "Clock of the computer": f"{moment(clock['computer'])} ({clock['computer_zone']})",
        }),
    ]
