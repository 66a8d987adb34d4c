"""A file's clock: local readings into UTC, the repeated and the missing hour included.

In the night the clocks go back one hour is read twice. Which of the two a row belongs to is
seen from the order of the rows: where the clock jumps back, summer time has ended.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from fptlib.errors import IntakeError
from fptlib.trends.notes import Notes

_SECOND = 1_000_000_000
# Two changes of the clock lie further apart than this, everywhere and always.
_NO_TWO_CHANGES = 20 * 86_400 * _SECOND
_EPOCH = datetime(1970, 1, 1)


class Clock:
    """Turns the readings of one file's clock into UTC, stretch after stretch."""

    def __init__(self, zone: tzinfo, file: str, notes: Notes) -> None:
        self._zone, self._file, self._notes = zone, file, notes
        self._last: tuple[int, bool] | None = None

    def utc(self, local: np.ndarray, row: Callable[[int], int]) -> np.ndarray:
        """UTC nanoseconds of local nanoseconds, in the order of the file.

        Raises:
            IntakeError: a reading lies in the hour that this zone's clocks leave out.
        """
        if not len(local):
            return local
        if (offset := self._constant(local)) is not None:
            self._last = None
            return local - offset
        backwards = np.diff(local)
        if (backwards < 0).sum() > 0.5 * len(local):
            return self._utc(local[::-1], lambda at: row(len(local) - 1 - at))[::-1]
        return self._utc(local, row)

    def _constant(self, local: np.ndarray) -> int | None:
        """The offset, where it is the same over the whole stretch."""
        if not isinstance(self._zone, ZoneInfo):
            return int((self._zone.utcoffset(None) or timedelta(0)).total_seconds()) * _SECOND
        first, last = int(local.min()), int(local.max())
        if last - first > _NO_TWO_CHANGES:
            return None
        offsets = {self._offset(ns, fold) for ns in (first, last) for fold in (0, 1)}
        return offsets.pop() if len(offsets) == 1 else None

    def _offset(self, ns: int, fold: int) -> int:
        reading = _EPOCH + timedelta(microseconds=ns // 1000)
        offset = reading.replace(tzinfo=self._zone, fold=fold).utcoffset() or timedelta(0)
        return int(offset.total_seconds()) * _SECOND

    def _utc(self, local: np.ndarray, row: Callable[[int], int]) -> np.ndarray:
        readings = pd.DatetimeIndex(np.ascontiguousarray(local).view("M8[ns]"))
        summer = self._localised(readings, True)
        standard = self._localised(readings, False)
        missing = np.asarray(summer.isna())
        if missing.any():
            self._refuse(readings, missing, row)
        twice = np.asarray(summer != standard)
        chosen = summer.asi8.copy()
        after = self._after_change(local, twice)
        chosen[after] = standard.asi8[after]
        if twice.any():
            self._say(int(np.argmax(twice)), readings, row)
        self._last = (int(local[-1]), bool(after[-1])) if twice[-1] else None
        return chosen

    def _localised(self, readings: pd.DatetimeIndex, summer: bool) -> pd.DatetimeIndex:
        flags = np.full(len(readings), summer)
        return readings.tz_localize(self._zone, ambiguous=flags, nonexistent="NaT")

    def _after_change(self, local: np.ndarray, twice: np.ndarray) -> np.ndarray:
        """Which readings of the repeated hour belong to its second pass."""
        after = np.zeros(len(local), dtype=bool)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], twice, [False])).astype(np.int8)))
        for begin, end in zip(edges[::2], edges[1::2], strict=True):
            carried = self._last if begin == 0 else None
            stretch = local[begin:end]
            before = carried[0] if carried else int(stretch[0])
            back = np.flatnonzero(np.diff(stretch, prepend=before) < 0)
            if carried and carried[1]:
                after[begin:end] = True
            elif len(back):
                # A jump of a few seconds is an out-of-order row, not the end of summer.
                far = [at for at in back if stretch[at] + 20 * 60 * _SECOND
                       <= (stretch[at - 1] if at else before)]
                if far:
                    after[begin + far[0] : end] = True
        return after

    def _say(self, at: int, readings: pd.DatetimeIndex, row: Callable[[int], int]) -> None:
        self._notes.note(
            f"the hour of {readings[at]:%Y-%m-%d %H}:00 is read twice when the clocks go back; "
            "rows before the jump back are taken as summer time, rows after it as standard time",
            self._file, row=row(at),
        )

    def _refuse(
        self, readings: pd.DatetimeIndex, missing: np.ndarray, row: Callable[[int], int]
    ) -> None:
        at = int(np.argmax(missing))
        standard = self._offset(int(readings[at].value) - 86_400 * _SECOND, 0) // _SECOND
        sign, minutes = "-" if standard < 0 else "+", abs(standard) // 60
        raise IntakeError(
            f"file '{self._file}', row {row(at)}: {readings[at]:%Y-%m-%d %H:%M} does not exist in "
            f"zone {self._zone}, the clocks go forward over it; if the file's clock stays on "
            f'standard time, state time_zone = "{sign}{minutes // 60:02d}:{minutes % 60:02d}" '
            f'under [files."{self._file}"]'
        )
