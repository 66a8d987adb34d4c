"""One point of a log on the grid, filled while the log is read."""

from __future__ import annotations

import numpy as np

from fptlib.trends import align
from fptlib.trends.safe import BOUNDS

# So many rows of the grid show a point's usual step.
_LOOKED_AT = 100_000


class GridColumn:
    """One point's samples, the last of each stretch, while a log is read."""

    def __init__(self, alarm: bool) -> None:
        self._alarm = alarm
        # The stretch of the arrays' first place, and the first and last stretch with a sample.
        self._first = self._low = self._high = 0
        self._values, self._parts = np.empty(0), np.zeros(0, dtype=np.uint8)
        self._newest = np.iinfo(np.int64).min
        self.count = self.repeated = self.differing = self.late = 0

    def add(self, times: np.ndarray, stretches: np.ndarray, parts: np.ndarray,
            values: np.ndarray) -> None:
        """Samples in the order of the file."""
        steps = np.diff(times)
        if times[0] < self._newest or (len(steps) and steps.min() < 0):
            self.late += int((steps < 0).sum()) + int(times[0] < self._newest)
            order = np.argsort(times, kind="stable")
            times, stretches = times[order], stretches[order]
            parts, values = parts[order], values[order]
            steps = np.diff(times)
        self._tally(steps, values)
        if self._alarm:
            values = align.keep_any(stretches, values)
        # A sample without a value ends the one before (see align.fill).
        values = np.where(np.isnan(values), np.inf, values)
        at = self._room(stretches)
        if times[0] < self._newest or self._alarm:
            at, parts, values = self._not_overtaken(at, parts, values)
        self._values[at] = values
        self._parts[at] = parts
        self._newest = max(self._newest, int(times[-1]))

    def _tally(self, steps: np.ndarray, values: np.ndarray) -> None:
        self.count += len(values)
        if len(steps) and not steps.all():
            same = np.flatnonzero(steps == 0)
            self.repeated += len(same)
            one, next_one = values[same], values[same + 1]
            self.differing += int(((one != next_one) & ~np.isnan(one + next_one)).sum())

    def _room(self, stretches: np.ndarray) -> np.ndarray:
        """Positions in the column, which grows to hold them."""
        low, high = int(stretches[0]), int(stretches[-1])
        if not len(self._values):
            self._first, self._low, self._high = low, low, low - 1
        if low < self._first or high >= self._first + len(self._values):
            self._grow(low, high)
        self._low, self._high = min(low, self._low), max(high, self._high)
        return stretches - self._first

    def _grow(self, low: int, high: int) -> None:
        span = max(high, self._high) - min(low, self._low) + 1
        # Room on the side on which it grows. What is never touched of an empty array takes no
        # memory, so only the filled part is copied.
        room = min(max(span, 1 << 16), BOUNDS.grid_rows)
        first = low - room if low < self._first else self._first
        length = max(high, self._high) + room - first + 1
        values, parts = np.empty(length), np.zeros(length, dtype=np.uint8)
        used = slice(self._low - self._first, self._high - self._first + 1)
        there = slice(self._low - first, self._high - first + 1)
        values[there], parts[there] = self._values[used], self._parts[used]
        self._first, self._values, self._parts = first, values, parts

    def _not_overtaken(
        self, at: np.ndarray, parts: np.ndarray, values: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Without samples whose stretch already holds a later one."""
        last = np.append(np.diff(at) != 0, True)
        at, parts, values = at[last], parts[last], values[last]
        held = self._parts[at]
        if self._alarm:
            return at, parts, np.where(held > 0, np.fmax(self._values[at], values), values)
        fresh = parts >= held
        return at[fresh], parts[fresh], values[fresh]

    def usual_rows(self) -> tuple[int, bool]:
        """The usual distance of samples in rows, and whether they are even."""
        begin = self._low - self._first
        steps = np.diff(np.flatnonzero(self._parts[begin : begin + _LOOKED_AT]))
        if not len(steps):
            return 1, False
        usual = int(np.median(steps))
        return max(usual, 1), align.even(steps, usual)

    def samples(self, steps: align.Steps) -> tuple[np.ndarray, np.ndarray]:
        """Times [ns of UTC], to 1/254 of a step, and values."""
        begin, end = self._low - self._first, self._high - self._first + 1
        there = begin + np.flatnonzero(self._parts[begin:end])
        within = (self._parts[there].astype(np.int64) - 1) * steps.step // 254
        times = steps.begin(self._first + there) + within - steps.early
        values = self._values[there]
        return times, np.where(np.isinf(values), np.nan, values)

    def held(self, grid: align.Grid, kept_rows: int) -> np.ndarray:
        """A log of changes on the grid; the column is empty afterwards."""
        return align.fill(self._taken(grid)[0], kept_rows)

    def taken(self, grid: align.Grid, kept_rows: int) -> np.ndarray:
        """A sampled point on the grid; the column is empty afterwards."""
        values, parts = self._taken(grid)
        values[np.isinf(values)] = np.nan
        rows = np.flatnonzero(parts)
        source = align.holding(rows, rows + parts[rows] / 254, grid.length, kept_rows)
        if source is None:
            return values
        return np.where(source >= 0, values[rows][source], np.nan)

    def _taken(self, grid: align.Grid) -> tuple[np.ndarray, np.ndarray]:
        """Values of the grid's rows, NaN without a sample, and where in the row each lies."""
        values, parts = np.full(grid.length, np.nan), np.zeros(grid.length, dtype=np.uint8)
        begin = max(self._low, grid.first)
        end = min(self._high + 1, grid.first + grid.length)
        mine = slice(begin - self._first, end - self._first)
        there = slice(begin - grid.first, end - grid.first)
        parts[there] = self._parts[mine]
        np.copyto(values[there], self._values[mine], where=self._parts[mine] > 0)
        self._values, self._parts = np.empty(0), np.zeros(0, dtype=np.uint8)
        return values, parts
