"""Step 3: does the plant go over when it can, and only then?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from fptlib.procedure import approaches, uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import at_least, at_most, check, unjudged
from fptlib.procedure.durations import all_stretches, longest, minutes_between
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import stretches
from fptlib.procedure.verdict import Check, Event

_CONDITION = ("wet_bulb", "reset_setpoint", "request", "chillers")


def _approaches(case: Case) -> None:
    approaches.need_tower(case)
    approaches.need_exchanger(case)


@check(
    "enable.condition",
    "At each request: is wet bulb + tower approach + tolerance + exchanger approach + "
    "tolerance at or below the reset setpoint?",
    unit="degF",
    needs=_CONDITION,
    limits=("enable.tower_tolerance", "enable.exchanger_tolerance"),
    good="The plant goes over only when towers and exchanger can reach the setpoint.",
    bad="The plant went over when towers and exchanger could not yet reach the setpoint.",
    adjust="Likely approaches taken from design, then a wet bulb that reads low, then an enable "
    "on outdoor dry bulb: enable on wet bulb + observed approaches + tolerances.",
    advise=lambda case, failed: (
        f"The condition was short by up to {_worst(failed):.1f} °F: raise the tolerances or "
        f"the approaches in the sequence by that much, or let the reset ask for "
        f"{_worst(failed):.1f} °F more."),
)
def condition(case: Case) -> list[Event]:
    _approaches(case)
    return [_condition_at(case, c) for c in case.requests]


def _condition_at(case: Case, changeover: Changeover) -> Event:
    at = changeover.request
    needed, setpoint = case.value(case.needed_setpoint, at), case.value(case.reset_setpoint, at)
    if np.isnan(needed) or np.isnan(setpoint):
        return unjudged(changeover.name, at, "wet bulb or setpoint has a gap at the request")
    every = case.seen_every("wet_bulb")
    around = case.values(case.needed_setpoint, slice(at - pd.Timedelta(minutes=every), at))
    moving = uncertainty.between_rows(around, every)
    doubt = math.hypot(uncertainty.enable_margin(case), moving)
    return at_most(
        case, changeover.name, at, None, needed, setpoint, doubt,
        f"wet bulb {case.value(case.wet_bulb, at):.1f} needs a setpoint of {needed:.1f}, the "
        f"reset asked for {setpoint:.1f} °F",
    )


@check(
    "enable.dwell",
    "Had that condition held without a break before the request?",
    unit="min",
    needs=_CONDITION,
    limits=("enable.dwell", "enable.tower_tolerance", "enable.exchanger_tolerance"),
    good="The plant waits until the weather has settled.",
    bad="The plant went over on a passing dip of the wet bulb.",
    adjust="Likely no dwell, then a dwell that a break does not start anew: lengthen it.",
    advise=lambda case, failed: (
        f"Set the dwell to {case.limits['enable.dwell']:.0f} min or more; the shortest seen was "
        f"{min(event.measured for event in failed):.0f}."),
)
def dwell(case: Case) -> list[Event]:
    _approaches(case)
    return [_dwell_before(case, c) for c in case.requests]


@once
def _broken_rows(case: Case) -> np.ndarray:
    """The rows in which the condition did not hold or is not known."""
    return np.flatnonzero(~(case.enable_margin.to_numpy() >= 0.0))


def _dwell_before(case: Case, changeover: Changeover) -> Event:
    limit = case.limits["enable.dwell"]
    broken, index = _broken_rows(case), case.frame.index
    upto = np.searchsorted(broken, index.searchsorted(changeover.request), side="right")
    start = int(broken[upto - 1]) if upto else None
    first = index[0] if start is None else index[start] + case.trends.step
    # Where the condition does not hold at the request itself, it has held for no time.
    held = max(minutes_between(first, changeover.request), 0.0)
    first = min(first, changeover.request)
    unseen = start is None or pd.isna(case.enable_margin.iloc[start])
    if unseen and held < limit:
        return unjudged(changeover.name, changeover.request,
                        f"only {held:.0f} min before the request can be seen")
    return at_least(
        case, changeover.name, first, changeover.request, held, limit,
        case.seen_every("request", "wet_bulb", "reset_setpoint"),
        f"the condition had held for {held:.0f} min",
    )


@check(
    "enable.stay",
    "Did each completed economizer run last?",
    unit="min",
    needs=("request", "chillers"),
    limits=("enable.stay",),
    good="Once over, the plant stays over.",
    bad="The plant went over and came back too soon: it had no margin.",
    adjust="Likely too little tolerance, then too short a dwell, then a load that rose: raise "
    "the tolerances or the dwell of the enable condition.",
    advise=lambda case, failed: _advise_stay(case),
    runs=True,
)
def stay(case: Case) -> list[Event]:
    return [_stayed(case, c) for c in case.handovers]


def _stayed(case: Case, changeover: Changeover) -> Event:
    limit = case.limits["enable.stay"]
    lasted = run_minutes(case, changeover)
    if not changeover.complete and lasted < limit:
        return unjudged(changeover.name, changeover.handover,
                        case.cut_off(changeover) or "still on when the trends end")
    return at_least(case, changeover.name, changeover.handover, changeover.ended, lasted, limit,
                    case.seen_every("request", "chillers"), f"the run lasted {lasted:.0f} min",
                    hidden=known_minutes(case, changeover))


def _advise_stay(case: Case) -> str:
    """The tolerance that would have kept the short runs from starting."""
    if case.lacking(_CONDITION) or not (case.tower_approach and case.exchanger_approach):
        return ""
    least = case.limits["enable.stay"]
    short = [c for c in case.requests
             if c.handover is not None and c.complete and run_minutes(case, c) < least]
    margins = [case.value(case.enable_margin, c.request) for c in short]
    had = max((m for m in margins if m >= 0.0), default=None)
    if had is None:
        return ""
    said = f"The short runs began with up to {had:.1f} °F of margin"
    # So much above tolerances that are there already, weather did not end the run.
    if had > case.limits["enable.tower_tolerance"] + case.limits["enable.exchanger_tolerance"]:
        return f"{said}, so more tolerance is no cure: find what ended them (exit.not_early)."
    return f"{said}: {had + 0.5:.1f} °F more tolerance would have prevented them."


def _worst(failed: Sequence[Event]) -> float:
    return max(-event.margin for event in failed)


def run_minutes(case: Case, changeover: Changeover) -> float:
    """Length of a run in minutes, from the handover to the end of its last row."""
    return minutes_between(changeover.handover, changeover.ended) + case.minutes


def known_minutes(case: Case, changeover: Changeover,
                  until: pd.Timestamp | None = None) -> float:
    """How long every chiller is known to have stood from the handover on, to the end of the run
    or ``until`` [min]."""
    rows = slice(changeover.handover, until or changeover.ended)
    standing = case.values(case.chillers_on, rows) == 0.0
    return float(np.logical_and.accumulate(standing).sum()) * case.minutes


@check(
    "enable.rest",
    "Does the plant rest between an exit and the next request, and try only so often a day?",
    unit="min",
    needs=("request", "chillers"),
    limits=("enable.rest", "enable.attempts"),
    good="The plant does not chatter between the two modes.",
    bad="The plant chatters between economizer and chillers.",
    adjust="Likely no rest time, then enable and exit conditions that overlap: set a shortest "
    "time between exit and request, and a limit on attempts a day.",
    advise=lambda case, failed: (
        f"Set the rest to {case.limits['enable.rest']:.0f} min or more and the attempts to "
        f"{case.limits['enable.attempts']:.0f} a day."),
)
def rest(case: Case) -> list[Event]:
    return [*_rests(case), *_attempts(case)]


def _rests(case: Case) -> list[Event]:
    found = []
    for before, after in zip(case.changeovers, case.changeovers[1:], strict=False):
        over = before.exit or before.abandoned or (
            before.ended + case.trends.step if before.complete else None)
        if over is None or after.request is None:
            continue
        rested = minutes_between(over, after.request)
        found.append(at_least(
            case, f"{before.name} to {after.number}", over, after.request, rested,
            case.limits["enable.rest"], case.seen_every("request", "chillers"),
            f"{rested:.0f} min from the end of one to the next request",
        ))
    return found


def _attempts(case: Case) -> list[Event]:
    """Every day with too many requests; where there is none, the one with the most."""
    by_day: dict[date, list[pd.Timestamp]] = {}
    for changeover in case.requests:
        by_day.setdefault(changeover.request.date(), []).append(changeover.request)
    days = sorted(by_day.values(), key=len, reverse=True)
    limit = case.limits["enable.attempts"]
    return [_attempts_on(case, day) for day in days if len(day) > limit or day is days[0]]


def _attempts_on(case: Case, requests: list[pd.Timestamp]) -> Event:
    first, count = requests[0], len(requests)
    # A request in the row after midnight may have come before it.
    doubt = float((first - case.trends.step).date() != first.date())
    return at_most(case, f"attempts on {first:%Y-%m-%d}", first, None, count,
                   case.limits["enable.attempts"], doubt, f"requests: {count}", "per day")


@check(
    "enable.missed",
    "Is there no stretch in which the condition held, chillers ran and no request came?",
    unit="min",
    needs=_CONDITION,
    limits=("enable.missed", "enable.dwell", "enable.tower_tolerance",
            "enable.exchanger_tolerance"),
    good="The plant uses the hours the weather gives.",
    bad="The weather would have carried the plant, and chillers ran.",
    adjust="Find what holds the economizer back: a lock-out, a hand switch, an enable "
    "temperature set too low, a wet bulb that reads high, a dwell that is too long.",
    advise=lambda case, failed: _advise_missed(case, failed),
)
def missed(case: Case) -> list[Event]:
    _approaches(case)
    limit = case.limits["enable.dwell"] + case.limits["enable.missed"]
    held_back = waiting(case)
    return [*_seen_waiting(case, held_back, limit), *_hidden_waiting(case, held_back, limit)]


def _seen_waiting(case: Case, held_back: np.ndarray, limit: float) -> list[Event]:
    """Every stretch longer than the limit; where there is none, the longest."""
    found = longest(held_back, case.frame.index, case.minutes)
    if found is None:
        start = case.frame.index[0]
        return [at_most(case, "whole record", start, None, 0.0, limit, 0.0,
                        "the condition never held while chillers ran")]
    if found.minutes <= limit:
        return [_missed(case, found.start, found.end, found.minutes, limit,
                        _longest_with_gaps(case, held_back))]
    return [_missed(case, stretch.start, stretch.end, stretch.minutes, limit)
            for stretch in all_stretches(held_back, case.frame.index, case.minutes)
            if stretch.minutes > limit]


def _hidden_waiting(case: Case, held_back: np.ndarray, limit: float) -> list[Event]:
    """Stretches longer than the limit in which nothing known speaks against it, but a gap does
    not let it be seen."""
    times, found = case.frame.index, []
    for first, last in stretches(_maybe_waiting(case)):
        minutes = (last - first + 1) * case.minutes
        if minutes > limit and not held_back[first : last + 1].all():
            found.append(unjudged(f"from {times[first]:%Y-%m-%d %H:%M}", times[first],
                                  f"a gap hides up to {minutes:.0f} min", times[last]))
    return found


def _longest_with_gaps(case: Case, held_back: np.ndarray) -> float:
    """The longest stretch that was seen in part, its gaps counted as more of it [min]."""
    return max((last - first + 1 for first, last in stretches(_maybe_waiting(case))
                if held_back[first : last + 1].any()), default=0) * case.minutes


def _maybe_waiting(case: Case) -> np.ndarray:
    """Where nothing known speaks against ``waiting``, row by row."""
    return ~((case.enable_margin < 0.0) | (case.chillers_on == 0.0)
             | (case.commanded == 1.0)).to_numpy()


def waiting(case: Case) -> np.ndarray:
    """Whether the condition held while chillers ran and no request came, row by row."""
    return ((case.enable_margin >= 0.0) & case.chiller_mode).to_numpy()


def _advise_missed(case: Case, failed: Sequence[Event]) -> str:
    from fptlib.procedure import worth

    lost = sum(event.measured - case.limits["enable.dwell"] for event in failed)
    saved = worth.saved_power(case)
    energy = f", about {lost / 60.0 * saved:,.0f} kWh" if saved else ""
    return f"Lost: {worth.of_recorded(case, lost)}{energy}."


def _missed(case: Case, start: pd.Timestamp, end: pd.Timestamp, minutes: float,
            limit: float, hidden: float | None = None) -> Event:
    rows = slice(start, end)
    certain = case.values(case.enable_margin, rows) >= uncertainty.enable_margin(case)
    surely = longest(certain, case.times(rows), case.minutes)
    between = case.seen_every(*_CONDITION)
    doubt = minutes - (surely.minutes if surely else 0.0) + between
    return at_most(case, f"chillers ran from {start:%Y-%m-%d %H:%M}", start, end, minutes, limit,
                   doubt if minutes > limit else between,
                   f"the condition held for {minutes:.0f} min while chillers ran", hidden=hidden)


CHECKS = (condition, dwell, stay, rest, missed)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
