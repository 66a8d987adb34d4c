"""The settings of the sequence: as specified, as programmed, as judged and as observed, and where
these contradict each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fptlib import units
from fptlib.job.tables import SETTINGS
from fptlib.limits import standard
from fptlib.procedure.verdict import Verdict

_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting in the unit of its limit; ``contradictions`` are sentences."""

    name: str
    meaning: str
    specified: str
    programmed: str
    judged: str
    observed: str
    source: str
    contradictions: tuple[str, ...]


def compared(settings: Mapping[str, Mapping[str, Any]], limits: Mapping[str, Any],
             checks: Sequence[Mapping[str, Any]] = ()) -> list[Setting]:
    """Every setting that is stated.

    Args:
        settings: the answers of ``[settings]`` by name.
        limits: the limits in force by name.
        checks: the checks as rows of the record's payload; none before the test.
    """
    by_id = {check["id"]: check for check in checks}
    return [_compared(name, row, limits[name], by_id.get(SETTINGS[name]))
            for name, row in settings.items() if name in SETTINGS]


def _compared(name: str, row: Mapping[str, Any], limit: Any,
              check: Mapping[str, Any] | None) -> Setting:
    unit, meaning = standard(name).unit, standard(name).meaning
    specified, programmed = row.get("specified"), row.get("programmed")
    found = []
    if specified is not None and programmed is not None and abs(specified - programmed) > _SAME:
        found.append(f"specified {units.stated(specified, unit)}, programmed "
                     f"{units.stated(programmed, unit)}")
    if specified is not None and abs(specified - float(limit)) > _SAME:
        found.append(f"specified {units.stated(specified, unit)}, judged against "
                     f"{units.stated(limit, unit)}: state it as this job's own limit")
    # A check of two limits has events in two units: minutes off, and changeovers a day.
    measured = [event["measured"] for event in check["events"] if event["measured"] is not None
                and (event["unit"] or check["unit"]) == unit] if check else []
    observed = span(min(measured), max(measured), unit) if measured else ""
    if check and observed and check["verdict"] == Verdict.FAIL:
        found.append(f"observed {observed}: {check['id']} failed")
    source = ", ".join(str(row[part]) for part in ("source", "revision") if row.get(part))
    return Setting(name, meaning, units.stated(specified, unit), units.stated(programmed, unit),
                   units.stated(limit, unit), observed or "–", source, tuple(found))


def span(low: float, high: float, unit: str) -> str:
    """From the lowest to the highest that was measured, the unit once where both have it alone."""
    text = " to ".join(dict.fromkeys(units.shown(each, unit) for each in (low, high)))
    return text if " h " in text else text.replace(f" {units.symbol(unit)} to ", " to ")
