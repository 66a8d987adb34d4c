"""Step 8: does the plant leave economizer operation when it must, and not before?"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from fptlib.procedure import chiller_mode, uncertainty
from fptlib.procedure.case import Case
from fptlib.procedure.catalogue import Untested, at_most, check, in_full, unjudged
from fptlib.procedure.durations import Stretch, minutes_between
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.exit_reasons import (
    COMPARISON,
    EQUIPMENT,
    WARMTH,
    exceeded,
    quarter_hours_of,
    reasons,
    uneconomic,
    warm,
)
from fptlib.procedure.known import share
from fptlib.procedure.verdict import Check, Event, Verdict

FINE_STEP = 0.2


@check(
    "exit.supply",
    "Whenever the supply stayed above the setpoint by the band for the delay: did the plant "
    "leave?",
    unit="min",
    needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
    limits=("exit.band", "exit.delay", "exit.grace"),
    good="The plant leaves when the exchanger no longer reaches the setpoint.",
    bad="The plant stayed on the exchanger although the supply was too warm.",
    adjust="Likely no exit on supply temperature, then a delay or band too wide, then an exit "
    "that only the outdoor air decides: leave when the supply has stood above setpoint by the "
    "band for the delay.",
    advise=lambda case, failed: (
        f"The plant stayed up to {max(event.measured for event in failed):.0f} min; set the exit "
        f"to {case.limits['exit.band']:g} °F for {case.limits['exit.delay']:.0f} min."),
    runs=True,
)
def supply(case: Case) -> list[Event]:
    return _over_runs(case, _left_when_warm)


def _over_runs(case: Case, judge: Callable[[Case, Changeover], Event]) -> list[Event]:
    """Judge every run; one that a gap cuts off proves no exit."""
    return [in_full(judge(case, c), case.cut_off(c)) for c in case.handovers]


def _rounding(case: Case) -> float:
    """How far the trends' display steps leave open whether the supply was above the band [degF]."""
    return uncertainty.resolution(case, *_shown(case))


def _shown(case: Case) -> tuple[str, str]:
    setpoint = "chw_reset_setpoint" if case.has("chw_reset_setpoint") else "chw_supply_setpoint"
    return "chw_supply_temp", setpoint


def _coarse(case: Case) -> bool:
    """Whether the steps are coarser than a tenth of a degree of either scale, which shows to some
    minutes when the supply rose above the band (common practice, no source)."""
    return max(case.sensor(name).resolution for name in _shown(case)) > FINE_STEP


def _left_when_warm(case: Case, changeover: Changeover) -> Event:
    limit = case.limits["exit.delay"] + case.limits["exit.grace"]
    seen = _longest(warm(case, changeover))
    rounding = -_rounding(case) if seen <= limit else _rounding(case)
    # Rounding accuses nobody; a pass it unsettles only where it is coarse.
    counts = seen > limit or _coarse(case)
    doubt = abs(_longest(warm(case, changeover, beyond=rounding)) - seen) if counts else 0.0
    return _longest_stay(case, changeover, partial(warm, case, changeover), limit, WARMTH,
                         f"the supply stood more than {case.limits['exit.band']:g} °F above "
                         "setpoint", doubt)


def _longest_stay(case: Case, changeover: Changeover, found: Callable[..., list[Stretch]],
                  limit: float, needs: tuple[str, ...], what: str, doubt: float = 0.0) -> Event:
    """Judge the longest stretch ``found`` of what rests on ``needs``; rounding leaves ``doubt``."""
    possible = found(maybe=True)
    hidden = math.inf if _goes_on(changeover, possible) else _longest(possible)
    worst = max(found(), key=lambda s: s.minutes, default=None)
    if worst is None:
        return at_most(case, changeover.name, changeover.handover, changeover.ended, 0.0, limit,
                       doubt, f"at no time {what}", hidden=hidden)
    return at_most(case, changeover.name, worst.start, worst.end, worst.minutes, limit,
                   case.seen_every(*needs) + doubt, f"for {worst.minutes:.0f} min {what}",
                   hidden=hidden)


