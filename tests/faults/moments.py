"""At which minute every check must report what is broken, as the generator knows it.

One small function per check, from the true minutes of a simulated plant. A check over a
whole run, or over the whole record, reports the stretch it judged: its event begins where
that begins, and this is what is asked of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache

import moments_of_runs as in_run
import pandas as pd
import plant_measures as measure
from faulty_case import Run
from library import readings_of
from truth import (
    HIDDEN,
    MINUTE,
    Moment,
    at,
    attempts,
    crossing,
    highest_kept,
    per_run,
    pull_downs,
    recovered,
    runs,
    stretches,
)

from sample_trends.generator import Result, simulate

Frame = pd.DataFrame
# Tower and exchanger tolerance of the standard [degF]; of the job: offset and lowest setpoint.
TOLERANCES, OFFSET, LOWEST = 3.0, 4.5, 38.0


def margin(result: Result) -> pd.Series:
    """True margin of the enable condition [degF]."""
    sequence, actual = result.scenario.sequence, result.actual
    adders = sequence.tower_approach + sequence.exchanger_approach + TOLERANCES
    return actual["chw_reset_setpoint"] - actual["outdoor_wet_bulb"] - adders


def condition(result: Result) -> Iterator[Moment]:
    for attempt in attempts(result):
        short = -margin(result)[attempt.request]
        if short > -HIDDEN:
            yield at(attempt.request, short > 0.5)


def dwell(result: Result) -> Iterator[Moment]:
    """Since when the condition had held; the request where it did not."""
    for attempt in attempts(result):
        before = margin(result)[: attempt.request]
        first, last = (min(_after_last(before < edge), attempt.request)
                       for edge in (-HIDDEN, HIDDEN))
        if attempt.request - last < 30 * MINUTE:
            yield Moment(((first, last),), attempt.request - first < 27 * MINUTE)


def _after_last(broken: pd.Series) -> pd.Timestamp:
    return broken.index[broken][-1] + MINUTE if broken.any() else broken.index[0]


def stay(result: Result) -> Iterator[Moment]:
    """A run counts from the last chiller's stop, or from the exchanger up to ten minutes before."""
    for attempt, run in runs(result):
        if attempt.exit and len(run) < 120:
            yield at(attempt.handover, len(run) < 107)


def rest(result: Result) -> Iterator[Moment]:
    """The end of an attempt that was followed too soon, and the first of too many in a day."""
    tried = attempts(result)
    for before, after in zip(tried, tried[1:], strict=False):
        if before.over and after.request - before.over < 30 * MINUTE:
            yield at(before.over, after.request - before.over < 27 * MINUTE)
    requests = pd.Series([attempt.request for attempt in tried])
    for day, that_day in requests.groupby(requests.dt.normalize()):
        if len(that_day) > 2:
            # A longer row after midnight may hold a request from before it.
            late = requests[requests >= day - 15 * MINUTE]
            yield Moment(tuple((time, time) for time in (that_day.iloc[0], late.iloc[0])),
                         len(that_day) > 3)


def missed(result: Result) -> Iterator[Moment]:
    actual = result.actual
    alone = (measure.chillers_on(actual) > 0) & (actual["economizer_command"] == 0)
    yield from crossing(margin(result).where(alone), 0.0, 150)


def lift_minimum(result: Result) -> Iterator[Moment]:
    least = result.scenario.design.minimum_lift
    for _, frame in pull_downs(result):
        for running in measure.numbered(frame, "chiller_", "_running"):
            stem = running.removesuffix("running")
            lift = frame[stem + "cw_leaving_temp"] - frame[stem + "chw_leaving_temp"]
            yield from highest_kept(-lift.where(frame[running] > 0), -least, 0.5)


def lift_setpoint(result: Result) -> Iterator[Moment]:
    for _, frame in pull_downs(result):
        # The controller scans: the warmest water of this minute and the two before.
        warmest = frame["cw_supply_temp"].rolling("3min").max()
        wanted = (warmest - OFFSET).clip(lower=LOWEST)
        asked = (wanted < frame["chw_reset_setpoint"]) & (measure.chillers_on(frame) > 0)
        yield from highest_kept((frame["chw_supply_setpoint"] - wanted).where(asked), 1.0, 0.3)


def floor(result: Result) -> Iterator[Moment]:
    for _, frame in pull_downs(result):
        for name in ("chw_supply_setpoint", "chw_supply_temp"):
            yield from highest_kept(-frame[name], -LOWEST, 0.5)


def chiller_on(run: Run) -> Iterator[Moment]:
    """A trip, an alarm's text, or giving up."""
    result = run.result
    alarms = [alarm.time for alarm in (run.entry.alarms(result) if run.entry else [])]
    trips = [event.time for event in result.events("trip")]
    for attempt, frame in pull_downs(result):
        end = frame.index[-1] + 6 * MINUTE if len(frame) else attempt.request
        rang = [time for time in (*alarms, *trips) if attempt.request <= time <= end]
        if rang or attempt.abandoned:
            yield at(min(rang, default=attempt.abandoned))


