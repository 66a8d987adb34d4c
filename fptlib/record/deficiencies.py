"""Deficiencies: each failed check as a numbered item somebody has to close.

What the job's people decided about an item (``[deficiencies."lift.minimum"]`` in job.toml:
severity, responsible, due, corrective_action, remark) replaces the default; the number and
what was found never change by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib.procedure.verdict import Verdict

CRITICAL, MAJOR, MINOR = "critical", "major", "minor"
# Common practice, no source: what can trip or harm a chiller first, then what lets the
# supply drift, then what costs energy.
_SEVERITY = {"lift": CRITICAL, "handover": MAJOR, "recovery": MAJOR, "exit": MAJOR,
             "enable": MAJOR, "reset": MAJOR, "instruments": MAJOR}
_DUE = {CRITICAL: "before the economizer operates again", MAJOR: "before acceptance",
        MINOR: "within 30 days"}
_RESPONSIBLE = {"instruments": "instrument technician"}
_DECIDED = ("severity", "responsible", "due", "corrective_action", "cost_party", "remark")


def from_checks(
    checks: Sequence[Mapping[str, Any]], decided: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """The deficiencies of a payload's ``checks``, numbered in the procedure's order."""
    failed = [check for check in checks if check["verdict"] == Verdict.FAIL.value]
    return [_item(f"D{n}", check, _decision(decided, check["id"]))
            for n, check in enumerate(failed, start=1)]


def _decision(decided: Mapping[str, Any], check: str) -> dict[str, str]:
    stated = decided.get(check, {})
    if not isinstance(stated, Mapping):
        return {}
    return {name: str(stated[name]) for name in _DECIDED if name in stated}


def _item(number: str, check: Mapping[str, Any], decision: Mapping[str, str]) -> dict[str, Any]:
    severity = decision.get("severity") or _SEVERITY.get(check["step"], MINOR)
    usual = {
        "severity": severity,
        "responsible": _RESPONSIBLE.get(check["step"], "controls contractor"),
        "due": _DUE.get(severity, ""),
        "corrective_action": "", "cost_party": "", "remark": "",
    }
    return {
        "number": number, "check": check["id"], "found": check["reason"],
        "recommended": check["adjust"], "retest": to_repeat(check["id"]), **usual, **decision,
    }


# A setting changed for one step bears on the steps that come after it in the changeover.
_INVALIDATES = {
    "instruments": ("instruments", "reset", "enable", "lift", "handover", "recovery", "running",
                    "exit", "transition"),
    "reset": ("reset", "enable", "handover", "recovery", "exit"),
    "enable": ("enable", "handover", "transition"),
    "lift": ("lift", "handover", "recovery"),
    "handover": ("handover", "recovery"),
    "recovery": ("recovery",),
    "running": ("running", "transition"),
    "exit": ("exit", "transition"),
    "transition": ("enable", "exit", "transition"),
}


def to_repeat(check: str) -> list[str]:
    """The steps whose checks a correction of this check invalidates."""
    step = check.split(".", 1)[0]
    return list(_INVALIDATES.get(step, (step,)))
