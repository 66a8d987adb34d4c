"""What truly happened in a simulated plant: its attempts, and levels and stretches in them.

Worked out from the generator's events and its minutes without any sensor error, afresh from
the definitions of the checks; nothing here comes from the package.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import pandas as pd
from plant_measures import chillers_on

from sample_trends.generator import Result

MINUTE = pd.Timedelta(minutes=1)
# What noise and rounding of one temperature can hide [degF]: 3.5 x 0.02 and half of 0.1.
HIDDEN = 0.12
# The setpoint counts as back within so much of the reset setpoint [degF].
BACK_WITHIN = 0.25

Span = tuple[pd.Timestamp, pd.Timestamp]


@dataclass(frozen=True)
class Moment:
    """When something broken shows: in any of these spans, each from minute to minute.

    A span longer than a minute says what the sensors leave open: where a slow temperature
    crosses a limit, or which of several minutes was the worst. ``sure`` is whether it is
    broken beyond all uncertainty, so that a check must report it.
    """

    spans: tuple[Span, ...]
    sure: bool = True

    def holds(self, time: pd.Timestamp, within: pd.Timedelta) -> bool:
        """Whether ``time`` lies within one trend interval of it."""
        return any(first - within <= time <= last + within for first, last in self.spans)


def at(time: pd.Timestamp, sure: bool = True) -> Moment:
    """A moment known to the minute."""
    return Moment(((time, time),), sure)


@dataclass(frozen=True)
class Attempt:
    """A request and what came of it; ``None`` for what did not come."""

    request: pd.Timestamp
    handover: pd.Timestamp | None = None
    leave: pd.Timestamp | None = None
    exit: pd.Timestamp | None = None
    abandoned: pd.Timestamp | None = None

    @property
    def over(self) -> pd.Timestamp | None:
        """When chillers carried the plant again."""
        return self.exit or self.abandoned


def attempts(result: Result) -> list[Attempt]:
    """Every attempt in order of time."""
    found: list[dict[str, pd.Timestamp]] = []
    for event in result.truth:
        if event.kind == "request":
            found.append({"request": event.time})
        elif found and event.kind in Attempt.__annotations__:
            found[-1].setdefault(event.kind, event.time)
    return [Attempt(**one) for one in found]


def runs(result: Result) -> list[tuple[Attempt, pd.DataFrame]]:
    """Every attempt that came to a run, with the true minutes of the run."""
    end = result.actual.index[-1]
    return [(one, result.actual[one.handover : (one.leave or end) - MINUTE])
            for one in attempts(result) if one.handover]


def taken_over(result: Result, handover: pd.Timestamp) -> bool:
    """Whether a chiller ran until a handover; after a trip of all there is none to stop."""
    return bool(chillers_on(result.actual.loc[: handover - MINUTE].tail(1)).iloc[0] > 0)


def pull_downs(result: Result) -> list[tuple[Attempt, pd.DataFrame]]:
    """Every attempt with the true minutes from the request until the last chiller stopped."""
    end = result.actual.index[-1]
    return [(one, result.actual[one.request : (one.handover or one.abandoned or end) - MINUTE])
            for one in attempts(result)]


def recovered(run: pd.DataFrame) -> pd.Timestamp:
    """When the active setpoint was back at the reset setpoint; the run's end if never."""
    back = run["chw_supply_setpoint"] >= run["chw_reset_setpoint"] - BACK_WITHIN
    return back.idxmax() if back.any() else run.index[-1]


def lowered(result: Result, attempt: Attempt) -> bool:
    """Whether a temporary setpoint was in force when the last chiller stopped."""
    last = result.actual.loc[attempt.handover - MINUTE]
    return bool(last["chw_supply_setpoint"] < last["chw_reset_setpoint"] - BACK_WITHIN)


def released(run: pd.DataFrame, rise: float) -> pd.Timestamp:
    """When the active setpoint had risen by more than ``rise`` from its lowest."""
    active = run["chw_supply_setpoint"]
    up = active > active.cummin() + rise
    return up.idxmax() if up.any() else run.index[-1]


def settled(result: Result, attempt: Attempt, run: pd.DataFrame) -> pd.DataFrame:
    """The run once the setpoint is back and the loop's water has turned over three times,
    without the minutes in which an exit ripens; empty where less than an hour is left."""
    turns = 3.0 * result.scenario.design.loop_volume / run["chw_flow"].median()
    start = max(recovered(run), attempt.handover + round(turns) * MINUTE)
    end = attempt.exit - 21 * MINUTE if attempt.exit else run.index[-1]
    return run[start:end] if end - start >= 60 * MINUTE else run[:0]


def stretches(flags: pd.Series) -> Iterator[tuple[pd.Timestamp, pd.Timestamp, int]]:
    """First and last minute of every unbroken stretch, and its minutes."""
    numbers = (flags != flags.shift()).cumsum()[flags]
    for _, rows in numbers.groupby(numbers):
        yield rows.index[0], rows.index[-1], len(rows)


def crossing(level: pd.Series, limit: float, longest: int) -> Iterator[Moment]:
    """Stretches above a limit for longer than so many minutes, as sensors may have seen it."""
    for first, last, minutes in stretches(level > limit - HIDDEN):
        inner = max(stretches(level[first:last] > limit + HIDDEN), key=lambda s: s[2],
                    default=None)
        if minutes > longest and inner:
            yield Moment(((first, inner[0]),), inner[2] > longest + 2)


def highest_kept(level: pd.Series, limit: float, doubt: float) -> Iterator[Moment]:
    """The highest level kept for three minutes, where it lies above a limit.

    Of the minutes that come within the sensors' reach of it, any may be seen as the highest.
    """
    kept = level[::-1].rolling(3).min()[::-1]
    if kept.max() > limit:
        near = kept.index[kept >= kept.max() - 2.0 * HIDDEN]
        spans = tuple((first, last) for first, last, _ in stretches(kept.index.to_series()
                                                                     .isin(near)))
        yield Moment(spans, bool(kept.max() > limit + doubt))


def per_run(judge: Callable[[Result, Attempt, pd.DataFrame], Iterator[Moment]]
            ) -> Callable[[Result], list[Moment]]:
    """Ask every run; where no chiller was there to stop, one-minute rows show no handover."""
    return lambda result: [
        replace(moment, sure=moment.sure and taken_over(result, attempt.handover))
        for attempt, run in runs(result) for moment in judge(result, attempt, run)]
