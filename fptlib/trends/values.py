"""Cells as files write them, into numbers in the glossary's unit.

A cell may hold a number, a number with its unit, a word for on or off, or a placeholder for
a bad value, which becomes missing and is counted. Any other text stops the reading with the
row and the text: it is never guessed at. Text is looked at once for each distinct cell.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib import points
from fptlib.errors import IntakeError
from fptlib.trends.batches import shown, texts
from fptlib.trends.cells import ALARM_OFF, ALARM_ON, BAD, BLANKS, GOOD, OFF, ON, cell
from fptlib.trends.findings import Findings, RowOf
from fptlib.trends.forms import FileForm, PointSource
from fptlib.trends.notes import Notes
from fptlib.trends.point_units import PointUnits

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_WITH_UNIT = rf"^\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s.,'eE][^\d]*)$"


class PointReader:
    """Turns one point's cells into the glossary's unit and remembers what it found.

    Args:
        source: where the point comes from.
        written: the unit that the file states for the column, or ``""``.
        decimal: the file's decimal sign.
        altitude: of the site [ft], for gauge pressures, or None.
    """

    def __init__(
        self, source: PointSource, form: FileForm, written: str, decimal: str,
        altitude: float | None, notes: Notes,
    ) -> None:
        self.source, self._form, self._notes, self._decimal = source, form, notes, decimal
        self.where = f"file '{form.name}', column '{source.column}', point {source.name}"
        self._units = PointUnits(source, written, altitude, self.where, notes)
        self._found = Findings()
        self._bad = BAD | frozenset(text.lower() for text in form.bad)
        self._good = GOOD | frozenset(text.lower() for text in form.good)
        self._on = frozenset(text.lower() for text in source.on)
        self._off = frozenset(text.lower() for text in source.off)
        self._alarm = source.point.kind == points.ALARM
        self.alarm_texts: list[tuple[int, str]] = []
        # In a held file an empty cell means "no change", a bad one "not known from here"
        # (told apart as infinity until the column is held).
        self.marks_bad = False

    def read(self, column: Any, row: RowOf, quality: Any = None, local: np.ndarray | None = None,
             unit: str = "") -> np.ndarray:
        """A stretch of the column in the glossary's unit; bad, implausible and empty are NaN.

        Args:
            column: numbers or text.
            row: the row number of a line of the stretch.
            quality: what the file says of each value, or None.
            local: times as written [ns], for units that change at a moment.
            unit: another unit than the column's usual one.

        Raises:
            IntakeError: a cell holds a text that means nothing here.
        """
        values = self._values(column, row, local, unit)
        if quality is not None:
            poor = ~self._is_good(quality)
            self._found.poor.mark(poor & ~np.isnan(values), row)
            values = np.where(poor, np.nan, values)
        if self.marks_bad:
            values = np.where(np.isnan(values) & _given(column), np.inf, values)
        return values

    def read_units(self, column: pa.Array, row: RowOf, stated: pa.Array, quality: Any = None,
                   local: np.ndarray | None = None) -> np.ndarray:
        """As ``read``, where every row states its own unit."""
        out = np.full(len(column), np.nan)
        for text, mine in _groups(stated):
            def row_of(at: int, mine: np.ndarray = mine) -> int:
                return row(int(mine[at]))

            index = pa.array(mine)
            out[mine] = self.read(
                column.take(index), row_of, None if quality is None else quality.take(index),
                None if local is None else local[mine], self._row_unit(text, len(mine), row_of(0)),
            )
        return out

    def _row_unit(self, text: str, count: int, row: int) -> str:
        if not text.strip() or self.source.wordy or self.source.on_above is not None:
            return ""
        unit = self._units.of_text(shown(text, 20), row, "")
        self._found.unit(unit, count, row)
        return unit

    def _values(self, column: Any, row: RowOf, local: np.ndarray | None, unit: str) -> np.ndarray:
        if pa.types.is_boolean(column.type):
            column = column.cast(pa.int8())
        if pa.types.is_floating(column.type) or pa.types.is_integer(column.type):
            return self.numbers(_numbers(column), row, local, unit)
        if self.source.wordy:
            return self._words(texts(column), row)
        return self._cells(texts(column), row, local, unit)

    def numbers(self, values: np.ndarray, row: RowOf, local: np.ndarray | None = None,
                unit: str = "") -> np.ndarray:
        """Numbers as the file has them into the glossary's unit."""
        if self.source.on_above is not None:
            return np.where(np.isnan(values), np.nan, values > self.source.on_above)
        if self._alarm:
            return np.where(np.isnan(values), np.nan, values != 0)
        if self.source.wordy:
            return self._binary(values, row)
        return self._plausible(self._units.convert(values, unit, local), row)

    def _binary(self, values: np.ndarray, row: RowOf) -> np.ndarray:
        wrong = ~(np.isnan(values) | (values == 0) | (values == 1))
        if wrong.any():
            at = int(np.argmax(wrong))
            raise IntakeError(
                f"{self.where}, row {row(at)}: found {values[at]:g} where 0 or 1 was expected; "
                f"if it is on above some value, state on_above under [points.{self.source.name}]"
            )
        return values

    def _plausible(self, values: np.ndarray, row: RowOf) -> np.ndarray:
        point = self.source.point
        outside = (values < point.low) | (values > point.high)
        if not outside.any():
            return values
        self._found.implausible(outside, values, row)
        return np.where(outside, np.nan, values)

    def _cells(self, column: pa.Array, row: RowOf, local: np.ndarray | None,
               unit: str) -> np.ndarray:
        distinct = _Distinct(column, row)
        values, stated = self._distinct_cells(distinct)
        numbers = np.append(values, np.nan)[distinct.at]
        if not any(stated):
            return self.numbers(numbers, row, local, unit)
        names = list(dict.fromkeys([*stated, ""]))
        which = np.array([names.index(name) for name in [*stated, ""]])[distinct.at]
        out = np.full(len(numbers), np.nan)
        for index, name in enumerate(names):
            mine = np.flatnonzero((which == index) & ~np.isnan(numbers))
            if len(mine):
                out[mine] = self._units.convert(
                    numbers[mine], name or unit, None if local is None else local[mine])
        return self._plausible(out, row)

    def _distinct_cells(self, distinct: _Distinct) -> tuple[np.ndarray, list[str]]:
        """Numbers and stated units of the distinct texts."""
        plain, fine = self._plain(distinct.texts)
        values = _cast(plain, fine)
        stated = [""] * len(values)
        if fine.all():
            return values, stated
        easy = self._easy_units(plain, distinct, values, stated, ~fine)
        for index in np.flatnonzero(~fine & ~easy):
            values[index], stated[index] = self._one(distinct, int(index))
        return values, stated

    def _plain(self, found: pa.Array) -> tuple[pa.Array, np.ndarray]:
        """The texts with a decimal point, and which of them are plain numbers."""
        if self._decimal == ".":
            return found, np.asarray(pc.match_substring_regex(found, f"^{_NUMBER}$"))
        plain = pc.replace_substring(found, ",", ".")
        # A point in a text with decimal commas parts thousands.
        pointed = np.asarray(pc.match_substring(found, "."))
        return plain, np.asarray(pc.match_substring_regex(plain, f"^{_NUMBER}$")) & ~pointed

    def _easy_units(self, plain: pa.Array, distinct: _Distinct, values: np.ndarray,
                    stated: list[str], left: np.ndarray) -> np.ndarray:
        """Fill in numbers with a known unit behind them, all at once."""
        parts = pc.extract_regex(plain, _WITH_UNIT)
        easy = left & np.asarray(parts.is_valid())
        if self._decimal == ",":
            easy &= ~np.asarray(pc.match_substring(distinct.texts, "."))
        if not easy.any() or self.source.on_above is not None:
            return np.zeros(len(values), dtype=bool)
        numbers = _cast(pc.struct_field(parts, "number").fill_null(""), easy)
        for text, mine in _groups(pc.struct_field(parts, "unit").fill_null("")):
            mine = mine[easy[mine]]
            if not len(mine) or text.strip().lower() in self._bad:
                easy[mine] = False
                continue
            first = distinct.row(int(mine[0]))
            unit = self._units.of_text(
                shown(text, 20), first, f" in the cell '{shown(distinct.text(int(mine[0])))}'")
            self._found.unit(unit, int(distinct.counts[mine].sum()),
                             distinct.row_of_first(mine))
            values[mine] = numbers[mine]
            for index in mine:
                stated[index] = unit
        return easy

    def _one(self, distinct: _Distinct, index: int) -> tuple[float, str]:
        text, count, row = distinct.text(index), int(distinct.counts[index]), distinct.row(index)
        read = cell(text, self._decimal, self._bad)
        if read is None:
            raise IntakeError(
                f"{self.where}, row {row}: '{shown(text)}' is no number; if it stands for a bad "
                f'value, write into job.toml, under [files."{self._form.name}"]: '
                f'bad = ["{shown(text)}"]'
            )
        if read.bad:
            self._found.placeholder(text, count, row)
        if not read.unit or self.source.on_above is not None:
            return read.value, ""
        unit = self._units.of_text(shown(read.unit, 20), row, f" in the cell '{shown(text)}'")
        self._found.unit(unit, count, row)
        return read.value, unit

    def _words(self, column: pa.Array, row: RowOf) -> np.ndarray:
        distinct = _Distinct(column, row)
        values = [self._word(distinct, index) for index in range(len(distinct.texts))]
        if self._alarm:
            self._remember_alarms(distinct)
        return np.array([*values, np.nan], dtype=float)[distinct.at]

    def _remember_alarms(self, distinct: _Distinct) -> None:
        """Each moment at which an alarm point begins to show a text of its own."""
        found = distinct.texts.to_pylist()
        plain = ALARM_ON | ALARM_OFF | self._bad | self._on | self._off
        tells = np.array([*(text.strip().lower() not in plain for text in found), False])
        begins = tells[distinct.at] & (np.diff(distinct.at, prepend=-2) != 0)
        self.alarm_texts += [
            (int(i), found[distinct.at[i]].strip()) for i in np.flatnonzero(begins)
        ]

    def _word(self, distinct: _Distinct, index: int) -> float:
        bare = BLANKS.sub(" ", distinct.text(index)).strip()
        low, row = bare.lower(), distinct.row(index)
        if not bare:
            return np.nan
        if (value := self._known_word(low)) is not None:
            self._found.words[bare] = value
            return value
        if low in self._bad:
            self._found.placeholder(bare, int(distinct.counts[index]), row)
            return np.nan
        if self._alarm:
            return 1.0
        raise IntakeError(
            f"{self.where}, row {row}: '{shown(bare)}' is neither on nor off; add it to on or off "
            f"under [points.{self.source.name}]"
        )

    def _known_word(self, low: str) -> float | None:
        if low in self._on:
            return 1.0
        if low in self._off:
            return 0.0
        if low in (ALARM_ON if self._alarm else ON):
            return 1.0
        return 0.0 if low in (ALARM_OFF if self._alarm else OFF) else None

    def _is_good(self, column: Any) -> np.ndarray:
        distinct = _Distinct(texts(column), int)
        good = [text.strip().lower() in self._good for text in distinct.texts.to_pylist()]
        return np.array([*good, True])[distinct.at]

    def finish(self) -> None:
        """Say what was found in the whole column."""
        hint = self._units.hint(self._found.outside_values)
        self._found.say(self.source, self._units.usual, hint, self._notes)

    def source_text(self) -> str:
        """``file: column [unit]``."""
        unit = self.source.unit if self.source.on_above is not None else self._units.usual
        return f"{self.source.file}: {self.source.column} [{unit}]"


