"""Abort conditions of the plan on the trends: which was met, when, for how long, and whether the
test was stopped in the stated time.

They are judged on the trended readings as they stand, for whoever watches the test has no others.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

import numpy as np

from fptlib import units
from fptlib.job.schema import ABORTED, BELOW, ENDED, STARTED, Abort
from fptlib.procedure.alarms import AFTER_MINUTES
from fptlib.procedure.flags import Flags, Stretch
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.verdict import NotTested, Verdict

_NEEDS = {"supply_above_reset": ("chw_supply_temp", "reset_setpoint"),
          "supply_above_setpoint": ("chw_supply_temp", "chw_supply_setpoint"),
          "water_lift": ("chillers", "chiller_{n}_cw_leaving_temp", "chiller_leaving_water"),
          "chiller_alarm": ("chiller_{n}_alarm",)}


def needs(condition: Abort) -> tuple[str, ...]:
    """What must be trended to evaluate a condition."""
    return _NEEDS.get(condition.watched, (condition.watched,))


def watched(test: FunctionalTest, condition: Abort) -> dict[str, np.ndarray]:
    """What a condition watches, row by row in its own unit, by chiller where there are several.

    A chiller that is off has no lift to lose: infinity stands there.
    """
    if condition.watched == "supply_above_reset":
        return {"": test.above_reset}
    if condition.watched == "supply_above_setpoint":
        return {"": test.above_active}
    if condition.watched == "water_lift":
        return {f"chiller {n}": np.where(test.running(n) == 0.0, np.inf, test.water_lift(n))
                for n in test.chiller_numbers}
    if condition.watched == "chiller_alarm":
        return {f"chiller {n}": test[f"chiller_{n}_alarm"] for n in test.chiller_numbers or [1]}
    return {"": test[condition.watched]}


def holds(condition: Abort, values: np.ndarray) -> Flags:
    """The rows in which a condition holds; unknown where what it watches has a gap."""
    if condition.limit is None:
        return Flags.above(values, 0.5)
    if condition.side == BELOW:
        return Flags.above(-values, -condition.limit)
    return Flags.above(values, condition.limit)


@check("abort.conditions", unit="min",
       advise=lambda test, failed: (
           f"The longest wait was {max(event.measured or 0.0 for event in failed):.0f} min."))
def conditions(test: FunctionalTest) -> Iterator[Finding]:
    """Minutes from when an abort condition was met, its time above the limit included, until the
    enable command was off or the test was marked as aborted."""
    if not test.aborts:
        raise NotTested("the plan states no abort condition")
    during = _tests(test)
    if not during:
        raise NotTested("no changeover and no marked test lies in these trends")
    for condition in test.aborts:
        if condition.watched == "at the plant":
            yield not_judged(0, 0, "watched at the plant; no trend shows it",
                             subject=condition.text, verdict=Verdict.NOT_APPLICABLE)
        elif not condition.watched:
            yield not_judged(0, 0, "stated in words only; choose in the plan what is watched, and "
                             "its limit", subject=condition.text)
        elif lacks := test.missing(*needs(condition)):
            yield not_judged(0, 0, "not trended: " + ", ".join(lacks), subject=condition.text)
        else:
            yield from _evaluated(test, condition, during)


def _tests(test: FunctionalTest) -> dict[int, slice]:
    """The rows of each changeover, a little after its end included, where a trip still belongs to
    it; those of the marked test as number 0."""
    after = int(AFTER_MINUTES // test.minutes)
    found = {}
    for each in test.changeovers:
        found[each.number] = test.window(each.first, each.last + after + 2)
    started = [mark.time for mark in test.marks if mark.what == STARTED]
    ended = [mark.time for mark in test.marks if mark.what in (ENDED, ABORTED)]
    if started and ended and max(ended) > min(started):
        rows = test.window(test.grid.row(min(started)), test.grid.row(max(ended)) + 1)
        if rows.stop > rows.start:
            found[0] = rows
    return found


def _evaluated(test: FunctionalTest, condition: Abort, during: dict[int, slice]
               ) -> Iterator[Finding]:
    """Every stretch in which a condition was met, or may have been; one finding where none."""
    every = test.sample_interval(*needs(condition))
    gap = max(condition.minutes, test.limits["lift.short_dip"])
    inside, met = test.within(during.values()), 0
    for subject, values in watched(test, condition).items():
        flags = holds(condition, values)
        name = ", ".join(part for part in (condition.text, subject) if part)
        for stretch in flags.stretches():
            lasted = stretch.rows * test.minutes
            if condition.minutes and lasted + every <= condition.minutes:
                continue
            met += 1
            sure = not condition.minutes or lasted - every >= condition.minutes
            yield _met(test, condition, name, values, stretch, during, sure)
        unknown = Flags(~flags.known & inside, ~flags.known & inside)
        for hidden in unknown.stretches():
            if hidden.rows * test.minutes > gap:
                met += 1
                yield not_judged(_number(during, hidden.first), hidden.first,
                                 "what it watches has a gap there", hidden.last, name)
    if not met:
        yield Finding(0, 0, "was not met in any changeover", subject=condition.text,
                      verdict=Verdict.PASS)


def _number(during: dict[int, slice], row: int) -> int:
    return next((n for n, rows in during.items() if rows.start <= row < rows.stop), 0)


def _met(test: FunctionalTest, condition: Abort, name: str, values: np.ndarray, stretch: Stretch,
         during: dict[int, slice], sure: bool) -> Finding:
    """One stretch in which a condition was met: how far, how long, and when the test stopped."""
    row = min(stretch.first + int(condition.minutes // test.minutes), stretch.last)
    lasted, worst = stretch.rows * test.minutes, ""
    if condition.limit is not None:
        extreme = np.min if condition.side == BELOW else np.max
        farthest = float(extreme(values[stretch.first : stretch.last + 1]))
        worst = f", worst {units.shown(farthest, condition.unit)}"
    said = f"met from {test.time(stretch.first):%Y-%m-%d %H:%M} for {lasted:.0f} min{worst}"
    number = next((n for n, rows in during.items()
                   if rows.start <= stretch.last and row < rows.stop), None)
    if number is None:
        return not_judged(0, row, f"{said}; no changeover was under way", stretch.last, name)
    stop = _stopped(test, row)
    waited = ((len(test) if stop is None else stop) - row) * test.minutes
    how = "the test was not stopped" if stop is None else \
        f"the test was stopped {waited:.0f} min after" if waited else "the test was stopped at once"
    doubt = "" if sure else f"so short that {condition.minutes:.0f} min is not sure"
    return Finding(
        number, row, f"{said}; {how}{'; ' * bool(doubt)}{doubt}", last=stretch.last,
        subject=name, measured=waited, at_most=condition.stop_within, fail_needs=doubt,
        uncertainty=test.sample_interval(*needs(condition)),
        quantities={"lasted, min": lasted, "stop within, min": condition.stop_within})


def _stopped(test: FunctionalTest, row: int) -> int | None:
    """The first row from ``row`` on in which the enable command is off or the test was marked as
    aborted."""
    stops = [test.grid.row(mark.time) for mark in test.marks if mark.what == ABORTED
             and mark.time >= test.time(row) - timedelta(minutes=test.minutes)]
    if not test.missing("request"):
        stops += (np.flatnonzero(test.commanded[row:] == 0.0)[:1] + row).tolist()
    return min((max(stop, row) for stop in stops), default=None)


CHECKS = (conditions,)
