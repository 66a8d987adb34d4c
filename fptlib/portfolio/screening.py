"""Screening of one plant: from its job folder to a result, and to a record marked as such."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fptlib.errors import FptError
from fptlib.job.folder import Job, lookup
from fptlib.portfolio.hours import hours
from fptlib.portfolio.result import Row, Screening, unforeseen
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check
from fptlib.record.payload import payload

STATEMENT = ("Screening: computed from the job's trends alone, by one who was not on site. "
             "Unsigned. It says where to look first and proves nothing.")


def screen_with_record(
    folder: Path | str, plant: str = ""
) -> tuple[Screening, dict[str, Any] | None]:
    """Judge one plant: the result and the payload of an unsigned record, ``None`` without one.

    Reads the job folder and changes nothing in it. ``plant`` is what to call it, the folder's
    name where left out. Input that cannot be used gives a result whose ``error`` says so.
    """
    plant = plant or Path(folder).name
    try:
        return _screen(Job(folder), plant)
    except FptError as error:
        return Screening(plant, error=str(error)), None
    # A fault of this program, or a folder that cannot be read, costs this plant only.
    except Exception as error:
        return Screening(plant, error=unforeseen(error)), None


def _screen(job: Job, plant: str) -> tuple[Screening, dict[str, Any] | None]:
    case = assemble(job, keep=False)
    checks = all_checks(case)
    record, problem = _record(job, case, checks)
    return _result(plant, job.answers(), case, checks, problem), record


def _record(job: Job, case: FunctionalTest, checks: list[Check]) -> tuple[dict[str, Any] | None, str]:
    try:
        stated = payload(job, case.grid, case.limits, checks, case.readings, case.instruments)
    except FptError as error:
        return None, str(error)
    except OSError as error:
        return None, f"the job folder does not let its record be made: {error.strerror or error}"
    return {"screening": True, "statement": STATEMENT, "payload": stated}, ""


def _result(plant: str, answers: Mapping[str, Any], case: FunctionalTest, checks: list[Check],
            problem: str) -> Screening:
    return Screening(
        plant,
        title=str(lookup(answers, "job.title", "")),
        number=str(lookup(answers, "job.number", "")),
        invented=lookup(answers, "job.invented", False) is True,
        first=case.time(0).isoformat(), last=case.time(len(case)).isoformat(),
        rows=tuple(_row(check) for check in checks),
        hours=hours(case, next(check for check in checks if check.id == "enable.missed")),
        doubts=tuple(remark.text for remark in case.grid.remarks
                     if remark.severity != "note"),
        record_problem=problem,
    )


def _row(check: Check) -> Row:
    worst = [event for event in check.events if event.verdict == check.verdict]
    deciding = min(worst, key=lambda e: float("inf") if e.margin is None else e.margin,
                   default=None)
    return Row(check.id, check.question, str(check.verdict), check.reason,
               deciding.start.isoformat() if deciding else "", check.missing)
