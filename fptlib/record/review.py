"""Re-computation: does everything that a record states come out the same today?

Each check is compared number by number; of the rest of the payload only what differs is
named. What made the record (program, moment, files) is provenance and differs by its nature:
``verify`` says what changed there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from fptlib.record import provenance, schema
from fptlib.record.changes import shown
from fptlib.record.plain import DECIMALS
from fptlib.record.text import number, one_line

SAME, DIFFERS, NEW, GONE = "same", "differs", "new", "gone"
# Two computers may round a last bit to either side of a step, so one step is no difference.
_STEP = 1.5 * 10.0**-DECIMALS
_NUMBERS = ("measured", "limit", "margin", "uncertainty", "probability")
_PROVENANCE = {"schema", "program", "clock", "inputs"}
_MOST_NAMED = 5
_WORDS = ("question", "basis", "reason", "meaning", "adjust")


@dataclass(frozen=True, slots=True)
class Difference:
    """How one check, or another member of the payload, comes out today.

    Attributes:
        check: its id, or the member's name.
        kind: ``same``, ``differs``, ``new`` (not in the record) or ``gone`` (only there).
        details: what differs and by how much, one phrase each.
        versions: versions that are not the recorded ones, where the check differs.
    """

    check: str
    kind: str
    details: tuple[str, ...] = ()
    versions: tuple[str, ...] = ()

    @property
    def same(self) -> bool:
        """The check comes out as it was recorded."""
        return self.kind == SAME

    def line(self) -> str:
        """The finding as a line of text."""
        said = f": {'; '.join(self.details)}" if self.details else ""
        since = f" (since: {', '.join(self.versions)})" if self.versions else ""
        return one_line(f"{self.check}: {self.kind}{said}{since}")


def compare(payload: Mapping[str, Any], fresh: Mapping[str, Any]) -> list[Difference]:
    """Compare a record with one that would be made today: every check, and what else differs.

    Args:
        payload: the record's payload.
        fresh: the payload made today from the same job.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    return [*_checks(content, fresh["checks"]), *_members(content, fresh)]


def _checks(content: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> list[Difference]:
    recorded = {row["id"]: row for row in content["checks"]}
    now = {row["id"]: row for row in rows}
    versions = tuple(versions_changed(content))
    return [_difference(id, recorded.get(id), now.get(id), versions)
            for id in dict.fromkeys([*recorded, *now])]


def _members(content: Mapping[str, Any], fresh: Mapping[str, Any]) -> list[Difference]:
    """The members beside the checks that differ."""
    versions = tuple(versions_changed(content))
    now = _in_the_same_words(content, fresh)
    names = [name for name in dict.fromkeys([*content, *now]) if name not in _PROVENANCE]
    found = {name: _unlike(content.get(name), now.get(name), "")
             for name in names if name != "checks"}
    return [Difference(name, DIFFERS, tuple(said[:_MOST_NAMED]), versions)
            for name, said in found.items() if said]


def _in_the_same_words(
    content: Mapping[str, Any], fresh: Mapping[str, Any]
) -> dict[str, Any]:
    """The payload of today with the record's workbooks, and the words of its checks and steps.

    Another program may say the same in other words, and workbooks are ``verify``'s matter.
    """
    said = {row["id"]: {"found": row["reason"], "recommended": row["adjust"]}
            for row in content["checks"]}
    titles = {row["step"]: row["title"] for row in content["steps"]}
    return {
        **fresh,
        "steps": [{**row, "title": titles.get(row["step"], row["title"])}
                  for row in fresh["steps"]],
        "procedure": {**fresh["procedure"], "workbooks": content["procedure"]["workbooks"]},
        "deficiencies": [{**item, **said.get(item["check"], {})}
                         for item in fresh["deficiencies"]],
    }


def _unlike(then: Any, now: Any, where: str) -> list[str]:
    """Each place at which two values differ, with what stood and what stands there."""
    if pairs := _pairs(then, now):
        return [said for name, old, new in pairs
                for said in _unlike(old, new, f"{where}.{name}".strip("."))]
    if isinstance(then, int | float) and isinstance(now, int | float) and _alike(then, now):
        return []
    return [] if then == now else [f"{where} was {shown(then)}, is {shown(now)}".strip()]


def _pairs(then: Any, now: Any) -> list[tuple[str, Any, Any]]:
    """What two tables or two lists hold in the same place; nothing of two plain values."""
    if isinstance(then, dict) and isinstance(now, dict):
        return [(name, then.get(name), now.get(name)) for name in {**then, **now}]
    if isinstance(then, list) and isinstance(now, list):
        both = zip_longest(then, now)
        return [(str(n), old, new) for n, (old, new) in enumerate(both, start=1)]
    return []


def versions_changed(content: Mapping[str, Any]) -> list[str]:
    """Versions of program, Python and packages that are not those of the record."""
    then, now = _versions(content["program"]), _versions(provenance.program())
    return [f"{name} {then.get(name, 'absent')} -> {now.get(name, 'absent')}"
            for name in dict.fromkeys([*then, *now]) if then.get(name) != now.get(name)]


def _versions(program: Mapping[str, Any]) -> dict[str, str]:
    return {program["name"]: program["version"], "Python": program["python"],
            **program["packages"]}


def _difference(
    id: str, then: Mapping[str, Any] | None, now: Mapping[str, Any] | None,
    versions: tuple[str, ...],
) -> Difference:
    if then is None:
        return Difference(id, NEW, ("the record does not have it",), versions)
    if now is None:
        return Difference(id, GONE, ("this program does not make it",), versions)
    outcome = [*_outcome(then, now), *_events(then["events"], now["events"])]
    if outcome:
        return Difference(id, DIFFERS, tuple(outcome), versions)
    worded = any(then[name] != now[name] for name in _WORDS)
    return Difference(id, SAME, ("in other words",) if worded else ())


def _outcome(then: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    said = [f"{name} was {then[name] or 'empty'}, is {now[name] or 'empty'}"
            for name in ("verdict", "unit") if then.get(name) != now.get(name)]
    if then.get("missing", []) != now.get("missing", []):
        said.append("other points are missing")
    return said + [_number(name, then[name], now[name]) for name in _NUMBERS
                   if not _alike(then[name], now[name])]


def _alike(then: float | None, now: float | None) -> bool:
    if then is None or now is None:
        return then is now
    return abs(then - now) <= _STEP


def _number(name: str, then: float | None, now: float | None) -> str:
    by = "" if then is None or now is None else f" (by {now - then:+.4g})"
    return f"{name} was {number(then)}, is {number(now)}{by}"


def _events(then: Sequence[Mapping[str, Any]], now: Sequence[Mapping[str, Any]]) -> list[str]:
    if [event["start"] for event in then] != [event["start"] for event in now]:
        return [f"{len(then)} events were judged, now {len(now)}, not all at the same moments"]
    # Records of version 1 leave out an event's unit where it is the check's own.
    return [f"{old['name']}: {said}" for old, new in zip(then, now, strict=True)
            for said in _outcome({**old, "unit": old["unit"] or new["unit"]}, new)]
