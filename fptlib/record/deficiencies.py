"""Failed checks, and failed steps of the test script, as numbered work orders: what was found and
required, where and when, whose work it is, what to set, and how far its correction is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib.job.tables import DECISION
from fptlib.procedure.steps import CHECKS, JUDGED, TITLES
from fptlib.procedure.verdict import Verdict
from fptlib.units import shown

CRITICAL, MAJOR, MINOR = "critical", "major", "minor"
_WORST_FIRST = (CRITICAL, MAJOR, MINOR)
# Common practice, no source: what can trip or harm a chiller first, then what lets the
# supply drift, then what costs energy.
_SEVERITY = {"lift": CRITICAL, "handover": MAJOR, "recovery": MAJOR, "exit": MAJOR,
             "enable": MAJOR, "reset": MAJOR, "instruments": MAJOR, "abort.conditions": CRITICAL,
             "lift.release": MAJOR, "script": MAJOR, "cold.exchanger": CRITICAL,
             "cold.condenser_water": MAJOR,
             "cold.fans": MAJOR, "cold.cell_flow": MAJOR, "cold.basin": MAJOR,
             "cold.humidity": MAJOR}
_DUE = {CRITICAL: "before the economizer operates again", MAJOR: "before acceptance",
        MINOR: "within 30 days"}
# By kind of work (common practice, no source); all else is a setting of the controls.
_RESPONSIBLE = {"instruments": "instrument technician",
                "running.exchanger": "mechanical contractor",
                "load.fouling": "mechanical contractor",
                "load.pressure_drop": "mechanical contractor",
                "load.cause": "commissioning provider",
                "instruments.heat_balance": "instrument technician",
                "instruments.calibration": "commissioning provider",
                "lift.minimum": "controls contractor with the chiller manufacturer",
                "lift.chiller_on": "controls contractor with the chiller manufacturer",
                "cold.cell_flow": "mechanical contractor", "cold.basin": "electrical contractor",
                "abort.conditions": "commissioning provider"}
# A setting changed for one step bears on the steps that come after it in the changeover.
_INVALIDATES = {
    "instruments": tuple(step.name for step in JUDGED),
    "reset": ("reset", "enable", "handover", "recovery", "exit"),
    "enable": ("enable", "handover", "transition"),
    "lift": ("lift", "handover", "recovery"),
    "handover": ("handover", "recovery"),
    "recovery": ("recovery",),
    "running": ("running", "load", "transition"),
    "load": ("running", "load", "exit"),
    "exit": ("exit", "transition"),
    "transition": ("enable", "exit", "transition"),
}
_SCRIPT = "script."
OPEN, CORRECTED, VERIFIED, AS_IS = "open", "corrected", "verified", "accepted as is"
Row = Mapping[str, Any]


def deficiencies(checks: Sequence[Row], decided: Row, earlier: Row) -> list[dict[str, Any]]:
    """Each failed check or step as a numbered item somebody has to close, the critical ones first;
    after them those of the ``earlier`` test (numbers by check) that do not fail any more.

    What the job's people decided about an item (``[deficiencies."lift.minimum"]`` in job.toml)
    replaces the default; what was found never changes by hand. A retest keeps the numbers.
    """
    order = {severity: n for n, severity in enumerate(_WORST_FIRST)}
    found = [_deficiency(check, decided.get(check["id"], {})) for check in checks
             if check["verdict"] == Verdict.FAIL or check["id"] in earlier]
    found.sort(key=lambda item: (item["status"] == VERIFIED,
                                 order.get(item["severity"], len(order))))
    numbers = iter(f"D{n}" for n in range(1, len(found) + len(earlier) + 1)
                   if f"D{n}" not in earlier.values())
    return [{"number": earlier.get(item["check"]) or next(numbers), **item} for item in found]


def performed(script: Sequence[Row], checks: Sequence[Row]) -> list[dict[str, Any]]:
    """The steps of the test script as rows like those of checks, for what no check judges: an alarm
    that was not raised, a fan that did not start. A step one of whose checks fails is left out: the
    check says what is wrong."""
    failed = {check["id"] for check in checks if check["verdict"] == Verdict.FAIL}
    return [_as_check(row) for row in script if failed.isdisjoint(judges(row))]


def judges(row: Row) -> list[str]:
    """The ids of the checks that judge a step of the script."""
    return [id for id in str(row.get("checks", "")).replace(" ", "").split(",") if id]


def _as_check(row: Row) -> dict[str, Any]:
    number, outcome = row.get("number", 0), row.get("outcome")
    verdict = outcome if outcome in (Verdict.PASS, Verdict.FAIL) else Verdict.NOT_TESTED
    observed = str(row.get("observed", ""))
    event = {"name": f"step {number} of the test script", "start": row.get("time"),
             "verdict": verdict, "margin": None, "limit": None, "text": observed, "changeover": 0}
    return {"id": f"{_SCRIPT}{number}", "step": "script", "verdict": verdict, "events": [event],
            "question": str(row.get("action", "")), "reason": observed, "adjust": "",
            "meaning": f"Step {number} of the test script failed: {row.get('action', '')}",
            "expected": str(row.get("expected", "")), "unit": "", "measured": None}


def step_title(step: str) -> str:
    """A step to repeat as people read it, a single step of the test script too."""
    number = step.removeprefix(_SCRIPT)
    return TITLES.get(step) or (f"step {number} of the test script" if number != step else step)


def is_item(id: str) -> bool:
    """Whether a deficiency can have this id: that of a check, or of a step of the test script."""
    return id in CHECKS or (id.startswith(_SCRIPT) and id.removeprefix(_SCRIPT).isdecimal())


def still_open(items: Sequence[Row]) -> list[Row]:
    """The items that somebody still has to correct, or to verify."""
    return [item for item in items if item["status"] not in (VERIFIED, AS_IS)]


def _deficiency(check: Row, decided: Any) -> dict[str, Any]:
    decision = {name: str(decided[name]) for name in DECISION
                if isinstance(decided, Mapping) and name in decided}
    id, step, failed = check["id"], check["step"], check["verdict"] == Verdict.FAIL
    severity = decision.get("severity") or _SEVERITY.get(id, _SEVERITY.get(step, MINOR))
    worst = _worst(check)
    if failed and decision.get("status") == VERIFIED:
        # The check that fails here says otherwise.
        decision["status"] = OPEN
    elif check["verdict"] == Verdict.PASS:
        decision |= {"status": VERIFIED, "status_by": "this test"}
    return {
        "check": id, "step": step, "title": check["meaning"] if failed else check["question"],
        "event": worst.get("name", ""), "at": worst.get("start"),
        "found": _found(check, worst), "required": _required(check, worst),
        "causes": causes(check["adjust"]), "recommended": check["adjust"],
        "retest": [id] if step == "script" else list(_INVALIDATES.get(step, (step,))),
        "severity": severity, "due": _DUE.get(severity, ""),
        "responsible": _RESPONSIBLE.get(id, _RESPONSIBLE.get(step, "controls contractor")),
        "corrective_action": "", "setting_from": "", "setting_to": "", "cost_party": "",
        "remark": "", "status": OPEN, "status_by": "", "status_on": "", **decision,
    }


def _worst(check: Row) -> Row:
    """The failed event of the smallest margin, which decided the check."""
    failed = [event for event in check["events"] if event["verdict"] == Verdict.FAIL]
    return min(failed, default={}, key=lambda event: float("inf") if event["margin"] is None
               else event["margin"])


def _found(check: Row, worst: Row) -> str:
    """How many changeovers failed, and what was found in the worst."""
    if not worst:
        return str(check["reason"])
    unjudged = (Verdict.NOT_TESTED, Verdict.DEFERRED, Verdict.NOT_APPLICABLE)
    judged = {event["changeover"] for event in check["events"]
              if event["changeover"] and event["verdict"] not in unjudged}
    failed = {event["changeover"] for event in check["events"]
              if event["changeover"] and event["verdict"] == Verdict.FAIL}
    many = f"{len(failed)} of {len(judged)} changeovers failed; worst: " if len(judged) > 1 and \
        failed else ""
    return f"{many}{worst['name'] or check['question']}: {worst['text']}"


def _required(check: Row, worst: Row) -> str:
    """The limit of the worst event, in the unit of what was measured; of a step of the script what
    it was to show."""
    if "expected" in check:
        return str(check["expected"])
    if worst.get("limit") is None or worst.get("margin") is None:
        return ""
    bound = "at most" if worst["measured"] > worst["limit"] else "at least"
    unit = worst["unit"] or check["unit"]
    return f"{bound} {shown(worst['limit'], unit)}; measured {shown(worst['measured'], unit)}"


def causes(adjust: str) -> list[str]:
    """The likely causes that the advice lists, most likely first; none where it lists none."""
    if not adjust.startswith("Likely ") or ": " not in adjust:
        return []
    return adjust.removeprefix("Likely ").split(": ")[0].split(", then ")
