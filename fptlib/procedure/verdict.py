"""Verdicts, the rows that carry them, and the decision rule under uncertainty.

The rule compares the margin (positive inside the limit) with its expanded uncertainty,
as JCGM 106:2012 (guarded acceptance) and ILAC-G8:09/2019 describe it; both known here
from secondary sources, see the contributor guide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import pandas as pd

from fptlib.limits import Rule
from fptlib.physics.conformance import conformance_probability


class Verdict(StrEnum):
    """What a check can say."""

    PASS = "pass"
    FAIL = "fail"
    INDETERMINATE = "indeterminate"
    NOT_TESTED = "not tested"
    DEFERRED = "deferred"


# The worst event decides; what could not be judged never hides what was judged.
_WORST_FIRST = (
    Verdict.FAIL, Verdict.INDETERMINATE, Verdict.DEFERRED, Verdict.PASS, Verdict.NOT_TESTED,
)


@dataclass(frozen=True, slots=True)
class Event:
    """One event a check rests on: what was measured there and what came of it.

    ``margin`` is positive inside the limit; ``uncertainty`` is expanded (k = 2), in the
    unit of the check unless ``unit`` says otherwise; ``probability`` is that of
    conformance.
    """

    name: str
    start: pd.Timestamp
    end: pd.Timestamp | None
    verdict: Verdict
    text: str
    measured: float | None = None
    limit: float | None = None
    margin: float | None = None
    uncertainty: float | None = None
    probability: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One row of the record; it explains itself."""

    id: str
    question: str
    verdict: Verdict
    unit: str
    measured: float | None
    limit: float | None
    basis: str
    margin: float | None
    uncertainty: float | None
    probability: float | None
    events: tuple[Event, ...]
    reason: str
    meaning: str
    adjust: str
    missing: tuple[str, ...] = ()

    @property
    def step(self) -> str:
        """The step the check belongs to."""
        return self.id.split(".", 1)[0]


def decide(margin: float, uncertainty: float, rule: Rule) -> Verdict:
    """The verdict on a margin with its expanded uncertainty (k = 2), same unit."""
    accept = uncertainty if rule in (Rule.GUARDED_ACCEPTANCE, Rule.GUARDED_BOTH) else 0.0
    reject = uncertainty if rule in (Rule.GUARDED_REJECTION, Rule.GUARDED_BOTH) else 0.0
    if margin >= accept:
        return Verdict.PASS
    # The limit itself belongs to the good side.
    if margin < -reject:
        return Verdict.FAIL
    return Verdict.INDETERMINATE


def conformance(margin: float, uncertainty: float) -> float:
    """Probability that the true value keeps the limit, for a normal error (JCGM 106)."""
    return conformance_probability(margin, uncertainty / 2.0, lower=0.0)


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """The verdict that decides; ``not tested`` where there is none."""
    return min(verdicts, key=_WORST_FIRST.index, default=Verdict.NOT_TESTED)
