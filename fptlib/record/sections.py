"""The sections of a report, each made of the payload's members alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib.limits import COMMON_PRACTICE
from fptlib.procedure.verdict import Verdict
from fptlib.record.blocks import Block, facts, figure, flat, paired, section, table, text
from fptlib.record.text import clean, likelihood, moment, number, span, unit_shown

Content = Mapping[str, Any]
_OVERRIDE_OPEN = "NOT RELEASED"
_MOST_CAUTIONS = 8


def all_sections(content: Content, figures: Mapping[str, bytes]) -> list[dict[str, Any]]:
    """Every section with its blocks, the summary first."""
    return [
        section("Verdict per step", _summary(content)),
        section("Cautions", _cautions(content)),
        section("Plant and conditions", _conditions(content)),
        section("Deficiencies and retest", _deficiencies(content)),
        *(section(step["title"], _step(content, step, figures)) for step in content["steps"]),
        section("Readings and instruments", _readings(content)),
        section("Limits in force", _limits(content)),
        section("People, prerequisites, overrides", _people(content)),
        section("Trends and files", _files(content)),
    ]


def _summary(content: Content) -> list[Block]:
    found = content["findings"].get("summary", "")
    rows = [_summary_row(content, step) for step in content["steps"]]
    return [
        *table("", ["Step", "Verdict", "Checks", "What decided"], rows, (24, 18, 18, 40)),
        *([text(f"Findings: {found}")] if found else []),
    ]


def _summary_row(content: Content, step: Content) -> list[Any]:
    checks = [check for check in content["checks"] if check["step"] == step["step"]]
    verdict = Verdict(step["verdict"])
    counts = ", ".join(f"{count} {name}" for name, count in step["counts"].items() if count)
    deciding = [check for check in checks if check["verdict"] == verdict.value]
    decided = "every check passed" if verdict is Verdict.PASS and len(deciding) == len(checks) \
        else deciding[0]["reason"] if deciding else "no check was made"
    return [step["title"], verdict, counts or "none", decided]


def _cautions(content: Content) -> list[Block]:
    return [text(caution) for caution in [
        *_condition_cautions(content), *_limit_cautions(content), *_override_cautions(content),
        *_trend_cautions(content),
    ]]


def _trend_cautions(content: Content) -> list[str]:
    remarks = content["trends"]["remarks"]
    unusable = [f"Not used: {remark['text']} ({remark['point'] or remark['file'] or 'trends'})"
                for remark in remarks if remark["severity"] == "unusable"]
    doubts = sum(remark["severity"] == "doubt" for remark in remarks)
    shown, rest = unusable[:_MOST_CAUTIONS], len(unusable) - _MOST_CAUTIONS
    return [
        *shown,
        *([f"{rest} more points are not used."] if rest > 0 else []),
        *([f"{doubts} doubts about the trends are listed under Trends and files."]
          if doubts else []),
    ]


def _condition_cautions(content: Content) -> list[str]:
    said = []
    if content["job"]["invented"]:
        said.append("The data of this record are invented, for demonstration; no such plant "
                    "exists.")
    condition = content["job"]["condition"]
    if condition not in ("", "natural"):
        said.append(f"The condition was {condition}, not natural: the test shows what the "
                    "controls do, not what the plant can carry.")
    if not content["readings"]:
        said.append("No field reading was taken: the trends were not compared with an "
                    "instrument.")
    return said


def _limit_cautions(content: Content) -> list[str]:
    unchanged = content["limits"]["unchanged_since_frozen"]
    if unchanged is None:
        return ["The acceptance limits were not frozen before the trends were read."]
    return [] if unchanged else [
        "The acceptance limits were changed after they had been frozen; see the limits in force."]


def _override_cautions(content: Content) -> list[str]:
    return [f"The override of {entry.get('point', 'a point')} is not shown as released."
            for entry in content["overrides"] if not entry.get("released")]


def _conditions(content: Content) -> list[Block]:
    test, site, plant = content["test"], content["site"], content["plant"]
    return [
        *facts([
            ("Purpose", test["purpose"]), ("Requirement", test["requirement"]),
            ("Test revision", test["revision"]),
            ("Sequence of operation", " ".join(
                part for part in (test["sequence"], test["sequence_revision"]) if part)),
            ("Condition", content["job"]["condition"]),
            ("Altitude", number(site.get("altitude"), "ft") if "altitude" in site else ""),
            ("Time zone", test["time_zone"]), ("Weather, as noted", test["weather"]),
            *((f"Trended {name.replace('_', ' ')}",
               f"{number(span['lowest'])} to {number(span['highest'], span['unit'])}")
              for name, span in test["observed_weather"].items()),
            ("Initial conditions", test["initial_conditions"]), ("Sampling", test["sampling"]),
            ("Deferred until", test["deferred_until"]),
            ("Reason of deferral", test["deferral_reason"]),
            ("Safe state", test["safe_state"]),
            ("Returned to normal", test["returned_to_normal"]),
        ]),
        *table("Plant as the job states it", ["What", "Value"] * 2,
               paired(flat(plant)), (24, 26, 24, 26)),
        *table("Other answers given in the workbooks", ["What", "Answer"],
                flat(_other_answers(content)), (40, 60)),
    ]


def _other_answers(content: Content) -> dict[str, Any]:
    steps = {step["step"] for step in content["steps"]}
    return {name: value for name, value in content["answers"].items() if name not in steps}


def _deficiencies(content: Content) -> list[Block]:
    items = [
        [item["number"], item["check"], item["severity"], item["found"], item["recommended"],
         item["responsible"], item["due"]] for item in content["deficiencies"]
    ]
    return [
        *([] if items else [text("No check failed; there is no deficiency.")]),
        *facts([("Deficiencies as the engineer wrote them",
                  content["findings"].get("deficiencies", ""))]),
        *table("Deficiencies", ["No.", "Check", "Severity", "Found", "Recommended setting",
                                 "Responsible", "Due"], items, (5, 20, 8, 19, 25, 12, 11)),
        *table("Correction and retest", ["No.", "Corrective action", "Steps to repeat",
                                          "Cost borne by", "Remark"],
                [[item["number"], item["corrective_action"], ", ".join(item["retest"]),
                  item["cost_party"], item["remark"]] for item in content["deficiencies"]],
                (6, 32, 30, 14, 18)),
        *table("This job is a retest", ["What", "Value"], flat(content["retest"]), (40, 60)),
    ]


def _step(content: Content, step: Content, figures: Mapping[str, bytes]) -> list[Block]:
    checks = [check for check in content["checks"] if check["step"] == step["step"]]
    answers = flat(content["answers"].get(step["step"], {}))
    blocks = [block for check in checks for block in _check(check, figures)]
    return [
        *blocks,
        *figure(step["step"], step["title"], figures),
        *table("Answers given in the workbook", ["What", "Answer"], answers, (40, 60)),
    ]


def _check(check: Content, figures: Mapping[str, bytes]) -> list[Block]:
    unit = check["unit"]
    return [{
        "kind": "check", "id": clean(check["id"]), "question": clean(check["question"]),
        "verdict": check["verdict"], "reason": clean(check["reason"]),
        "values": [[label, number(check[name], unit)] for label, name in (
            ("Measured", "measured"), ("Limit", "limit"), ("Margin", "margin"),
            ("Uncertainty (k = 2)", "uncertainty")) if _stated(check, name)],
        "probability": likelihood(check["probability"]),
        "basis": clean(check["basis"]), "meaning": clean(check["meaning"]),
        "adjust": clean(check["adjust"]),
        "missing": ", ".join(clean(name) for name in check["missing"]),
        "events": _events(check),
    }, *figure(check["id"], check["question"], figures)]


def _stated(check: Content, name: str) -> bool:
    # Zero is what a check without an uncertainty of its own carries; it is no statement.
    return bool(check[name]) if name == "uncertainty" else check[name] is not None


def _events(check: Content) -> list[Block]:
    events = check["events"]
    rows = [[event["name"], span(event["start"], event["end"]), event["text"],
             Verdict(event["verdict"])] for event in events]
    if all(event["verdict"] == check["verdict"] for event in events):
        # The check's own verdict says it for each of them.
        return table("", ["Event", "When", "What was seen"], [row[:3] for row in rows],
                     (19, 26, 55))
    return table("", ["Event", "When", "What was seen", "Verdict"], rows, (17, 26, 43, 14))


def _readings(content: Content) -> list[Block]:
    readings = [
        [moment(row["time"]), row["point"], _read(row), row["instrument"], row["taken_by"],
         row["remark"]] for row in content["readings"]
    ]
    instruments = [
        [row["tag"], row["make_model"], row["serial"], row["range"],
         number(row["accuracy"], row["accuracy_unit"]),
         moment(row["calibrated"])[:10], moment(row["due"])[:10] or "not stated"]
        for row in content["instruments"]
    ]
    return [
        *table("Field readings", ["Time", "Point", "Value", "Instrument", "Taken by", "Remark"],
                readings, (18, 23, 13, 13, 16, 17)),
        *table("Field instruments", ["Tag", "Make and model", "Serial", "Range", "Accuracy ±",
                                      "Calibrated", "Due"],
                instruments, (11, 19, 14, 14, 14, 14, 14)),
    ]


def _read(row: Mapping[str, Any]) -> str:
    """A reading, and in brackets what was written down where that is in another unit."""
    value = number(row["value"], row["unit"])
    if row["taken_unit"] in ("", row["unit"]):
        return value
    return f"{value} ({clean(row['taken'])} {unit_shown(row['taken_unit'])})"


def _limits(content: Content) -> list[Block]:
    limits = content["limits"]
    frozen = limits["frozen"]
    deviations = [
        [row["name"], number(row["standard"], row["unit"]), number(row["value"], row["unit"]),
         row["deviation"]["reason"], row["deviation"]["author"], row["deviation"]["date"]]
        for row in limits["in_force"] if row["deviation"]
    ]
    return [
        *facts([
            ("Frozen", moment(frozen.get("at"))), ("Frozen by", frozen.get("by", "")),
        ]),
        *table("", ["Digest of the limits", "SHA-256"],
                [["when frozen", frozen.get("limits", "not frozen")],
                 ["in force", limits["digest"]]], (30, 70)),
        *table("Deviations from the standard", ["Limit", "Standard", "This job", "Reason",
                                                 "Author", "Date"],
                deviations, (20, 13, 13, 26, 14, 14)),
        *table("Every limit", ["Limit", "Value", "Meaning", "Basis"],
               [[row["name"], number(row["value"], row["unit"]), row["meaning"],
                 "" if row["basis"] == COMMON_PRACTICE else row["basis"]]
                for row in limits["in_force"]], (22, 14, 42, 22)),
        text(f"Where no basis is given it is {COMMON_PRACTICE}."),
    ]


def _people(content: Content) -> list[Block]:
    people = [[role, person.get("name", ""), person.get("firm_role", "")]
              for role, person in content["people"].items() if isinstance(person, Mapping)]
    return [
        *table("Participants", ["Role", "Name", "Function"], people, (25, 40, 35)),
        *_listed("Prerequisites", content["prerequisites"],
                 {"text": "What", "done": "Done", "by": "By"}, (60, 20, 20)),
        *table("Overrides", ["Point", "Value", "Placed", "Released", "Read back"],
                [[row.get("point", ""), number(row.get("value", "")), moment(row.get("placed")),
                  moment(row.get("released")) or _OVERRIDE_OPEN, row.get("readback", "")]
                 for row in content["overrides"]], (26, 12, 22, 22, 18)),
        *_listed("Abort conditions", content["abort"], {"text": "Condition"}, (100,)),
        *table("Moments marked by hand", ["Time", "What", "By"],
                [[moment(row.get("time")), row.get("what", ""), row.get("by", "")]
                 for row in content["marks"]], (25, 50, 25)),
    ]


def _listed(
    caption: str, rows: Sequence[Any], members: Mapping[str, str], widths: Sequence[int]
) -> list[Block]:
    cells = [[row.get(name, "") for name in members] for row in rows]
    return table(caption, list(members.values()), cells, widths)


def _files(content: Content) -> list[Block]:
    inputs = content["inputs"]
    small = [(name, inputs[name]) for name in ("job.toml", "readings.csv") if inputs[name]]
    program, clock = content["program"], content["clock"]
    return [
        *table("Points and where they come from", ["Point", "File, column and unit"] * 2,
               paired(content["trends"]["sources"].items()), (22, 28, 22, 28)),
        *table("Files with SHA-256", ["File", "Bytes", "SHA-256"],
                [[name, number(file["size"]), file["sha256"]]
                 for name, file in [*inputs["trends"].items(), *small]], (26, 12, 62)),
        *table("Workbooks used, SHA-256 of their code and text", ["Workbook", "SHA-256"],
                [[name, book["sha256"]]
                 for name, book in content["procedure"]["workbooks"].items()], (38, 62)),
        *table("What reading the trends did and found", ["Kind", "Where", "Remark"],
                [[row["severity"], row["point"] or row["file"], row["text"]]
                 for row in content["trends"]["remarks"]], (12, 28, 60)),
        *table("Alarms in the trends", ["Time", "Point", "Text"],
                [[moment(row["time"]), row["point"], row["text"]]
                 for row in content["trends"]["alarms"]], (25, 30, 45)),
        *facts([
            ("Program", f"{program['name']} {program['version']}, Python {program['python']}"),
            ("Packages", ", ".join(f"{name} {v}" for name, v in program["packages"].items())),
            ("Clock of the computer", f"{moment(clock['computer'])} ({clock['computer_zone']})"),
        ]),
    ]