class _Distinct:
    """The distinct texts of a stretch: ``at`` gives each line's, -1 for none."""

    def __init__(self, column: pa.Array, row: RowOf) -> None:
        coded = column.dictionary_encode()
        self.texts, self._row = coded.dictionary, row
        self.at = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
        self.counts = np.bincount(self.at[self.at >= 0], minlength=len(self.texts))
        self._first = np.zeros(len(self.texts) + 1, dtype=np.int64)
        # Written from the end, so that the first line stays.
        self._first[self.at[::-1]] = np.arange(len(self.at))[::-1]

    def text(self, index: int) -> str:
        return str(self.texts[index].as_py())

    def row(self, index: int) -> int:
        """The row number of the first line with this text."""
        return self._row(int(self._first[index]))

    def row_of_first(self, those: np.ndarray) -> int:
        """The row number of the first line with any of these texts."""
        return self._row(int(self._first[those].min()))


def _groups(column: pa.Array) -> Iterator[tuple[str, np.ndarray]]:
    """Each distinct text with its lines; null counts as empty."""
    coded = column.fill_null("").dictionary_encode()
    at = coded.indices.to_numpy()
    order = np.argsort(at, kind="stable")
    ends = np.cumsum(np.bincount(at, minlength=len(coded.dictionary)))
    for index, text in enumerate(coded.dictionary.to_pylist()):
        yield text, order[ends[index - 1] if index else 0 : ends[index]]


def _cast(column: pa.Array, fine: np.ndarray) -> np.ndarray:
    """Texts as numbers where they are ``fine``, NaN elsewhere."""
    numbers = pc.if_else(pa.array(fine), column, "nan").cast(pa.float64())
    return np.array(numbers.to_numpy(zero_copy_only=False))


def _numbers(column: Any) -> np.ndarray:
    column = column.cast(pa.float64())
    if isinstance(column, pa.ChunkedArray):
        return np.asarray(column.to_numpy())
    return np.asarray(column.to_numpy(zero_copy_only=False))


def _given(column: Any) -> np.ndarray:
    """Which cells hold anything."""
    if pa.types.is_floating(column.type):
        return np.asarray(column.is_valid())
    return np.asarray(pc.not_equal(pc.utf8_trim_whitespace(texts(column)), "").fill_null(False))
