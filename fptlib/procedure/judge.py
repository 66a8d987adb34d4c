"""How a check is written down: a function that returns findings, made into one row.

A check's function takes the test, or one request, run or exit of it, and returns what it found:
a number, the limit it must keep, and how well it is known. The decorator adds everything that
is the same for all checks: points that are missing, the decision under uncertainty, what gaps
hide, what was cut off, parts that pass together or not at all, the worst event, and the words.

To add a check: write its function in its step's module, its words in ``words.toml``, its limits
in ``fptlib/limits.py`` and its test.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from importlib import resources
from itertools import groupby
from typing import Any

from fptlib import points
from fptlib.job.schema import Override
from fptlib.limits import COMMON_PRACTICE
from fptlib.physics.errors import ImpossibleState
from fptlib.procedure.approaches import season_to_wait_for
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import (
    Check,
    Deferred,
    Event,
    NotTested,
    NotTrended,
    Verdict,
    conformance,
    decide,
    worst,
)

__all__ = ["CheckOf", "Finding", "check", "not_judged"]


@dataclass(frozen=True, slots=True)
class Finding:
    """What a check found at one place, before it is judged.

    Attributes:
        number: of the changeover, 0 where it belongs to none.
        first, last: its rows.
        text: what was found, in words.
        measured: the number that is judged, in ``unit``, or the check's unit.
        at_most, at_least: the limit, one of the two.
        uncertainty: of ``measured``, expanded (k = 2).
        tolerance: by how much a setting may be missed and is still kept: a sequence that does
            exactly what was specified must pass at every trend interval that can show it.
        reserve: how much of the uncertainty the limit itself is there to hold, such as the
            tolerances of an enable condition: a pass needs no guard for it.
        worst_in_gaps: what might have been measured had the gaps held the worst: a pass must
            pass with it, too. A fail needs no such proof.
        cut_off: why it was not seen to its end: then it proves no pass.
        pass_needs: what is missing for a pass to prove it, such as load: then it is deferred.
        fail_needs: what is missing for a fail to be fair: then it is indeterminate.
        verdict: where no number decides.
        subject: the chiller, cell or quantity.
        start: the moment, where it is not that of a row.
        quantities: what the formula was given, by name with unit; a row of the worksheet.
    """

    number: int
    first: float
    text: str
    last: int | None = None
    measured: float | None = None
    at_most: float | None = None
    at_least: float | None = None
    uncertainty: float = 0.0
    tolerance: float = 0.0
    reserve: float = 0.0
    worst_in_gaps: float | None = None
    cut_off: str = ""
    pass_needs: str = ""
    fail_needs: str = ""
    verdict: Verdict | None = None
    unit: str = ""
    subject: str = ""
    start: datetime | None = None
    quantities: Mapping[str, float | str] = field(default_factory=dict)

    def saying(self, more: str) -> Finding:
        """The same finding with ``more`` said at the end of its text."""
        return replace(self, text=self.text + more)


def not_judged(number: int, first: float, text: str, last: int | None = None, subject: str = "",
               verdict: Verdict = Verdict.NOT_TESTED, start: datetime | None = None) -> Finding:
    """A finding that cannot be judged, with the reason."""
    return Finding(number, first, text, last, subject=subject, verdict=verdict, start=start)


Findings = Finding | Iterable[Finding] | None
Advise = Callable[[FunctionalTest, Sequence[Event]], str]


@dataclass(frozen=True, slots=True)
class CheckOf:
    """A check as it is asked of a test: called with one, it returns the row.

    ``needs`` lists points and quantities (see ``FunctionalTest.missing``); ``limits`` the limits
    it uses; ``each`` whether its function takes every ``request``, ``run`` or ``exit``, or the
    test as a whole. ``advise`` adds the number to set, from this plant's data. ``capacity`` marks
    what only natural conditions prove, ``runs`` what says of which runs it could not judge, and
    ``all_or_none`` that the parts of one changeover, or of the record, pass together, or none does.
    ``rows`` gives the longest rows [min] that can show what it looks for, where any are too long.
    """

    function: Callable[..., Findings]
    id: str
    unit: str
    each: str
    needs: tuple[str, ...]
    limits: tuple[str, ...]
    advise: Advise | None
    capacity: bool
    runs: bool
    all_or_none: bool
    rows: Callable[[FunctionalTest], float] | None = None

    @property
    def words(self) -> Mapping[str, str]:
        """Its question, what pass and fail mean, and what to adjust."""
        return words()[self.id]

    @property
    def source(self) -> str:
        """Where its formula is published, or that it is common practice."""
        return self.words.get("source", COMMON_PRACTICE)

    def __call__(self, test: FunctionalTest) -> Check:
        """Judge it."""
        try:
            if missing := test.missing(*self.needs):
                raise NotTrended(*missing)
            events = tuple(self._events(test))
            if not events:
                raise Deferred(season) if (season := season_to_wait_for(test)) else NotTested(
                    "the event did not occur in these trends")
            if self.capacity and test.condition != "natural":
                raise Deferred(f"the condition was {test.condition}: that proves function, not "
                               "capacity; repeat under natural conditions")
        except NotTested as stop:
            return self._without_events(test, stop.verdict, str(stop), stop.missing)
        except ImpossibleState as error:
            return self._without_events(
                test, Verdict.NOT_TESTED,
                f"the sensors, as accurate as stated, cannot decide it: {error}")
        return self._row(test, events)

    def _events(self, test: FunctionalTest) -> Iterator[Event]:
        """Every finding judged; runs that nobody saw begin are named."""
        for _, found in groupby(self._findings(test), key=lambda each: each.number):
            judged = [self._as_conditions_were(test, judged_alone(test, self.unit, each))
                      for each in found]
            yield from together(judged) if self.all_or_none else judged
        if self.runs:
            for lost in test.changeovers:
                if lost.unseen:
                    first = lost.last if lost.enabled is None else lost.enabled
                    yield judged_alone(test, self.unit,
                                       not_judged(lost.number, first, lost.unseen))

    def _as_conditions_were(self, test: FunctionalTest, event: Event) -> Event:
        """An event of a changeover in which something was overridden: a sensor's reading is
        unknown there; what was induced proves function, not capacity, and no wrong enable."""
        if not test.overrides or event.first is None:
            return event
        of = next((c for c in test.changeovers if c.number == event.changeover), None)
        if of is None:
            return event
        rows = slice(event.first, (event.first if event.last is None else event.last) + 1)
        used = {name for need in self.needs for name in test.in_use(need)}
        fooled = [each for each in test.overridden_in(rows) if each.sensor and each.point in used]
        if fooled:
            return unproven(event, f"{event.text}; but {_said(fooled)}")
        if test.natural(of) == "induced":
            if self.capacity and event.verdict is not Verdict.NOT_TESTED:
                return unproven(event, f"{event.text}; but the changeover was induced: that "
                                "proves function, not capacity; repeat under natural conditions",
                                Verdict.DEFERRED)
            if self.id.startswith("enable.") and event.verdict is Verdict.FAIL:
                return unproven(event, f"{event.text}; but the changeover was induced, and what "
                                "induced it may be all that is wrong", Verdict.INDETERMINATE)
        if event.verdict is Verdict.NOT_TESTED:
            around = slice(min(rows.start, of.first), max(rows.stop, of.last + 1))
            there = [each for each in test.overridden_in(around) if each.sensor]
            return replace(event, text=f"{event.text}; {_said(there)}") if there else event
        return event

    def _findings(self, test: FunctionalTest) -> Iterator[Finding]:
        given: dict[str, Sequence[Any]] = {
            "request": test.requests, "run": test.runs, "exit": test.exits, "": [None]}
        for one in given[self.each]:
            found = self.function(test) if one is None else self.function(test, one)
            if isinstance(found, Finding):
                yield found
            elif found is not None:
                yield from found

    def _without_events(self, test: FunctionalTest, verdict: Verdict, reason: str,
                        missing: tuple[str, ...] = ()) -> Check:
        return Check(
            self.id, self.words["question"], verdict, self.unit, None, None,
            test.limits.basis(*self.limits), None, None, None, (), reason,
            f"Nothing is proven: {reason}.", "", missing)

    def _row(self, test: FunctionalTest, events: tuple[Event, ...]) -> Check:
        """The check's row: the worst event decides, among equals the one of smallest margin."""
        verdict, doubted = worst([event.verdict for event in events]), self._doubted(test)
        same = [event for event in events if event.verdict is verdict]
        deciding = min(same, key=lambda e: float("inf") if e.margin is None else e.margin)
        judged = sum(event.verdict is not Verdict.NOT_TESTED for event in events)
        count = f" ({judged} of {len(events)} events judged)" if len(events) > 1 else ""
        assumed = "".join(f"; {said}" for need, said in test.assumptions.items()
                          if need in self.needs) + test.stood_still(*self.needs)
        said = f"{deciding.name}: {deciding.text}" if deciding.name else deciding.text
        adjust = ""
        if verdict is Verdict.FAIL:
            number = self.advise(test, same) if self.advise else ""
            adjust = f"{self.words['adjust']} {number}".strip()
        if doubted and verdict in (Verdict.PASS, Verdict.FAIL):
            # A doubt is mended by a stated answer, or nothing is decided that rests on it.
            verdict, assumed, adjust = Verdict.INDETERMINATE, f"{assumed}; but {doubted}", ""
        return Check(
            self.id, self.words["question"], verdict, deciding.unit, deciding.measured,
            deciding.limit, test.limits.basis(*self.limits), deciding.margin,
            deciding.uncertainty, deciding.probability, events,
            f"{said}{count}{assumed}", self._meaning(verdict), adjust)

    def _doubted(self, test: FunctionalTest) -> str:
        """What the reading doubts of the points it rests on; the instruments' step judges those
        itself."""
        if self.id.startswith("instruments."):
            return ""
        names = dict.fromkeys(name for need in self.needs for name in test.points_of(need))
        return "; ".join(f"it rests on {points.point(name).meaning}: {test.doubts[name]} (correct "
                         "the point map, or, where the column was found right, state in job.toml "
                         f"under [points.{name}] how and by whom: confirmed = \"...\")"
                         for name in names if name in test.doubts)

    def _meaning(self, verdict: Verdict) -> str:
        return {
            Verdict.PASS: self.words["pass"], Verdict.FAIL: self.words["fail"],
            **{Verdict(name): text for name, text in words()["meaning"].items()},
        }[verdict]


