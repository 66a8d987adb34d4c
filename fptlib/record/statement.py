"""What a record says of itself on its first page: whether a test was performed, whether it is
preliminary and why, the conclusion made from the verdicts, and what each signature stands for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fptlib.job.roles import LEAST_APPROVERS
from fptlib.job.schema import STARTED
from fptlib.procedure.verdict import Verdict
from fptlib.record.deficiencies import still_open

Content = Mapping[str, Any]
PERFORMED, ANALYSIS = "functional test", "trend analysis, no functional test"
DONE_OUTCOMES = ("pass", "fail")
_MOST_NAMED = 3


def statement(content: Content) -> dict[str, Any]:
    """The statement of a payload whose other members are complete."""
    return {"kind": kind(content), "preliminary": preliminary(content),
            "conclusion": conclusion(content),
            "conclusion_of_the_engineer": str(content["findings"].get("conclusion", "")).strip()}


def kind(content: Content) -> str:
    """A functional test where a step of the script was performed, or a live test was marked."""
    performed = any(row.get("outcome") in DONE_OUTCOMES for row in content["script"])
    started = any(mark.get("what") == STARTED for mark in content["marks"])
    return PERFORMED if performed or started else ANALYSIS


def preliminary(content: Content) -> list[str]:
    """Every essential that is missing, one sentence each; none where the record is complete."""
    limits, found = content["limits"], []
    found += unapproved(content["approvals"], content["procedure"].get("approvers", ()))
    found += [f"The plan was changed after the {row.get('role', '')} approved it: "
              f"{', '.join(row['changed'])}." for row in content["approvals"]
              if row.get("changed")]
    if not content["abort"]:
        found.append("The plan states no abort condition.")
    if limits["unchanged_since_frozen"] is None:
        found.append("The limits were not frozen before the trends were read.")
    if limits["unchanged_since_frozen"] is False:
        found.append("Limits were changed after they had been frozen.")
    if not content["prerequisites"]:
        found.append("No prerequisite is listed.")
    found += [f"Prerequisite open: {row.get('text', '')}." for row in content["prerequisites"]
              if not (row.get("done") and row.get("by"))]
    found += [f"Override of {row.get('point', '')} not released and verified."
              for row in content["overrides"]
              if not (row.get("released") and row.get("readback"))]
    if undone := [str(row["number"]) for row in content["script"]
                  if row.get("outcome") not in DONE_OUTCOMES and not row.get("remark")]:
        found.append("Steps of the test script neither performed nor explained: "
                     f"{_named(undone, 10)}.")
    return found


def unapproved(approvals: Sequence[Content], asked: Sequence[str]) -> list[str]:
    """What the plan's approval lacks: a signature at all, one that the firm asks for (the owner's
    and the engineer's where it names nobody), or a key of its own for each."""
    # The first part of a signed line states its key.
    signed = {row.get("role"): str(row["signed"]).split(".")[0]
              for row in approvals if "signed" in row}
    entered = ", ".join(f"{row.get('role', '?')} {row.get('name', '?')}" for row in approvals)
    lacks = [] if signed else [f"The plan's approval was entered, not signed: {entered}."
                               if entered else "The plan was not approved."]
    keys, wanted = list(signed.values()), asked or (LEAST_APPROVERS if signed else ())
    shared = [role for role, key in signed.items() if keys.count(key) > 1]
    return [*lacks, *(f"The plan lacks the signed approval of the {role}." for role in wanted
                      if role not in signed),
            *([f"One key signed the plan's approval for {' and '.join(map(str, shared))}."]
              if shared else [])]


def script_counted(content: Content) -> str:
    """How many steps of the script came out how; empty where there is none."""
    found = [row.get("outcome") or "not done" for row in content["script"]]
    said = [f"{words} {found.count(word)}" for word, words in (
        ("pass", "passed"), ("fail", "failed"), ("not done", "not done")) if word in found]
    steps = "step" if len(found) == 1 else "steps"
    return f"{len(found)} {steps}: {', '.join(said)}" if found else ""


def conclusion(content: Content) -> str:
    """Two sentences made from the verdicts: whether the plant may change over, and what was not
    proven."""
    return f"{_what_failed(content)} {counted(content)}"


def _what_failed(content: Content) -> str:
    items = still_open(content["deficiencies"])
    critical = [item["title"] for item in items if item["severity"] == "critical"]
    if critical:
        return (f"The economizer must not run before {len(critical)} critical "
                f"{_plural('deficiency', len(critical))} of {len(items)} "
                f"{'is' if len(critical) == 1 else 'are'} corrected: "
                f"{_sentences(critical)}")
    if items:
        return (f"The changeover has {len(items)} {_plural('deficiency', len(items))} to be "
                f"corrected before acceptance: {_sentences([item['title'] for item in items])}")
    if any(check["verdict"] == Verdict.PASS for check in content["checks"]):
        return "No check of the changeover into and out of economizer mode failed."
    return "Nothing was proven."


_COUNTED = {"pass": "passed", "fail": "failed", "indeterminate": "could not be decided",
            "not tested": "not tested", "deferred": "deferred",
            "not applicable": "not applicable"}


def counted(content: Content) -> str:
    """How many checks came out how."""
    found = [check["verdict"] for check in content["checks"]]
    if not found:
        return "No check was made."
    said = [f"{words} {found.count(word)}" for word, words in _COUNTED.items() if word in found]
    return f"{len(found)} checks: {', '.join(said)}."


def _failed(content: Content) -> str:
    """How many checks and steps of the script failed; empty where none did."""
    checks = sum(check["verdict"] == Verdict.FAIL for check in content["checks"])
    steps = sum(row.get("outcome") == "fail" for row in content["script"])
    return " and ".join(f"{count} {one if count == 1 else more}" for count, one, more in (
        (checks, "check", "checks"), (steps, "step of the script", "steps of the script")) if count)


def _plural(word: str, count: int) -> str:
    return word if count == 1 else f"{word.removesuffix('y')}ies"


def _sentences(titles: Sequence[str]) -> str:
    first, *others = [title.rstrip(".") for title in titles[:_MOST_NAMED]]
    said = "; ".join([first, *(f"{title[:1].lower()}{title[1:]}" for title in others)])
    more = len(titles) - _MOST_NAMED
    return f"{said}; and {more} more." if more > 0 else f"{said}."


def _named(names: Sequence[str], most: int) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def signed_as(content: Content, role: str, sent_back: bool) -> str:
    """What a signature stands for: "accepted" only where the test was."""
    if sent_back:
        return "returned for correction"
    told = content["statement"]
    if role == "technician":
        return "analyzed" if told["kind"] == ANALYSIS else "performed"
    said = "witnessed" if role == "witness" else "reviewed"
    if failed := _failed(content):
        return f"{said}, not accepted: {failed} failed"
    proven = any(check["verdict"] == Verdict.PASS for check in content["checks"])
    if told["preliminary"] or told["kind"] != PERFORMED or not proven:
        return said if told["kind"] else "signed"
    return "accepted"
