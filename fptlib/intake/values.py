"""Cells as files write them, into numbers in the glossary's unit.

A cell may hold a number, a number with its unit, a word for on or off, or a placeholder for
a bad value, which becomes missing and is counted. Any other text stops the reading with the
row and the text: it is never guessed at.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib import points, units
from fptlib.errors import IntakeError
from fptlib.intake.batches import shown, texts
from fptlib.intake.cells import (
    ALARM_OFF,
    ALARM_ON,
    BAD,
    BLANKS,
    GOOD,
    OFF,
    ON,
    cell,
)
from fptlib.intake.forms import FileForm, PointSource
from fptlib.intake.notes import Notes
from fptlib.physics.moist_air import pressure_at
from fptlib.units import Scale

_REMEMBERED = 1000
_PLAIN = r"^[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$"


class _Count:
    """How often something was found, and in which row first."""

    def __init__(self) -> None:
        self.count, self.row = 0, 0

    def add(self, mask: np.ndarray, row: Callable[[int], int]) -> None:
        found = int(np.count_nonzero(mask))
        if found and not self.count:
            self.row = row(int(np.argmax(mask)))
        self.count += found

    def add_rows(self, count: int, row: int) -> None:
        """``count`` rows, the first of them ``row``."""
        if count and not self.count:
            self.row = row
        self.count += count


class PointReader:
    """Turns one point's cells into the glossary's unit and remembers what it found.

    Args:
        source: where the point comes from.
        unit: the unit that the file states for the column, as written there, or ``""``.
        altitude: of the site [ft], for gauge pressures.
    """

    def __init__(
        self, source: PointSource, form: FileForm, unit: str, decimal: str,
        altitude: float | None, notes: Notes,
    ) -> None:
        self.source, self._form, self._notes = source, form, notes
        self._decimal, self._altitude = decimal, altitude
        self.where = f"file '{form.name}', column '{source.column}', point {source.name}"
        self._bad = BAD | frozenset(text.lower() for text in form.bad)
        self._good = GOOD | frozenset(text.lower() for text in form.good)
        self._header_unit = unit
        self.unit = self._settled(unit)
        self._scales: dict[str, Scale] = {}
        self._placeholders: dict[str, _Count] = {}
        self._cell_units: dict[str, _Count] = {}
        self._range, self._poor = _Count(), _Count()
        self._outside = np.empty(0)
        self.alarm_texts: list[tuple[int, str]] = []
        self._read_as: dict[str, float] = {}
        # In a held file an empty cell means "no change", a bad one "not known from here"
        # (told apart as infinity until the column is held).
        self.marks_bad = False

    def _settled(self, written: str) -> str:
        """The unit to read the column in: the map's, else the file's own."""
        point, stated = self.source.point, self.source.unit
        if self.source.on_above is not None or self.source.wordy:
            return point.unit
        own = units.alias(written, point.unit)
        if stated and own and own != stated and units.choices(point.unit):
            self._notes.doubt(
                f"column '{self.source.column}' is headed {written.strip()}, the point map says "
                f"{stated}; read as {stated}, as the map says", self._form.name, point.name,
            )
        return stated or own

    def read(self, column: Any, row: Callable[[int], int], quality: Any = None,
             local: np.ndarray | None = None) -> np.ndarray:
        """A stretch of the column in the glossary's unit; bad, implausible and empty are NaN.

        ``local`` are the times as written [ns], for units that change at a moment.

        Raises:
            IntakeError: a cell holds a text that means nothing here.
        """
        values = self._values(column, row, local)
        if quality is not None:
            poor = ~self._is_good(quality)
            self._poor.add(poor & ~np.isnan(values), row)
            values[poor] = np.nan
        if self.marks_bad:
            values = np.where(np.isnan(values) & _given(column), np.inf, values)
        return values

    def read_units(self, column: pa.Array, row: Callable[[int], int], stated: pa.Array,
                   quality: Any = None, local: np.ndarray | None = None) -> np.ndarray:
        """As ``read``, where every row states its own unit."""
        coded = stated.dictionary_encode()
        at, out = _indices(coded), np.full(len(column), np.nan)
        usual = self.unit
        for index, text in enumerate([*coded.dictionary.to_pylist(), ""]):
            mine = np.flatnonzero(at == (index if index < len(coded.dictionary) else -1))
            if not len(mine):
                continue
            self.unit = self._row_unit(text, row(int(mine[0]))) or usual
            if self.unit != usual:
                self._cell_units.setdefault(self.unit, _Count()).add_rows(
                    len(mine), row(int(mine[0])))
            out[mine] = self.read(
                column.take(pa.array(mine)), partial(_row_of, row, mine),
                None if quality is None else quality.take(pa.array(mine)),
                None if local is None else local[mine],
            )
        self.unit = usual
        return out

    def _row_unit(self, text: str, row: int) -> str:
        if not text.strip() or self.source.wordy or self.source.on_above is not None:
            return ""
        if unit := units.alias(text, self.source.point.unit):
            return unit
        raise IntakeError(
            f"{self.where}, row {row}: unit '{shown(text, 20)}' cannot be turned into "
            f"{self.source.point.unit}; expected one of: "
            f"{', '.join(units.choices(self.source.point.unit))}"
        )

    def _values(self, column: Any, row: Callable[[int], int],
                local: np.ndarray | None) -> np.ndarray:
        kind = column.type
        if pa.types.is_boolean(kind):
            column = column.cast(pa.int8())
        if pa.types.is_floating(kind) or pa.types.is_integer(column.type):
            numbers = np.array(column.cast(pa.float64()).to_numpy(zero_copy_only=False)
                               if isinstance(column, pa.Array) else
                               column.cast(pa.float64()).to_numpy())
            return self.numbers(numbers, row, local)
        if self.source.wordy:
            return self._words(texts(column), row)
        return self._cells(texts(column), row, local)

    def numbers(self, values: np.ndarray, row: Callable[[int], int],
                local: np.ndarray | None = None) -> np.ndarray:
        """Numbers in the file's unit into the glossary's; the array may be changed."""
        source = self.source
        if source.on_above is not None:
            return np.where(np.isnan(values), np.nan, values > source.on_above)
        if source.point.kind == points.ALARM:
            return np.where(np.isnan(values), np.nan, values != 0)
        if source.wordy:
            return self._binary(values, row)
        if source.unit_changes and local is not None:
            return self._plausible(self._changing(values, local), row)
        return self._plausible(self._scale(self.unit)(values), row)

    def _binary(self, values: np.ndarray, row: Callable[[int], int]) -> np.ndarray:
        wrong = ~(np.isnan(values) | (values == 0) | (values == 1))
        if wrong.any():
            at = int(np.argmax(wrong))
            raise IntakeError(
                f"{self.where}, row {row(at)}: found {values[at]:g} where 0 or 1 was expected; "
                f"if it is on above some value, state on_above under [points.{self.source.name}]"
            )
        return values

    def _changing(self, values: np.ndarray, local: np.ndarray) -> np.ndarray:
        converted = self._scale(self.unit)(values)
        for text, unit in self.source.unit_changes:
            since = local >= _nanoseconds(text, self.where)
            converted = np.where(since, self._scale(unit)(values), converted)
        return converted

    def _scale(self, unit: str) -> Scale:
        if unit not in self._scales:
            self._scales[unit] = self._new_scale(unit)
        return self._scales[unit]

    def _new_scale(self, unit: str) -> Scale:
        point = self.source.point
        if not unit:
            raise IntakeError(
                f"{self.where}: neither the point map nor the file says the unit; state unit "
                f"under [points.{point.name}], one of: {', '.join(units.choices(point.unit))}"
            )
        if not units.is_gauge(unit, point.unit):
            return units.scale(unit, point.unit, self.where)
        if self._altitude is None:
            raise IntakeError(f"{self.where}: a gauge pressure needs the site's altitude; "
                              "state altitude under [site]")
        return units.gauge_scale(unit, float(pressure_at(self._altitude)))

    def _plausible(self, values: np.ndarray, row: Callable[[int], int]) -> np.ndarray:
        point = self.source.point
        with np.errstate(invalid="ignore"):
            outside = (values < point.low) | (values > point.high)
        if outside.any():
            self._range.add(outside, row)
            if len(self._outside) < _REMEMBERED:
                self._outside = np.append(self._outside, values[outside][:_REMEMBERED])
            values = np.where(outside, np.nan, values)
        return values

    def _cells(self, column: pa.Array, row: Callable[[int], int],
               local: np.ndarray | None) -> np.ndarray:
        coded = column.dictionary_encode()
        at = _indices(coded)
        values, stated = self._dictionary(coded.dictionary, at, row)
        numbers = np.append(values, np.nan)[at]
        if not any(stated):
            return self.numbers(numbers, row, local)
        unit = np.array([*stated, ""], dtype=object)[at]
        converted = np.full(len(at), np.nan)
        for name in set(stated):
            mine = unit == name
            if name:
                self._cell_units.setdefault(name, _Count()).add(mine, row)
            where = np.flatnonzero(mine)
            converted[mine] = self._scale(name or self.unit)(numbers[mine]) if len(where) else 0
        return self._plausible(converted, row)

    def _dictionary(self, found: pa.Array, at: np.ndarray,
                    row: Callable[[int], int]) -> tuple[np.ndarray, list[str]]:
        """Numbers and units of the distinct texts of a column."""
        plain = found if self._decimal == "." else pc.replace_substring(found, ",", ".")
        dotted = self._decimal == "," and bool(
            pc.any(pc.match_substring(found, ".")).as_py()
        )
        fine = np.asarray(pc.match_substring_regex(plain, _PLAIN))
        if dotted:
            fine &= ~np.asarray(pc.match_substring(found, "."))
        values = pc.if_else(pa.array(fine), plain, "nan").cast(pa.float64()).to_numpy(
            zero_copy_only=False).copy()
        stated = [""] * len(values)
        for index in np.flatnonzero(~fine):
            values[index], stated[index] = self._one(found[int(index)].as_py(), at == index, row)
        return values, stated

    def _one(self, text: str, mask: np.ndarray, row: Callable[[int], int]) -> tuple[float, str]:
        read = cell(text, self._decimal, self._bad)
        point = self.source.point
        if read is None:
            raise IntakeError(
                f"{self.where}, row {row(int(np.argmax(mask)))}: '{shown(text)}' is no "
                f"number; if it stands for a bad value, add it to bad under "
                f'[files."{self._form.name}"]'
            )
        if read.bad:
            self._placeholders.setdefault(text.strip(), _Count()).add(mask, row)
        if not read.unit or self.source.on_above is not None:
            return read.value, ""
        unit = units.alias(read.unit, point.unit)
        if not unit:
            raise IntakeError(
                f"{self.where}, row {row(int(np.argmax(mask)))}: unit '{shown(read.unit, 20)}' in "
                f"the cell '{shown(text)}' cannot be turned into {point.unit}; "
                f"expected one of: {', '.join(units.choices(point.unit))}"
            )
        return read.value, unit

    def _words(self, column: pa.Array, row: Callable[[int], int]) -> np.ndarray:
        coded = column.dictionary_encode()
        at = _indices(coded)
        values = [
            self._word(text, at == index, row)
            for index, text in enumerate(coded.dictionary.to_pylist())
        ]
        self._remember_alarms(coded.dictionary.to_pylist(), at)
        return np.array([*values, np.nan], dtype=float)[at]

    def _remember_alarms(self, found: list[str], at: np.ndarray) -> None:
        """Each moment at which an alarm point begins to show a text of its own."""
        if self.source.point.kind != points.ALARM:
            return
        plain = ALARM_ON | ALARM_OFF | self._bad
        tells = np.array([*(text.strip().lower() not in plain for text in found), False])
        begins = tells[at] & (np.diff(at, prepend=-2) != 0)
        self.alarm_texts += [(int(i), found[at[i]].strip()) for i in np.flatnonzero(begins)]

    def _word(self, text: str, mask: np.ndarray, row: Callable[[int], int]) -> float:
        bare = BLANKS.sub(" ", text).strip()
        if not bare:
            return np.nan
        low, source = bare.lower(), self.source
        alarm = source.point.kind == points.ALARM
        if (value := self._known_word(low, alarm)) is not None:
            self._read_as[bare] = value
            return value
        if low in self._bad:
            self._placeholders.setdefault(bare, _Count()).add(mask, row)
            return np.nan
        if alarm:
            return 1.0
        raise IntakeError(
            f"{self.where}, row {row(int(np.argmax(mask)))}: '{shown(bare)}' is neither on nor "
            f"off; add it to on or off under [points.{source.name}]"
        )

    def _known_word(self, low: str, alarm: bool) -> float | None:
        if low in {word.lower() for word in self.source.on}:
            return 1.0
        if low in {word.lower() for word in self.source.off}:
            return 0.0
        if low in (ALARM_ON if alarm else ON):
            return 1.0
        return 0.0 if low in (ALARM_OFF if alarm else OFF) else None

    def _is_good(self, column: Any) -> np.ndarray:
        coded = texts(column).dictionary_encode()
        good = [text.strip().lower() in self._good for text in coded.dictionary.to_pylist()]
        return np.array([*good, True])[_indices(coded)]

    def finish(self) -> None:
        """Say what was found in the whole column."""
        file, name = self._form.name, self.source.name
        for text, found in self._placeholders.items():
            self._notes.note(
                f"{found.count} cells '{shown(text)}' stand for a bad value and are missing",
                file, name, found.row)
        if self._read_as and set(self._read_as) - {"0", "1"}:
            on, off = ([f"'{shown(w)}'" for w, v in self._read_as.items() if v == value]
                       for value in (1.0, 0.0))
            self._notes.note(f"read as on: {', '.join(on) or 'nothing'}; as off: "
                             f"{', '.join(off) or 'nothing'}", file, name)
        for unit, found in self._cell_units.items():
            if unit != self.unit:
                self._notes.note(f"{found.count} cells state {unit} and were read so",
                                 file, name, found.row)
        if self._poor.count:
            self._notes.note(f"{self._poor.count} values are not of good quality and are missing",
                             file, name, self._poor.row)
        if self._range.count:
            point = self.source.point
            self._notes.doubt(
                f"{self._range.count} values outside {point.low:g} to {point.high:g} {point.unit} "
                f"are missing{self._hint()}", file, name, self._range.row)

    def _hint(self) -> str:
        """The unit in which most of the implausible values would be plausible."""
        point, raw = self.source.point, self._scale(self.unit).back(self._outside)
        raw = raw[np.isfinite(raw)]
        for unit in units.choices(point.unit):
            if unit == self.unit or not len(raw):
                continue
            meant = units.scale(unit, point.unit, self.where)(raw)
            if np.mean((meant >= point.low) & (meant <= point.high)) > 0.9:
                return (f"; they would be plausible as {unit}: mend unit under "
                        f"[points.{point.name}], or state unit_changes if only a part is so")
        return ""

    def source_text(self) -> str:
        """``file: column [unit]``."""
        unit = self.source.unit if self.source.on_above is not None else self.unit
        return f"{self.source.file}: {self.source.column} [{unit}]"


def _row_of(row: Callable[[int], int], mine: np.ndarray, at: int) -> int:
    return row(int(mine[at]))


def _given(column: Any) -> np.ndarray:
    """Which cells hold anything."""
    if pa.types.is_floating(column.type):
        return np.asarray(column.is_valid())
    return np.asarray(pc.not_equal(pc.utf8_trim_whitespace(texts(column)), "").fill_null(False))


def _indices(coded: pa.DictionaryArray) -> np.ndarray:
    """Positions in the dictionary; a null is -1, the entry behind the last."""
    return coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)


def _nanoseconds(text: str, where: str) -> int:
    try:
        return int(np.datetime64(datetime.fromisoformat(text).replace(tzinfo=None), "ns")
                   .astype(np.int64))
    except ValueError as error:
        raise IntakeError(f"{where}: unit_changes from '{text}' is no time; "
                          "write it as 2026-01-05T10:00") from error
