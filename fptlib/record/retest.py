"""Retest: what it starts with, what it refers to and repeats, and what it closes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, Job, now
from fptlib.job.start import start_with
from fptlib.job.tables import AFTER, RESULTS
from fptlib.procedure.verdict import Verdict, step_of
from fptlib.record import schema, signing
from fptlib.record.deficiencies import performed, still_open
from fptlib.record.recalculate import text_of
from fptlib.record.text import one_line

# What belongs to plant, site and the agreed way of testing; all else is of the test as made.
_KEPT = ("job", "site", "plant", "sequence", "settings", "tariff", "files", "points", "sensors",
         "limits", "people", "instruments", "abort", "test", "script", "deficiencies", "procedure")
_SIGNED_OFF = ("done", "by")
_SUFFIX = ", retest"
_UNPROVEN = (Verdict.NOT_TESTED, Verdict.DEFERRED, "")


def start_retest(folder: Path | str, record: bytes, title: str = "") -> Job:
    """A new job folder that repeats an earlier test after correction.

    It has the plant, site, points, limits and people of the earlier test's record and refers
    to it; what was found, marked and signed off then is left out.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
        JobError: the folder is there already and not empty.
    """
    return start_with(folder, answers(record, title))


def answers(record: bytes, title: str = "") -> str:
    """The text of the retest's ``job.toml``; comments of what is taken over stay.

    Args:
        record: the earlier test's record; its signatures must match.
        title: title of the retest; the earlier one's with a word added where left out.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
    """
    content = schema.current(signing.read_whole(record).payload)
    earlier = content["job"]
    try:
        document = tomlkit.parse(text_of(JOB_FILE, content["inputs"]))
    except TOMLKitError as error:
        raise RecordError(f"the record's text of {JOB_FILE} cannot be read: {error}; take another "
                          "record of that job") from error
    for name in [name for name in document if name not in _KEPT]:
        document.remove(name)
    document["job"] = {
        "title": title or earlier["title"].removesuffix(_SUFFIX) + _SUFFIX,
        "condition": "natural", "created": now().isoformat(),
        # An invented plant stays one, and every page says so.
        **({"invented": True} if earlier["invented"] else {}),
    }
    for name in AFTER.answers:
        document.get("test", {}).pop(name, None)
    for step in document.get("script", []):
        for name in RESULTS:
            step.pop(name, None)
    if content["prerequisites"]:
        # Every one is to be signed off again.
        document["prerequisites"] = listed = tomlkit.aot()
        for row in content["prerequisites"]:
            listed.append(tomlkit.item({k: v for k, v in row.items() if k not in _SIGNED_OFF}))
    document["retest"] = reference(record)
    return tomlkit.dumps(document)


def reference(record: bytes) -> dict[str, Any]:
    """What a retest's ``job.toml`` holds under ``[retest]`` to refer to a record.

    Raises:
        RecordError: the record is damaged or of an unknown kind.
    """
    found = signing.read(record)
    content = schema.current(found.payload)
    items = still_open(content["deficiencies"])
    return {
        "of_job": content["job"]["number"], "of_record": found.digest,
        "deficiencies": [item["number"] for item in items],
        "numbers": {item["check"]: item["number"] for item in content["deficiencies"]},
        "steps": list(dict.fromkeys(step for item in items for step in item["retest"])),
    }


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


def compare(before: bytes, after: bytes) -> list[Comparison]:
    """Every check of either record, and every step of its script that was performed, before and
    after.

    Raises:
        RecordError: a record is damaged or of an unknown kind.
    """
    old, new = (_judged(schema.current(signing.read(record).payload)) for record in (before, after))
    return [_comparison(id, old.get(id, {}), new.get(id, {})) for id in {**old, **new}]


def _judged(content: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    steps = [row for row in performed(content["script"], content["checks"])
             if row["verdict"] != Verdict.NOT_TESTED]
    return {row["id"]: row for row in [*content["checks"], *steps]}


def _comparison(id: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Comparison:
    words = new or old
    return Comparison(
        id, words["question"], words["unit"], old.get("verdict", ""), new.get("verdict", ""),
        old.get("measured"), new.get("measured"),
    )


def newly_failing(rows: Sequence[Comparison]) -> list[str]:
    """The checks that fail in the retest and did not fail before."""
    return [row.check for row in rows
            if row.after == Verdict.FAIL and row.before != Verdict.FAIL]


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


def _open(item: Mapping[str, Any], compared: Sequence[Comparison]) -> str:
    """Why a deficiency is not closed, or nothing."""
    for row in compared:
        if row.check == item["check"] and row.after != Verdict.PASS:
            return f"{row.check} is {row.after or 'absent'} in the retest"
    for row in compared:
        if step_of(row.check) not in item["retest"]:
            continue
        if row.after == Verdict.FAIL:
            return f"{row.check}, which the correction bears on, fails in the retest"
        if row.after in _UNPROVEN and row.before not in _UNPROVEN:
            return f"{row.check} has to be repeated; it is {row.after or 'absent'}"
    return ""
