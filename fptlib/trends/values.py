"""Cells as files write them, into numbers in the glossary's unit.

A cell may hold a number, a number with its unit, a word for on or off, or a placeholder for
a bad value, which becomes missing and is counted. Any other text stops the reading with the
row and the text: it is never guessed at. Text is looked at once for each distinct cell.
"""

from __future__ import annotations

import json
import re
from collections.abc import Hashable, Mapping, Sequence
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib import points, units
from fptlib.errors import IntakeError
from fptlib.physics.atmosphere import pressure_at
from fptlib.physics.errors import ImpossibleState
from fptlib.trends import arrow
from fptlib.trends.cells import (
    ALARM_OFF,
    ALARM_ON,
    BAD,
    BLANKS,
    GOOD,
    OFF,
    ON,
    POOR,
    STAND_INS,
    cell,
    marks,
    matching,
    no_plain_unit,
    number,
    shown,
)
from fptlib.trends.grid import Notes
from fptlib.trends.mapping import FileForm, PointSource
from fptlib.trends.table import coded, given, numbers

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_WITH_UNIT = rf"^\s*(?P<number>{_NUMBER})\s*(?P<unit>[^\d\s.,'eE][^\d]*)$"
_REMEMBERED = 1000
# A value and what the system thinks of it: "44.2 {ok}".
_MARKED = re.compile(r"(?P<value>.*?)\s*\{(?P<marks>[^{}]*)\}")
_LEADING = re.compile(r"(?P<word>[^\d\s]+)\s+[-+]?[\d.,]+")
_BEHIND = re.compile(r"[-+]?[\d.,]+(?P<mark>\s*[^\d\s.,][^\d]*)")
# A contact may close or open when the equipment runs; a valve that is open is open.
_CONTACT = frozenset(("open", "opened", "closed", "close"))
# What a machine does, which is no alarm and no answer to whether there is one.
_STATES = (ON | OFF) - ALARM_ON - ALARM_OFF
_VALVE = re.compile(r"v(?:a?lve?)|damper|isol", re.IGNORECASE)
# How bookkeepers write numbers below zero, and others doubtful ones.
_NEGATIVE = re.compile(r"\s*(?:\(\s*[\d.,]+\s*\)|[\d.,]+\s*-)\s*")
# A cell that a spreadsheet is to take as text.
_AS_TEXT = re.compile(r'="([^"]*)"')
_PLAIN_CODES = {0.0: 0.0, 1.0: 1.0}
# A stand-in lies so far from all values: as a share of it, and of a temperature in degF.
_ALONE, _ALONE_DEGREES = 0.3, 5.0


class _Tally(dict[Hashable, tuple[int, int]]):
    """How often something was found, and in which row first."""

    def add(self, what: Hashable, count: int, row: int) -> None:
        before, first = self.get(what, (0, row))
        self[what] = before + count, min(first, row)


