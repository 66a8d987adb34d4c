"""Step 3: does the plant change over when it can, and only then?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import date, time, timedelta

import numpy as np

from fptlib.procedure import approaches, exit_reasons, savings
from fptlib.procedure.changeovers import Request, Run
from fptlib.procedure.flags import Flags, Stretch
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import between_rows, crossed, in_hours
from fptlib.procedure.setpoint_release import RUN_DOWN_MINUTES
from fptlib.procedure.verdict import Event

_CONDITION = ("wet_bulb", "reset_setpoint", "request", "chillers")
_TOLERANCES = ("enable.tower_tolerance", "enable.exchanger_tolerance")


@check("enable.condition", unit="degF", each="request", needs=_CONDITION, limits=_TOLERANCES,
       advise=on_sheet)
def condition(test: FunctionalTest, request: Request) -> Finding:
    """Wet bulb + tower approach + tolerance + exchanger approach + tolerance, at the enable."""
    row = request.row
    needed = float(approaches.needed_setpoint(test)[row])
    setpoint = float(test.reset_setpoint[row])
    if math.isnan(needed) or math.isnan(setpoint):
        return not_judged(request.number, row, "wet bulb or setpoint has a gap at the enable")
    every = test.sample_interval("wet_bulb")
    around = approaches.needed_setpoint(test)[test.window(row - test.rows(every), row + 1)]
    unseen = between_rows(around, every)
    doubt = math.hypot(approaches.enable_uncertainty(test)[row], unseen)
    tolerances = sum(test.limits[name] for name in _TOLERANCES)
    return Finding(
        request.number, row,
        f"wet bulb {test.wet_bulb[row]:.1f} needs a setpoint of {needed:.1f}, the "
        f"reset asked for {setpoint:.1f} °F",
        measured=needed, at_most=setpoint,
        # The sequence has its tolerances for the sensors' sake, not for rare samples.
        uncertainty=doubt, reserve=min(tolerances, doubt - unseen),
        cut_off=approaches.contradiction(test, row, 1.0),
        fail_needs=approaches.contradiction(test, row, -1.0),
        quantities={
            "wet bulb, °F": float(test.wet_bulb[row]),
            "tower approach, °F": float(approaches.tower(test).rows[0][row]),
            "exchanger approach, °F": float(approaches.exchanger(test).rows[0][row]),
            "approaches": approaches.basis(test),
            "tolerances, °F": tolerances,
            "needed setpoint, °F": needed, "reset setpoint, °F": setpoint})


@check("enable.dwell", unit="min", each="request", needs=_CONDITION,
       limits=("enable.dwell", *_TOLERANCES),
       advise=on_sheet)
def dwell(test: FunctionalTest, request: Request) -> Finding:
    """Minutes without a break in which the condition had held before the enable."""
    limit, margin = test.limits["enable.dwell"], approaches.sequence_margin(test)
    every, known = test.sample_interval("request", "wet_bulb", "reset_setpoint"), (0.0, 1.0)
    start, least, most = (_held_from(test, request.row, sign) for sign in (0.0, -1.0, 1.0))
    # Where the condition does not hold at the enable itself, it has held for no time; but it may
    # have broken after the enable, within the same sample.
    if most == request.row:
        most = _held_from(test, request.row - test.rows(every), 1.0)
    held, least_held, most_held = (max(request.row - row - 1, 0) * test.minutes
                                   for row in (start, least, most))
    unseen = start < 0 or math.isnan(margin[start])
    if unseen and held < limit:
        return not_judged(request.number, request.row,
                          f"only {held:.0f} min before the enable can be seen")
    spread = held - least_held if held >= limit else most_held - held
    if every > 1.0 and held > 0.0 and start >= 0:
        known = crossed(margin, start, test.rows(every), approaches.margin_noise(test))
    # It began in that part of the interval before its first sample; the enable came at any time.
    held += every * (0.5 - sum(known) / 2.0)
    return Finding(
        request.number, min(start + 1, request.row), f"the condition had held for {held:.0f} min",
        last=request.row, measured=held, at_least=limit,
        uncertainty=every * (known[1] - known[0] + 1.0) / 2.0 + spread,
        tolerance=test.timing_tolerance,
        quantities={"margin at the enable, °F": float(margin[request.row]),
                    "held at the least, min": least_held, "at the most, min": most_held})


def _held_from(test: FunctionalTest, row: int, sign: float) -> int:
    """The last row up to ``row`` in which the condition did not hold, -1 for none."""
    broken = _broken_rows(test, sign)
    upto = int(np.searchsorted(broken, row, side="right"))
    return int(broken[upto - 1]) if upto else -1


@cached
def _broken_rows(test: FunctionalTest, sign: float) -> np.ndarray:
    """The rows in which the condition did not hold or is not known; ``sign`` moves it by what
    the sequence's own is known to."""
    margin = approaches.sequence_margin(test) + sign * approaches.own_spread(test)
    return np.flatnonzero(~(margin >= 0.0))


