"""Finds the changeovers in the trends: requests, handovers, runs, exits.

The rule, in the order it is applied (one row is one trend interval):

1. Economizer operation is *requested* in the row where its command goes from off to on.
   Where the command is not trended, the exchanger's status stands for it.
2. A chiller runs where its status says so, or else its power or current (see ``status``).
3. The *handover* is the first row after the request in which no chiller runs. Without it
   the attempt was *abandoned* in the row where the command goes off.
4. The *run* ends in the first row in which a chiller runs again, which is the *exit*, or
   in which the command has gone off. A chiller that starts within half an hour of the
   command going off still counts as the exit.
5. The setpoint has *recovered* in the first row after the handover in which the active
   setpoint is back within a quarter of a degree of the reset setpoint.

A gap in a status ends nothing and starts nothing: what it hides is not invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.procedure.known import stretches

EXIT_WITHIN_MINUTES = 30.0
BACK_WITHIN = 0.25


@dataclass(frozen=True, slots=True)
class Changeover:
    """One attempt, and the run and exit it led to; what did not occur is ``None``.

    ``request`` is ``None`` where the plant was already on the exchanger when the trends
    begin, or went back on it without a new request. ``ended`` is the last row of it;
    ``complete`` tells whether it was seen to end there.
    """

    number: int
    request: pd.Timestamp | None
    handover: pd.Timestamp | None
    exit: pd.Timestamp | None
    abandoned: pd.Timestamp | None
    ended: pd.Timestamp
    complete: bool

    @property
    def name(self) -> str:
        """How reports call it."""
        return f"changeover {self.number}"

    @property
    def pull_down_end(self) -> pd.Timestamp:
        """The row in which the pull-down was over, by handover or by abandonment."""
        return self.handover or self.abandoned or self.ended

    @property
    def unseen(self) -> str:
        """Why nobody can say when it was handed over; empty where it was, or was given up."""
        if self.handover is not None or self.abandoned is not None:
            return ""
        if self.request is None:
            return "began before the trends, behind a gap, or anew without a request"
        return "no chiller was seen to stop: none ran, its status has a gap, or the trends end"


def changeovers(commanded: pd.Series, chillers_on: pd.Series) -> list[Changeover]:
    """Every changeover in two status series on one index (rules 1, 3 and 4)."""
    found: list[Changeover] = []
    for first, last in stretches(commanded.to_numpy() > 0.5):
        found.extend(_within(commanded, chillers_on, first, last, len(found)))
    return found


def _within(
    commanded: pd.Series, chillers_on: pd.Series, first: int, last: int, count: int
) -> list[Changeover]:
    """The changeovers of one commanded stretch; a second run in it has no request."""
    index, on, asked = commanded.index, chillers_on.to_numpy(), commanded.to_numpy()
    known_start = first > 0 and asked[first - 1] == 0.0
    known_end = last + 1 < len(asked) and asked[last + 1] == 0.0
    request = index[first] if known_start else None
    found: list[Changeover] = []
    row = first
    while row <= last:
        idle = _next(on, 0.0, row, last)
        if idle is None:
            break
        # A run that was on before the trends begin, or behind a gap, has no known handover.
        seen = idle > 0 and on[idle - 1] == 1.0
        start_again = _next(on, 1.0, idle, min(len(on) - 1, last + _patience(index)))
        end, exited = _run_end(on, last, start_again)
        number = count + len(found) + 1
        # A chiller that starts while the command is unknown does not tell when that went off.
        found.append(Changeover(
            number, request if not found else None, index[idle] if seen else None,
            index[start_again] if exited and start_again is not None else None, None,
            index[end], known_end or (exited and end + 1 == start_again),
        ))
        row, request = end + 1, None
        row = row if exited else last + 1
    if not found and request is not None:
        given_up = known_end and not np.isnan(on[first : last + 1]).any()
        found.append(Changeover(
            count + 1, request, None, None, index[last + 1] if given_up else None,
            index[last], given_up,
        ))
    return found


def _next(values: np.ndarray, wanted: float, start: int, stop: int) -> int | None:
    hits = np.flatnonzero(values[start : stop + 1] == wanted)
    return start + int(hits[0]) if len(hits) else None


def _patience(index: pd.Index) -> int:
    step = (index[1] - index[0]).total_seconds() / 60.0 if len(index) > 1 else 1.0
    return int(EXIT_WITHIN_MINUTES // step)


def _run_end(on: np.ndarray, last: int, start_again: int | None) -> tuple[int, bool]:
    """Last row of the run and whether a chiller's start ended it."""
    if start_again is None:
        return last, False
    return min(start_again - 1, last), True


def recovered(
    changeover: Changeover, active: pd.Series, reset: pd.Series
) -> pd.Timestamp | None:
    """When the active setpoint was back at the reset setpoint (rule 5)."""
    if changeover.handover is None:
        return None
    first = int(active.index.searchsorted(changeover.handover))
    rows = slice(first, int(active.index.searchsorted(changeover.ended)) + 1)
    back = active.to_numpy()[rows] >= reset.to_numpy()[rows] - BACK_WITHIN
    return active.index[first + int(back.argmax())] if back.any() else None
