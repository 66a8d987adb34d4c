"""Step 4: how quickly does a chiller that starts load, and does a limit hold one down?

What a chiller draws stands for its load, as a share of its rated current or power.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.procedure import uncertainty
from fptlib.procedure.envelope import cold_rows
from fptlib.procedure.flags import Flags
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.verdict import NotTested


def _drawn(test: FunctionalTest, numbers: list[int]) -> dict[int, tuple[str, np.ndarray]]:
    """The point behind what each of these chillers draws, and that in per cent of rated.

    Raises:
        NotTested: the plan states no rated current or power of one of them.
    """
    rated = {n: test.draw(n) for n in numbers}
    if lacks := [str(n) for n, (_, full) in rated.items() if full is None]:
        raise NotTested(f"neither rated current nor rated power of chiller {', '.join(lacks)} is "
                        "stated in the plan")
    return {n: (point, 100.0 * test[point] / full) for n, (point, full) in rated.items() if full}


@check("lift.loading", unit="%", needs=("chillers", "chiller_draw"), all_or_none=True,
       limits=("lift.loading_start", "lift.short_dip"))
def loading(test: FunctionalTest) -> Iterator[Finding]:
    """What each chiller that has started draws, in per cent of rated and for longer than a short
    dip, against the load it may start with plus the manufacturer's ramp times the minutes
    since its start; the start that comes furthest above."""
    rates = {n: rate for n in test.chiller_numbers if (rate := test.plant.chiller(n).loading_rate)}
    if not rates:
        raise NotTested("the loading ramp of no chiller is stated in the plan")
    for n, (point, drawn) in _drawn(test, list(rates)).items():
        begin, rate, since = test.limits["lift.loading_start"], rates[n], test.since_start(n)
        every = test.sample_interval(point, *test.signals_of(n))
        on = test.running(n) == 1.0
        ramp = on & (begin + rate * since < 100.0)
        if not ramp.any():
            continue
        # It started between two samples, half of their interval ago as likely as not.
        allowed = np.minimum(begin + rate * (since + every / 2.0), 100.0)
        level = np.where(ramp, _lasting(test, np.where(on, drawn, np.nan), every) - allowed, np.nan)
        if np.isnan(level).all():
            yield not_judged(0, int(ramp.argmax()), "a gap, or too few rows show its ramp",
                             subject=f"chiller {n}")
            continue
        row = int(np.nanargmax(level))
        most, after = float(allowed[row]), float(since[row])
        measured = most + float(level[row])
        # A single sample of rare ones, or a gap, may have lasted.
        single = np.where(ramp, drawn - allowed, np.nan) if every > 1.0 else level
        hidden = np.isnan(drawn[ramp]).any()
        doubt = uncertainty.COVERAGE * uncertainty.standard(test, point, measured)
        yield Finding(
            0, row, f"{after:.0f} min after its start it drew {measured:.0f} % of rated; from "
            f"{begin:g} % on, {rate:g} % a minute allow {most:.0f} %", subject=f"chiller {n}",
            measured=measured, at_most=most, tolerance=rate * test.timing_tolerance,
            uncertainty=math.hypot(doubt, rate * every / 2.0),
            worst_in_gaps=math.inf if hidden else most + float(np.nanmax(single)),
            quantities={"minutes since the start": after, "drawn, % of rated": float(drawn[row])})


def _lasting(test: FunctionalTest, drawn: np.ndarray, every: float) -> np.ndarray:
    """What a chiller draws from each row on for longer than a short dip, of rare samples until the
    next one: the current of a motor that comes up to speed is no load."""
    rows = int(test.limits["lift.short_dip"] // test.minutes) + 1
    rows = rows if every <= 1.0 else 1 + test.rows(every)
    padded = np.append(drawn, np.full(rows - 1, np.nan))
    return np.asarray(sliding_window_view(padded, rows).min(axis=1))


@check("lift.current_limit", unit="min", all_or_none=True,
       needs=("request", "chillers", "chiller_draw", "chw_supply_temp", "chw_supply_setpoint"),
       limits=("lift.limited", "lift.limited_band", "running.supply_band"))
def current_limit(test: FunctionalTest) -> Iterator[Finding]:
    """The longest time in which a running chiller was at its current or demand limit with the
    supply above the active setpoint by more than the band: in the pull-down and in the hour after
    an exit. It fails only where the supply was above the reset setpoint for as long: a demand limit
    may be meant to keep a chiller from following a temporary setpoint."""
    stated = {n: share for n in test.chiller_numbers
              if (share := test.plant.chiller(n).current_limit) is not None}
    if not stated:
        raise NotTested("the current or demand limit of no chiller is stated in the plan")
    warm, short = (Flags.above(above, test.limits["running.supply_band"])
                   for above in (test.above_active, test.above_reset))
    most = test.limits["lift.limited"]
    for n, (point, drawn) in _drawn(test, list(stated)).items():
        every = test.sample_interval(point, "chw_supply_temp", "chw_supply_setpoint")
        held = warm & Flags.on(test.running(n)) & Flags.at_least(
            drawn, stated[n] - test.limits["lift.limited_band"])
        for changeover in test.changeovers:
            for part, rows in cold_rows(test, changeover):
                seen, possible = held[rows].longest(), held[rows].longest(maybe=True)
                starved = (held & short)[rows].longest()
                minutes = seen.rows * test.minutes if seen else 0.0
                proven = starved is not None and starved.rows * test.minutes > most
                yield Finding(
                    changeover.number, seen.first if seen else rows.start,
                    f"at its limit of {stated[n]:g} % for {minutes:.0f} min with the supply above "
                    "its setpoint", last=seen.last if seen else rows.stop - 1,
                    subject=f"chiller {n}{part}", measured=minutes,
                    at_most=most, fail_needs="" if proven else "the supply was not shown above the "
                    "reset setpoint for as long: the limit slowed the pull-down, as a demand limit "
                    "is meant to", uncertainty=every if seen else 0.0,
                    worst_in_gaps=possible.rows * test.minutes if possible else 0.0)


CHECKS = (loading, current_limit)
