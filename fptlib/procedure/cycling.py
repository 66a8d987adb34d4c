"""Step 4: how often do the chillers start, how soon again, and do they stop while they are needed?

Short cycling and trips show in the status alone, whether an alarm is trended or not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fptlib.procedure import uncertainty
from fptlib.procedure.flags import stretches
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.instruments import agreement
from fptlib.procedure.judge import Finding, check
from fptlib.procedure.measures import between_rows, busiest, rows_for
from fptlib.procedure.verdict import Event, Verdict

HOUR, DAY = 60.0, 1440.0
# How long before its stop another chiller may have started to take over from it, and how long the
# water is watched after it; how soon the exchanger takes over; within what time a chiller that was
# needed runs again; how far below its setpoint water shows that the chiller had too little load
# [min, degF] (common practice, no source).
OVERLAP, SOON, BACK, SATISFIED = 30.0, 5.0, 60.0, 1.0


def _longest_rows(test: FunctionalTest) -> float:
    """Rows that show too many starts in an hour, and the shortest time that a manufacturer states
    between two."""
    chillers = [test.plant.chiller(n) for n in test.chiller_numbers]
    stated = [each.anti_recycle for each in chillers] + [each.start_to_start for each in chillers]
    return min([rows_for(each.starts_per_hour or test.limits["lift.starts"], HOUR)
                for each in chillers] + [least / 2.0 for least in stated if least], default=HOUR)


@check("lift.starts", unit="per hour", needs=("chillers",), all_or_none=True, rows=_longest_rows,
       limits=("lift.starts", "lift.starts_day"),
       advise=lambda test, failed: _advise_starts(failed))
def starts(test: FunctionalTest) -> Iterator[Finding]:
    """Starts of each chiller in its busiest hour and its busiest 24 hours of the record; and its
    shortest time from a stop to the next start, and from start to start, where the manufacturer
    states them."""
    for n in test.chiller_numbers:
        every, chiller = test.sample_interval(*test.signals_of(n)), test.plant.chiller(n)
        yield _busiest(test, n, HOUR, every, chiller.starts_per_hour or test.limits["lift.starts"])
        if len(test) * test.minutes >= DAY:
            yield _busiest(test, n, DAY, every,
                           chiller.starts_per_day or test.limits["lift.starts_day"])
        edges = np.diff(test.running(n), prepend=np.nan)
        on, off = np.flatnonzero(edges == 1.0), np.flatnonzero(edges == -1.0)
        for least, begins, subject in ((chiller.anti_recycle, off, "from stop to start"),
                                       (chiller.start_to_start, on, "from start to start")):
            if least is not None:
                yield from _shortest(test, n, least, begins, on, subject, every)


def _busiest(test: FunctionalTest, n: int, period: float, every: float, limit: float) -> Finding:
    found = busiest(test.running(n), test.rows(period), test.unrecorded)
    per = "hour" if period == HOUR else "day"
    hidden = "" if every <= rows_for(limit, period) else (
        f"rows of {every:.0f} min cannot show so many starts")
    return Finding(
        0, max(found.row - test.rows(period) + 1, 0),
        f"starts in the busiest {'hour' if period == HOUR else '24 hours'}: {found.most}",
        last=found.row, subject=f"chiller {n}, starts per {per}", measured=found.most,
        at_most=limit, unit=f"per {per}", worst_in_gaps=found.worst, cut_off=hidden)


def _shortest(test: FunctionalTest, n: int, least: float, begins: np.ndarray, starts: np.ndarray,
              subject: str, every: float) -> Iterator[Finding]:
    """The shortest time from one of ``begins`` to the next start, without a gap between."""
    gaps = np.isnan(test.running(n))
    known = np.cumsum(gaps)
    after = np.searchsorted(starts, begins, side="right")
    pairs = [(int(begin), int(starts[k])) for begin, k in zip(begins, after, strict=True)
             if k < len(starts) and known[starts[k]] == known[begin]]
    if not pairs:
        return
    begin, end = min(pairs, key=lambda pair: pair[1] - pair[0])
    took = (end - begin) * test.minutes
    yield Finding(
        0, begin, f"{took:.0f} min {subject}; the manufacturer asks for {least:.0f} min", last=end,
        subject=f"chiller {n} {subject}", measured=took, at_least=least, unit="min",
        uncertainty=every, tolerance=test.timing_tolerance,
        worst_in_gaps=-np.inf if (gaps & ~test.unrecorded).any() else None,
        cut_off="" if 2.0 * every <= least else
        f"rows of {every:.0f} min may hide a shorter one")


def _advise_starts(failed: Sequence[Event]) -> str:
    longest = max((60.0 / event.limit if event.unit == "per hour" else event.limit
                   for event in failed if event.limit and event.unit != "per day"), default=0.0)
    return f"At least {longest:.0f} min from start to start keep the limit." if longest else ""


@check("lift.trips", unit="count", limits=("lift.trip_band",), all_or_none=True,
       needs=("request", "chillers", "chw_supply_temp", "chw_supply_setpoint"))
def trips(test: FunctionalTest) -> Iterator[Finding]:
    """Stops of each chiller under load: neither exchanger nor another chiller took over, the water
    was not below its setpoint and went above it, and a chiller ran within an hour."""
    stops = {n: np.flatnonzero(np.diff(test.running(n), prepend=np.nan) == -1.0)
             for n in test.chiller_numbers}
    every = test.sample_interval("chillers", "chw_supply_temp")
    wrong = any(event.verdict is Verdict.FAIL and event.subject == "chw_supply_temp"
                for event in agreement(test).events)
    for n, rows in stops.items():
        found = {int(row): kind for row in rows if (kind := _under_load(test, n, int(row)))}
        sure = [row for row, kind in found.items() if kind == "sure"]
        first = (sure or list(found) or [0])[0]
        yield Finding(
            0, first, f"{len(sure)} of {len(rows)} stops were under load" + (
                f", the first at {test.time(first):%Y-%m-%d %H:%M}: "
                f"{_went(test, first)}" if sure else ""),
            last=min(first + test.rows(BACK), len(test) - 1), subject=f"chiller {n}",
            measured=len(sure), at_most=0.0, worst_in_gaps=len(found) + _in_gaps(test, n),
            fail_needs="a field reading contradicts the supply's sensor" if wrong else "",
            cut_off="" if every <= SOON else f"rows of {every:.0f} min may hide a stop")


def _in_gaps(test: FunctionalTest, n: int) -> int:
    """How many gaps of a chiller's status may hide a trip: it ran before and not after, or the gap
    has room for a stop and a start."""
    status, hidden = test.running(n), 0
    for first, last in stretches(np.isnan(status) & ~test.unrecorded):
        ends = status[max(first - 1, 0)], status[min(last + 1, len(test) - 1)]
        hidden += ends == (1.0, 0.0) or (last - first + 1) * test.minutes > SOON
    return hidden


@cached
def _carried(test: FunctionalTest) -> np.ndarray:
    """Whether the exchanger carries load, or is commanded to and nothing shows that it is off."""
    return test.exchanger_on | (test.commanded == 1.0) & ~test.exchanger_off


def _under_load(test: FunctionalTest, n: int, row: int) -> str:
    """``sure`` where a stop of chiller ``n`` in this row was under load, ``maybe`` where a gap or
    the sampling leaves it open, empty where it was not."""
    soon = np.flatnonzero(_carried(test)[test.window(row, row + SOON / test.minutes + 1)])
    # An exchanger that opens and soon shuts again has taken over nothing.
    held = 0.0
    if len(soon):
        begin = row + int(soon[0])
        from_there = _carried(test)[test.window(begin, begin + 2.0 * SOON / test.minutes + 2)]
        held = float(np.logical_and.accumulate(from_there).sum()) * test.minutes
    if held > 2.0 * SOON or _relieved(test, n, test.window(row - OVERLAP / test.minutes, row)):
        return ""
    if not (test.chillers_on[test.window(row, row + BACK / test.minutes + 1)] == 1.0).any():
        return ""
    before, after = _above_setpoint(test, row)
    if np.isnan(before).all() or np.isnan(after).all():
        return "maybe"
    doubt = uncertainty.resolution(test, "chw_supply_temp", "chw_supply_setpoint")
    # A chiller that has pulled its water below the setpoint stops for want of load.
    loaded = float(np.nanmin(before)) + SATISFIED
    risen = float(np.nanmax(after)) - test.limits["lift.trip_band"]
    every, earlier = test.sample_interval("chw_supply_temp"), test.window(
        row - test.rows(OVERLAP), row)
    colder = between_rows(test.above_active[earlier], every)
    # What lies between samples may be lower before the stop, and higher after it.
    if min(loaded - colder, risen) > doubt and held < SOON:
        return "sure"
    return "maybe" if min(loaded, risen + between_rows(after, every)) + doubt > 0.0 else ""


def _relieved(test: FunctionalTest, n: int, rows: slice) -> bool:
    """Whether another chiller than ``n`` started in these rows."""
    return any((np.diff(test.running(other)[rows]) == 1.0).any()
               for other in test.chiller_numbers if other != n)


def _above_setpoint(test: FunctionalTest, row: int) -> tuple[np.ndarray, np.ndarray]:
    """Supply above the setpoint just before a stop, and after it until the next enable; there a
    setpoint that is lowered later does not count."""
    water, setpoint = test["chw_supply_temp"], test["chw_supply_setpoint"]
    rows = test.window(row, row + OVERLAP / test.minutes + 1)
    enabled = np.flatnonzero(np.diff(test.commanded[rows]) == 1.0)
    stop = rows.start + int(enabled[0]) + 1 if len(enabled) else rows.stop
    after = water[row:stop] - np.fmax(setpoint[row:stop], setpoint[row])
    return test.above_active[test.window(row - test.rows(SOON), row)], after


def _went(test: FunctionalTest, row: int) -> str:
    return (f"the water rose to {np.nanmax(_above_setpoint(test, row)[1]):.1f} °F above its "
            "setpoint")


CHECKS = (starts, trips)
