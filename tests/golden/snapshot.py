"""Every check, event and moment of a case as plain rows, and how two sets of rows differ."""

from __future__ import annotations

import gzip
import json
import math
from collections.abc import Iterator
from datetime import datetime
from itertools import zip_longest
from pathlib import Path
from typing import Any, NamedTuple

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks

Row = dict[str, Any]
# Numbers are the same within this, absolute or relative to the older one.
WITHIN = 1e-4
_CHECK = ("id", "unit", "measured", "limit", "margin", "uncertainty", "probability", "reason",
          "meaning", "adjust", "basis")
_EVENT = ("name", "text", "unit", "measured", "limit", "margin", "uncertainty", "probability")
_MOMENTS = {"request": "enabled", "handover": "transition", "exit": "exit_row",
            "abandoned": "abandoned", "ended": "last"}


def rows(case: FunctionalTest) -> Row:
    """Everything the checks say of a case: the one place that reads the package's own types."""
    changeovers = [
        {"number": c.number, "complete": bool(c.complete),
         **{name: None if (row := getattr(c, field)) is None else _moment(case.time(row))
            for name, field in _MOMENTS.items()}}
        for c in case.changeovers]
    checks = [
        {**{name: _plain(getattr(check, name)) for name in _CHECK},
         "verdict": str(check.verdict), "missing": list(check.missing),
         "events": [
             {**{name: _plain(getattr(event, name)) for name in _EVENT},
              "verdict": str(event.verdict),
              "start": _moment(event.start), "end": _moment(event.end)}
             for event in check.events]}
        for check in all_checks(case)]
    return {"changeovers": changeovers, "checks": checks}


def _moment(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat(timespec="seconds")


def _plain(value: Any) -> str | float | None:
    """Text, a number or nothing; what JSON has no number for as text."""
    if value is None or isinstance(value, str):
        return None if value is None else str(value)
    number = float(value)
    return float(f"{number:.9g}") if math.isfinite(number) else str(number)


class Difference(NamedTuple):
    """Where two sets of rows part: the check (or ``changeovers``), the field, old and new."""

    check: str
    where: str
    field: str
    old: Any
    new: Any


def compare(old: Row, new: Row) -> list[Difference]:
    """Every difference: numbers within ``WITHIN``, words and moments exactly."""
    found = list(_lists("changeovers", old["changeovers"], new["changeovers"], "number"))
    before, after = ({check["id"]: check for check in each["checks"]} for each in (old, new))
    for id in (*before, *(id for id in after if id not in before)):
        found.extend(_check(id, before.get(id), after.get(id)))
    return found


def _check(id: str, old: Row | None, new: Row | None) -> Iterator[Difference]:
    if old is None or new is None:
        yield Difference(id, "", "the check", old and "there", new and "there")
        return
    yield from _fields(id, "", old, new)
    yield from _lists(id, old["events"], new["events"], "name")


def _lists(check: str, old: list[Row], new: list[Row], name: str) -> Iterator[Difference]:
    """Rows side by side in their order; where one is too many or lacks, it is named."""
    if [row[name] for row in old] == [row[name] for row in new]:
        for one, other in zip(old, new, strict=True):
            yield from _fields(check, f"{one[name]}", one, other)
        return
    for one, other in zip_longest(old, new):
        here, there = one and one[name], other and other[name]
        if here != there:
            yield Difference(check, f"{here or there}", name, here, there)


def _fields(check: str, where: str, old: Row, new: Row) -> Iterator[Difference]:
    for name in (*old, *(name for name in new if name not in old)):
        if name != "events" and not same(old.get(name), new.get(name)):
            yield Difference(check, where, name, old.get(name), new.get(name))


def same(old: Any, new: Any) -> bool:
    """Whether two values are the same: numbers within ``WITHIN``, all else exactly."""
    if isinstance(old, float) and isinstance(new, float):
        return math.isclose(old, new, rel_tol=WITHIN, abs_tol=WITHIN)
    return bool(old == new)


def load(file: Path) -> dict[str, Row]:
    """The rows of every case in a file; none where there is no file."""
    if not file.is_file():
        return {}
    kept = json.loads(gzip.decompress(file.read_bytes()))
    return {name: {"changeovers": case["changeovers"],
                   "checks": [kept["checks"][number] for number in case["checks"]]}
            for name, case in kept["cases"].items()}


def save(file: Path, cases: dict[str, Row]) -> None:
    """Write rows so that equal rows give equal bytes; a check that is equal in several cases
    stands there once, and beside its like."""
    distinct = sorted({_text(check) for case in cases.values() for check in case["checks"]})
    numbers = {text: number for number, text in enumerate(distinct)}
    found = {name: {"changeovers": case["changeovers"],
                    "checks": [numbers[_text(check)] for check in case["checks"]]}
             for name, case in cases.items()}
    text = f'{{"cases":{_text(found)},"checks":[{",".join(distinct)}]}}'
    file.write_bytes(gzip.compress(text.encode("utf-8"), 9, mtime=0))


def _text(value: Any) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
