"""Every column of every trend file in one table: what it holds, the point it is or is proposed as,
and what the plant's points that are still missing cost. The page, ``fptlib map`` and the table file
that a spreadsheet can edit show the same rows and save them the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fptlib import points, units
from fptlib.errors import FormError, IntakeError
from fptlib.job import answers as job_answers
from fptlib.job.folder import Job
from fptlib.procedure.steps import CHECKS
from fptlib.procedure.trend_request import provable
from fptlib.record.text import harmless
from fptlib.trends.columns import Column
from fptlib.trends.mapping import PointMap, files_of, listed
from fptlib.trends.suggest import Proposal, propose
from fptlib.workbook import table_file

HEADS = ("Accept", "Point", "Unit", "Sure %", "File", "Column", "First values", "Interval min",
         "Good %", "Looks like", "Why", "Doubt")
_ACCEPT = {**dict.fromkeys(("yes", "y", "x", "true", "1", "ja", "oui", "si", "sí"), True),
           **dict.fromkeys(("", "no", "n", "false", "0", "nein", "non"), False)}
IN_THE_MAP = 2.0
# The table file that the plan's page writes, beside job.toml.
TABLE_FILE = "point_map.csv"


@dataclass(frozen=True)
class Row:
    """A column of a trend file.

    Attributes:
        accept: whether it is, or shall be, in the point map.
        point, unit: as it is mapped or proposed; empty for a column that is not used.
        confidence: 0 to 1, or ``IN_THE_MAP``.
        was: the point that it is mapped as in the job, or ``""``.
        more: the files that continue this one, in the order of time.
        part: the sheet, or the file in a zip, as ``job.toml`` states it.
    """

    file: str
    column: str
    accept: bool = False
    point: str = ""
    unit: str = ""
    confidence: float = 0.0
    first: str = ""
    interval: str = ""
    good: str = ""
    looks: str = ""
    why: str = ""
    doubt: str = ""
    was: str = ""
    more: tuple[str, ...] = ()
    part: tuple[str, str] | None = None

    @property
    def place(self) -> dict[str, Any]:
        """Where it stands, as the point map states it."""
        if not self.part:
            return {"file": _one_or_all(self.file, *self.more), "column": self.column}
        key, name = self.part
        file = self.file.removesuffix(f": {name}")
        further = (each.removeprefix(f"{file}: ") for each in self.more)
        return {"file": file, "column": self.column, key: _one_or_all(name, *further)}

    @property
    def files(self) -> str:
        """The file, and how many continue it."""
        return f"{self.file} and {len(self.more)} more" if self.more else self.file

    @property
    def sure(self) -> str:
        """How sure the proposal is, as people read it."""
        if self.confidence == IN_THE_MAP:
            return "in the map"
        return f"{100 * self.confidence:.0f}" if self.point else ""

    @property
    def equipment(self) -> str:
        """What its point belongs to: ``chiller 1``, ``tower 2``, ``exchanger``, ``weather``."""
        family, *rest = self.point.split("_")
        if rest and rest[0].isdigit():
            return f"{family} {rest[0]}"
        return {"outdoor": "weather", "station": "weather", "hx": "exchanger",
                "economizer": "exchanger", "chw": "chilled water", "decoupler": "chilled water",
                "cw": "condenser water", "tower": "condenser water"}.get(
                    family, "plant" if self.point else "not used")

    def cells(self) -> list[str]:
        """The row of the table, in the order of ``HEADS``."""
        return ["yes" if self.accept else "no", self.point, self.unit, self.sure, self.files,
                self.column, self.first, self.interval, self.good, self.looks, self.why,
                self.doubt]


@dataclass(frozen=True)
class PointTable:
    """The rows, the plant's points that none of them is with the checks that this costs, and the
    files that could not be read."""

    rows: tuple[Row, ...]
    costs: Mapping[str, tuple[str, ...]]
    unread: Mapping[str, str]
    chillers: int
    tower_cells: int


def of(job: Job, model: Path | None = None) -> PointTable:
    """The table of a job: what is mapped, and what is proposed for the rest, by names or by
    ``model``, a Brick model or Haystack grid beside those in ``trends/``.

    Raises:
        IntakeError: ``trends/`` holds no file, or what the job states of a file cannot be used.
    """
    answers = job.answers()
    if not job.trend_files():
        raise IntakeError("trends/ holds no trend file; put one there")
    proposal = propose(job.trends_folder, answers, model)
    mapped = _mapped(answers)
    taken, shown = {name for names in mapped.values() for name in names}, set[str]()
    rows: list[Row] = []
    for column in proposal.columns:
        minutes = column.minutes
        row = Row(column.file, column.name, first="  ".join(column.first), looks=column.looks,
                  interval="" if minutes is None else f"{minutes:.3g}",
                  good=f"{100 * column.good:.0f}", more=column.more, part=column.part,
                  why=f"the model: '{column.model}'" if column.model else "")
        every = column.file, *column.more
        if names := [name for name in dict.fromkeys(
                name for file in every for name in mapped.get((file, column.name), ()))
                if name not in shown]:
            shown.update(names)
            rows += [replace(row, accept=True, point=name, was=name, confidence=IN_THE_MAP,
                             unit=str(answers["points"][name].get("unit", "")),
                             doubt=_otherwise(column, proposal, names) or _new(
                                 every, _places(answers["points"][name], answers)))
                     for name in names]
            continue
        one = proposal.of(column)
        rows.append(row if one is None or one.point in taken else replace(
            row, accept=one.ticked, point=one.point, unit=one.unit, confidence=one.confidence,
            why=one.why, doubt=one.doubt))
    # What the map names and no file holds stays, or it would go unseen.
    rows += [_lost(name, table, answers) for name, table in answers.get("points", {}).items()
             if name not in shown]
    return PointTable(tuple(rows), costs(answers, rows), proposal.unread,
                      *(_count(answers, rows, *each) for each in (
                          ("chillers", "chiller"), ("tower_cells", "tower"))))


def _mapped(answers: Mapping[str, Any]) -> dict[tuple[str, str], list[str]]:
    """The points of the job's map by file and column."""
    found: dict[tuple[str, str], list[str]] = {}
    for name, table in answers.get("points", {}).items():
        for place in _places(table, answers):
            found.setdefault((place, str(table.get("column", ""))), []).append(name)
    return found


