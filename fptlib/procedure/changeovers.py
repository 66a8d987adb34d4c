"""Finds the changeovers in the trends: enables, transitions, runs, exits, as rows of the grid.

The rule, in the order it is applied (one row is one trend interval):

1. Economizer operation is *enabled* in the row where its command goes from off to on.
   Where the command is not trended, the exchanger's status stands for it.
2. A chiller runs where its status says so, or else its power or current.
3. The *transition* is the first row after the enable in which no chiller runs and the exchanger
   does; where every sign of the exchanger says for ten minutes that it carries nothing, the
   chillers *tripped*. Without a transition the attempt was *abandoned* in the row where the
   command goes off.
4. The *run* ends in the last row before a chiller runs again, which is the *exit*, or before
   the command has gone off. A chiller that starts within half an hour of the command going
   off still counts as the exit.

A gap in a status ends nothing and starts nothing: what it hides is not invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.procedure.flags import stretches

EXIT_WITHIN_MINUTES = 30.0
TAKEN_OVER_MINUTES = 10.0


@dataclass(frozen=True, slots=True)
class Request:
    """An economizer enable that was seen, in row ``row``.

    ``end`` is the row in which the pull-down was over: by transition, by being abandoned, or
    as far as it was seen. ``unseen`` says why nobody can say when the plant changed over.
    """

    number: int
    row: int
    end: int
    transition: int | None
    abandoned: int | None
    unseen: str
    trips: tuple[int, ...] = ()

    @property
    def pull_down(self) -> slice:
        """From the enable up to the last row with a chiller running.

        It is coldest at its end: where that was ``unseen``, no pass is proven.
        """
        return slice(self.row, self.end)


@dataclass(frozen=True, slots=True)
class Run:
    """A run whose transition was seen: from row ``first`` to row ``last``.

    ``enabled`` and ``exit`` are the rows of its enable and of its exit, where they were seen;
    ``complete`` tells whether the run was seen to end.
    """

    number: int
    first: int
    last: int
    enabled: int | None
    exit: int | None
    complete: bool

    @property
    def rows(self) -> slice:
        """All of its rows."""
        return slice(self.first, self.last + 1)


@dataclass(frozen=True, slots=True)
class Exit:
    """The exit of a run: the first chiller starts in row ``row``."""

    number: int
    row: int
    run: Run


@dataclass(frozen=True, slots=True)
class Changeover:
    """One attempt and what came of it; what was not seen is ``None``.

    ``enabled`` is ``None`` where the plant was already on the exchanger when the trends begin,
    or went back on it without a new enable. ``last`` is its last row, ``complete`` whether it
    was seen to end there.
    """

    number: int
    enabled: int | None
    transition: int | None
    exit_row: int | None
    abandoned: int | None
    last: int
    complete: bool
    trips: tuple[int, ...] = ()

    @property
    def name(self) -> str:
        """How reports call it."""
        return f"changeover {self.number}"

    @property
    def first(self) -> int:
        """The first of its moments that was seen."""
        seen = (self.enabled, self.transition, self.last)
        return next(row for row in seen if row is not None)

    @property
    def unseen(self) -> str:
        """Why nobody can say when it changed over; empty where it did, or was given up."""
        if self.transition is not None or self.abandoned is not None:
            return ""
        if self.enabled is None:
            return "began before the trends, behind a gap, or anew without an enable"
        return "no chiller was seen to stop: none ran, its status has a gap, or the trends end"

    @property
    def request(self) -> Request | None:
        """Its enable, where that was seen."""
        if self.enabled is None:
            return None
        ends = (row for row in (self.transition, self.abandoned) if row is not None)
        return Request(self.number, self.enabled, next(ends, self.last), self.transition,
                       self.abandoned, self.unseen, self.trips)

    @property
    def run(self) -> Run | None:
        """Its run, where the transition was seen."""
        if self.transition is None:
            return None
        return Run(self.number, self.transition, self.last, self.enabled, self.exit_row,
                   self.complete)

    @property
    def exit(self) -> Exit | None:
        """The exit of its run, where both were seen."""
        run = self.run
        return None if run is None or run.exit is None else Exit(self.number, run.exit, run)


def changeovers(commanded: np.ndarray, chillers_on: np.ndarray, minutes: float,
                exchanger_off: np.ndarray | None = None) -> list[Changeover]:
    """Every changeover in two statuses (1.0, 0.0, NaN) in rows of ``minutes``; ``exchanger_off``
    tells where the exchanger is known to carry nothing."""
    patience, wait = (int(each // minutes) for each in (EXIT_WITHIN_MINUTES, TAKEN_OVER_MINUTES))
    off = np.zeros(len(commanded), dtype=bool) if exchanger_off is None else exchanger_off
    found: list[Changeover] = []
    for first, last in stretches(commanded > 0.5):
        found.extend(_within(commanded, chillers_on, off, first, last, patience, wait, len(found)))
    return found


def _within(commanded: np.ndarray, on: np.ndarray, exchanger_off: np.ndarray, first: int,
            last: int, patience: int, wait: int, count: int) -> list[Changeover]:
    """The changeovers of one commanded stretch; a second run in it has no enable."""
    known_start = first > 0 and commanded[first - 1] == 0.0
    known_end = last + 1 < len(commanded) and commanded[last + 1] == 0.0
    found: list[Changeover] = []
    trips: list[int] = []
    row = first
    while (idle := _next(on, 0.0, row, last)) is not None:
        if exchanger_off[idle : idle + wait + 1].all():
            if idle > 0 and on[idle - 1] == 1.0:
                trips.append(idle)
            # Go on where a chiller runs again or the exchanger takes over.
            goes_on = (on[idle : last + 1] != 0.0) | ~exchanger_off[idle : last + 1]
            if not goes_on.any():
                break
            row = idle + int(goes_on.argmax())
            continue
        # A run that was on before the trends begin, or behind a gap, has no known transition.
        seen = idle > 0 and on[idle - 1] == 1.0
        again = _next(on, 1.0, idle, min(len(on) - 1, last + patience))
        end = last if again is None else min(again - 1, last)
        # A chiller that starts while the command is unknown does not tell when that went off.
        found.append(Changeover(
            count + len(found) + 1, first if known_start and not found else None,
            idle if seen else None, again, None, end,
            known_end or (again is not None and end + 1 == again), tuple(trips)))
        trips = []
        if again is None:
            break
        row = end + 1
    if not found and known_start:
        given_up = known_end and not np.isnan(on[first : last + 1]).any()
        found.append(Changeover(count + 1, first, None, None, last + 1 if given_up else None,
                                last, given_up, tuple(trips)))
    return found


def _next(values: np.ndarray, wanted: float, start: int, stop: int) -> int | None:
    hits = np.flatnonzero(values[start : stop + 1] == wanted)
    return start + int(hits[0]) if len(hits) else None
