"""Step 6: does the active setpoint return gently, and without a demand peak?"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.procedure import uncertainty
from fptlib.procedure.changeovers import Changeover, Run
from fptlib.procedure.chiller_baseline import minutes_past_midnight
from fptlib.procedure.flags import stretches
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import (
    LEAST_KNOWN,
    Rise,
    between_rows,
    carried,
    highest_kept,
    in_hours,
    interval_demand,
    largest_rise,
    largest_step,
    reversals,
    straightened,
    warmest,
)
from fptlib.procedure.setpoint_release import (
    last_lowered,
    nothing_lowered,
    release_row,
    rise_hidden,
)
from fptlib.procedure.verdict import NotTested, Verdict

RATE_WINDOW = 10.0
SHORTEST_SWING = 10.0
AFTER_RECOVERY = 60.0
# Hours on chillers that show what ordinary operation draws (common practice, no source).
LEAST_ORDINARY = 12.0
_SETPOINTS = ("request", "chillers", "chw_supply_setpoint", "reset_setpoint")
_SUPPLY = "chw_supply_temp"
_ACTIVE = "chw_supply_setpoint"


def _cut(test: FunctionalTest, run: Run, after: float) -> str:
    """Why the return, and ``after`` minutes of what follows, was not seen to its end; empty
    where it was, or where the run was over before."""
    back = test.recovered(run)
    if run.complete or back is not None and back + after / test.minutes <= run.last:
        return ""
    return "the trends end, or have a gap, before the return is over"


@check("recovery.rate", unit="degF", each="run", needs=_SETPOINTS, limits=("recovery.rate",),
       advise=on_sheet)
def rate(test: FunctionalTest, run: Run) -> Finding | None:
    """Largest rise of the active setpoint in ten minutes, from the transition to the recovery."""
    if run.enabled is None:
        return None
    if (before := last_lowered(test, run)) is None:
        return nothing_lowered(test, run)
    back = test.recovered(run)
    every = test.sample_interval(_ACTIVE)
    apart = test.rows(every)
    active = test[_ACTIVE][before : (run.last if back is None else back) + 1][::apart]
    # Over a gap it rose in a straight line at the gentlest, and at the worst all at its end.
    unseen, lower = _followed(test, before, apart), _fell(test, before, apart)
    rise, at_worst = (_rise(each(active), every, unseen, lower)
                      for each in (straightened, carried))
    if rise is None or at_worst is None:
        return not_judged(run.number, run.first, "the setpoint has a gap there")
    return Finding(
        run.number, before + rise.start * apart,
        f"rose by {rise.middle:.1f} °F within {RATE_WINDOW:.0f} min", measured=rise.middle,
        at_most=test.limits["recovery.rate"], worst_in_gaps=at_worst.middle,
        # What the ramp rises within the tolerance of its timer.
        tolerance=(test.limits["recovery.rate"] / RATE_WINDOW
                   * test.timing_tolerance),
        uncertainty=(rise.high - rise.low) / 2.0 + uncertainty.resolution(test, _ACTIVE, _ACTIVE),
        cut_off=_cut(test, run, 0.0),
        quantities={"active setpoint before, °F": float(test[_ACTIVE][before]),
                    "reset setpoint before, °F": float(test.reset_setpoint[before])})


def _followed(test: FunctionalTest, before: int, apart: int) -> float:
    """How far up the setpoint may have followed the condenser water [degF] after row ``before``,
    unseen between samples so many rows ``apart``: the water's largest change between two of those
    around it; infinite where it is not known."""
    if test.missing("cw_supply_temp"):
        return math.inf
    water = test["cw_supply_temp"][test.window(before - 2 * apart, before + 3 * apart)]
    change = np.abs(water[apart:] - water[:-apart])
    return float(change.max()) if len(change) and not np.isnan(change).any() else math.inf


def _fell(test: FunctionalTest, before: int, apart: int) -> float:
    """How far down the setpoint may have gone on unseen after row ``before`` [degF]: what the
    condenser water, or where that is not trended the setpoint itself, fell in the interval before
    or in that one."""
    led = test["cw_supply_temp" if test.has("cw_supply_temp") else _ACTIVE]
    change = -np.diff(led[test.window(before - apart, before + apart + 1)][::apart])
    return float(np.fmax.reduce(change, initial=0.0))


def _rise(active: np.ndarray, every: float, followed: float, fell: float) -> Rise | None:
    """Largest rise of the returning setpoint in samples ``every`` [min], from the last one of
    the pull-down on. Between rare samples it may have ``followed`` the water up before the
    transition by so much, and that is no return, or ``fell`` further, and then it rose from there.
    """
    whole = largest_rise(active, RATE_WINDOW, every)
    if whole is None or every <= 1.0:
        return whole
    least, most = (largest_rise(np.concatenate([active[:1] + moved, active[1:]]), RATE_WINDOW,
                                every) for moved in (followed, -fell))
    return Rise(max(least.low if least else 0.0, 0.0), most.high if most else whole.high,
                whole.start)


@check("recovery.duration", unit="min", each="run", needs=_SETPOINTS,
       limits=("recovery.shortest", "recovery.longest"), advise=on_sheet)
def duration(test: FunctionalTest, run: Run) -> Finding | None:
    """Minutes from the active setpoint's first rise until it is back at the reset setpoint."""
    if run.enabled is None:
        return None
    if last_lowered(test, run) is None:
        return nothing_lowered(test, run)
    start, end = release_row(test, run), test.recovered(run)
    if start is not None and rise_hidden(test, start):
        return not_judged(run.number, run.first,
                          "the setpoint has a gap before it began to rise")
    if start is None or end is None:
        return _not_back(test, run)
    took = (end - start) * test.minutes
    shortest, longest = test.limits["recovery.shortest"], test.limits["recovery.longest"]
    short, unseen = took < (shortest + longest) / 2.0, _unseen_before(test, run, end)
    every = test.sample_interval(*_SETPOINTS)
    return Finding(
        # The lowest row before it: a longer row may hide a rise that began before it.
        run.number, start - 1, f"was back {took:.0f} min after it began to rise", last=end,
        measured=took, at_least=shortest if short else None,
        at_most=None if short else longest,
        uncertainty=every + unseen, tolerance=test.timing_tolerance)