@check("enable.stay", unit="min", each="run", needs=("request", "chillers"),
       limits=("enable.stay",), advise=on_sheet)
def stay(test: FunctionalTest, run: Run) -> Finding:
    """Minutes from the transition to the end of the run."""
    limit, lasted = test.limits["enable.stay"], run_minutes(test, run)
    if not run.complete and lasted < limit:
        return not_judged(run.number, run.first,
                          test.cut_off(run) or "still on when the trends end")
    if lasted < limit and (clock := exit_reasons.by_clock(test, run)):
        return not_judged(run.number, run.first, f"{clock}, {lasted:.0f} min after the transition")
    every, early = test.sample_interval("request", "chillers"), _in_service_before(test, run)
    # The sequence counts from its own command, the last chiller runs down after it.
    own = (f"the exchanger was in service {early:.0f} min before the last chiller was off, and by "
           "that the run was long enough" if lasted < limit <= lasted + early else "")
    return Finding(
        run.number, run.first, f"the run lasted {lasted:.0f} min", last=run.last, fail_needs=own,
        measured=lasted, at_least=limit, uncertainty=every,
        tolerance=test.timing_tolerance,
        worst_in_gaps=known_minutes(test, run.rows))


def run_minutes(test: FunctionalTest, run: Run) -> float:
    """Length of a run in minutes, from the transition to the end of its last row."""
    return (run.last - run.first + 1) * test.minutes


def _in_service_before(test: FunctionalTest, run: Run) -> float:
    """How long the exchanger's own status was on before the last chiller was off [min], of a
    chiller's run-down at most."""
    if not test.has("economizer_active"):
        return 0.0
    rows = test.window(run.first - test.rows(RUN_DOWN_MINUTES), run.first)
    on = test["economizer_active"][rows] == 1.0
    return float(np.logical_and.accumulate(on[::-1]).sum()) * test.minutes


def known_minutes(test: FunctionalTest, rows: slice) -> float:
    """How long every chiller is known to have been off from the first of these rows on [min]."""
    off = test.chillers_on[rows] == 0.0
    return float(np.logical_and.accumulate(off).sum()) * test.minutes


@check("enable.rest", unit="min", needs=("request", "chillers"),
       limits=("enable.rest", "enable.attempts"),
       advise=on_sheet)
def rest(test: FunctionalTest) -> Iterator[Finding]:
    """Minutes from the end of one attempt to the next enable, and enables a day."""
    every = test.sample_interval("request", "chillers")
    for before, after in zip(test.changeovers, test.changeovers[1:], strict=False):
        ended = before.last + 1 if before.complete else None
        over = next((row for row in (before.exit_row, before.abandoned, ended)
                     if row is not None), None)
        if over is None or after.enabled is None:
            continue
        rested = (after.enabled - over) * test.minutes
        yield Finding(
            before.number, over, f"{rested:.0f} min from the end of one to the next enable",
            last=after.enabled, subject=f"to {after.number}", measured=rested,
            at_least=test.limits["enable.rest"], uncertainty=every,
            tolerance=test.timing_tolerance)
    yield from _attempts(test)


def _attempts(test: FunctionalTest) -> Iterator[Finding]:
    """Every day with too many enables; where there is none, the one with the most."""
    by_day: dict[date, list[int]] = {}
    for request in test.requests:
        by_day.setdefault(test.time(request.row).date(), []).append(request.row)
    limit = test.limits["enable.attempts"]
    for place, (day, rows) in enumerate(
            sorted(by_day.items(), key=lambda each: len(each[1]), reverse=True)):
        # An enable in the row after midnight may have come before it: the next day's first may
        # be one more here, and the first here one too many.
        tomorrow = by_day.get(day + timedelta(days=1), [])
        spare = rows[0] if len(rows) > limit else next(iter(tomorrow), None)
        if len(rows) > limit or place == 0:
            yield Finding(
                0, rows[0], f"economizer enables: {len(rows)}",
                subject=f"changeovers on {day:%Y-%m-%d}",
                measured=len(rows), at_most=limit, unit="per day",
                uncertainty=float(spare is not None and test.minutes > 1.0
                                  and test.time(spare - 1).date() != test.time(spare).date()))


@cached
def lost_rows(test: FunctionalTest) -> np.ndarray:
    """The rows on chillers that the economizer could have carried: every stretch of ``waiting``
    from the end of the enable delay on."""
    delay = test.limits["enable.dwell"] / test.minutes
    return test.within(test.window(each.first + delay, each.last + 1)
                       for each in waiting(test).stretches())


def _advise_missed(test: FunctionalTest, _: Sequence[Event]) -> str:
    days = len(test) * test.minutes / 1440.0
    return (f"Lost in this record of {days:.0f} days, from the end of the enable delay on: "
            f"{savings.lost(test, lost_rows(test))}.")