def _goes_on(changeover: Changeover, found: list[Stretch]) -> bool:
    """Whether the last stretch lasts until the run is seen no more, and so may be longer."""
    return not changeover.complete and bool(found) and found[-1].end == changeover.ended


def _longest(found: list[Stretch]) -> float:
    return max((stretch.minutes for stretch in found), default=0.0)


@check(
    "exit.equipment",
    "Whenever the towers stood at maximum and the equipment count was exceeded for the delay: "
    "did the plant leave?",
    unit="min",
    needs=("request", "chillers", *EQUIPMENT),
    limits=("exit.fans_at_maximum", "exit.equipment_delay", "exit.grace"),
    good="The plant leaves when it needs more equipment than the sequence allows.",
    bad="The plant stayed on the exchanger with more equipment than the sequence allows.",
    adjust="Likely no exit on equipment: let the plant leave when towers are at maximum and the "
    "equipment count is exceeded for the delay.",
    advise=lambda case, failed: (
        f"It stood so for up to {max(event.measured for event in failed):.0f} min."),
    runs=True,
)
def equipment(case: Case) -> list[Event]:
    if case.plant.equipment_limit is None:
        raise Untested("the plant states no equipment limit for economizer operation")
    return _over_runs(case, _left_when_exceeded)


def _left_when_exceeded(case: Case, changeover: Changeover) -> Event:
    limit = case.limits["exit.equipment_delay"] + case.limits["exit.grace"]
    return _longest_stay(case, changeover, partial(exceeded, case, changeover), limit, EQUIPMENT,
                         "were all fans at maximum and more equipment running than the limit")


@check(
    "exit.comparative",
    "Whenever economizer kW/ton was worse than chillers at the same load and wet bulb for the "
    "delay: did the plant leave?",
    unit="min",
    needs=("request", "chillers", *COMPARISON),
    limits=("exit.comparative_delay", "exit.grace"),
    good="The economizer ran only while it paid.",
    bad="The plant stayed on the exchanger although chillers would have drawn less.",
    adjust="Likely no comparison in the sequence, then fans at full speed for little: leave when "
    "economizer kW/ton exceeds that of chillers at the same load and wet bulb for the delay.",
    advise=lambda case, failed: (
        f"It was so for {sum(event.measured for event in failed) / 60.0:.1f} h in this record."),
    capacity=True,
    runs=True,
)
def comparative(case: Case) -> list[Event]:
    if chiller_mode.fit(case) is None:
        raise Untested(f"fewer than {chiller_mode.FEWEST_BLOCKS} steady quarter-hours on "
                       "chillers: nothing to compare with")
    return _over_runs(case, _compared)


def _compared(case: Case, changeover: Changeover) -> Event:
    blocks = quarter_hours_of(case, changeover)
    seen = share(blocks["compared"].to_numpy(), blocks["inside"].to_numpy()) / 100.0
    found = uneconomic(case, changeover)
    if not seen > 0.0:
        return unjudged(changeover.name, changeover.handover,
                        "chillers were never seen at this load and wet bulb")
    limit = case.limits["exit.comparative_delay"] + case.limits["exit.grace"]
    worst = max(found, key=lambda s: s.minutes, default=None)
    minutes = worst.minutes if worst else 0.0
    start = worst.start if worst else changeover.handover
    return at_most(case, changeover.name, start, worst.end if worst else changeover.ended,
                   minutes, limit, chiller_mode.BLOCK_MINUTES if worst else 0.0,
                   f"worse than chillers for {minutes:.0f} min; {100.0 * seen:.0f} % of the run "
                   "could be compared",
                   hidden=_longest(uneconomic(case, changeover, maybe=True)))


