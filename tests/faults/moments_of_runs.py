"""At which minute a check must report what is broken in a run: one small function per check.

Each takes the true minutes of one run, from the handover until the plant decides to leave.
"""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd
import plant_measures as measure
from truth import (
    HIDDEN,
    MINUTE,
    Attempt,
    Moment,
    at,
    crossing,
    highest_kept,
    lowered,
    recovered,
    released,
    settled,
    stretches,
)

from sample_trends.generator import Result

Frame = pd.DataFrame


def release(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    if lowered(result, attempt):
        waited = released(run, 0.05) - attempt.handover
        if waited > 5 * MINUTE:
            yield at(attempt.handover, waited > 7 * MINUTE)


def rate(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """The minute from which the setpoint rose most within ten minutes."""
    if lowered(result, attempt):
        active = result.actual["chw_supply_setpoint"][attempt.handover - MINUTE : recovered(run)]
        rise = active[::-1].rolling(11, min_periods=1).max()[::-1] - active
        if rise.max() > 2.0:
            yield at(rise.idxmax(), rise.max() > 2.1)


def duration(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """Where the return began: from its first step to the first that a trend shows."""
    if lowered(result, attempt):
        with_last = result.actual[attempt.handover - MINUTE : run.index[-1]]
        first, last = released(with_last, 0.0), released(with_last, 0.06)
        took = (recovered(run) - last) / MINUTE
        if took < 20 or took > 120:
            yield Moment(((first, last),), took < 18 or took > 122)


def stable(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """Swings count from the handover on; an overshoot where it was highest."""
    back, last = recovered(run), run.index[-1]
    if attempt.exit:
        last = max(min(back + 60 * MINUTE, last), last - 20 * MINUTE)
    rows = run[: min(back + 120 * MINUTE, last)]
    swings, surely = (measure.reversals(rows["chw_supply_temp"], size) for size in (0.8, 1.2))
    if swings > 2:
        yield at(attempt.handover, surely > 2)
    over = rows["chw_supply_temp"] - rows["chw_reset_setpoint"]
    yield from highest_kept(over, 1.5 - HIDDEN, 0.5)


def _share(run: Frame, good: pd.Series, surely_bad: pd.Series) -> Iterator[Moment]:
    """A run of which too little is good; its settled minutes are judged as one."""
    if len(run) and good.mean() < 0.9:
        yield at(run.index[0], surely_bad.mean() > 0.2)


def tower_setpoint(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    run = settled(result, attempt, run)
    wanted = run["chw_supply_setpoint"] - result.scenario.sequence.exchanger_approach
    away = (run["cw_supply_setpoint"] - wanted).abs()
    yield from _share(run, away <= 1.0, away > 1.1)


def overcooling(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    run = settled(result, attempt, run)
    wanted = run["chw_supply_setpoint"] - result.scenario.sequence.exchanger_approach
    colder = wanted - run["cw_supply_temp"]
    fast = run[measure.numbered(run, "tower_", "_fan_speed")].max(axis=1) > 30.0
    yield from _share(run, ~((colder > 2.0) & fast), (colder > 2.5) & fast)


def supply(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """Below half the exchanger's load the check defers its verdict."""
    run = settled(result, attempt, run)
    away = (run["chw_supply_temp"] - run["chw_supply_setpoint"]).abs()
    difference = run["chw_return_temp"] - run["chw_supply_temp"]
    tons = (run["chw_flow"] * difference / 24.0).median() / result.scenario.design.scale
    yield from _share(run, away <= 1.5 + HIDDEN, (away > 2.0) & (tons > 165.0))


def exchanger(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    run = settled(result, attempt, run)
    if len(run) and result.scenario.design.ua < 0.8:
        yield at(run.index[0])


def fan_cycling(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """The busiest hours of each cell."""
    for name in measure.numbered(run, "tower_", "_fan_running"):
        starts = (run[name].diff() > 0).astype(float).rolling(60, min_periods=1).sum()
        ends = starts.index[starts == starts.max()]
        if starts.max() > 6:
            hours = tuple((max(end - 59 * MINUTE, run.index[0]),) * 2 for end in ends)
            yield Moment(hours)


def exit_supply(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    rows = run[recovered(run) :]
    yield from crossing(rows["chw_supply_temp"] - rows["chw_reset_setpoint"], 1.5, 20)


def exit_equipment(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    """More cells than allowed, the slowest at maximum; trended to the tenth of a per cent."""
    speeds = run[measure.numbered(run, "tower_", "_fan_speed")]
    slowest = speeds.where(speeds > 0.0).min(axis=1)
    many = (speeds > 0.0).sum(axis=1) > result.scenario.design.equipment_limit
    for first, last, minutes in stretches(many & (slowest >= 94.95)):
        surely = many & (slowest >= 95.05)
        if minutes > 35:
            yield Moment(((first, surely[first:last].idxmax()),), minutes > 40)


def exit_early(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    if attempt.exit:
        warm = run["chw_supply_temp"] - run["chw_reset_setpoint"]
        longest, shortest = (measure.held_before(warm > edge, run.index[-1])
                             for edge in (1.5 - HIDDEN, 1.5 + HIDDEN))
        if shortest < 15:
            yield at(attempt.exit, longest < 12)


def heat_balance(result: Result, attempt: Attempt, run: Frame) -> Iterator[Moment]:
    if result.scenario.sensors["hx_chw_flow"].factor != 1.0:
        yield at(attempt.handover)
