"""What the trend files hold, column by column, before any of it is mapped."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from fptlib import units
from fptlib.errors import IntakeError
from fptlib.trends import arrow
from fptlib.trends.cells import BAD, OFF, ON, cell, tidy
from fptlib.trends.clock import Clock
from fptlib.trends.continuing import Stretch, chains, copies, dateless, undated
from fptlib.trends.grid import Notes
from fptlib.trends.long import POINT_HEADERS, VALUE_HEADERS, long_columns, plain
from fptlib.trends.mapping import FileForm, forms_of
from fptlib.trends.safe import NO_TRENDS
from fptlib.trends.samples import open_table, parts_of
from fptlib.trends.table import NUMBER, TEXT, Batch, Table, coded, given, numbers, texts

# So much of a file shows what its columns hold, and so many rows of it.
_BATCHES, _ROWS = 12, 4000
_FIRST = 3
# So many sheets of a workbook, or files in a zip, are looked at.
_PARTS = 200
_WORDS = {word for word in ON | OFF if not word[0].isdigit()} | {
    "alarm", "normal", "fault", "trip", "tripped", "ok", "clear"}
_ALARM_ON = {"alarm", "fault", "trip", "tripped"}
# What loggers write where they have no value.
_SENTINELS = (-9999.0, 9999.0, -999.0, 32767.0, -32768.0, 65535.0)
# The header of the only column of a file that is named after its point.
_NAMELESS = {"value", "values", "data", "reading", "present value", "trend", "trend value", ""}


@dataclass(frozen=True)
class Meant:
    """What a model of the site says that a column is: its equipment with the number, the point's
    class or tags, its unit or ``""``."""

    equipment: str
    words: str
    unit: str = ""

    def __str__(self) -> str:
        return " ".join(f"{self.equipment} {self.words}".replace("_", " ").split())


@dataclass(frozen=True)
class Column:
    """A column, or a name in a long file.

    Attributes:
        file: its name; of a workbook with several sheets, or a zip of several files, with that
            one behind it: ``plant.xlsx: CH-1``.
        part: how ``job.toml`` states that one: ``("sheet", "CH-1")`` or ``("member", "a.csv")``.
        said: what names it: its header, or the file's name where the header is only "Value".
        unit: as the file writes it.
        values: numbers as found, words for on and off as 1 and 0, NaN where there is neither;
            of a long file in the unit and order in which they stand there.
        times: of the rows [ns, the file's own clock]; empty where they cannot be read yet.
        words: whether the cells are words for on and off.
        first: the first cells as written.
        good: share of the rows looked at that hold a value.
        minutes: the usual time from row to row as the file has them [min]; ``values`` and
            ``times`` may keep every few rows only.
        more: the files, or parts of the same file, that continue this one, in the order of time.
        model: what a model of the site says of it.
    """

    file: str
    name: str
    said: str
    unit: str
    values: np.ndarray
    times: np.ndarray = field(default_factory=lambda: np.empty(0, np.int64))
    words: bool = False
    first: tuple[str, ...] = ()
    good: float = 1.0
    minutes: float | None = None
    more: tuple[str, ...] = ()
    part: tuple[str, str] | None = None
    model: Meant | None = None

    @property
    def there(self) -> np.ndarray:
        """The values that are there."""
        return self.values[~np.isnan(self.values)]

    @property
    def binary(self) -> bool:
        """Whether it holds only on and off."""
        there = self.there
        return self.words or (len(there) > 0 and bool(np.isin(there, (0.0, 1.0)).all()))

    @property
    def looks(self) -> str:
        """What the values look like, in a few words."""
        there = self.there
        if not len(there):
            return "no values"
        if self.binary:
            return f"on/off, on {100 * there.mean():.0f} %"
        low, high = float(there.min()), float(there.max())
        if low == high:
            return f"{low:g} all the time"
        few = len(np.unique(there))
        steps = f", {few} different values" if few <= 12 else ""
        return f"{low:.4g} to {high:.4g}{steps}"


@dataclass(frozen=True)
class Files:
    """Every column that was read, and of each file that was not, why."""

    columns: tuple[Column, ...]
    unread: Mapping[str, str]


def read_columns(folder: Path, answers: Mapping[str, Any]) -> Files:
    """Every column of every file in ``folder``; time columns, weather and models left out.

    Args:
        folder: the job's ``trends/``.
        answers: the job's answers; ``[files]`` and ``[site]`` are used where stated.
    """
    paths = [path for path in folder.iterdir()
             if path.is_file() and path.name[0] != "." and path.suffix.lower() not in NO_TRENDS]
    twice = copies(paths)
    unread = {name: f"file '{name}' is a copy of '{other}' and is not used"
              for name, other in twice.items()}
    found: dict[str, list[Column]] = {}
    ends: dict[str, int] = {}
    names = sorted(path.name for path in paths if path.name not in twice)
    for name, form in forms_of(answers, names):
        for named, part, one in _parts(folder / name, form, unread):
            try:
                columns, ends[named] = columns_in(folder / name, one)
                found[named] = [replace(
                    column, file=named, part=part,
                    said=dateless(one.sheet) or undated(one.member)
                    if part and column.name.lower() in _NAMELESS else column.said)
                    for column in columns]
            except IntakeError as error:
                unread[named] = str(error)
    return Files(tuple(_continued(found, ends)), unread)


def _parts(path: Path, form: FileForm, unread: dict[str, str]
           ) -> Iterator[tuple[str, tuple[str, str] | None, FileForm]]:
    """The tables of a file: what each is called, how the job states it, and its form."""
    try:
        forms = parts_of(path, form)
    except IntakeError as error:
        unread[path.name] = str(error)
        return
    for one in forms[:_PARTS]:
        key = "sheet" if one.sheet else "member"
        named = getattr(one, key)
        yield (path.name, None, form) if one is form else (
            f"{path.name}: {named}", (key, named), one)
    if len(forms) > _PARTS:
        unread[path.name] = (f"file '{path.name}' holds {len(forms)} tables; the first {_PARTS} "
                             "are shown, put the others into a file of their own")


def _continued(found: Mapping[str, list[Column]], ends: Mapping[str, int]) -> Iterator[Column]:
    """The columns of all files, those of files that continue one another as one."""
    stretches = {file: Stretch(frozenset((column.name, column.unit) for column in columns),
                               min(int(column.times.min()) for column in columns), ends[file])
                 for file, columns in found.items()
                 if columns and all(len(column.times) for column in columns)}
    together = {files[0]: files[1:] for files in chains(stretches)}
    further = {file for files in together.values() for file in files}
    for file in (name for name in found if name not in further):
        for column in found[file]:
            yield _joined_to(column, [other for each in together.get(file, ())
                                      for other in found[each] if other.name == column.name])


def _joined_to(column: Column, more: Sequence[Column]) -> Column:
    """A column with those that continue it."""
    if not more:
        return column
    every = [column, *more]
    values = np.concatenate([each.values for each in every])
    thin = -(-len(values) // _ROWS)
    return replace(column, more=tuple(each.file for each in more), values=values[::thin],
                   times=np.concatenate([each.times for each in every])[::thin],
                   words=all(each.words for each in every),
                   good=float(np.mean([each.good for each in every])))


def columns_of(folder: Path, answers: Mapping[str, Any]) -> list[Column]:
    """Every column of every file in ``folder`` that can be read.

    Raises:
        IntakeError: no file can be read.
    """
    files = read_columns(folder, answers)
    if not files.columns:
        raise IntakeError(next(iter(files.unread.values()),
                               "trends/ holds no trend file; put one there"))
    return list(files.columns)


def columns_in(path: Path, form: FileForm) -> tuple[list[Column], int]:
    """The columns of a file, and its last time [ns].

    Raises:
        IntakeError: it cannot be read as its form states.
    """
    table = open_table(path, form)
    clock = Clock(table, form, Notes())
    names = [name for name in dict.fromkeys(table.names) if name and name not in clock.columns]
    heads = {plain(name) for name in names}
    seems_long = len(names) <= 6 and heads & POINT_HEADERS and heads & VALUE_HEADERS
    if form.form == "long" or not form.form and (
            form.point_column or form.value_column or seems_long):
        return _of_long(table, form, clock)
    kinds = {**dict.fromkeys(names, NUMBER), **clock.kinds}
    read = [clock.read(batch) for batch in islice(table.batches(kinds), _BATCHES)]
    nameless = len(names) == 1 and names[0].lower() in _NAMELESS
    said = undated(path.name) if nameless else ""
    return [_column(table, name, said or name,
                    table.unit_of(name), [batch.columns[name] for batch, _ in read],
                    [stamps.ns for _, stamps in read])
            for name in names if table.names.count(name) == 1], _end(read)


def _end(read: Sequence[tuple[Batch, Any]]) -> int:
    """The last time of a file, as far as what was read of it shows."""
    times = np.concatenate([np.empty(0, np.int64), *(stamps.ns for _, stamps in read)])
    if not len(times):
        return 0
    first, last = int(times.min()), int(times.max())
    share = read[-1][0].done if len(read) == _BATCHES else 1.0
    return first + int((last - first) / (share or 1.0))


def _of_long(table: Table, form: FileForm, clock: Clock) -> tuple[list[Column], int]:
    point, value, unit, _, state = long_columns(table, form, clock.columns)
    held = [name for name in (point, value, unit, state) if name]
    kinds = {**dict.fromkeys(held, TEXT), **clock.kinds}
    read = [clock.read(batch) for batch in islice(table.batches(kinds), _BATCHES)]
    if not read:
        return [], 0
    cells, named = _joined(read, value), _joined(read, point)
    if state:
        cells = pc.if_else(pa.array(given(cells)), cells, _joined(read, state))
    stated = _joined(read, unit) if unit else None
    times = np.concatenate([stamps.ns for _, stamps in read])
    at, found = coded(named)
    columns = []
    for name in dict.fromkeys(map(tidy, found)):
        mine = np.isin(at, [index for index, each in enumerate(found) if tidy(each) == name])
        first = int(np.argmax(mine))
        columns.append(_column(
            table, name, name, str(stated[first].as_py() or "") if stated else "",
            [cells.take(arrow.column(np.flatnonzero(mine)))], [times[mine]]))
    return columns, _end(read)


def _joined(read: Sequence[tuple[Batch, Any]], column: str) -> pa.Array:
    return pa.concat_arrays([texts(batch.columns[column]) for batch, _ in read])


def _column(table: Table, name: str, said: str, unit: str, parts: Sequence[pa.Array],
            times: Sequence[np.ndarray]) -> Column:
    values, words = [np.empty(0)], 0
    first: list[str] = []
    for part in parts:
        if (found_numbers := numbers(part)) is not None:
            values.append(found_numbers)
            first += [f"{v:g}" for v in found_numbers[:_FIRST] if v == v]
            continue
        at, found = coded(part)
        first += [found[i] for i in at[:_FIRST] if i >= 0]
        read = [_number(text.strip(), table.decimal) for text in found]
        unit = unit or _unit_in(found[0], table.decimal)
        values.append(np.array([*read, np.nan])[at])
        wordy = [text.strip().lower() in _WORDS for text in found]
        words += int(np.count_nonzero(np.array([*wordy, False])[at]))
    whole = np.concatenate(values)
    whole = np.where(np.isin(whole, _SENTINELS), np.nan, whole)
    every = -(-len(whole) // _ROWS) or 1
    stamps = np.concatenate([np.empty(0, np.int64), *times])
    return Column(table.name, name, said, unit or _tail(name), whole[::every], stamps[::every],
                  words > 0.5 * max(len(whole), 1), tuple(first[:_FIRST]),
                  float(np.mean(~np.isnan(whole))) if len(whole) else 0.0,
                  float(np.median(np.diff(stamps))) / 6e10 if len(stamps) > 1 else None)


def _unit_in(text: str, decimal: str) -> str:
    """The unit that a cell itself states."""
    read = cell(text, decimal, BAD)
    return read.unit if read and units.alias(read.unit) else ""


def _tail(header: str) -> str:
    """The unit that stands behind a header without brackets: ``CHW FLOW L/s``, ``CH-1 KW``."""
    last = re.split(r"[\s_.\-]", header.strip())[-1]
    # Single letters, "Tons" and "RT" name more things than units.
    return last if len(last) > 1 and units.alias(last) not in ("", "on/off", "alarm", "fraction",
                                                              "tons", "%RH") else ""


def _number(text: str, decimal: str) -> float:
    low = text.lower()
    if low in _WORDS or low in ON or low in OFF:
        return float(low in ON or low in _ALARM_ON)
    read = cell(text, decimal, BAD)
    return read.value if read else float("nan")