@check(
    "exit.not_early",
    "Had each exit one of these reasons?",
    unit="min",
    needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
    limits=("exit.band", "exit.delay", "exit.equipment_delay", "exit.comparative_delay"),
    good="The plant left only when it had to.",
    bad="The plant gave up hours that the economizer could have carried.",
    adjust="Find what ended the run: a lock-out, a timer, a hand switch, a supply band too "
    "narrow.",
    advise=lambda case, failed: f"Exits without a reason: {len(failed)}.",
    runs=True,
)
def not_early(case: Case) -> list[Event]:
    return [_reason_of(case, c) for c in case.exits if c.handover is not None]


def _reason_of(case: Case, changeover: Changeover) -> Event:
    every = case.seen_every(*WARMTH)
    # Samples show it for one interval more or less than it lasted. The delay itself may be two
    # minutes short: the controller counts between rows, at both ends.
    sure = every - 2.0 * min(every, 1.0)
    if seen := _reason(case, changeover, sure):
        return _with_reason(changeover, Verdict.PASS, *seen, every)
    if seen := _reason(case, changeover, -every, -_rounding(case)):
        return _with_reason(changeover, Verdict.INDETERMINATE, *seen, every)
    if hidden := _reason(case, changeover, -every, -_rounding(case), maybe=True):
        return unjudged(changeover.name, changeover.exit,
                        f"no reason to be seen, but the trends do not show whether {hidden[0]}")
    return _without_reason(case, changeover)


def _with_reason(changeover: Changeover, verdict: Verdict, said: str, last: Stretch, delay: float,
                 every: float) -> Event:
    short = "" if verdict is Verdict.PASS else ", which the trends do not show to the minute"
    return Event(changeover.name, changeover.exit, None, verdict,
                 f"{said} for {last.minutes:.0f} min before the exit{short}", last.minutes, delay,
                 last.minutes - delay, every, None)


def _reason(case: Case, changeover: Changeover, beyond: float, warmer: float = 0.0,
            maybe: bool = False) -> tuple[str, Stretch, float] | None:
    """The first reason that lasted ``beyond`` its delay [min] up to the exit, its stretch and the
    delay, the supply being ``warmer`` than the band [degF]; with ``maybe`` also one that the
    trends do not rule out."""
    grace = 2.0 * case.limits["exit.grace"]
    for reason in reasons(case, warmer):
        found = reason.look(case, changeover, maybe)
        # What is known by blocks may have begun a block before the first whole one.
        least = reason.delay + beyond - (reason.block if maybe else 0.0)
        # The first chiller may start long after the plant has decided to leave.
        if (found and found[-1].minutes >= least
                and minutes_between(found[-1].end, changeover.ended) <= grace + reason.block):
            return reason.words, found[-1], reason.delay
    return None


def _without_reason(case: Case, changeover: Changeover) -> Event:
    limited = case.plant.equipment_limit is not None
    if hidden := case.cut_off(changeover):
        return unjudged(changeover.name, changeover.exit, f"no reason to be seen, but {hidden}")
    # A reason that the trends cannot show may still have been there.
    if unseen := case.lacking((*COMPARISON, *(EQUIPMENT if limited else ()))):
        return unjudged(changeover.name, changeover.exit,
                        f"no reason to be seen, but not trended: {', '.join(unseen)}")
    if chiller_mode.fit(case) is None:
        return unjudged(changeover.name, changeover.exit, "no reason to be seen, but chillers "
                        "were seen too little to compare with")
    found = warm(case, changeover)
    last = found[-1] if found else None
    near = last is not None and minutes_between(last.end, changeover.ended) <= 5.0
    stood = last.minutes if near and last else 0.0
    between = case.seen_every(*WARMTH)
    if between > case.limits["exit.delay"] / 2.0:
        return unjudged(changeover.name, changeover.exit,
                        f"rows of {between:.0f} min cannot show the delay before the exit",
                        verdict=Verdict.INDETERMINATE)
    return Event(changeover.name, changeover.exit, None, Verdict.FAIL,
                 f"no reason to be seen; the supply stood above setpoint for {stood:.0f} min",
                 stood, case.limits["exit.delay"], stood - case.limits["exit.delay"],
                 between, None)


CHECKS = (supply, equipment, comparative, not_early)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