def _not_back(test: FunctionalTest, run: Run) -> Finding:
    unseen = _unseen_before(test, run, run.last + 1)
    waited = (run.last - run.first) * test.minutes - unseen
    if waited <= test.limits["recovery.longest"]:
        return not_judged(
            run.number, run.first, "the setpoint has a gap before it was back" if unseen else
            f"the run ended after {waited:.0f} min, before the setpoint was back")
    return Finding(
        run.number, run.first, f"was not back in the {waited:.0f} min of the run", last=run.last,
        measured=waited, at_most=test.limits["recovery.longest"],
        uncertainty=test.sample_interval(*_SETPOINTS))


def _unseen_before(test: FunctionalTest, run: Run, row: int) -> float:
    """How long a gap right before a row hides whether the setpoint was back [min]."""
    missing = np.isnan(test[_ACTIVE][run.first : row] - test.reset_setpoint[run.first : row])
    return float(np.logical_and.accumulate(missing[::-1]).sum()) * test.minutes


@check("recovery.stable", unit="degF", each="run", needs=(*_SETPOINTS, _SUPPLY),
       limits=("recovery.overshoot", "recovery.reversals", "recovery.reversal_size",
               "recovery.watch"))
def stable(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """Overshoot of the chilled water over the reset setpoint, and how often it turns round, from
    the transition until the watch after the recovery is over; what ripens an exit is the exit's."""
    if run.enabled is None:
        return
    rows = slice(run.first, _watched(test, run) + 1)
    water, cut = test[_SUPPLY][rows], _cut(test, run, test.limits["recovery.watch"])
    every = test.sample_interval(_SUPPLY)
    high = highest_kept(test.above_reset[rows], test.limits["lift.short_dip"],
                        test.minutes, every)
    if high is None:
        yield not_judged(run.number, run.first, "the chilled water has gaps there")
        return
    yield Finding(
        run.number, run.first + high.row, warmest(high.value), subject="overshoot",
        measured=high.value, at_most=test.limits["recovery.overshoot"],
        uncertainty=uncertainty.expanded(test, {_SUPPLY: 1.0}) + high.uncertainty,
        worst_in_gaps=high.worst_in_gaps, cut_off=cut)
    yield _swings(test, run, water, cut)


def _watched(test: FunctionalTest, run: Run) -> int:
    """The last row of a run in which the return is watched; what ripens an exit is the exit's."""
    back, last = test.recovered(run), float(run.last)
    if back is None:
        return run.last
    if run.exit is not None:
        delay = test.limits["exit.delay"] + test.limits["exit.grace"]
        last = max(min(back + AFTER_RECOVERY / test.minutes, last), last - delay / test.minutes)
    return int(min(back + test.limits["recovery.watch"] / test.minutes, last))


def _swings(test: FunctionalTest, run: Run, supply: np.ndarray, cut: str) -> Finding:
    size, limit = test.limits["recovery.reversal_size"], test.limits["recovery.reversals"]
    turns, every = reversals(supply, size), test.sample_interval(_SUPPLY)
    # Rows further apart than half the shortest swing hide turns.
    if every > SHORTEST_SWING / 2.0 and turns <= limit:
        return not_judged(run.number, run.first, f"rows of {every:.0f} min cannot show a swing",
                          subject="reversals")
    # A swing may be larger or smaller than its rows show by the rounding at both turns. With longer
    # rows it may also be larger, never smaller, by what lay between them: a parabola through three
    # rows peaks beyond the middle one by at most an eighth of their second difference.
    bend = largest_step(np.diff(supply[:: test.rows(every)])) if every > 1.0 else 0.0
    rounding = uncertainty.resolution(test, _SUPPLY, _SUPPLY)
    other = reversals(supply, size - rounding - bend / 4.0 if turns <= limit else size + rounding)
    # Gaps may hide two in every ten minutes, the shortest swing.
    in_gaps = sum(2 * int((last - first + 1) * test.minutes // SHORTEST_SWING)
                  for first, last in stretches(np.isnan(supply)))
    return Finding(
        run.number, run.first, f"{turns} reversals of {size:g} °F or more",
        last=run.first + len(supply) - 1, subject="reversals", measured=turns, at_most=limit,
        uncertainty=abs(turns - other), unit="count", worst_in_gaps=turns + in_gaps, cut_off=cut)


@check("recovery.supply", unit="degF", each="run", needs=(*_SETPOINTS, _SUPPLY), all_or_none=True,
       limits=("recovery.supply_rate", "recovery.settling", "recovery.supply_band",
               "recovery.watch"),
       advise=on_sheet)
def supply(test: FunctionalTest, run: Run) -> Iterator[Finding]:
    """Largest rise of the chilled water itself within ten minutes, from the ten before the
    transition on; and how far it was from the active setpoint once settled."""
    if run.enabled is None:
        return
    every, last = test.sample_interval(_SUPPLY), _watched(test, run)
    begin, apart = max(run.first - round(RATE_WINDOW / test.minutes), 0), test.rows(every)
    water = test[_SUPPLY][begin : last + 1][::apart]
    # One noisy minute is no rise: each counts as the middle one of its neighbors.
    calm = water if every > 1.0 or len(water) < 3 else np.median(
        sliding_window_view(np.pad(water, 1, mode="edge"), 3), axis=1)
    rise, at_worst = (largest_rise(each, RATE_WINDOW, every)
                      for each in (straightened(calm), carried(calm)))
    cut = _cut(test, run, test.limits["recovery.watch"])
    if rise is None or at_worst is None:
        yield not_judged(run.number, run.first, "the chilled water has a gap there", subject="rise")
    else:
        yield Finding(
            run.number, begin + rise.start * apart,
            f"chilled water rose by {rise.middle:.1f} °F within {RATE_WINDOW:.0f} min",
            subject="rise", measured=rise.middle, at_most=test.limits["recovery.supply_rate"],
            uncertainty=(rise.high - rise.low) / 2.0
            + uncertainty.resolution(test, _SUPPLY, _SUPPLY),
            worst_in_gaps=at_worst.middle, cut_off=cut,
            quantities={"chilled water before, °F": float(calm[rise.start])})
    back = test.recovered(run)
    settled = last + 1 if back is None else back + test.rows(test.limits["recovery.settling"])
    away = np.abs(test.above_active[settled : last + 1])
    if len(away) * test.minutes < RATE_WINDOW:
        return
    high = highest_kept(away, test.limits["lift.short_dip"], test.minutes, every)
    if high is None:
        yield not_judged(run.number, settled, "the chilled water has gaps there", subject="settled")
        return
    yield Finding(
        run.number, settled + high.row, f"up to {high.value:.1f} °F from the active setpoint once "
        "settled", subject="settled", measured=high.value,
        at_most=test.limits["recovery.supply_band"], cut_off=cut,
        uncertainty=uncertainty.expanded(test, {_SUPPLY: 1.0}) + high.uncertainty,
        worst_in_gaps=high.worst_in_gaps,
        quantities={"chilled water, °F": float(test[_SUPPLY][settled + high.row]),
                    "active setpoint, °F": float(test[_ACTIVE][settled + high.row])})


@check("recovery.demand", unit="kW", needs=("request", "chillers", "demand"), all_or_none=True,
       limits=("recovery.demand_interval", "recovery.demand_tolerance"),
       advise=lambda test, failed: (
           f"The peak was {max(-(event.margin or 0.0) for event in failed):.0f} kW above what the "
           "ordinary peak and its tolerance allow."))
def demand(test: FunctionalTest) -> Iterator[Finding]:
    """The highest demand interval of every changeover, entering and leaving, against the highest
    outside all of them and its tolerance; intervals as the utility bills them."""
    interval, kind = test.limits["recovery.demand_interval"], test.plant.demand_window
    if interval < test.minutes:
        raise NotTested(f"rows of {test.minutes:.0f} min are longer than the demand interval")
    blocks = interval_demand(test.demand, test.minutes, interval, kind,
                             minutes_past_midnight(test))
    blocks = blocks.where(_on_peak(test, blocks.begins))
    windows = [window for changeover in test.changeovers
               for window in _windows(test, changeover, interval / test.minutes)]
    outside, sample = np.ones(len(blocks.power), dtype=bool), test.sample_interval(
        "request", "chillers") / test.minutes
    # To within a sample it is not known when a changeover began and ended: such an interval is
    # not ordinary operation.
    for _, _, first, last in windows:
        outside[blocks.between(first - sample, last + sample)] = False
    if not outside.any():
        raise NotTested("there is no interval outside changeovers to compare with")
    usual, every = float(blocks.power[outside].max()), test.sample_interval("demand")
    changing = test.within(test.window(first, last + 1) for _, _, first, last in windows)
    hours = float((test.chiller_mode & ~changing).sum()) * test.minutes / 60.0
    # A peak below what little was seen is below that of the whole day, one above it need not be.
    few = "" if hours >= LEAST_ORDINARY else (
        f"chillers carried the plant for only {hours:.0f} h outside changeovers: trend a whole "
        "day on chillers")
    most = (1.0 - LEAST_KNOWN) * interval / test.minutes
    for number, subject, first, last in windows:
        span = blocks.between(first, last)
        power, begins = blocks.power[span], blocks.begins[span]
        gaps = stretches(np.isnan(test.demand[test.window(first, last + 1)]))
        hidden = any(end - begin + 1 > most for begin, end in gaps)
        if not len(power):
            yield not_judged(number, first, "power has a gap there" if hidden else
                             "it lies outside the utility's on-peak hours", subject=subject,
                             verdict=Verdict.NOT_TESTED if hidden else Verdict.NOT_APPLICABLE)
            continue
        highest, at = float(power.max()), float(begins[power.argmax()])
        # A window that slides may lie between the rows; blocks of the clock do not.
        between = between_rows(power, every) if kind == "sliding" else 0.0
        yield Finding(
            number, at, f"highest interval {highest:.0f} kW, highest outside changeovers "
            f"{usual:.0f} kW", subject=subject, measured=highest,
            at_most=usual * (1.0 + test.limits["recovery.demand_tolerance"] / 100.0),
            worst_in_gaps=math.inf if hidden else highest + between, fail_needs=few,
            cut_off="the trends end within the hour after it" if last > len(test) else "",
            quantities={"highest outside changeovers, kW": usual})


def _on_peak(test: FunctionalTest, begins: np.ndarray) -> np.ndarray:
    """Which demand intervals begin in the utility's on-peak hours; all where none are stated."""
    start, stop = test.plant.on_peak_from, test.plant.on_peak_to
    if start is None and stop is None:
        return np.ones(len(begins), dtype=bool)
    if start is None or stop is None:
        raise NotTested("of the utility's on-peak hours the plan states one end only")
    moments = [test.time(row) for row in begins]
    within = in_hours(moments, start, stop)
    if test.plant.on_peak_days == "weekdays":
        within &= np.array([at.weekday() < 5 for at in moments], dtype=bool)
    return within


def _windows(test: FunctionalTest, changeover: Changeover, interval: float
             ) -> Iterator[tuple[int, str, float, float]]:
    """The rows in which a changeover may set a peak: its number, which part, first and last.

    Entering: from the ``interval`` [rows] in which the enable lies to an hour after the recovery,
    or after it was given up and chillers took all of the load again; leaving: from that in which
    the first chiller starts to an hour after it.
    """
    hour, run = AFTER_RECOVERY / test.minutes, changeover.run
    if changeover.enabled is not None:
        ends = (test.recovered(run) if run else None, changeover.transition,
                changeover.abandoned, changeover.last)
        end = next(row for row in ends if row is not None) + hour
        # What follows the end of a run is the exit's.
        if changeover.complete and changeover.abandoned is None:
            end = min(end, changeover.last)
        yield changeover.number, "", changeover.enabled - interval, end
    if changeover.exit_row is not None:
        yield (changeover.number, "exit", changeover.exit_row - interval,
               changeover.exit_row + hour)


CHECKS = (rate, duration, supply, stable, demand)
