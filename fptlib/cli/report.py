"""What ``fptlib check`` shows of a job, on the terminal and as JSON.

The dataclasses are the one declaration of that JSON: its members are their fields, and its
JSON Schema is made from their types.
"""

from __future__ import annotations

import json
import textwrap
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from fptlib import __version__
from fptlib.job.folder import Job
from fptlib.limits import Limit, Limits, standard
from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Event
from fptlib.record.canonical import plain
from fptlib.trends.grid import Remark, TrendFile
from fptlib.trends.safe import MODELS
from fptlib.units import rounded, stated, symbol

WIDTH = 100
FORM = 1


@dataclass(frozen=True, slots=True)
class Moments:
    """A changeover; what was not seen is null, and ``unseen`` says why.

    It was ``enabled``, had its ``transition`` to the exchanger or was ``abandoned``, and left
    economizer mode at ``exit``, where the first chiller starts; its last row begins at ``end``,
    and ``complete`` is whether it was seen to end there.
    """

    number: int
    enabled: datetime | None
    transition: datetime | None
    abandoned: datetime | None
    exit: datetime | None
    end: datetime
    complete: bool
    unseen: str


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that the files of a job say of its plant.

    Times are ISO 8601 with the offset of the site's zone; numbers are in the unit beside them
    and rounded to four decimals; null is what is not known.

    Attributes:
        form: of this report; it rises when a member changes its meaning or goes.
        program: version of fptlib.
        title, number, invented: of the job, as it states them.
        first, last: when the trends' first row begins and their last row ends.
        row_minutes: length of a row.
        files: the trend files read.
        not_read: files in ``trends/`` of which nothing was used.
        remarks: what the reading did (``note``), found doubtful (``doubt``) or does not use in
            any check (``unusable``).
        limits: the limits in force.
        changeovers: every changeover that was seen.
        checks: every check of every step, with its events.
    """

    form: int
    program: str
    title: str
    number: str
    invented: bool
    first: datetime
    last: datetime
    row_minutes: float
    files: tuple[TrendFile, ...]
    not_read: tuple[str, ...]
    remarks: tuple[Remark, ...]
    limits: tuple[Limit, ...]
    changeovers: tuple[Moments, ...]
    checks: tuple[Check, ...]

    def json(self) -> bytes:
        """The report as JSON (see ``json_schema``).

        Raises:
            RecordError: a number is infinite.
        """
        return (json.dumps(plain(asdict(self), "report"), ensure_ascii=False, indent=1) + "\n"
                ).encode("utf-8")

    def lines(self, everything: bool = False) -> list[str]:
        """For a terminal: a line per check, its count, doubts and files that were not read.

        With ``everything`` also each event, what a verdict means, what to adjust, every remark
        and the limits in force.
        """
        shown = _whole if everything else _line
        verdicts = [str(check.verdict) for check in self.checks]
        return [
            *(line for check in self.checks for line in shown(check)),
            ", ".join(f"{verdicts.count(v)} {v}" for v in dict.fromkeys(sorted(verdicts))),
            *(line for remark in self.remarks if everything or remark.severity != "note"
              for line in _wrapped(f"{remark.severity}: {_of(remark)}{remark.text}")),
            *(f"not read: {name}: no point of the job's map is in it" for name in self.not_read),
            *(_limit(limit) for limit in self.limits if everything),
        ]


def report_of(job: Job, test: FunctionalTest) -> Report:
    """What the files of a job say, judged now."""
    grid = test.grid
    used = {file.name for file in grid.files} | {job.get("site.weather_file")}
    return Report(
        form=FORM, program=__version__, title=str(job.get("job.title", "")),
        number=str(job.get("job.number", "")), invented=job.get("job.invented") is True,
        first=test.time(0), last=test.time(len(test)), row_minutes=test.minutes,
        files=grid.files, remarks=grid.remarks,
        not_read=tuple(file.name for file in job.trend_files()
                       if file.name not in used and file.suffix.lower() not in MODELS),
        limits=_in_force(test.limits),
        changeovers=tuple(_moments(test, changeover) for changeover in test.changeovers),
        checks=tuple(all_checks(test)),
    )


def _moments(test: FunctionalTest, of: Changeover) -> Moments:
    def at(row: int | None) -> datetime | None:
        return None if row is None else test.time(row)

    return Moments(of.number, at(of.enabled), at(of.transition), at(of.abandoned),
                   at(of.exit_row), test.time(of.last), of.complete, of.unseen)


def _in_force(limits: Limits) -> tuple[Limit, ...]:
    usual = ((standard(name), value) for name, value in limits.in_force().items())
    return tuple(Limit(limit.name, value, limit.unit, limit.meaning, limits.basis(limit.name))
                 for limit, value in usual)


def _line(check: Check) -> Iterator[str]:
    """Id, verdict, and measured against limit with the reason."""
    reason = textwrap.shorten(check.reason, 180, placeholder=" ...")
    yield f"{check.id:<24} {check.verdict:<14} {reason}"


def _whole(check: Check) -> Iterator[str]:
    yield f"{check.id:<24} {check.verdict}"
    for text in (check.question, *map(_event, check.events), "" if check.events else check.reason,
                 check.meaning, check.adjust, check.basis and f"limits: {check.basis}"):
        yield from _wrapped(text, "    ")
    yield ""


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def _event(event: Event) -> str:
    text = f"{event.verdict}: {event.name} at {event.start:%Y-%m-%d %H:%M}: {event.text}"
    if event.measured is None:
        return text
    doubt = f" +/- {rounded(event.uncertainty, event.unit)}" if event.uncertainty else ""
    return (f"{text} [{rounded(event.measured, event.unit)}{doubt} {symbol(event.unit)}, "
            f"limit {rounded(event.limit, event.unit)}]")


def _of(remark: Remark) -> str:
    where = ", ".join(name for name in (remark.point, remark.file) if name)
    return f"{where}: " if where else ""


def _limit(limit: Limit) -> str:
    return f"limit {limit.name}: {stated(limit.value, limit.unit)}: {limit.meaning} ({limit.basis})"


def json_schema() -> dict[str, Any]:
    """The JSON Schema of ``Report.json``."""
    named: dict[str, Any] = {}
    top = _schema(Report, named)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **top, "$defs": named}


def _schema(kind: Any, named: dict[str, Any]) -> dict[str, Any]:
    """Schema of a type; those of dataclasses go into ``named``, and a reference comes back."""
    of = typing.get_args(kind)
    if isinstance(kind, type) and is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        members = {item.name: _schema(hints[item.name], named) for item in fields(kind)}
        named[kind.__name__] = {
            "type": "object", "description": str(kind.__doc__), "properties": members,
            "required": list(members), "additionalProperties": False}
        return {"$ref": f"#/$defs/{kind.__name__}"}
    if isinstance(kind, types.UnionType):
        return {"anyOf": [_schema(one, named) for one in of]}
    if typing.get_origin(kind) is tuple:
        return {"type": "array", "items": _schema(of[0], named)}
    if typing.get_origin(kind) is Mapping:
        return {"type": "object", "additionalProperties": _schema(of[1], named)}
    if issubclass(kind, StrEnum):
        return {"enum": [str(value) for value in kind]}
    return next(schema for plain_kind, schema in _PLAIN.items() if issubclass(kind, plain_kind))


# Python takes a bool for an int, so it comes first.
_PLAIN = {
    bool: {"type": "boolean"}, int: {"type": "integer"}, float: {"type": "number"},
    str: {"type": "string"}, datetime: {"type": "string", "format": "date-time"},
    type(None): {"type": "null"},
}
