"""The settings sheet and the sequence replayed, as a job has them and as its record states them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fptlib.job.folder import Job, lookup
from fptlib.physics.errors import ImpossibleState
from fptlib.procedure.feasibility import UNKNOWN
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.replay import Disagreement, disagreements
from fptlib.procedure.settings_sheet import Sheet, sheet
from fptlib.procedure.verdict import NotTested


def made_of(job: Job, test: FunctionalTest) -> Sheet:
    """The sheet of a job; where something it needs is missing, one that says what."""
    try:
        return sheet(test, lookup(job.answers(), "settings", {}))
    except (NotTested, ImpossibleState) as missing:
        return Sheet(UNKNOWN, f"{missing}.", (), None, ())


def beside_plant(job: Job, test: FunctionalTest) -> tuple[list[Disagreement], str]:
    """Where the plant did otherwise than its sequence, or why that is not known."""
    try:
        return disagreements(test, lookup(job.answers(), "settings", {})), ""
    except (NotTested, ImpossibleState) as missing:
        return [], f"The sequence was not replayed: {missing}."


def stated(job: Job, test: FunctionalTest) -> dict[str, Any]:
    """Both as a record states them."""
    made, (found, missing) = made_of(job, test), beside_plant(job, test)
    return {
        "verdict": made.verdict, "reason": made.reason, "helps": list(made.helps),
        "lines": [asdict(line) for line in made.lines], "not_replayed": missing,
        "disagreements": [
            {"from": test.time(each.first).isoformat(),
             "minutes": (each.last - each.first + 1) * test.minutes, "plant": each.plant,
             "sequence": each.sequence, "reason": each.reason} for each in found]}
