"""Screening of one plant: from its job folder to a result, and to a record marked as such.

Its lost hours and their energy are those of the record (``procedure.savings``).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fptlib.errors import FptError
from fptlib.job.folder import Job
from fptlib.portfolio.result import NOT_TESTED, Hours, Row, Screening, unforeseen
from fptlib.procedure import approaches, enable, savings
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks, judge
from fptlib.procedure.verdict import Check
from fptlib.record.payload import payload

STATEMENT = ("Screening: computed from the job's trends alone, by one who was not on site. "
             "Unsigned. It says where to look first and proves nothing.")
PARTS = 52


def screen_with_record(
    folder: Path | str, plant: str = ""
) -> tuple[Screening, dict[str, Any] | None]:
    """Judge one plant: the result and the payload of an unsigned record, ``None`` without one.

    Reads the job folder and changes nothing in it. ``plant`` is what to call it, the folder's
    name where left out. Input that cannot be used gives a result whose ``error`` says so.
    """
    plant = plant or Path(folder).name
    try:
        job = Job(folder)
        test = assemble(job, keep=False)
        record, problem = _record(job, test)
        return _result(plant, job, test, problem), record
    except FptError as error:
        return Screening(plant, error=str(error)), None
    # A fault of this program, or a folder that cannot be read, costs this plant only.
    except Exception as error:  # noqa: BLE001
        return Screening(plant, error=unforeseen(error)), None


def _record(job: Job, test: FunctionalTest) -> tuple[dict[str, Any] | None, str]:
    try:
        stated = payload(job, test.grid, test.limits, all_checks(test), test.readings,
                         test.instruments)
    except FptError as error:
        return None, str(error)
    except OSError as error:
        return None, f"the job folder does not let its record be made: {error.strerror or error}"
    return {"screening": True, "statement": STATEMENT, "payload": stated}, ""


def _result(plant: str, job: Job, test: FunctionalTest, problem: str) -> Screening:
    return Screening(
        plant,
        title=str(job.get("job.title", "")),
        number=str(job.get("job.number", "")),
        invented=job.get("job.invented") is True,
        first=test.time(0).isoformat(), last=test.time(len(test)).isoformat(),
        rows=tuple(_row(check) for check in all_checks(test)),
        hours=hours(test),
        doubts=tuple(remark.text for remark in test.grid.remarks if remark.severity != "note"),
        record_problem=problem,
    )


def _row(check: Check) -> Row:
    worst = [event for event in check.events if event.verdict == check.verdict]
    deciding = min(worst, key=lambda e: float("inf") if e.margin is None else e.margin,
                   default=None)
    return Row(check.id, check.question, str(check.verdict), check.reason,
               deciding.start.isoformat() if deciding else "")


def hours(test: FunctionalTest) -> Hours:
    """The economizer hours of a test; the check ``enable.missed`` says what is missing for it."""
    def counted(flags: np.ndarray) -> float:
        return round(float(np.count_nonzero(flags)) * test.minutes / 60.0, 2)

    span = round(len(test) * test.minutes / 60.0, 2)
    missed = judge(test, "enable.missed")
    if missed.verdict == NOT_TESTED:
        return Hours(span, why_unknown=missed.reason)
    margin, lost = approaches.enable_margin(test), enable.lost_rows(test)
    holds, certain = margin >= 0.0, lost & (margin >= approaches.enable_uncertainty(test))
    unseen = np.isnan(margin + test.chillers_on + test.commanded)
    energy, chillers = savings.lost(test, lost), _mean(test, lost)
    economizer = None if chillers is None or energy.kw is None else round(chillers - energy.kw, 1)
    kwh, doubt = (None if each is None else round(each, 0)
                  for each in (energy.kwh, energy.uncertainty))
    return Hours(span, counted(unseen), counted(holds), counted(lost), counted(certain),
                 chillers, economizer, kwh, doubt, energy.problem, energy.amount,
                 energy.money, _parts(test, holds, lost))


def _mean(test: FunctionalTest, rows: np.ndarray) -> float | None:
    """Mean power in these rows [kW]."""
    if test.missing("power") or np.isnan(test.power[rows]).all():
        return None
    return round(float(np.nanmean(test.power[rows])), 1)


def _parts(test: FunctionalTest, holds: np.ndarray, lost: np.ndarray
           ) -> tuple[tuple[float, float], ...]:
    """Hours possible and lost in equal parts of the trends."""
    edges = np.linspace(0, len(holds), min(PARTS, len(holds)) + 1).astype(int)[:-1]
    share = test.minutes / 60.0
    possible, gone = (np.add.reduceat(flags.astype(np.int64), edges) * share
                      for flags in (holds, lost))
    return tuple((round(float(a), 2), round(float(b), 2))
                 for a, b in zip(possible, gone, strict=True))