def _one_or_all(*names: str) -> str | list[str]:
    return names[0] if len(names) == 1 else list(names)


def _part(table: Mapping[str, Any]) -> tuple[str, list[str]] | None:
    """The sheets, or the files in a zip, that a point, or several that a file states."""
    return next(((key, listed(table[key])) for key in ("sheet", "member") if table.get(key)), None)


def _places(table: Mapping[str, Any], answers: Mapping[str, Any]) -> list[str]:
    """The files, and the parts of them, that a point of the map is read from."""
    found = []
    for file in files_of(table):
        of_file = _part(answers.get("files", {}).get(file, {}))
        # Of one that the file states nothing else is seen of it.
        part = _part(table) or (of_file if of_file and len(of_file[1]) > 1 else None)
        found += [f"{file}: {name}" for name in part[1]] if part else [file]
    return found


def _lost(name: str, table: Mapping[str, Any], answers: Mapping[str, Any]) -> Row:
    """A point of the map whose column no file holds."""
    (first, *more), part = _places(table, answers), _part(table)
    return Row(first, str(table.get("column", "")), True, name,
               str(table.get("unit", "")), IN_THE_MAP, was=name, more=tuple(more),
               part=(part[0], part[1][0]) if part else None, doubt="no such column was found")


def _new(found: Sequence[str], held: Sequence[str]) -> str:
    """What is said of files that continue a mapped one and are not in the map."""
    new = [file for file in found if file not in held]
    return f"{', '.join(new)} continues it: accept, and it is read too" if new else ""


def _otherwise(column: Column, proposal: Proposal, names: Sequence[str]) -> str:
    """What is said of a mapped column that a model knows as another point."""
    one = proposal.of(column) if column.model else None
    return "" if one is None or one.point in names else (
        f"the model says that it is {points.point(one.point).meaning}")


def _count(answers: Mapping[str, Any], rows: Iterable[Row], key: str, family: str) -> int:
    """How many chillers or cells: as the plan states, else as the accepted rows have."""
    stated = int(answers.get("plant", {}).get(key, 0) or 0)
    numbers = [int(row.point.split("_")[1]) for row in rows
               if row.accept and row.point.startswith(family) and row.point.split("_")[1].isdigit()]
    return stated or max(numbers, default=0)


def costs(answers: Mapping[str, Any], rows: Sequence[Row]) -> dict[str, tuple[str, ...]]:
    """Every point that no accepted row is and that a check cannot do without, with the questions
    of those checks; the costliest first."""
    counted = {"chillers": _count(answers, rows, "chillers", "chiller"),
               "tower_cells": _count(answers, rows, "tower_cells", "tower")}
    plant = {**answers.get("plant", {}), **{name: n for name, n in counted.items() if n}}
    # Neither decides which points a check needs, and the first page comes before both.
    site = {"altitude": 0.0, "time_zone": "UTC", **answers.get("site", {})}
    held = {**answers, "site": site, "plant": plant}
    found: dict[str, list[str]] = {}
    trended = [row.point for row in rows if row.accept and row.point]
    for id, lacks in provable(job_answers.plant(held), trended, 1.0, job_answers.aborts(held),
                              job_answers.sequence(held)).cannot.items():
        for name in lacks:
            found.setdefault(name, []).append(CHECKS[id].words["question"])
    return {name: tuple(found[name]) for name in sorted(found, key=lambda n: (-len(found[n]), n))}


# -- saving ---------------------------------------------------------------------------------------

