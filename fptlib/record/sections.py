"""The sections of a report, made of the payload's members alone, what an owner reads first.

A section has a title and blocks (``record.blocks``).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fptlib import points
from fptlib.job.tables import labelled
from fptlib.procedure.settings import compared
from fptlib.procedure.sheet_lines import WITHHELD
from fptlib.procedure.steps import TITLES
from fptlib.procedure.verdict import Verdict
from fptlib.record import appendix, check_blocks
from fptlib.record.blocks import (
    ANSWERS,
    Block,
    Content,
    Figures,
    facts,
    figure,
    members,
    section,
    table,
    text,
)
from fptlib.record.deficiencies import judges, step_title, still_open
from fptlib.record.text import moment, number, offset_of, span
from fptlib.units import shown

_MOST_CAUTIONS = 8
_MOST_FIRST, _MOST_UNPROVEN = 6, 8


def all_sections(content: Content, figures: Figures) -> list[dict[str, Any]]:
    """What an owner, an authority and a contractor read: what came out, the test, who took part."""
    return [
        section("At a glance", _first_page(content, figures)),
        section("Verdict per step", _summary(content)),
        section("Cautions", [text(caution) for caution in _cautions(content)]),
        section("Deficiencies and retest", _deficiencies(content, figures)),
        section("Test script", _script(content)),
        section("People, approvals, overrides, abort conditions", appendix.people(content)),
        section("Plant and conditions", _conditions(content)),
        section("Sequence of operation", _settings(content)),
        section("What it is worth, for the owner", appendix.worth(content)),
    ]


def appendices(content: Content, figures: Figures) -> list[dict[str, Any]]:
    """What a recalculation needs besides: every check in full, readings, limits, files."""
    before = {_picture(item, figures) for item in content["deficiencies"]}
    return [
        section("Every check", check_blocks.overview(content)),
        *(section(step["title"], check_blocks.step(content, step, figures, before))
          for step in content["steps"]),
        section("Settings sheet and replay", _settings_sheet(content)),
        section("Readings and instruments", appendix.readings(content)),
        section("Limits in force", appendix.limits(content)),
        section("Trends and files", appendix.files(content)),
    ]


def _first_page(content: Content, figures: Figures) -> list[Block]:
    """What must be corrected first, what was not tested and why, which abort conditions were met,
    and one picture: that of the first deficiency."""
    items, told = still_open(content["deficiencies"]), content["statement"]
    engineer = told["conclusion_of_the_engineer"]
    abort = next((c for c in content["checks"] if c["id"] == "abort.conditions"), None)
    met = [event for event in abort["events"] if event["quantities"]] if abort else []
    unproven = _unproven(content["checks"])
    first = items[0]["step"] if items else "handover"
    return [
        *([text(f"In the engineer's words: {engineer}")] if engineer else []),
        *table("Must be corrected, the critical first",
               {"No.": 6, "What": 36, "Severity": 10, "Responsible": 22, "Due": 26},
               members(items[:_MOST_FIRST], "number title severity responsible due")),
        *([text(f"{len(items) - _MOST_FIRST} more stand under Deficiencies and retest.")]
          if len(items) > _MOST_FIRST else []),
        *table("Abort conditions that were met", {"Condition": 34, "From when, for how long": 66},
               _abort_log(met)),
        *table("Not proven, and why", {"Check": 44, "Verdict": 15, "Why": 41},
               unproven[:_MOST_UNPROVEN]),
        *([text(f"{len(unproven) - _MOST_UNPROVEN} more reasons stand with the checks, in the "
                "appendix.")] if len(unproven) > _MOST_UNPROVEN else []),
        *figure(first, next((step["title"] for step in content["steps"]
                             if step["step"] == first), first), figures),
    ]


def _unproven(checks: Sequence[Content]) -> list[list[Any]]:
    """The checks that proved nothing by their reason, those that could not be decided first; how a
    reason goes on stands with the check."""
    asked: dict[tuple[Verdict, str], list[str]] = {}
    for verdict in (Verdict.INDETERMINATE, Verdict.NOT_TESTED, Verdict.DEFERRED):
        for check in checks:
            if check["verdict"] == verdict:
                why = points.plain(check["reason"]).split("; ")[0]
                asked.setdefault((verdict, why), []).append(check["question"])
    return [["\n".join(questions), verdict, why] for (verdict, why), questions in asked.items()]


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
        return ", ".join(f"{id} {verdicts.get(id, 'not made')}" for id in judges(row))

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
        *table("Exits of the sequence, as specified", ANSWERS, exits),
    ]


def _settings_sheet(content: Content) -> list[Block]:
    """What to set and where the plant did otherwise; nothing in records made without it."""
    sheet = content.get("settings_sheet")
    if not sheet:
        return []
    columns = {"Setting": 15, "Specified": 9, "Found": 10, "Recommended": 14, "Why": 20,
               "Valid here": 12, "Effect alone": 20}
    # Records made before have no effects.
    lines = [[*(each[name] for name in ("name", "specified", "found", "recommended", "why",
                                        "valid")), each.get("effect", "–")]
             for each in sheet["lines"]]
    usual = offset_of(content["test"]["trended_from"])
    rows = [[span(each["from"], "", usual), shown(each["minutes"], "min"), each["plant"],
             each["sequence"], each["reason"]] for each in sheet["disagreements"]]
    return [
        text(f"Path from chillers to exchanger: {sheet['verdict']}. {sheet['reason']}"),
        *(text(f"What would help: {each}") for each in sheet["helps"]),
        *table("Settings sheet, from the sequence replayed; effects without what pull-downs draw",
               columns, lines),
        *([text(sheet["not_replayed"])] if sheet["not_replayed"] else []),
        *table("Sequence replayed: where the plant did otherwise", {
            "From": 16, "For": 9, "Plant": 18, "Sequence": 14, "Reason": 43}, rows),
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
        *([text(f"Findings: {found}")] if found else []),
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
        said.append(f"{doubts} {'doubt' if doubts == 1 else 'doubts'} about the trends: see Trends "
                    "and files in the appendix.")
    return said


def _conditions(content: Content) -> list[Block]:
    test, site = content["test"], content["site"]
    steps = {step["step"] for step in content["steps"]}
    others = [row for name, answers in content["answers"].items() if name not in steps
              for row in labelled(f"answers.{name}", answers, f"{TITLES.get(name, name)}: ")]
    return [
        *facts({
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
        *table("Other answers given in the workbooks", ANSWERS, others),
    ]


def _deficiencies(content: Content, figures: Figures) -> list[Block]:
    items, pictured = content["deficiencies"], dict[str, str]()
    sheet = content.get("settings_sheet", {}).get("lines", [])
    return [
        *([] if items else [text("No check failed; there is no deficiency.")]),
        *facts({"Deficiencies as the engineer wrote them":
                 content["findings"].get("deficiencies", "")}),
        *(block for item in items for block in _work_order(item, sheet, figures, pictured)),
        *table("This job is a retest", {"What": 40, "Value": 60},
               labelled("retest", {name: value for name, value in content["retest"].items()
                                   if name != "numbers"})),
    ]


def _picture(item: Content, figures: Figures) -> str:
    """The picture of a deficiency: that of its check, or else of its step."""
    return str(item["check"] if item["check"] in figures else item["step"])


def _work_order(item: Content, sheet: Sequence[Content], figures: Figures,
                pictured: dict[str, str]) -> list[Block]:
    """One deficiency so that whoever corrects it needs no other page; ``pictured`` keeps which
    pictures stand with which one already."""
    values = [f"{line['name']}: {line['recommended']}" for line in sheet
              if line["group"] == item["step"] and "settings sheet" in item["recommended"]
              and line["recommended"] != WITHHELD]
    picture = _picture(item, figures)
    first = pictured.setdefault(picture, item["number"])
    moved = str(item["recommended"]).partition(": ")[2] if item["causes"] else ""
    when, steps = moment(item["at"]), [step_title(step) for step in item["retest"]]
    causes = "\n".join(f"{n}. {cause}" for n, cause in enumerate(item["causes"], start=1))
    setting = " to ".join(filter(None, (item["setting_from"], item["setting_to"])))
    status = ", ".join(filter(None, (item["status"], item["status_by"], item["status_on"])))
    rows = {
        "Check, step": f"{item['check']}, {step_title(item['step'])}",
        "Event": ", ".join(filter(None, (points.plain(item["event"]), when))),
        "Found": points.plain(item["found"]), "Required": item["required"],
        "Likely causes": causes,
        "Recommended": moved[:1].upper() + moved[1:] or item["recommended"],
        "Settings sheet": "\n".join(values), "Setting to change, from and to": setting,
        "Severity, due": ", ".join(filter(None, (item["severity"], item["due"]))),
        "Responsible": item["responsible"], "Cost borne by": item["cost_party"],
        "Corrective action": item["corrective_action"], "Status": status,
        "Steps to repeat": "; ".join(steps),
        "Remark": item["remark"],
        "Picture": f"with deficiency {first}"
                   if first != item["number"] and picture in figures else ""}
    return [*table(f"Deficiency {item['number']}", {"What": 20, item["title"]: 80},
                   [[label, value] for label, value in rows.items() if value]),
            *(figure(picture, item["title"], figures) if first == item["number"] else [])]
