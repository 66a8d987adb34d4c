"""Alarms of the chillers during a changeover: the first one, its text, and what a gap hides."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.procedure.case import Case
from fptlib.procedure.durations import minutes_between
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import stretches


def first(case: Case, changeover: Changeover) -> tuple[pd.Timestamp, str] | None:
    """The first alarm from the request until just after the handover, with its text."""
    rows = _rows(changeover)
    hits = [(int(alarm.argmax()), n) for n in case.chiller_numbers
            if (alarm := _alarmed(case, n, rows)).any()]
    if not hits:
        return None
    row, n = min(hits)
    time = case.times(rows)[row]
    said = _text(case, n, time)
    after = minutes_between(changeover.request, time)
    return time, f"chiller {n} in alarm {after:.0f} min after the request" + (
        f": {said}" if said else "")


def _rows(changeover: Changeover) -> slice:
    return slice(changeover.request, changeover.pull_down_end + pd.Timedelta(minutes=5))


def _alarmed(case: Case, n: int, rows: slice) -> np.ndarray:
    """Rows with an alarm of a chiller that runs, or one that rose since the request; what
    stood before on a chiller that stands is not of this changeover."""
    alarm = case.values(f"chiller_{n}_alarm", rows) == 1.0
    if case.value(f"chiller_{n}_alarm", rows.start - case.trends.step) != 1.0:
        return alarm
    old = np.logical_and.accumulate(alarm) & (case.values(case.running(n), rows) != 1.0)
    return alarm & ~old


def _text(case: Case, n: int, time: pd.Timestamp) -> str:
    """The text logged with the alarm; its sample may be up to half a row early."""
    begin, end = time - case.trends.step / 2, time + case.trends.step
    return next((a.text for a in case.trends.alarms
                 if a.point == f"chiller_{n}_alarm" and begin <= a.time < end), "")


def unknown(case: Case, changeover: Changeover) -> bool:
    """Whether an alarm may have come and gone in a gap longer than a short dip."""
    longest = case.limits["lift.short_dip"] / case.minutes
    return any(end - begin + 1 > longest for n in case.chiller_numbers for begin, end in
               stretches(np.isnan(case.values(f"chiller_{n}_alarm", _rows(changeover)))))
