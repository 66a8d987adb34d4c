"""How a check is written down: a function that judges events, made into one row.

A check's function takes the case and returns its events. The decorator adds the question,
the points it needs and the words around it, and turns the events into a ``Check``: the
worst event decides. A missing point makes the row ``not tested`` and names the point.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from fptlib.physics.errors import ImpossibleState
from fptlib.procedure.case import Case
from fptlib.procedure.verdict import Check, Event, Verdict, conformance, decide, worst


class Untested(Exception):
    """A check that cannot be judged; says why in one sentence."""

    verdict = Verdict.NOT_TESTED


class Waiting(Untested):
    """A check whose season or load has not come; says what to wait for."""

    verdict = Verdict.DEFERRED


Advise = Callable[[Case, Sequence[Event]], str]


@dataclass(frozen=True, slots=True)
class Words:
    """The fixed part of a check.

    ``needs`` lists points and derived quantities (see ``needs``); ``limits`` the
    limits it uses; ``good`` and ``bad`` say what passing and failing mean; ``adjust`` names
    likely causes in order and the setting to change, to which ``advise`` adds the number
    worked out from this plant's data. ``capacity`` marks what only natural conditions prove,
    ``runs`` what judges every run, and so says of which it could not.
    """

    id: str
    question: str
    unit: str
    needs: tuple[str, ...]
    limits: tuple[str, ...]
    good: str
    bad: str
    adjust: str
    advise: Advise | None
    capacity: bool
    runs: bool


Judge = Callable[[Case], Sequence[Event]]


@dataclass(frozen=True, slots=True)
class Question:
    """A check as it is asked of a case: called with one, it returns the row."""

    words: Words
    judge: Judge

    def __call__(self, case: Case) -> Check:
        return _row(self.words, self.judge, case)


def check(
    id: str,
    question: str,
    *,
    unit: str,
    needs: Sequence[str] = (),
    limits: Sequence[str] = (),
    good: str,
    bad: str,
    adjust: str,
    advise: Advise | None = None,
    capacity: bool = False,
    runs: bool = False,
) -> Callable[[Judge], Question]:
    """Make a judging function into a check that returns its row."""
    words = Words(id, question, unit, tuple(needs), tuple(limits), good, bad, adjust, advise,
                  capacity, runs)

    return lambda judge: Question(words, judge)


def _row(words: Words, judge: Judge, case: Case) -> Check:
    if missing := case.lacking(words.needs):
        return _without_events(
            words, case, Verdict.NOT_TESTED, "not trended: " + ", ".join(missing), missing
        )
    try:
        events = _in_unit(words, (*judge(case), *(_unseen(case) if words.runs else ())))
        if not events:
            raise Waiting(season) if (season := case.waiting_for) else Untested(
                "the event did not occur in these trends")
        if words.capacity and case.condition != "natural":
            raise Waiting(f"the condition was {case.condition}: that proves function, not "
                          "capacity; repeat under natural conditions")
    except Untested as stop:
        return _without_events(words, case, stop.verdict, str(stop))
    except ImpossibleState as error:
        return _without_events(words, case, Verdict.NOT_TESTED,
                               f"the sensors, as accurate as stated, cannot decide it: {error}")
    return _from_events(words, case, events)


def _in_unit(words: Words, events: Sequence[Event]) -> tuple[Event, ...]:
    """The events, each with its unit: the check's own where it has no other."""
    return tuple(event if event.unit else replace(event, unit=words.unit) for event in events)


def _unseen(case: Case) -> list[Event]:
    """What cannot be judged, since nobody saw the plant go over."""
    return [unjudged(c.name, c.request or c.ended, c.unseen)
            for c in case.changeovers if c.unseen]


def _without_events(
    words: Words, case: Case, verdict: Verdict, reason: str, missing: Sequence[str] = ()
) -> Check:
    return Check(
        words.id, words.question, verdict, words.unit, None, None,
        case.limits.basis(*words.limits), None, None, None, (), reason,
        f"Nothing is proven: {reason}.", "", tuple(missing),
    )


def _from_events(words: Words, case: Case, events: tuple[Event, ...]) -> Check:
    verdict = worst([event.verdict for event in events])
    deciding = _deciding(events, verdict)
    return Check(
        words.id, words.question, verdict, deciding.unit or words.unit, deciding.measured,
        deciding.limit, case.limits.basis(*words.limits), deciding.margin,
        deciding.uncertainty, deciding.probability, events, _reason(events, deciding),
        _meaning(words, verdict), _adjust(words, case, events, verdict),
    )