class PointReader:
    """Turns one point's cells into the glossary's unit and remembers what it found.

    Args:
        source: where the point comes from.
        form: how its file is written.
        written: the unit that the file states for the column, or ``""``.
        decimal: the file's decimal sign.
        altitude: of the site [ft], for gauge pressures, or None.
        notes: what is found goes there.
    """

    def __init__(self, source: PointSource, form: FileForm, written: str, decimal: str,
                 altitude: float | None, notes: Notes) -> None:
        self.source, self._form, self._notes, self._decimal = source, form, notes, decimal
        self._where = f"file '{form.name}', column '{source.column}', point {source.name}"
        self._altitude = altitude
        self._scales: dict[str, units.Scale] = {}
        self._changes = [(_nanoseconds(at, self._where), unit) for at, unit in source.unit_changes]
        self._bad = BAD | {text.lower() for text in form.bad}
        self._good = GOOD | {text.lower() for text in form.good}
        self._bad_texts = matching(form.bad)
        self._good_texts = matching(text for text in form.good if "*" in text)
        self._bad_numbers = [value for text in form.bad
                             if (value := number(text, self._decimal)) is not None]
        self._words, self._codes = self._on_and_off()
        self._placeholders, self._units, self._found = _Tally(), _Tally(), _Tally()
        self._words_found: dict[str, float] = {}
        self._outside = np.empty(0)
        self.unit = self._usual_unit(written)
        # Position in the stretch read last, and the text that an alarm point begins to show.
        self.alarm_texts: list[tuple[int, str]] = []

    @property
    def _foreign(self) -> str:
        """What the column's name says against its numbers."""
        said = no_plain_unit(self.source.column)
        return f"says that {said}" if said else ""

    def _on_and_off(self) -> tuple[dict[str, float], dict[float, float]]:
        """What words and what numbers mean off (0) and on (1)."""
        source = self.source
        alarm = source.point.kind == points.ALARM
        on, off = (ALARM_ON, ALARM_OFF) if alarm else (ON, OFF)
        if not _VALVE.search(source.column):
            on, off = on - _CONTACT, off - _CONTACT
        stated = {**{text.strip().lower(): 0.0 for text in source.off},
                  **{text.strip().lower(): 1.0 for text in source.on}}
        codes = {value: meaning for text, meaning in stated.items()
                 if (value := number(text, self._decimal)) is not None}
        # Who numbers modes does not mean the usual 1 by his silence.
        codes = {0.0: 0.0, **codes} if codes else _PLAIN_CODES
        return {**dict.fromkeys(off, 0.0), **dict.fromkeys(on, 1.0), **stated}, codes

    def _usual_unit(self, written: str) -> str:
        """The unit to read the column in: the map's, else the file's own."""
        point, stated = self.source.point, self.source.unit
        if self.source.on_above is not None or self.source.wordy:
            return point.unit
        own = units.alias(written, point.unit)
        said = self._foreign or (f"is headed {written.strip()}" if own and own != stated else "")
        if stated and said:
            self._notes.doubt(
                f"column '{self.source.column}' {said}, the point map says {stated}; read as "
                f"{stated}, as the map says", self.source.file, point.name)
        return stated or own

    @property
    def source_text(self) -> str:
        """``file: column [unit]``."""
        unit = self.source.unit if self.source.on_above is not None else self.unit
        return f"{self.source.file}: {self.source.column} [{unit}]"

    def read(self, column: pa.Array, rows: np.ndarray, local: np.ndarray,
             quality: pa.Array | None = None, stated: pa.Array | None = None) -> np.ndarray:
        """A stretch of the column in the glossary's unit; bad, implausible and empty are NaN.

        Args:
            column: numbers or text.
            rows: the row number of each cell.
            local: times as written [ns], for units that change at a moment.
            quality: what the file says of each value, or None.
            stated: the unit of each cell, or None.

        Raises:
            IntakeError: a cell holds a text that means nothing here.
        """
        self.alarm_texts = []
        if getattr(column, "type", None) == pa.bool_():
            column = column.cast(pa.int8())
        at, unit_names = None, [""]
        if (values := numbers(column)) is None and self.source.wordy:
            values = self._read_words(column, rows)
        else:
            if values is None:
                values, at, unit_names = self._read_cells(column, rows)
            values = self._known(values, rows)
            if self.source.wordy:
                values = self._of_codes(values, rows)
        if quality is not None:
            which, words = coded(quality)
            good = np.array([*(self._good.issuperset(marks(word)) for word in words), True])
            poor = ~good[which] & ~np.isnan(values)
            self._count("poor", poor, rows)
            values = np.where(poor, np.nan, values)
        if not self.source.wordy and self.source.on_above is None and stated is not None:
            at, unit_names = self._read_units(stated, rows, at, unit_names)
        return self._in_glossary_unit(values, rows, local, at, unit_names)

    def _known(self, values: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Numbers without the infinite ones and those that the job calls bad."""
        for text, bad in (("inf", np.isinf(values)), *(
                (f"{each:g}", values == each) for each in self._bad_numbers)):
            if bad.any():
                self._placeholders.add(text, int(bad.sum()), int(rows[np.argmax(bad)]))
                values = np.where(bad, np.nan, values)
        return values

    def _of_codes(self, values: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Numbers of a status or an alarm as 0 and 1.

        Raises:
            IntakeError: a number means neither.
        """
        if self._codes == _PLAIN_CODES and (
                np.isnan(values) | (values == 0) | (values == 1)).all():
            return values
        found = np.full(len(values), np.nan)
        distinct, unknown = np.unique(values[~np.isnan(values)]).tolist(), []
        for value in distinct:
            mine = values == value
            if value in self._codes:
                found[mine] = self._codes[value]
            elif value in STAND_INS:
                self._placeholders.add(f"{value:g}", int(mine.sum()), int(rows[np.argmax(mine)]))
            elif self.source.point.kind == points.ALARM:
                found[mine] = 1.0
            else:
                unknown.append(value)
        if unknown:
            first = int(np.argmax(np.isin(values, unknown)))
            codes = [f"{value:g}" for value in distinct if value not in STAND_INS]
            raise IntakeError(
                f"{self._where}, row {rows[first]}: found {values[first]:g} where 0 or 1 was "
                f"expected; {self._either(codes)}, or on_above = the value above which it is on, "
                f"under [points.{self.source.name}]")
        return found

    def _either(self, words: Sequence[str]) -> str:
        """What to state of words or numbers that may mean on or off."""
        if words and all(word.lower() in _CONTACT for word in words):
            closed, opened = (
                next((word for word in words if word.lower().startswith(begin)), usual)
                for begin, usual in (("clos", "Closed"), ("open", "Open")))
            return (f"state on = [{quoted(closed)}] and off = [{quoted(opened)}] if a closed "
                    f"contact means on, or on = [{quoted(opened)}] and off = [{quoted(closed)}]")
        return ("state on = [...] and off = [...] with each of "
                f"{', '.join(map(quoted, words[:12]))} in one of them")

    def _count(self, what: str, mask: np.ndarray, rows: np.ndarray) -> None:
        if count := int(np.count_nonzero(mask)):
            self._found.add(what, count, int(rows[np.argmax(mask)]))

    def _in_glossary_unit(self, values: np.ndarray, rows: np.ndarray, local: np.ndarray,
                          at: np.ndarray | None, unit_names: list[str]) -> np.ndarray:
        """Numbers as the file has them, each in one of ``unit_names``, by its position ``at``."""
        if self.source.on_above is not None:
            return np.where(np.isnan(values), np.nan, values > self.source.on_above)
        if self.source.wordy:
            return values
        if at is None:
            values = self._converted(values, unit_names[0], local)
        else:
            given_values, values = values, np.full(len(values), np.nan)
            for index, unit in enumerate(unit_names):
                mine = np.flatnonzero((at == index) & ~np.isnan(given_values))
                if len(mine):
                    values[mine] = self._converted(given_values[mine], unit, local[mine])
        point = self.source.point
        outside = (values < point.low) | (values > point.high)
        if not outside.any():
            return values
        self._count("outside", outside, rows)
        self._outside = np.append(self._outside, values[outside])[:_REMEMBERED]
        return np.where(outside, np.nan, values)

    def _converted(self, values: np.ndarray, unit: str, local: np.ndarray) -> np.ndarray:
        """Numbers in ``unit``, or in the usual one unless their times say another."""
        converted = self._scale(unit or self.unit)(values)
        for since, changed in () if unit else self._changes:
            converted = np.where(local >= since, self._scale(changed)(values), converted)
        return np.asarray(converted)

    def _scale(self, unit: str) -> units.Scale:
        """The conversion from a unit.

        Raises:
            IntakeError: no unit is stated anywhere, or it needs an altitude that is not there.
        """
        if unit in self._scales:
            return self._scales[unit]
        point, atmosphere = self.source.point, None
        if not unit and self._foreign:
            raise IntakeError(
                f"{self._where}: the column {self._foreign}; map another column, or export the "
                f"trend again in {point.unit}")
        if not unit:
            raise IntakeError(
                f"{self._where}: neither the point map nor the file says the unit; state unit "
                f"under [points.{point.name}], one of: {', '.join(units.offered(point.unit))}")
        if units.is_gauge(unit, point.unit) and self._altitude is not None:
            try:
                atmosphere = float(pressure_at(self._altitude))
            except ImpossibleState as error:
                raise IntakeError(
                    f"{self._where}: {error}; correct altitude under [site]") from error
        self._scales[unit] = units.scale(unit, point.unit, self._where, atmosphere)
        return self._scales[unit]

    def _stated_unit(self, text: str, count: int, row: int, of: str) -> str:
        """The unit that a cell or a unit column states, counted."""
        point = self.source.point
        unit = units.alias(text, point.unit)
        if not unit:
            raise IntakeError(
                f"{self._where}, row {row}: unit '{shown(text, 20)}'{of} cannot be turned into "
                f"{point.unit}; export the trend again in one of: "
                f"{', '.join(units.offered(point.unit))}")
        self._units.add(unit, count, row)
        return unit

    def _read_units(self, stated: pa.Array, rows: np.ndarray, cells: np.ndarray | None,
                    cell_units: list[str]) -> tuple[np.ndarray, list[str]]:
        """Units that stand in a column of their own; what a cell itself states goes before."""
        at, said = coded(stated)
        at = np.where(at < 0, len(said), at)
        names = [self._stated_unit(text, int(np.count_nonzero(at == index)),
                                   int(rows[np.argmax(at == index)]), "") if text.strip() else ""
                 for index, text in enumerate(said)]
        if cells is None:
            return at, [*names, ""]
        own = np.array([bool(name) for name in cell_units])[cells]
        return np.where(own, cells + len(names) + 1, at), [*names, "", *cell_units]

    def _read_cells(self, column: pa.Array, rows: np.ndarray
                    ) -> tuple[np.ndarray, np.ndarray | None, list[str]]:
        """Numbers, and for each the position of the unit that its cell states, or None."""
        at, found = coded(column)
        distinct = arrow.text_column(found)
        plain = distinct
        pointed = np.zeros(len(found), dtype=bool)
        if self._decimal != ".":
            # A point in a text with decimal commas parts thousands.
            plain = pc.replace_substring(distinct, ",", ".")
            pointed = arrow.array(pc.match_substring(distinct, "."))
        fine = arrow.array(pc.match_substring_regex(plain, f"^{_NUMBER}$")) & ~pointed
        values = np.append(_cast(plain, fine), np.nan)
        if fine.all():
            return values[at], None, [""]
        names, unit_of = [""], np.zeros(len(values), dtype=np.int64)
        parts = pc.extract_regex(plain, _WITH_UNIT)
        easy = arrow.array(parts.is_valid()) & ~fine & ~pointed
        written = pc.struct_field(parts, "unit").fill_null(arrow.BLANK).to_pylist()
        quick = _cast(pc.struct_field(parts, "number"), easy)
        counts = np.bincount(at[at >= 0], minlength=len(found))
        first = np.zeros(len(values), dtype=np.int64)
        # Written from the end, so that the first line stays.
        first[at[::-1]] = rows[::-1]
        unknown: dict[str, int] = {}
        for index in np.flatnonzero(~fine).tolist():
            count, row = int(counts[index]), int(first[index])
            unit = written[index].strip()
            if easy[index] and "{" not in unit and unit.lower() not in self._bad and not (
                    self._bad_texts or self._good_texts):
                values[index] = quick[index]
            elif (read := self._one(found[index], count, row)) is not None:
                values[index], unit = read
            else:
                unknown[found[index]] = row
                continue
            if unit and self.source.on_above is None:
                if not units.alias(unit):
                    unknown[found[index]] = row
                    continue
                unit = self._stated_unit(unit, count, row, f" in the cell '{shown(found[index])}'")
                if unit not in names:
                    names.append(unit)
                unit_of[index] = names.index(unit)
        if unknown:
            self._refuse(unknown)
        return values[at], unit_of[at] if len(names) > 1 else None, names

    def _one(self, text: str, count: int, row: int) -> tuple[float, str] | None:
        """Value and unit of one text; None where it means nothing."""
        bare = _AS_TEXT.sub(r"\1", BLANKS.sub(" ", text).strip())
        poor = bool(self._bad_texts and self._bad_texts.fullmatch(bare))
        if not poor and self._good_texts and (good := self._good_texts.fullmatch(bare)):
            bare = next((part for part in good.groups() if part), "")
        elif not poor and (marked := _MARKED.fullmatch(bare)):
            said, bare = marks(marked["marks"]), marked["value"]
            poor = bool(POOR.intersection(said))
            if not poor and not self._good.issuperset(said):
                return None
        read = cell(bare, self._decimal, self._bad)
        if poor or read and read.bad:
            self._placeholders.add(text.strip(), count, row)
            return np.nan, ""
        return (read.value, read.unit) if read else None

    def _refuse(self, unknown: Mapping[str, int]) -> None:
        """Stop at texts that mean nothing, all of them in one sentence."""
        text, row = min(unknown.items(), key=lambda each: each[1])
        if any(map(_NEGATIVE.fullmatch, unknown)):
            raise IntakeError(
                f"{self._where}, row {row}: '{shown(text)}' may be a number below zero; export the "
                "trend again with the minus sign in front of such numbers")
        patterns = []
        for each in unknown:
            bare = BLANKS.sub(" ", each).strip()
            marked, leading = _MARKED.fullmatch(bare), _LEADING.fullmatch(bare)
            behind = _BEHIND.fullmatch(bare)
            patterns.append(f"* {{{marked['marks']}}}" if marked else
                            f"{leading['word']} *" if leading else
                            f"*{behind['mark']}" if behind else bare)
        listed = ", ".join(map(quoted, dict.fromkeys(patterns[:12])))
        good = f", or good = [{listed}] if the values are good" if "*" in listed else ""
        raise IntakeError(
            f"{self._where}, row {row}: '{shown(text)}' is no number; if it stands for a bad "
            f'value, state bad = [{listed}]{good}, under [files."{self._form.name}"]')

    def _read_words(self, column: pa.Array, rows: np.ndarray) -> np.ndarray:
        at, found = coded(column)
        found = [_AS_TEXT.sub(r"\1", text) for text in found]
        alarm = self.source.point.kind == points.ALARM
        values, tells = np.full(len(found) + 1, np.nan), np.zeros(len(found) + 1, dtype=bool)
        unknown: dict[str, int] = {}
        codes = {index: code for index, text in enumerate(found)
                 if (code := number(text, self._decimal)) is not None
                 and text.strip().lower() not in self._bad}
        if codes:
            first = np.array([rows[np.argmax(at == index)] for index in codes])
            values[list(codes)] = self._of_codes(
                self._known(np.array(list(codes.values())), first), first)
        for index, text in enumerate(found):
            bare = BLANKS.sub(" ", text).strip()
            low, mine = bare.lower(), at == index
            if index in codes:
                continue
            if bare and low in self._words:
                values[index] = self._words_found[bare] = self._words[low]
            elif low in self._bad or self._bad_texts and self._bad_texts.fullmatch(bare):
                self._placeholders.add(bare, int(mine.sum()), int(rows[np.argmax(mine)]))
            elif bare and alarm and low not in _CONTACT | _STATES:
                values[index], tells[index] = 1.0, True
            elif bare:
                unknown[bare] = int(rows[np.argmax(mine)])
        if unknown:
            text, row = min(unknown.items(), key=lambda each: each[1])
            raise IntakeError(
                f"{self._where}, row {row}: '{shown(text)}' is neither on nor off; "
                f"{self._either(list(unknown))}, under [points.{self.source.name}]")
        if tells.any():
            begins = tells[at] & (np.diff(at, prepend=-2) != 0)
            self.alarm_texts = [(i, found[at[i]].strip()) for i in np.flatnonzero(begins).tolist()]
        return values[at]

    def stand_ins(self, values: np.ndarray) -> np.ndarray | None:
        """Which of all the point's values are one number that systems write for none, far from
        every other value; None where none are. A doubt says so."""
        point, found, said = self.source.point, None, []
        if self.source.wordy or self.source.on_above is not None:
            return None
        degrees = point.unit == "degF"
        raws = [raw for raw in (*STAND_INS, *((0.0,) if degrees else ()))
                if f"{raw:g}" not in self._good]
        known = {float(value): raw for unit in {self.unit, *map(str, self._units)} - {""}
                 for raw, value in zip(raws, self._scale(unit)(np.array(raws)), strict=True)
                 if point.low <= value <= point.high}
        left = values
        # It lies above or below all others, which is seen at once.
        while len(left):
            ends = float(np.fmin.reduce(left)), float(np.fmax.reduce(left))
            at = next((end for end in ends if end in known), None)
            if at is None and np.isinf(ends[1]):
                left = left[np.isfinite(left)]
                continue
            if at is None:
                break
            others = left[left != at]
            others = others[np.isfinite(others)]
            least = _ALONE_DEGREES if degrees else _ALONE * abs(at)
            if np.abs(others - at).min() <= least if len(others) else not degrees:
                break
            mine, left = values == at, others
            found = mine if found is None else found | mine
            said.append((f"{known[at]:g}", int(np.count_nonzero(mine))))
        if found is not None:
            texts = ", ".join(f'"{text}"' for text, _ in said)
            self._notes.doubt(
                f"{' and '.join(f'{count} values are {text}' for text, count in said)}, far from "
                "all others, as a system writes where it has no value; they are missing; if they "
                f'are true, state good = [{texts}] under [files."{self._form.name}"]',
                self.source.file, point.name)
        return found

    def finish(self) -> None:
        """Say what was found in the whole column."""
        file, name, point = self.source.file, self.source.name, self.source.point
        for text, (count, row) in self._placeholders.items():
            self._notes.note(f"{count} cells '{shown(str(text))}' stand for a bad value and are "
                             "missing", file, name, row)
        for unit, (count, row) in self._units.items():
            if unit != self.unit:
                self._notes.note(f"{count} cells state {unit} and were read so", file, name, row)
        if set(self._words_found) - {"0", "1"}:
            on, off = (
                ", ".join(f"'{shown(w)}'" for w, v in self._words_found.items() if v == is_on)
                or "nothing" for is_on in (1.0, 0.0))
            self._notes.note(f"read as on: {on}; as off: {off}", file, name)
        if "poor" in self._found:
            count, row = self._found["poor"]
            self._notes.note(f"{count} values are not of good quality and are missing", file, name,
                             row)
        if "outside" in self._found:
            count, row = self._found["outside"]
            self._notes.doubt(
                f"{count} values outside {point.low:g} to {point.high:g} {point.unit} are missing"
                f"{self._hint()}", file, name, row)

    def _hint(self) -> str:
        """The unit in which most of the implausible values would be plausible."""
        point = self.source.point
        raw = self._scale(self.unit).back(self._outside) if self.unit else self._outside[:0]
        raw = raw[np.isfinite(raw)]
        for unit in units.choices(point.unit):
            if unit == self.unit or not len(raw):
                continue
            meant = units.scale(unit, point.unit, self._where)(raw)
            if np.mean((meant >= point.low) & (meant <= point.high)) > 0.9:
                return (f"; they would be plausible as {unit}: correct unit under "
                        f"[points.{point.name}], or state unit_changes if only a part is so")
        return ""


def quoted(text: str) -> str:
    """A text as ``job.toml`` takes it."""
    return json.dumps(text, ensure_ascii=False)


def given_or_unknown(values: np.ndarray, column: pa.Array) -> np.ndarray:
    """Values of a log of changes: an empty cell means "no change" and stays NaN, a bad one "not
    known from here on" and becomes infinite."""
    return np.where(np.isnan(values) & given(column), np.inf, values)


def _cast(column: pa.Array, fine: np.ndarray) -> np.ndarray:
    """Texts as numbers where they are ``fine``, NaN elsewhere."""
    values, at = np.full(len(fine), np.nan), np.flatnonzero(fine)
    values[at] = arrow.array(column.take(arrow.column(at)).cast(pa.float64()))
    return values


def _nanoseconds(text: str, where: str) -> int:
    try:
        at = np.datetime64(datetime.fromisoformat(text).replace(tzinfo=None), "ns")
    except ValueError as error:
        raise IntakeError(f"{where}: unit_changes from '{text}' is no time; "
                          "write it as 2026-01-05T10:00") from error
    return int(at.astype(np.int64))
