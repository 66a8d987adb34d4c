"""Which chillers are on: lead and lag by load, and lock-out after a trip."""

from __future__ import annotations

from collections.abc import Callable

_TRIP_LOCKOUT = 45
_START_ABOVE = 0.99
_STOP_BELOW = 0.9


class Staging:
    """The chillers the controller wants, the lead first."""

    def __init__(self, chillers: int, capacity: float) -> None:
        self.count, self.capacity = chillers, capacity
        self.lead = 0
        self.on = [n == 0 for n in range(chillers)]
        self.since_start = [0] * chillers
        self.blocked = [0] * chillers
        self._waited = 0

    def step(self, alarms: list[bool], tell: Callable[[str, str], None]) -> None:
        """Count the minutes since each start, and lock a tripped chiller out."""
        for n, alarm in enumerate(alarms):
            self.since_start[n] = self.since_start[n] + 1 if self.on[n] else 0
            if alarm and self.blocked[n] == 0:
                self.blocked[n] = _TRIP_LOCKOUT
                tell("trip", f"chiller {n + 1}")
            elif self.blocked[n] > 0:
                self.blocked[n] -= 1

    @property
    def tripped(self) -> bool:
        """Whether a chiller tripped in this minute."""
        return _TRIP_LOCKOUT in self.blocked

    @property
    def wanted(self) -> list[bool]:
        """Which chillers shall run."""
        return [on and not b for on, b in zip(self.on, self.blocked, strict=True)]

    @property
    def cleared(self) -> list[bool]:
        """Whose alarm is cleared now, at the end of its lock-out."""
        return [b == 1 for b in self.blocked]

    def by_load(self, load: float) -> None:
        """Add or drop a chiller by load; keep one running."""
        count = sum(self.wanted)
        more = count == 0 or load > _START_ABOVE * count * self.capacity
        fewer = count > 1 and load < _STOP_BELOW * (count - 1) * self.capacity
        self._waited = self._waited + 1 if more or fewer else 0
        if more and self._waited >= (2 if count == 0 else 10):
            self.start_next()
        elif fewer and self._waited >= 30:
            self.stop_last()

    def forget(self) -> None:
        """A new mode: waiting starts afresh."""
        self._waited = 0

    def start_next(self) -> None:
        """Start the first chiller that stands and may run."""
        self._waited = 0
        for n in self._order():
            if not self.blocked[n] and not self.on[n]:
                self.on[n] = True
                return

    def stop_last(self) -> None:
        """Stop the last chiller that runs."""
        self._waited = 0
        for n in reversed(self._order()):
            if self.on[n]:
                self.on[n] = False
                return

    def start_all(self) -> None:
        """Start every chiller that may run."""
        self.on = [not blocked for blocked in self.blocked]

    def rotate(self) -> None:
        """Let the next chiller lead."""
        self.lead = (self.lead + 1) % self.count

    def _order(self) -> list[int]:
        return [(self.lead + step) % self.count for step in range(self.count)]
