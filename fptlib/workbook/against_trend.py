"""How a field reading fits the trend of its minute, told at once; judged where step 1 judges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from fptlib.errors import FptError
from fptlib.job.folder import Job
from fptlib.procedure import instruments
from fptlib.procedure.assemble import assemble
from fptlib.procedure.verdict import Event, Verdict
from fptlib.workbook.verdicts import with_unit

_WORDS: Mapping[Verdict, str] = {
    Verdict.PASS: "agrees with the trend",
    Verdict.FAIL: "does not agree with the trend; read once more before you go on",
    Verdict.INDETERMINATE: "is too near the limit to say whether it agrees with the trend",
}


def told(job: Job, row: Mapping[str, Any]) -> tuple[str, str]:
    """One sentence on a saved reading that agrees, or else one on what is wrong with it; both
    are empty where there is no trend to compare it with."""
    try:
        found = _judged(job, row)
    except FptError:
        # A job whose trends cannot be read yet still takes readings.
        return "", ""
    if found is None or found.measured is None:
        return "", ""
    return (_sentence(found), "") if found.verdict is Verdict.PASS else ("", _sentence(found))


def _sentence(found: Event) -> str:
    return (f"{_WORDS[found.verdict]}: {found.text}; difference "
            f"{with_unit(found.measured, found.unit)} ± {with_unit(found.uncertainty, found.unit)},"
            f" at most {with_unit(found.limit, found.unit)}")


def _judged(job: Job, row: Mapping[str, Any]) -> Event | None:
    case = assemble(job)
    when = datetime.fromisoformat(str(row["time"]))
    same = [r for r in case.readings if (r.point, r.time) == (row["point"], when)]
    if not same:
        return None
    return instruments.agreement(replace(case, readings=same[-1:])).events[0]
