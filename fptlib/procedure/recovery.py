"""Step 6: does the active setpoint return gently, and without a demand peak?"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case
from fptlib.procedure.catalogue import (
    Untested,
    at_least,
    at_most,
    check,
    in_full,
    together,
    unjudged,
)
from fptlib.procedure.demand import LEAST_KNOWN, interval_demand
from fptlib.procedure.durations import Rise, largest_rise, minutes_between, reversals
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import carried, largest_step, straightened, stretches
from fptlib.procedure.levels import Level, highest_kept
from fptlib.procedure.returning import lowered, release_time, rise_hidden
from fptlib.procedure.verdict import Check, Event, Verdict

RATE_WINDOW = 10.0
SHORTEST_SWING = 10.0
AFTER_RECOVERY = pd.Timedelta(minutes=60)
AT_ONCE = pd.Timedelta(0)
# Hours on chillers that show what ordinary operation draws (common practice, no source).
LEAST_ORDINARY = 12.0
_SETPOINTS = ("request", "chillers", "chw_supply_setpoint", "reset_setpoint")


@check(
    "recovery.rate",
    "After the handover: does the active setpoint return slowly enough?",
    unit="degF",
    needs=_SETPOINTS,
    limits=("recovery.rate",),
    good="The setpoint returns at a rate that valves, pumps and towers can follow.",
    bad="The setpoint returned too abruptly.",
    adjust="Likely a setpoint released in one step, then a ramp set too steep: ramp the active "
    "setpoint back to the reset setpoint.",
    advise=lambda case, failed: _advise_return(case, failed),
    runs=True,
)
def rate(case: Case) -> list[Event]:
    return [in_full(_rate(case, c), _cut(case, c, AT_ONCE))
            for c in case.requests if c.handover is not None]


def _cut(case: Case, changeover: Changeover, after: pd.Timedelta) -> str:
    """Why the return, and so long ``after`` it, was not seen to its end; empty where it was, or
    where the run was over before."""
    back = case.recovered(changeover)
    if changeover.complete or back is not None and back + after <= changeover.ended:
        return ""
    return "the trends end, or have a gap, before the return is over"


def _advise_return(case: Case, failed: Sequence[Event]) -> str:
    """The return time that keeps the rate for the largest distance seen."""
    before = [c.handover - case.trends.step for c in case.requests if c.handover is not None]
    distance = float(np.nanmax([
        case.value(case.reset_setpoint, at) - case.value("chw_supply_setpoint", at)
        for at in before]))
    minutes = max(distance / case.limits["recovery.rate"] * RATE_WINDOW,
                  case.limits["recovery.shortest"])
    least, most = 5.0 * math.ceil(minutes / 5.0), case.limits["recovery.longest"]
    time = f"{least:.0f} to {most:.0f} min" if least < most else f"{least:.0f} min"
    return f"The setpoint has up to {distance:.1f} °F to return: take {time}."


def _returning(case: Case, changeover: Changeover) -> slice:
    """From the last row of the pull-down to the end of the recovery or of the run."""
    end = case.recovered(changeover) or changeover.ended
    return slice(changeover.handover - case.trends.step, end)


def _rate(case: Case, changeover: Changeover) -> Event:
    if not lowered(case, changeover):
        return unjudged(changeover.name, changeover.handover, "there was no setpoint to return")
    rows, every = _returning(case, changeover), case.seen_every("chw_supply_setpoint")
    apart = case.rows(every)
    active = case.values("chw_supply_setpoint", rows)[::apart]
    # Over a gap it rose in a straight line at the gentlest, and at the worst all at its end.
    rise, at_worst = _rise(straightened(active), every), _rise(carried(active), every)
    if rise is None or at_worst is None:
        return unjudged(changeover.name, changeover.handover, "the setpoint has a gap there")
    middle, spread = rise.middle, (rise.high - rise.low) / 2.0
    doubt = spread + uncertainty.resolution(case, "chw_supply_setpoint", "chw_supply_setpoint")
    return at_most(case, changeover.name, case.times(rows)[rise.start * apart], None, middle,
                   case.limits["recovery.rate"], doubt,
                   f"rose by {middle:.1f} °F within {RATE_WINDOW:.0f} min",
                   hidden=at_worst.middle)


def _rise(active: np.ndarray, every: float) -> Rise | None:
    """Largest rise of the returning setpoint in samples ``every`` [min], from the last one of
    the pull-down on.

    Between rare samples the setpoint may still have followed the water up before the
    handover, so that first one makes a rise possible but proves none.
    """
    whole = largest_rise(active, RATE_WINDOW, every)
    if whole is None or every <= 1.0:
        return whole
    after = largest_rise(active[1:], RATE_WINDOW, every)
    return Rise(min(after.low, whole.low) if after else 0.0, whole.high, whole.start)


@check(
    "recovery.duration",
    "Does the return take neither too short nor too long?",
    unit="min",
    needs=_SETPOINTS,
    limits=("recovery.shortest", "recovery.longest"),
    good="The return takes a sensible time.",
    bad="The return was over at once, or dragged on.",
    adjust="Likely no ramp, or a ramp that waits for something that does not come: set the "
    "return time between the two limits.",
    advise=lambda case, failed: _advise_return(case, failed),
    runs=True,
)
def duration(case: Case) -> list[Event]:
    return [_duration(case, c) for c in case.requests if c.handover is not None]


def _duration(case: Case, changeover: Changeover) -> Event:
    if not lowered(case, changeover):
        return unjudged(changeover.name, changeover.handover, "there was no setpoint to return")
    if rise_hidden(case, changeover):
        return unjudged(changeover.name, changeover.handover,
                        "the setpoint has a gap before it began to rise")
    start, end = release_time(case, changeover), case.recovered(changeover)
    if start is None or end is None:
        return _not_back(case, changeover)
    took = minutes_between(start, end)
    # The lowest row before it: a longer row may hide a rise that began before it.
    start -= case.trends.step
    text = f"was back {took:.0f} min after it began to rise"
    shortest, longest = case.limits["recovery.shortest"], case.limits["recovery.longest"]
    between = case.seen_every(*_SETPOINTS) + _unseen_before(case, changeover, end)
    if took < (shortest + longest) / 2.0:
        return at_least(case, changeover.name, start, end, took, shortest, between, text)
    return at_most(case, changeover.name, start, end, took, longest, between, text)


def _not_back(case: Case, changeover: Changeover) -> Event:
    unseen = _unseen_before(case, changeover, changeover.ended + case.trends.step)
    waited = minutes_between(changeover.handover, changeover.ended) - unseen
    if waited <= case.limits["recovery.longest"]:
        return unjudged(changeover.name, changeover.handover,
                        "the setpoint has a gap before it was back" if unseen else
                        f"the run ended after {waited:.0f} min, before the setpoint was back")
    return at_most(case, changeover.name, changeover.handover, changeover.ended, waited,
                   case.limits["recovery.longest"], case.seen_every(*_SETPOINTS),
                   f"was not back in the {waited:.0f} min of the run")


def _unseen_before(case: Case, changeover: Changeover, moment: pd.Timestamp) -> float:
    """How long a gap right before a moment hides whether the setpoint was back [min]."""
    rows = slice(changeover.handover, moment - case.trends.step)
    missing = np.isnan(case.values("chw_supply_setpoint", rows)
                       - case.values(case.reset_setpoint, rows))
    return float(np.logical_and.accumulate(missing[::-1]).sum()) * case.minutes


@check(
    "recovery.stable",
    "Does the supply come back without overshoot and without swinging?",
    unit="degF",
    needs=(*_SETPOINTS, "chw_supply_temp"),
    limits=("recovery.overshoot", "recovery.reversals", "recovery.reversal_size"),
    good="The supply follows the setpoint back calmly.",
    bad="The supply overshot or swung: loops fight each other during the return.",
    adjust="Likely a return too fast for the towers, then a tower or valve loop tuned too "
    "tight, then a handover too early: slow the return; loosen the loop that swings.",
    runs=True,
)
def stable(case: Case) -> list[Event]:
    return [event for c in case.requests if c.handover is not None
            for event in _stable(case, c)]


def _stable(case: Case, changeover: Changeover) -> list[Event]:
    back = case.recovered(changeover)
    calm = back + AFTER_RECOVERY if back is not None else None
    rows = slice(changeover.handover, min(calm or changeover.ended, changeover.ended))
    supply = case.values("chw_supply_temp", rows)
    over = highest_kept(case, supply - case.values(case.reset_setpoint, rows), rows,
                        case.seen_every("chw_supply_temp"))
    if over is None:
        return [unjudged(changeover.name, changeover.handover, "the supply has gaps there")]
    cut = _cut(case, changeover, AFTER_RECOVERY)
    return [in_full(_overshoot(case, changeover, over), cut),
            in_full(_swings(case, changeover, supply, rows), cut)]


def _overshoot(case: Case, changeover: Changeover, high: Level) -> Event:
    return at_most(case, f"{changeover.name}, overshoot", high.at, None, high.value,
                   case.limits["recovery.overshoot"],
                   uncertainty.expanded(case, {"chw_supply_temp": 1.0}) + high.doubt,
                   f"supply at most {high.value:+z.1f} °F above the reset setpoint",
                   hidden=high.hidden)


def _swings(case: Case, changeover: Changeover, supply: np.ndarray, rows: slice) -> Event:
    size, limit = case.limits["recovery.reversal_size"], case.limits["recovery.reversals"]
    name, turns = f"{changeover.name}, reversals", reversals(supply, size)
    # Rows further apart than half the shortest swing hide turns.
    every = case.seen_every("chw_supply_temp")
    if every > SHORTEST_SWING / 2.0 and turns <= limit:
        return unjudged(name, changeover.handover,
                        f"rows of {every:.0f} min cannot show a swing")
    hidden = _hidden_in_a_swing(case, supply, every)
    other = reversals(supply, size - hidden if turns <= limit else size + hidden)
    times = case.times(rows)
    return at_most(case, name, times[0], times[-1], turns, limit,
                   abs(turns - other), f"{turns} reversals of {size:g} °F or more", "count",
                   hidden=turns + _turns_in_gaps(case, supply))


def _turns_in_gaps(case: Case, supply: np.ndarray) -> int:
    """How many reversals the gaps may hide: two in every ten minutes, the shortest swing."""
    gaps = [(last - first + 1) * case.minutes for first, last in stretches(np.isnan(supply))]
    return sum(2 * int(gap // SHORTEST_SWING) for gap in gaps)


def _hidden_in_a_swing(case: Case, supply: np.ndarray, every: float) -> float:
    """How much larger or smaller a swing may have been than its rows show [degF].

    Rounding at both turns, and with longer rows what lay between them: a parabola through
    three rows peaks beyond the middle one by at most an eighth of their second difference.
    """
    rounding = uncertainty.resolution(case, "chw_supply_temp", "chw_supply_temp")
    bend = largest_step(np.diff(supply[::case.rows(every)])) if every > 1.0 else 0.0
    return rounding + bend / 4.0


@check(
    "recovery.demand",
    "Does no changeover, in or out, set a new peak of the utility's demand interval?",
    unit="kW",
    needs=("request", "chillers", "power"),
    limits=("recovery.demand_interval",),
    good="The changeovers cost no demand charge.",
    bad="A changeover set the demand peak: chillers, fans and pumps ran together at full "
    "speed.",
    adjust="Limit the tower fans or the chiller's demand during the pull-down; return the "
    "setpoint more slowly; start one chiller at a time with a soft load.",
    advise=lambda case, failed: (
        f"The peak was {max(-event.margin for event in failed):.0f} kW above that of ordinary "
        f"operation in this record."),
)
def demand(case: Case) -> list[Event]:
    interval = case.limits["recovery.demand_interval"]
    if interval < case.minutes:
        raise Untested(f"rows of {case.minutes:.0f} min are longer than the demand interval")
    blocks = interval_demand(case.power, interval, case.plant.demand_window)
    by_changeover = [_windows(case, c) for c in case.changeovers]
    windows = {name: window for each in by_changeover for name, window in each.items()}
    spans = {name: slice(*blocks.index.slice_locs(window.start, window.stop))
             for name, window in windows.items()}
    outside = np.ones(len(blocks), dtype=bool)
    for span in spans.values():
        outside[span] = False
    if not outside.any():
        raise Untested("there is no interval outside changeovers to compare with")
    usual = float(blocks.to_numpy()[outside].max())
    ordinary = case.chiller_mode & ~case.within(windows.values())
    hours = float(ordinary.sum()) * case.minutes / 60.0
    return [event for each in by_changeover for event in together(
        [_if_ordinary(_peak(case, name, window, blocks.iloc[spans[name]], usual), hours)
         for name, window in each.items()])]


def _if_ordinary(event: Event, hours: float) -> Event:
    """The event, unless it fails against too little of ordinary operation on chillers: a peak
    below what little was seen is below that of the whole day, one above it need not be above."""
    if event.verdict is not Verdict.FAIL or hours >= LEAST_ORDINARY:
        return event
    return unjudged(event.name, event.start,
                    f"{event.text}; but chillers carried the plant for only {hours:.0f} h outside "
                    "changeovers: trend a whole day on chillers", verdict=Verdict.DEFERRED)


def _windows(case: Case, changeover: Changeover) -> dict[str, slice]:
    """The stretches in which a changeover may set a peak, on its way in and out, by name."""
    found = {}
    if changeover.request is not None:
        found[changeover.name] = _entry(case, changeover)
    if changeover.exit is not None:
        found[f"{changeover.name}, exit"] = _exit(case, changeover)
    return found


def _entry(case: Case, changeover: Changeover) -> slice:
    """From the interval in which the request lies to an hour after the recovery, or after the
    request was given up and chillers took all of the load again."""
    interval = pd.Timedelta(minutes=case.limits["recovery.demand_interval"])
    end = (case.recovered(changeover) or changeover.handover or changeover.abandoned
           or changeover.ended) + AFTER_RECOVERY
    # What follows the end of a run is the exit's.
    over = changeover.complete and changeover.abandoned is None
    return slice(changeover.request - interval, min(end, changeover.ended) if over else end)


def _exit(case: Case, changeover: Changeover) -> slice:
    """From the interval in which the first chiller starts to an hour after it."""
    interval = pd.Timedelta(minutes=case.limits["recovery.demand_interval"])
    return slice(changeover.exit - interval, changeover.exit + AFTER_RECOVERY)


def _peak(case: Case, name: str, window: slice, blocks: pd.Series, usual: float) -> Event:
    if blocks.empty:
        return unjudged(name, window.start, "power has a gap there")
    highest, at = float(blocks.max()), blocks.idxmax()
    cut = "the trends end within the hour after it" if window.stop > case.end else ""
    return in_full(at_most(
        case, name, at, None, highest, usual, 0.0,
        f"highest interval {highest:.0f} kW, highest outside changeovers {usual:.0f} kW",
        hidden=math.inf if _peak_hidden(case, window) else highest), cut)


def _peak_hidden(case: Case, window: slice) -> bool:
    """Whether a gap leaves out an interval."""
    most = (1.0 - LEAST_KNOWN) * case.limits["recovery.demand_interval"] / case.minutes
    gaps = stretches(np.isnan(case.values(case.power, window)))
    return any(last - first + 1 > most for first, last in gaps)


CHECKS = (rate, duration, stable, demand)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
