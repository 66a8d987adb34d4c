"""Verdicts, the rows that carry them, and the decision rule under uncertainty.

The rule compares the margin (positive inside the limit) with its expanded uncertainty,
as JCGM 106:2012 (guarded acceptance) and ILAC-G8:09/2019 describe it; both known here
from secondary sources, see the contributor guide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from fptlib.errors import FptError
from fptlib.limits import Rule
from fptlib.physics.conformance import conformance_probability


class Verdict(StrEnum):
    """What a check can say."""

    PASS = "pass"
    FAIL = "fail"
    INDETERMINATE = "indeterminate"
    NOT_TESTED = "not tested"
    DEFERRED = "deferred"
    NOT_APPLICABLE = "not applicable"


# What stands before a verdict's word, on screen and on paper; color alone says nothing.
MARKS = {
    Verdict.PASS: "✓", Verdict.FAIL: "✗", Verdict.INDETERMINATE: "?", Verdict.NOT_TESTED: "–",
    Verdict.DEFERRED: "…", Verdict.NOT_APPLICABLE: "⊘",
}
# The worst event decides; what could not be judged, or only at light load, never hides what was.
_WORST_FIRST = (
    Verdict.FAIL, Verdict.INDETERMINATE, Verdict.PASS, Verdict.DEFERRED, Verdict.NOT_TESTED,
    Verdict.NOT_APPLICABLE,
)


class NotTested(FptError):
    """A check that cannot be judged; says why in one sentence, wherever nobody judges too."""

    verdict = Verdict.NOT_TESTED
    missing: tuple[str, ...] = ()


class NotTrended(NotTested):
    """Points that something rests on and nobody trended."""

    def __init__(self, *missing: str) -> None:
        super().__init__("not trended: " + ", ".join(missing))
        self.missing = missing


class Deferred(NotTested):
    """A check whose season or load has not come; says what to wait for."""

    verdict = Verdict.DEFERRED


class NotApplicable(NotTested):
    """A check that this plant does not need; says why and who decided."""

    verdict = Verdict.NOT_APPLICABLE


# A check whose id does not begin with its step's name stands in the step given here.
_STEP_OF = {"abort": "handover", "cold": "running"}


def step_of(id: str) -> str:
    """The step that a check belongs to, by the check's id."""
    prefix = id.split(".", 1)[0]
    return _STEP_OF.get(prefix, prefix)


@dataclass(frozen=True, slots=True)
class Event:
    """One event a check rests on: what was measured there and what came of it.

    ``changeover`` is its number, 0 where the event belongs to none; ``subject`` the chiller,
    cell or quantity; ``first`` and ``last`` its rows on the grid, ``start`` and ``end`` when
    they begin. ``margin`` is positive inside the limit; ``uncertainty`` is expanded (k = 2), in
    ``unit``; ``probability`` is that of conformance. ``quantities`` are what the check's formula
    was given and what it made of it, each under its name with its unit.
    """

    changeover: int
    subject: str
    start: datetime
    end: datetime | None
    verdict: Verdict
    text: str
    measured: float | None = None
    limit: float | None = None
    margin: float | None = None
    uncertainty: float | None = None
    probability: float | None = None
    unit: str = ""
    first: int | None = None
    last: int | None = None
    quantities: Mapping[str, float | str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """How reports call it."""
        number = f"changeover {self.changeover}" if self.changeover else ""
        # "changeover 3 to 4" reads on; everything else is a part of it.
        joint = " " if self.subject.startswith("to ") else ", "
        return joint.join(part for part in (number, self.subject) if part)


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
        return step_of(self.id)


def decide(margin: float, uncertainty: float, rule: Rule, tolerance: float = 0.0,
           reserve: float = 0.0) -> Verdict:
    """The verdict on a margin with its expanded uncertainty (k = 2), same unit.

    ``tolerance`` is by how much a setting may be missed: what reaches the setting within it
    passes, however rounding and sampling show it, and only what misses it by more fails.
    ``reserve`` is what the limit itself holds for the uncertainty: a pass needs no guard for it.
    """
    accept = uncertainty if rule in (Rule.GUARDED_ACCEPTANCE, Rule.GUARDED_BOTH) else 0.0
    reject = uncertainty if rule in (Rule.GUARDED_REJECTION, Rule.GUARDED_BOTH) else 0.0
    if margin + tolerance >= max(accept - tolerance - reserve, 0.0):
        return Verdict.PASS
    # The limit itself belongs to the good side.
    if margin + tolerance < -reject:
        return Verdict.FAIL
    return Verdict.INDETERMINATE


def conformance(margin: float, uncertainty: float) -> float:
    """Probability that the true value keeps the limit, for a normal error (JCGM 106)."""
    return conformance_probability(margin, uncertainty / 2.0, lower=0.0)


def worst(verdicts: Sequence[Verdict]) -> Verdict:
    """The verdict that decides; ``not tested`` where there is none."""
    return min(verdicts, key=_WORST_FIRST.index, default=Verdict.NOT_TESTED)