def _said(overrides: Sequence[Override]) -> str:
    """Which sensors were overridden, from when to when."""
    def at(time: datetime | None, unknown: str) -> str:
        return f"{time:%Y-%m-%d %H:%M}" if time else unknown

    return "; ".join(
        f"{each.sensor.meaning} was overridden from {at(each.placed, 'a time not stated')} to "
        f"{at(each.released, 'a time not stated')}" for each in overrides if each.sensor)


def check(id: str, *, unit: str, each: str = "", needs: Sequence[str] = (),
          limits: Sequence[str] = (), advise: Advise | None = None, capacity: bool = False,
          runs: bool | None = None, all_or_none: bool = False,
          rows: Callable[[FunctionalTest], float] | None = None,
          ) -> Callable[[Callable[..., Findings]], CheckOf]:
    """Make a function that returns findings into a check; see ``CheckOf``."""
    return lambda function: CheckOf(
        function, id, unit, each, tuple(needs), tuple(limits), advise, capacity,
        each in ("run", "exit") if runs is None else runs, all_or_none, rows)


def on_sheet(_test: FunctionalTest, _failed: Sequence[Event]) -> str:
    """Advice of a check that a setting answers for: its number stands on the settings sheet, where
    it was tried against every other check, and not beside one check alone."""
    return "The value to set is on the settings sheet of step 10, or why none works."