def _adjust(words: Words, case: Case, events: Sequence[Event], verdict: Verdict) -> str:
    if verdict is not Verdict.FAIL:
        return ""
    failed = [event for event in events if event.verdict is Verdict.FAIL]
    number = words.advise(case, failed) if words.advise else ""
    return f"{words.adjust} {number}".strip()


def _deciding(events: Sequence[Event], verdict: Verdict) -> Event:
    """Of the events with the check's verdict, the one with the smallest margin."""
    same = [event for event in events if event.verdict is verdict]
    return min(same, key=lambda e: float("inf") if e.margin is None else e.margin)


def _reason(events: Sequence[Event], deciding: Event) -> str:
    judged = sum(event.verdict is not Verdict.NOT_TESTED for event in events)
    count = f" ({judged} of {len(events)} events judged)" if len(events) > 1 else ""
    return f"{deciding.name}: {deciding.text}{count}"


def _meaning(words: Words, verdict: Verdict) -> str:
    return {
        Verdict.PASS: words.good,
        Verdict.FAIL: words.bad,
        Verdict.INDETERMINATE: "The margin is smaller than its uncertainty: "
        "better instruments or more events can decide it.",
        Verdict.DEFERRED: "Season or load was not representative; nothing is proven yet.",
        Verdict.NOT_TESTED: "Nothing is proven: no event could be judged.",
    }[verdict]


def at_most(
    case: Case, name: str, start: pd.Timestamp, end: pd.Timestamp | None,
    measured: float, limit: float, uncertainty: float, text: str, unit: str = "",
    hidden: float | None = None,
) -> Event:
    """An event that passes when ``measured`` does not exceed ``limit``.

    ``hidden`` is what might have been measured had the gaps in the trends held the worst: with
    it, too, the event must pass, or it is not tested. A fail needs no such proof.
    """
    seen = _event(case, name, start, end, measured, limit, limit - measured, uncertainty,
                  text, unit)
    return seen if hidden is None else _proven(case, seen, limit - hidden)


def at_least(
    case: Case, name: str, start: pd.Timestamp, end: pd.Timestamp | None,
    measured: float, limit: float, uncertainty: float, text: str, unit: str = "",
    hidden: float | None = None,
) -> Event:
    """An event that passes when ``measured`` reaches ``limit``; ``hidden`` as in ``at_most``."""
    seen = _event(case, name, start, end, measured, limit, measured - limit, uncertainty,
                  text, unit)
    return seen if hidden is None else _proven(case, seen, hidden - limit)


def _event(
    case: Case, name: str, start: pd.Timestamp, end: pd.Timestamp | None, measured: float,
    limit: float, margin: float, uncertainty: float, text: str, unit: str,
) -> Event:
    return Event(
        name, start, end, decide(margin, uncertainty, case.limits.rule), text,
        float(measured), float(limit), float(margin), float(uncertainty),
        conformance(margin, uncertainty), unit,
    )


def together(events: list[Event]) -> list[Event]:
    """The parts of one changeover (both temperatures, every chiller): they pass together, or
    none does. A part that could not be judged leaves the others untested; a fail stands."""
    lost = next((event for event in events if event.verdict is Verdict.NOT_TESTED), None)
    why = f"{lost.name}: {lost.text}" if lost else ""
    return [in_full(event, why) for event in events]


def in_full(event: Event, cut: str) -> Event:
    """The event, unless it passes and was not seen to its end: ``cut`` then says why. A fail
    stands, whatever came after."""
    if not cut or event.verdict is not Verdict.PASS:
        return event
    return unjudged(event.name, event.start, f"{event.text}; but {cut}", event.end)


def _proven(case: Case, seen: Event, margin: float) -> Event:
    """The event as seen, unless it passes for what a gap hides alone."""
    assert seen.uncertainty is not None
    still = decide(margin, seen.uncertainty, case.limits.rule)
    if seen.verdict is not Verdict.PASS or still is Verdict.PASS:
        return seen
    return unjudged(seen.name, seen.start, f"{seen.text}; what the trends do not show may be worse",
                    seen.end)


def unjudged(name: str, start: pd.Timestamp, text: str, end: pd.Timestamp | None = None,
             verdict: Verdict = Verdict.NOT_TESTED) -> Event:
    """An event that cannot be judged, with the reason."""
    return Event(name, start, end, verdict, text)