@check("enable.missed", unit="min", needs=_CONDITION,
       limits=("enable.missed", "enable.dwell", "enable.rest", *_TOLERANCES), advise=_advise_missed)
def missed(test: FunctionalTest) -> Iterator[Finding]:
    """Every stretch longer than the limit in which the condition held, the exchanger could carry
    the load, chillers ran and were not cheaper, the minimum off time was over and no enable came;
    where there is none, the longest. Those that a gap may hide are not judged."""
    limit = test.limits["enable.dwell"] + test.limits["enable.missed"]
    held_back = waiting(test)
    longest = held_back.longest()
    if longest is None:
        yield Finding(0, 0, "the condition never held while chillers ran", measured=0.0,
                      at_most=limit, subject="whole record")
    elif longest.rows * test.minutes <= limit:
        with_gaps = max((each.rows for each in held_back.stretches(maybe=True)
                         if held_back.sure[each.first : each.last + 1].any()), default=0)
        yield _missed(test, longest, limit, with_gaps * test.minutes)
    else:
        for stretch in held_back.stretches():
            if stretch.rows * test.minutes > limit:
                yield _missed(test, stretch, limit)
    for stretch in held_back.stretches(maybe=True):
        minutes = stretch.rows * test.minutes
        if minutes > limit and not held_back.sure[stretch.first : stretch.last + 1].all():
            yield not_judged(
                0, stretch.first, f"a gap hides up to {minutes:.0f} min", stretch.last,
                subject=f"from {test.time(stretch.first):%Y-%m-%d %H:%M}")


@cached
def waiting(test: FunctionalTest) -> Flags:
    """Where the condition held while chillers ran and no enable came, and nothing spoke for
    waiting: the exchanger can carry the load there by the trends' curves, the minimum off time is
    over, the sequence allows it at that hour, and chillers did not draw less per ton than the
    economizer ever did."""
    held = Flags.at_least(approaches.sequence_margin(test), 0.0)
    for reason in (~able(test), _resting(test), hours_closed(test), _chillers_cheaper(test)):
        held = held & ~reason
    return held & Flags.on(test.chillers_on) & Flags.off(test.commanded)


@cached
def able(test: FunctionalTest) -> Flags:
    """Where wet bulb and both curves at that load reach the reset setpoint; everywhere without
    the curves."""
    seen = approaches.tower(test).seen, approaches.exchanger(test).seen
    if seen[0] is None or seen[1] is None:
        return _where(np.ones(len(test), dtype=bool))
    reached = test.wet_bulb + seen[0][0] + seen[1][0]
    # What the load's own gaps hide is no reason to wait.
    return _where(~(reached > test.reset_setpoint))


@cached
def hours_closed(test: FunctionalTest) -> Flags:
    """The hours in which the sequence, as specified, does not change over."""
    begins, ends = test.sequence.clock_enable, test.sequence.clock_exit or time(0, 0)
    if begins is None:
        return _where(np.zeros(len(test), dtype=bool))
    return _where(~in_hours(map(test.time, range(len(test))), begins, ends))


def _resting(test: FunctionalTest) -> Flags:
    """The minimum off time after each attempt."""
    off = test.limits["enable.rest"] / test.minutes
    return _where(test.within(test.window(c.last + 1, c.last + 1 + off)
                              for c in test.changeovers if c.complete))


def _chillers_cheaper(test: FunctionalTest) -> Flags:
    """Quarter-hours in which the plant drew less per ton than in any of a settled run."""
    length = test.rows(15.0)
    if test.missing("load", "power") or len(test) < length:
        return _where(np.zeros(len(test), dtype=bool))
    mean = np.convolve(test.kw_per_ton, np.ones(length) / length, "same")
    runs = test.within(test.settled(run) for run in test.runs)
    return _where(mean < np.nanmin(mean, where=runs & ~np.isnan(mean), initial=np.inf)
                  if (runs & ~np.isnan(mean)).any() else np.zeros(len(test), dtype=bool))


def _where(rows: np.ndarray) -> Flags:
    return Flags(rows, rows)


def _missed(test: FunctionalTest, found: Stretch, limit: float,
            with_gaps: float | None = None) -> Finding:
    minutes = found.rows * test.minutes
    margin = approaches.sequence_margin(test)[found.first : found.last + 1]
    known = approaches.enable_uncertainty(test)[found.first : found.last + 1]
    certain = Flags.at_least(margin, known).longest()
    between = test.sample_interval(*_CONDITION)
    doubt = minutes - (certain.rows * test.minutes if certain else 0.0) + between
    return Finding(
        0, found.first, f"the condition held for {minutes:.0f} min while chillers ran",
        last=found.last,
        subject=f"chillers ran from {test.time(found.first):%Y-%m-%d %H:%M}",
        measured=minutes, at_most=limit, uncertainty=doubt if minutes > limit else between,
        worst_in_gaps=with_gaps,
        quantities={"largest margin, °F": float(np.nanmax(margin))})


CHECKS = (condition, dwell, stay, rest, missed)