def save(job: Job, rows: Sequence[Row]) -> int:
    """Put the accepted rows into the job's point map, and take out what is no longer accepted.

    Returns:
        How many points the map holds then.

    Raises:
        FormError: a row cannot be used; nothing is saved.
        IntakeError: the map cannot be used; nothing is saved.
    """
    _refuse(rows)

    def edit(document: Any) -> None:
        import tomlkit

        held = document.setdefault("points", tomlkit.table(is_super_table=True))
        for row in rows:
            if row.was and (not row.accept or row.point != row.was):
                held.pop(row.was, None)
        for row in rows:
            if not row.accept:
                continue
            files = _places(row.place, {})
            before = held.get(row.was) if row.was == row.point else None
            if before is None or row.unit != before.get("unit", "") or not (
                    set(files) <= set(_places(before, {}))):
                table = held.get(row.point) or tomlkit.table()
                for key in ("sheet", "member"):
                    table.pop(key, None)
                table.update({**row.place, "unit": row.unit})
                held[row.point] = table
        stated = document.unwrap()
        # The zone may be answered later; the points do not depend on it.
        site = {"time_zone": "America/New_York", **stated.get("site", {})}
        PointMap.from_answers({**stated, "site": site})

    job.change(edit)
    return len(job.get("points", {}))


def _refuse(rows: Sequence[Row], stands: Mapping[int, str] | None = None) -> None:
    """Stop at the first row that cannot be used, with what is wrong of it; ``stands`` says where
    in a table file rows stand."""
    taken: dict[str, Row] = {}
    for at, row in enumerate(rows):
        if not row.accept:
            continue
        where = f"{(stands or {}).get(at, '')}'{row.column}' of '{row.file}'"
        if not row.point:
            raise FormError(f"{where} is accepted without a point; choose its point, or do not "
                            "accept it")
        if not points.is_point(row.point):
            raise FormError(f"{where}: '{row.point}' is not a point of the glossary; choose one of "
                            "those offered")
        if (other := taken.setdefault(row.point, row)) is not row:
            raise FormError(f"{where} and '{other.column}' of '{other.file}' are both accepted as "
                            f"{points.point(row.point).meaning}; accept one of them")
        wanted = points.point(row.point).unit
        if not units.is_gauge(row.unit, wanted):
            units.scale(row.unit or wanted, wanted, where)


# -- the table file -------------------------------------------------------------------------------

def write(table: PointTable, file: Path) -> None:
    """Write the rows for a spreadsheet."""
    table_file.write(file, HEADS, (row.cells() for row in table.rows))


def read(table: PointTable, file: Path) -> list[Row]:
    """The rows with what the file says of Accept, Point and Unit; rows it leaves out stay.

    Raises:
        FormError: it is no such table, or one of its rows cannot be used.
    """
    return taken(table, file.name, table_file.bytes_of(file))


def taken(table: PointTable, name: str, content: bytes) -> list[Row]:
    """The same from a table file's name and bytes."""
    found, stands = list(table.rows), dict[int, str]()
    for where, cells in table_file.read(
            name, content, ("Accept", "Point", "Unit", "File", "Column"),
            "'fptlib map JOB --table FILE' or the plan's page writes"):
        at = next((at for at, row in enumerate(found) if at not in stands and (
            cells["File"], cells["Column"]) in ((row.files, row.column), (
                harmless(row.files), harmless(row.column)))), None)
        if at is None:
            raise FormError(f"{where}: trends has no further column "
                            f"'{cells['Column']}' of file '{cells['File']}'; change only Accept, "
                            "Point and Unit")
        stands[at] = f"{where}: "
        accept = _ACCEPT.get(cells["Accept"].lower())
        if accept is None:
            raise FormError(f"{stands[at]}Accept holds '{cells['Accept']}' where yes or no was "
                            "expected; correct it and read the table again")
        point, unit = cells["Point"], cells["Unit"]
        if points.is_point(point):
            unit = units.alias(unit, points.point(point).unit) or unit or points.point(point).unit
        found[at] = replace(found[at], accept=accept, point=point, unit=unit)
    _refuse(found, stands)
    return found


def lines(table: PointTable) -> list[str]:
    """The table as text for a terminal, what is missing and what it costs."""
    rows = [HEADS[:7] + HEADS[9:10] + HEADS[11:],
            *((*cells[:7], cells[9], cells[11]) for cells in (row.cells() for row in table.rows))]
    kept = [[_short(cell, most) for cell, most in zip(
        row, (6, 30, 8, 10, 28, 40, 18, 24, 60), strict=True)] for row in rows]
    widths = [max(len(row[at]) for row in kept) for at in range(len(kept[0]))]
    said = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in kept]
    said += [f"not read: {text}" for text in table.unread.values()]
    if table.costs:
        said += ["", "points still missing, and the checks that are not tested without them:"]
        said += [f"  {name}: {len(checks)} check{'s' * (len(checks) > 1)}: {checks[0]}"
                 + (f" (and {len(checks) - 1} more)" if len(checks) > 1 else "")
                 for name, checks in table.costs.items()]
    unused = [row for row in table.rows if not row.accept]
    said += ["", f"{len(table.rows) - len(unused)} of {len(table.rows)} columns are accepted, "
                 f"{sum(bool(row.point) for row in unused)} proposals are not sure enough"]
    return said


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