def demand(result: Result) -> Iterator[Moment]:
    """The highest quarter-hours of a changeover that exceed all outside of changeovers by more
    than a twentieth."""
    blocks = measure.blocks(result.actual)
    windows = [blocks[window] for window in _changing(result)]
    outside = blocks.drop(pd.concat(windows).index)
    for window in windows:
        if window.max() > 1.05 * outside.max():
            near = window.index[window >= 0.995 * window.max()]
            yield Moment(tuple((time, time) for time in near),
                         window.max() > 1.06 * outside.max())


def _changing(result: Result) -> Iterator[slice]:
    quarter, hour = 15 * MINUTE, 60 * MINUTE
    for attempt in attempts(result):
        run = result.actual[attempt.handover : attempt.leave] if attempt.handover else None
        back = recovered(run) if run is not None else attempt.abandoned
        yield slice(attempt.request - quarter + MINUTE, min(back + hour, attempt.leave or back))
        if attempt.exit:
            yield slice(attempt.exit - quarter + MINUTE, attempt.exit + hour)


def reset(result: Result) -> Iterator[Moment]:
    if result.actual["chw_reset_setpoint"].nunique() == 1:
        yield at(result.actual.index[0])


def comparative(result: Result) -> Iterator[Moment]:
    """Where the same plant on chillers alone would have drawn less, over a quarter-hour.

    Never ``sure``: the job may not have seen chillers at that load and wet bulb. What it did
    see begins a quarter-hour by the clock.
    """
    never = replace(result.scenario.sequence, dwell=10**7)
    alone = simulate(replace(result.scenario, sequence=never)).actual
    dearer = _kw_per_ton(result.actual) - _kw_per_ton(alone)
    for _, run in runs(result):
        for first, last, _ in stretches(dearer[run.index] > 0.0):
            yield Moment(((first - 14 * MINUTE, last),), sure=False)


def _kw_per_ton(actual: Frame) -> pd.Series:
    return (actual["plant_power"] / actual["plant_load"]).rolling(15).mean()


def wet_bulb(result: Result) -> Iterator[Moment]:
    """A wrong one from the first row on; a stuck one since it first showed that value."""
    read, error = result.frame["outdoor_wet_bulb"], result.scenario.sensors["outdoor_wet_bulb"]
    if abs(error.bias) > 1.5:
        yield at(read.index[0])
    if error.stuck:
        froze = read.index[int(error.stuck[0] * 1440)]
        yield Moment(((_after_last((read != read[froze])[:froze]), froze),))


def agreement(run: Run) -> Iterator[Moment]:
    """The field readings at which the trend was truly off."""
    frame, actual = run.result.frame, run.result.actual
    for reading in readings_of(run.entry, run.result):
        trend, truth = (table.at[reading.time, reading.point] for table in (frame, actual))
        limit = 1.0 if reading.unit == "degF" else 0.05 * truth
        if abs(trend - truth) > limit:
            yield at(reading.time, abs(trend - truth) > 2.5 * limit)


def _of_result(judge: Callable[[Result], Iterator[Moment]]) -> Callable[[Run], list[Moment]]:
    return lambda run: list(judge(run.result))


def _of_runs(judge: Callable[..., Iterator[Moment]]) -> Callable[[Run], list[Moment]]:
    return lambda run: per_run(judge)(run.result)


MOMENTS: dict[str, Callable[[Run], list[Moment]]] = {
    "instruments.agreement": lambda run: list(agreement(run)),
    "instruments.wet_bulb": _of_result(wet_bulb),
    "instruments.heat_balance": _of_runs(in_run.heat_balance),
    "reset.active": _of_result(reset),
    "enable.condition": _of_result(condition),
    "enable.dwell": _of_result(dwell),
    "enable.stay": _of_result(stay),
    "enable.rest": _of_result(rest),
    "enable.missed": _of_result(missed),
    "lift.minimum": _of_result(lift_minimum),
    "lift.setpoint": _of_result(lift_setpoint),
    "lift.floor": _of_result(floor),
    "lift.chiller_on": lambda run: list(chiller_on(run)),
    "lift.release": _of_runs(in_run.release),
    "recovery.rate": _of_runs(in_run.rate),
    "recovery.duration": _of_runs(in_run.duration),
    "recovery.stable": _of_runs(in_run.stable),
    "recovery.demand": _of_result(demand),
    "running.tower_setpoint": _of_runs(in_run.tower_setpoint),
    "running.overcooling": _of_runs(in_run.overcooling),
    "running.fan_cycling": _of_runs(in_run.fan_cycling),
    "running.supply": _of_runs(in_run.supply),
    "running.exchanger": _of_runs(in_run.exchanger),
    "exit.supply": _of_runs(in_run.exit_supply),
    "exit.equipment": _of_runs(in_run.exit_equipment),
    "exit.comparative": _of_result(comparative),
    "exit.not_early": _of_runs(in_run.exit_early),
}


@cache
def moments(run: Run, id: str) -> list[Moment]:
    """Every moment at which a check must report a run's fault."""
    return MOMENTS[id](run)
