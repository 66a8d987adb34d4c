"""How a long file is laid out: which column names the point and which holds the value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from fptlib.errors import IntakeError
from fptlib.trends import align
from fptlib.trends.batches import TEXT, Reader, coded
from fptlib.trends.cells import looks_numeric
from fptlib.trends.forms import FileForm
from fptlib.trends.headers import resolve
from fptlib.trends.sniff import split_unit, tidy
from fptlib.trends.stamps import StampReader

POINT_HEADERS = ("point", "point name", "name", "tag", "tag name", "sensor", "variable", "trend")
VALUE_HEADERS = ("value", "val", "reading", "data")


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Headers of a long file; unit and quality may be empty."""

    point: str
    value: str
    unit: str
    quality: str


def long_columns(
    reader: Reader, form: FileForm, times: Sequence[str], mapped: Iterable[str] = ()
) -> LongColumns:
    """The columns of a long file: as stated, else by their headers and what they hold.

    ``mapped`` are names of points that should stand in the point column.

    Raises:
        IntakeError: they cannot be told.
    """
    where = f'[files."{form.name}"]'

    def stated(name: str) -> str:
        return resolve(reader, name, where) if name else ""

    point, value = stated(form.point_column), stated(form.value_column)
    taken = (*times, point, value, form.unit_column, form.quality_column)
    rest = [name for name in reader.names if name and name not in taken]
    wanted = {tidy(name) for name in mapped}
    if not point:
        point = _first(rest, (
            lambda n: bool(wanted & {tidy(cell) for cell in reader.sample(n)}),
            lambda n: n.lower() in POINT_HEADERS,
            lambda n: _names(reader.sample(n)),
        ))
    if not value:
        value = _first([n for n in rest if n != point], (
            lambda n: n.lower() in VALUE_HEADERS, lambda n: looks_numeric(reader.sample(n)),
        ))
    if not point or not value:
        raise IntakeError(
            f"file '{form.name}' is read as a long file, but which column holds the point's name "
            f"and which the value cannot be told from {', '.join(reader.names[:8])}; state "
            f"point_column and value_column under {where}"
        )
    return LongColumns(point, value, stated(form.unit_column), stated(form.quality_column))


def _first(names: Sequence[str], tests: Sequence[Callable[[str], bool]]) -> str:
    """The first name that passes the first test that any passes."""
    return next((name for test in tests for name in names if test(name)), "")


def _names(sample: Sequence[str]) -> bool:
    cells = [cell for cell in sample if cell]
    return bool(cells) and not looks_numeric(cells) and len(set(cells)) > 1


def is_long(reader: Reader, form: FileForm, wanted: Sequence[str]) -> bool:
    """Whether the mapped names stand in a column rather than in the header."""
    if form.form:
        return form.form == "long"
    if form.point_column or form.value_column:
        return True
    headers = {name for full in reader.names for name in (full, split_unit(full)[0])}
    if len(reader.names) > 8 or any(tidy(name) in headers for name in wanted):
        return False
    cells = {tidy(cell) for name in reader.names for cell in reader.sample(name)}
    return any(tidy(name) in cells for name in wanted)


def peek_interval(
    reader: Reader, form: FileForm, stamps: StampReader, mapped: Iterable[str]
) -> int:
    """The step [ns] that a long file's first rows suggest; one minute for a log."""
    if form.hold is not None:
        return align.MINUTE
    columns = long_columns(reader, form, stamps.columns, mapped)
    kinds = dict.fromkeys(stamps.columns, stamps.kind) | {columns.point: TEXT}
    batch = next(iter(reader.batches(kinds)), None)
    if batch is None:
        return align.MINUTE
    read = stamps.peek(batch)
    codes = coded(batch.columns[columns.point]).indices.fill_null(-1).to_numpy()
    found = [_even_step(read.ns[(codes == code) & ~read.bad]) for code in np.unique(codes)[:200]]
    return min((step for step in found if step), default=align.MINUTE)


def _even_step(times: np.ndarray) -> int:
    steps = np.diff(np.unique(times))
    if len(steps) < 3:
        return 0
    usual = int(np.median(steps))
    return usual if align.even(steps, usual) else 0
