"""Retest: what it refers to, what it has to repeat, what it closes, before and after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fptlib.errors import RecordError
from fptlib.procedure.verdict import Verdict
from fptlib.record import schema, signing
from fptlib.record.text import one_line


@dataclass(frozen=True, slots=True)
class Comparison:
    """One check before and after; a verdict is empty where the record has no such check."""

    check: str
    question: str
    unit: str
    before: str
    after: str
    measured_before: float | None
    measured_after: float | None


@dataclass(frozen=True, slots=True)
class Closing:
    """Whether a deficiency is closed; ``reason`` says why it is not."""

    number: str
    check: str
    reason: str = ""

    @property
    def closed(self) -> bool:
        """Nothing keeps the deficiency open."""
        return not self.reason

    def line(self) -> str:
        """What became of the deficiency, as a line of text."""
        state = "closed" if self.closed else f"open: {self.reason}"
        return one_line(f"{self.number} {self.check}: {state}")


def reference(record: bytes) -> dict[str, Any]:
    """What a retest's ``job.toml`` holds under ``[retest]`` to refer to a record.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
    """
    found = signing.read(record)
    content = schema.current(found.payload)
    items = content["deficiencies"]
    steps = dict.fromkeys(step for item in items for step in item["retest"])
    return {
        "of_job": content["job"]["number"], "of_record": found.digest,
        "deficiencies": [item["number"] for item in items], "steps": list(steps),
    }


def compare(before: bytes, after: bytes) -> list[Comparison]:
    """Every check of either record, before and after.

    Raises:
        RecordError: a record is damaged or of an unknown kind.
    """
    old, new = _checks(before), _checks(after)
    return [_comparison(id, old.get(id, {}), new.get(id, {}))
            for id in dict.fromkeys([*old, *new])]


def newly_failing(rows: list[Comparison]) -> list[str]:
    """The checks that fail in the retest and did not fail before."""
    return [row.check for row in rows
            if row.after == Verdict.FAIL and row.before != Verdict.FAIL]


def _checks(record: bytes) -> dict[str, Mapping[str, Any]]:
    return {row["id"]: row for row in schema.current(signing.read(record).payload)["checks"]}


def _comparison(id: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Comparison:
    words = new or old
    return Comparison(
        id, words["question"], words["unit"], old.get("verdict", ""), new.get("verdict", ""),
        old.get("measured"), new.get("measured"),
    )


def closings(before: bytes, after: bytes) -> list[Closing]:
    """What became of each deficiency of ``before`` in the retest ``after``.

    A deficiency is closed where its check passes and every check of the steps that the
    correction bears on, and that were judged before, is judged again and does not fail.

    Raises:
        RecordError: a record is damaged, or the retest does not refer to the first record.
    """
    first, second = signing.read(before), signing.read(after)
    stated = schema.current(second.payload)["retest"].get("of_record", "")
    if stated != first.digest:
        raise RecordError(
            f"the retest refers to record {str(stated)[:16] or '(none)'}, not to "
            f"{first.digest[:16]}; put its digest into job.toml under [retest] as of_record"
        )
    compared = compare(before, after)
    return [Closing(item["number"], item["check"], _open(item, compared))
            for item in schema.current(first.payload)["deficiencies"]]


def _open(item: Mapping[str, Any], compared: list[Comparison]) -> str:
    unproven = (Verdict.NOT_TESTED, Verdict.DEFERRED, "")
    for row in compared:
        if row.check == item["check"] and row.after != Verdict.PASS:
            return f"{row.check} is {row.after or 'absent'} in the retest"
    for row in compared:
        if row.check.split(".", 1)[0] not in item["retest"]:
            continue
        if row.after == Verdict.FAIL:
            return f"{row.check}, which the correction bears on, fails in the retest"
        if row.after in unproven and row.before not in unproven:
            return f"{row.check} has to be repeated; it is {row.after or 'absent'}"
    return ""
