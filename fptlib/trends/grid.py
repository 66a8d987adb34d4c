"""Grid: every mapped point on one uniform time grid, gaps kept.

Reading trends makes it, the procedure reads it. Nothing here knows of files, and nothing
needs pandas unless a notebook or a figure asks for ``frame``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fptlib import points

if TYPE_CHECKING:
    import pandas as pd

# A point's column among its sources, before its unit.
_COLUMN = re.compile(r".*?: (.*?) \[[^\]]*\](?:, |$)")


@dataclass(frozen=True, slots=True)
class Remark:
    """Something the reading did or found, in one sentence.

    ``severity`` is ``note`` (done as told), ``doubt`` (look at it) or ``unusable`` (the
    point is not used in any check).
    """

    severity: str
    text: str
    file: str = ""
    point: str = ""
    row: int | None = None


class Notes(list[Remark]):
    """Remarks, in the order in which they came up."""

    def note(self, text: str, file: str = "", point: str = "", row: int | None = None) -> None:
        """Something done as told, or harmless."""
        self.append(Remark("note", text, file, point, row))

    def doubt(self, text: str, file: str = "", point: str = "", row: int | None = None) -> None:
        """Something a person should look at."""
        self.append(Remark("doubt", text, file, point, row))


@dataclass(frozen=True, slots=True)
class AlarmText:
    """What an alarm point said and when."""

    time: datetime
    point: str
    text: str


@dataclass(frozen=True, slots=True)
class TrendFile:
    """A trend file as received.

    ``drift`` is how its stamps run away from even steps [s/day].
    """

    name: str
    sha256: str
    rows: int
    first: datetime
    last: datetime
    step_minutes: float
    drift: float = 0.0


@dataclass(frozen=True)
class Grid:
    """All mapped points of a job.

    Attributes:
        columns: one float64 array per point, all of the same length, in the glossary's units;
            status and alarm are 0.0 or 1.0; NaN is a gap.
        start: when the first row begins, in the site's time zone; a row stands for the stretch
            that begins at its time.
        step: length of one row.
        files: the files read.
        remarks: what the reading did and found.
        alarms: texts of alarm points.
        sources: files and column of each point, as ``file: column [unit]``.
        intervals: how far apart each point was sampled [min], which may be more than a row;
            zero for a log of changes.
        rows: how many rows there are where no point is left to count them by.
    """

    columns: dict[str, np.ndarray]
    start: datetime
    step: timedelta
    files: tuple[TrendFile, ...] = ()
    remarks: tuple[Remark, ...] = ()
    alarms: tuple[AlarmText, ...] = ()
    sources: dict[str, str] = field(default_factory=dict)
    intervals: dict[str, float] = field(default_factory=dict)
    rows: int = 0

    def __len__(self) -> int:
        return self._length

    @cached_property
    def _length(self) -> int:
        return next((len(values) for values in self.columns.values()), self.rows)

    def time(self, row: float) -> datetime:
        """When a row begins, in the site's zone; rows beyond the ends count on evenly."""
        return (self._start_utc + row * self.step).astimezone(self.start.tzinfo)

    @cached_property
    def _start_utc(self) -> datetime:
        """In UTC, because a day on which the clocks change has 23 or 25 hours."""
        return self.start.astimezone(UTC)

    def local(self, rows: np.ndarray) -> np.ndarray:
        """When whole rows begin, by the site's own clock (datetime64), which is asked once a day,
        and for every row of a day on which it changes."""
        def east(moment: np.datetime64) -> np.timedelta64:
            local = moment.astype("M8[us]").item().replace(tzinfo=UTC).astimezone(zone)
            return np.timedelta64(local.utcoffset())

        zone, begin = self.start.tzinfo, self.start.astimezone(UTC).replace(tzinfo=None)
        begins = np.datetime64(begin, "us") + rows * np.timedelta64(self.step)
        days, of_day = np.unique(begins.astype("M8[D]"), return_inverse=True)
        at_ends = np.array([[east(day), east(day + 1)] for day in days],
                           dtype="m8[us]").reshape(-1, 2)
        offset = at_ends[of_day, 0]
        changes = np.flatnonzero((at_ends[:, 0] != at_ends[:, 1])[of_day])
        offset[changes] = [east(moment) for moment in begins[changes]]
        return begins + offset

    def row(self, moment: datetime) -> int:
        """The row in which a moment lies; below zero or past the end outside the grid."""
        return int((moment.astimezone(UTC) - self.start.astimezone(UTC)) // self.step)

    def has(self, *names: str) -> bool:
        """Whether every one of these points was trended and has at least one value."""
        return self._trended.issuperset(names)

    @cached_property
    def _trended(self) -> frozenset[str]:
        return frozenset(
            name for name, values in self.columns.items() if not np.isnan(values).all())

    def missing(self, names: Iterable[str]) -> list[str]:
        """Those of ``names`` that were not trended."""
        return [name for name in names if not self.has(name)]

    def numbers(self, pattern: str) -> list[int]:
        """Numbers of the equipment for which ``pattern`` (with ``{n}``) is trended."""
        return points.numbers(list(self.columns), pattern)

    @cached_property
    def minutes(self) -> float:
        """Length of one row in minutes."""
        return self.step.total_seconds() / 60.0

    def tag(self, name: str) -> str:
        """The column that a point was read from, as the site calls it; empty where not known."""
        found = _COLUMN.match(self.sources.get(name, ""))
        return found[1] if found else ""

    def file_of(self, name: str) -> TrendFile | None:
        """The file that a point was read from; the first where further ones continue it."""
        # The further ones stand before the first, and a file's name may hold a comma itself.
        read = ", " + self.sources.get(name, "").split(": ")[0]
        found = [file for file in self.files if read.endswith(f", {file.name}")]
        return max(found, key=lambda file: len(file.name), default=None)

    @cached_property
    def index(self) -> pd.DatetimeIndex:
        """When each row begins, for notebooks and figures."""
        import pandas as pd

        begin = pd.Timestamp(self.start.astimezone(UTC)).as_unit("ns")
        return pd.date_range(begin, periods=len(self), freq=pd.Timedelta(self.step)).tz_convert(
            self.start.tzinfo)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The columns as a table over ``index``, for notebooks and figures."""
        import pandas as pd

        return pd.DataFrame(self.columns, index=self.index, copy=False)


def shown_step(values: np.ndarray, fewest: int = 4) -> float:
    """The step in which a trend shows a point, in its unit; NaN where it takes fewer than
    ``fewest`` values, which tell none.

    The smallest step between values that occur. Where they all differ it is the smallest
    difference, of no meaning beyond "finer than".
    """
    there = values[~np.isnan(values)]
    # The values as the file shows them carry conversion noise below 1e-6.
    levels = np.unique(np.round(there[:20_000], 6))
    if len(levels) < fewest:
        return float("nan")
    steps = np.diff(levels)
    return float(np.percentile(steps[steps > 1e-6], 5)) if (steps > 1e-6).any() else float("nan")


def increment(values: np.ndarray) -> float:
    """By how much a reading changes before a log of changes notes it, in its unit; NaN where fewer
    than 20 changes tell none.

    Water moves little from one reading to the next, so most changes are hardly larger than the
    increment; those of a heartbeat are smaller, and few.
    """
    moves = np.abs(np.diff(values))
    moves = moves[moves > 1e-6]
    return float(np.percentile(moves, 25)) if len(moves) >= 20 else float("nan")
