"""The columns of a job's files with a stretch of their values, for suggesting a map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from fptlib.errors import IntakeError
from fptlib.trends.batches import NUMBER, TEXT, Reader, texts
from fptlib.trends.cells import BAD, OFF, ON, cell
from fptlib.trends.forms import FileForm
from fptlib.trends.long_form import POINT_HEADERS, VALUE_HEADERS, is_long, long_columns
from fptlib.trends.mapping import forms_of
from fptlib.trends.notes import Notes
from fptlib.trends.opened import open_reader
from fptlib.trends.sniff import tidy
from fptlib.trends.stamps import StampReader

_BATCHES = 12


@dataclass(frozen=True)
class Column:
    """A column, or a name in a long file: ``unit`` as the file writes it; values as found.

    ``words`` is true where the cells are words for on and off.
    """

    file: str
    name: str
    unit: str
    values: np.ndarray
    words: bool = False

    @property
    def binary(self) -> bool:
        """Whether it holds only on and off."""
        there = self.values[~np.isnan(self.values)]
        return self.words or (len(there) > 0 and bool(np.isin(there, (0.0, 1.0)).all()))


def columns_of(folder: Path, answers: Mapping[str, Any]) -> list[Column]:
    """Every column of every file in ``folder`` that can be read; time columns left out.

    Raises:
        IntakeError: no file can be read.
    """
    found: list[Column] = []
    faults: list[str] = []
    names = sorted(p.name for p in folder.iterdir() if p.is_file() and p.name[0] != ".")
    for name, form in forms_of(answers, [n for n in names if not n.lower().endswith(".epw")]):
        try:
            found += _of_file(folder / name, form)
        except IntakeError as error:
            faults.append(str(error))
    if not found:
        raise IntakeError(faults[0] if faults else "trends/ holds no trend file; put one there")
    return found


def _of_file(path: Path, form: FileForm) -> list[Column]:
    reader = open_reader(path, form)
    stamps = StampReader(reader, form, Notes())
    names = [n for n in dict.fromkeys(reader.names) if n and n not in stamps.columns]
    if _seems_long(reader, form, names):
        return list(_of_long(reader, form, stamps))
    kinds = dict.fromkeys(names, NUMBER)
    batches = list(islice(reader.batches(kinds), _BATCHES))
    return [
        _column(form.name, name, reader.unit_of(name), [b.columns[name] for b in batches],
                reader.decimal)
        for name in names if reader.names.count(name) == 1
    ]


def _seems_long(reader: Reader, form: FileForm, names: list[str]) -> bool:
    if form.form or form.point_column:
        return is_long(reader, form, ())
    heads = {name.lower() for name in names}
    named = heads & set(POINT_HEADERS) and heads & set(VALUE_HEADERS)
    return len(names) <= 5 and bool(named)


def _of_long(reader: Reader, form: FileForm, stamps: StampReader) -> Iterator[Column]:
    columns = long_columns(reader, form, stamps.columns)
    kinds = {columns.point: TEXT, columns.value: TEXT}
    batches = list(islice(reader.batches(kinds), _BATCHES))
    if not batches:
        return
    points = np.array([tidy(t) for b in batches for t in texts(b.columns[columns.point]).to_pylist()
                       ], dtype=object)
    values = pa.concat_arrays([texts(b.columns[columns.value]) for b in batches])
    for name in dict.fromkeys(points.tolist()):
        mine = values.take(pa.array(np.flatnonzero(points == name)))
        yield _column(form.name, name, "", [mine], reader.decimal)


def _column(file: str, name: str, unit: str, parts: list[Any], decimal: str) -> Column:
    numbers, words = [], 0
    for part in parts:
        if pa.types.is_floating(part.type) or pa.types.is_integer(part.type):
            numbers.append(np.asarray(part.cast(pa.float64()).to_numpy(
                **({"zero_copy_only": False} if isinstance(part, pa.Array) else {}))))
            continue
        cells = texts(part).to_pylist()
        numbers.append(np.array([_number(c or "", decimal) for c in cells]))
        words += sum(1 for c in cells if (c or "").strip().lower() in _WORDS)
    values = np.concatenate(numbers) if numbers else np.empty(0)
    return Column(file, name, unit, values, words > 0.5 * max(len(values), 1))


_WORDS = {word for word in ON | OFF if not word[0].isdigit()}


def _number(text: str, decimal: str) -> float:
    low = text.strip().lower()
    if low in ON or low in OFF:
        return 1.0 if low in ON else 0.0
    read = cell(text, decimal, BAD)
    return read.value if read else float("nan")
