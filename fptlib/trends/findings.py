"""What was found in one point's column, counted while it is read and said at the end."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fptlib.trends.batches import shown
from fptlib.trends.forms import PointSource
from fptlib.trends.notes import Notes

RowOf = Callable[[int], int]
_REMEMBERED = 1000


class Count:
    """How often something was found, and in which row first."""

    def __init__(self) -> None:
        self.count, self.row = 0, 0

    def add(self, count: int, row: int) -> None:
        """``count`` more, the first of them in ``row``."""
        if count and not self.count:
            self.row = row
        self.count += count

    def mark(self, mask: np.ndarray, row: RowOf) -> None:
        """As many more as ``mask`` is true."""
        if count := int(np.count_nonzero(mask)):
            self.add(count, row(int(np.argmax(mask))))


class Findings:
    """Placeholders, units in cells, words, poor and implausible values of one column."""

    def __init__(self) -> None:
        self.placeholders: dict[str, Count] = {}
        self.units: dict[str, Count] = {}
        self.words: dict[str, float] = {}
        self.poor, self.outside = Count(), Count()
        self.outside_values = np.empty(0)

    def placeholder(self, text: str, count: int, row: int) -> None:
        self.placeholders.setdefault(text.strip(), Count()).add(count, row)

    def unit(self, unit: str, count: int, row: int) -> None:
        self.units.setdefault(unit, Count()).add(count, row)

    def implausible(self, outside: np.ndarray, values: np.ndarray, row: RowOf) -> None:
        self.outside.mark(outside, row)
        if len(self.outside_values) < _REMEMBERED:
            more = values[outside][:_REMEMBERED]
            self.outside_values = np.append(self.outside_values, more)

    def say(self, source: PointSource, usual_unit: str, hint: str, notes: Notes) -> None:
        """All of it as remarks; ``hint`` is added to what is said of implausible values."""
        file, name, point = source.file, source.name, source.point
        for text, found in self.placeholders.items():
            notes.note(f"{found.count} cells '{shown(text)}' stand for a bad value and are "
                       "missing", file, name, found.row)
        for unit, found in self.units.items():
            if unit != usual_unit:
                notes.note(f"{found.count} cells state {unit} and were read so", file, name,
                           found.row)
        if set(self.words) - {"0", "1"}:
            notes.note(f"read as on: {self._those(1.0)}; as off: {self._those(0.0)}", file, name)
        if self.poor.count:
            notes.note(f"{self.poor.count} values are not of good quality and are missing", file,
                       name, self.poor.row)
        if self.outside.count:
            notes.doubt(
                f"{self.outside.count} values outside {point.low:g} to {point.high:g} {point.unit} "
                f"are missing{hint}", file, name, self.outside.row)

    def _those(self, value: float) -> str:
        return ", ".join(f"'{shown(w)}'" for w, v in self.words.items() if v == value) or "nothing"
