"""The report that sets a retest beside the record it refers to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fptlib.procedure.steps import TITLES
from fptlib.procedure.verdict import Verdict
from fptlib.record import retest, schema
from fptlib.record.blocks import figure, section, table
from fptlib.record.report import check_figures, numbered, signers_of, whole
from fptlib.record.retest import Closing, Comparison
from fptlib.record.text import clean, number


def both(
    before: Mapping[str, bytes], after: Mapping[str, bytes]
) -> dict[str, bytes]:
    """The figures of two records under names that tell them apart."""
    named = (("before", before), ("after", after))
    return {f"{when} {name}": image for when, figures in named for name, image in figures.items()}


def comparison_report(
    before: bytes, after: bytes, figures: Mapping[str, bytes]
) -> dict[str, Any]:
    """The report on a retest; ``figures`` are named as ``both`` names them.

    Raises:
        RecordError: a record is damaged, or the second does not refer to the first.
    """
    check_figures(figures)
    first, second = whole(before), whole(after)
    old, new = schema.current(first.payload), schema.current(second.payload)
    closings, rows = retest.closings(before, after), retest.compare(before, after)
    return {
        "title": f"Before and after: {clean(new['job']['title'])}",
        "facts": [["Before", f"job {clean(old['job']['number'])}, record {first.digest[:16]}"],
                  ["After", f"job {clean(new['job']['number'])}, record {second.digest[:16]}"]],
        "conclusion": _conclusion(closings, rows),
        "invented": new["job"]["invented"],
        "digest": second.digest,
        "signers": signers_of(second, new),
        "signed_at": second.signatures[-1].header["signed-at"],
        "sections": numbered([
            section("Deficiencies", _closings(closings)),
            section("Every check", _checks(rows)),
            section("Figures", _figures(rows, figures)),
        ]),
    }


def _conclusion(closings: list[Closing], rows: list[Comparison]) -> str:
    closed = sum(closing.closed for closing in closings)
    failing = retest.newly_failing(rows)
    worse = f" Failing now and not before: {', '.join(failing)}." if failing else ""
    return f"{closed} of {len(closings)} deficiencies are closed by the retest.{worse}"


def _closings(closings: list[Closing]) -> list[dict[str, Any]]:
    rows = [[item.number, item.check, "closed" if item.closed else "open", item.reason]
            for item in closings]
    return table("", ["No.", "Check", "State", "Why it is open"], rows, (8, 26, 12, 54))


def _checks(rows: list[Comparison]) -> list[dict[str, Any]]:
    made = [[row.check, row.question, _verdict(row.before), _verdict(row.after),
             number(row.measured_before, row.unit), number(row.measured_after, row.unit)]
            for row in rows]
    head = ["Check", "Question", "Before", "After", "Measured before", "Measured after"]
    return table("", head, made, (24, 22, 16, 16, 11, 11))


def _verdict(word: str) -> Verdict | str:
    return Verdict(word) if word else "not made"


def _figures(rows: list[Comparison], figures: Mapping[str, bytes]) -> list[dict[str, Any]]:
    checks = {row.check: row.question for row in rows}
    about = {**TITLES, **checks}
    # A figure belongs to a check or to a whole step.
    names = dict.fromkeys([*checks, *(check.split(".", 1)[0] for check in checks)])
    return [block for name in names for when in ("before", "after")
            for block in figure(
                f"{when} {name}", f"{when}: {about.get(name, name)}", figures)]
