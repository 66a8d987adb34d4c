"""Re-computation: does every check of a record come out the same today?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fptlib.procedure.verdict import Check
from fptlib.record import provenance, schema
from fptlib.record.payload import check_row
from fptlib.record.plain import DECIMALS
from fptlib.record.text import number, one_line

SAME, DIFFERS, NEW, GONE = "same", "differs", "new", "gone"
# Two computers may round a last bit to either side of a step, so one step is no difference.
_STEP = 1.5 * 10.0**-DECIMALS
_NUMBERS = ("measured", "limit", "margin", "uncertainty", "probability")
_WORDS = ("question", "basis", "reason", "meaning", "adjust")


@dataclass(frozen=True, slots=True)
class Difference:
    """How one check comes out today.

    Attributes:
        check: its id.
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


def recompute(payload: Mapping[str, Any], checks_now: Sequence[Check]) -> list[Difference]:
    """Compare a record's checks with the same checks computed today.

    Args:
        payload: the record's payload.
        checks_now: every check, computed from the same job or trends by this program.

    Raises:
        RecordError: the payload is of an unknown kind.
    """
    content = schema.current(dict(payload))
    recorded = {row["id"]: row for row in content["checks"]}
    now = {check.id: check_row(check) for check in checks_now}
    versions = tuple(versions_changed(content))
    return [_difference(id, recorded.get(id), now.get(id), versions)
            for id in dict.fromkeys([*recorded, *now])]


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
    return [f"{old['name']}: {said}" for old, new in zip(then, now, strict=True)
            for said in _outcome(old, new)]
