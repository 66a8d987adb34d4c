"""Alarms of the chillers during a changeover: the first one, its text, and what a gap hides."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from fptlib.procedure.changeovers import Request
from fptlib.procedure.flags import stretches
from fptlib.procedure.functional_test import FunctionalTest

AFTER_MINUTES = 5.0


class Alarm(NamedTuple):
    """The row in which a chiller's alarm came, and what is said of it."""

    row: int
    text: str


def first(test: FunctionalTest, request: Request) -> Alarm | None:
    """The first alarm from the enable until just after the transition."""
    rows = _rows(test, request)
    hits = [(rows.start + int(alarm.argmax()), n) for n in test.chiller_numbers
            if (alarm := _alarmed(test, n, rows)).any()]
    if not hits:
        return None
    row, n = min(hits)
    said, after = _text(test, n, row), (row - request.row) * test.minutes
    return Alarm(row, f"chiller {n} in alarm {after:.0f} min after the enable" + (
        f": {said}" if said else ""))


def _rows(test: FunctionalTest, request: Request) -> slice:
    after = int(AFTER_MINUTES // test.minutes)
    return test.window(request.row, request.end + after + 1)


def _alarmed(test: FunctionalTest, n: int, rows: slice) -> np.ndarray:
    """Rows with an alarm of a chiller that runs, or one that rose since the enable; what
    stood before on a chiller that is off is not of this changeover."""
    alarm: np.ndarray = test[f"chiller_{n}_alarm"][rows] == 1.0
    if rows.start == 0 or test[f"chiller_{n}_alarm"][rows.start - 1] != 1.0:
        return alarm
    old = np.logical_and.accumulate(alarm) & (test.running(n)[rows] != 1.0)
    return alarm & ~old


def _text(test: FunctionalTest, n: int, row: int) -> str:
    """The text logged with the alarm; its sample may be up to half a row early."""
    begin, end = test.time(row - 0.5), test.time(row + 1)
    return next((a.text for a in test.grid.alarms
                 if a.point == f"chiller_{n}_alarm" and begin <= a.time < end), "")


def unknown(test: FunctionalTest, request: Request) -> bool:
    """Whether an alarm may have come and gone in a gap longer than a short dip."""
    longest, rows = test.limits["lift.short_dip"] / test.minutes, _rows(test, request)
    return any(end - begin + 1 > longest for n in test.chiller_numbers for begin, end in
               stretches(np.isnan(test[f"chiller_{n}_alarm"][rows])))