@cache
def words() -> dict[str, dict[str, str]]:
    """The fixed words of every check by its id, and under ``meaning`` those of verdicts."""
    text = resources.files(__package__).joinpath("words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def judged_alone(test: FunctionalTest, unit: str, found: Finding) -> Event:
    """A finding decided: by its number, by what its gaps may hide, by whether it was whole."""
    limit = found.at_most if found.at_most is not None else found.at_least
    verdict, text = found.verdict or Verdict.NOT_TESTED, found.text
    numbers: dict[str, float] = {}
    if found.measured is not None and limit is not None:
        sign = -1.0 if found.at_most is not None else 1.0
        margin = sign * (found.measured - limit)
        numbers = {"measured": float(found.measured), "limit": float(limit),
                   "margin": float(margin), "uncertainty": float(found.uncertainty)}
        if found.verdict is None:
            numbers["probability"] = conformance(margin + found.tolerance, found.uncertainty)
            verdict = _decided(test, found, margin)
            in_gaps = (verdict if found.worst_in_gaps is None else
                       _decided(test, found, sign * (found.worst_in_gaps - limit)))
            if but := _but(found, verdict, in_gaps):
                numbers, (verdict, said) = {}, but
                text = f"{text}; {said}"
    return Event(
        found.number, found.subject, found.start or test.time(found.first),
        None if found.last is None else test.time(found.last), verdict, text,
        unit=found.unit or unit, first=int(found.first // 1), last=found.last,
        quantities=found.quantities, **numbers)


def _decided(test: FunctionalTest, found: Finding, margin: float) -> Verdict:
    return decide(margin, found.uncertainty, test.limits.rule, found.tolerance, found.reserve)


def _but(found: Finding, verdict: Verdict, in_gaps: Verdict) -> tuple[Verdict, str] | None:
    """What a verdict turns to where something is missing that would prove it, and why."""
    if verdict is Verdict.PASS and in_gaps is not Verdict.PASS:
        return Verdict.NOT_TESTED, "what the trends do not show may be worse"
    if verdict is Verdict.PASS and found.cut_off:
        return Verdict.NOT_TESTED, f"but {found.cut_off}"
    if verdict is Verdict.PASS and found.pass_needs:
        return Verdict.DEFERRED, f"but {found.pass_needs}"
    if verdict is Verdict.FAIL and found.fail_needs:
        return Verdict.INDETERMINATE, f"but {found.fail_needs}"
    return None


def unproven(event: Event, text: str, verdict: Verdict = Verdict.NOT_TESTED) -> Event:
    """The event without its verdict and numbers, and why."""
    return replace(event, verdict=verdict, text=text, measured=None, limit=None, margin=None,
                   uncertainty=None, probability=None)


def together(events: list[Event]) -> list[Event]:
    """The parts of one changeover (both temperatures, every chiller): they pass together, or
    none does. A part that could not be judged leaves the others untested; a fail stands."""
    lost = next((event for event in events if event.verdict is Verdict.NOT_TESTED), None)
    if lost is None:
        return events
    return [unproven(event, f"{event.text}; but {lost.name}: {lost.text}")
            if event.verdict is Verdict.PASS else event for event in events]
