"""The payload: everything a test record states, as plain JSON types.

The members follow the record content that commissioning practice asks for: test id and
revision, purpose and requirement, sequence of operation, tags, time and zone, weather,
participants, prerequisites, instruments with calibration, initial conditions and overrides
with their release, procedure with limits stated before the test, response and verdict per
step, trends, deficiencies, retest, abort conditions and safe state, deferral, signatures.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any

import numpy as np

from fptlib import points
from fptlib.errors import RecordError
from fptlib.job.folder import Job, lookup, now
from fptlib.job.schema import Instrument, Reading
from fptlib.limits import Limits, standard
from fptlib.procedure.steps import JUDGED, TITLES
from fptlib.procedure.verdict import Check, Event, Verdict, worst
from fptlib.record import deficiencies, provenance, schema
from fptlib.record.plain import DECIMALS, moment, plain
from fptlib.trends.grid import Grid

# Lists and tables of job.toml that go into the record as they are.
_TABLES = ("site", "plant", "sensors", "points", "files", "people", "answers", "findings")
_LISTS = ("prerequisites", "overrides", "abort", "marks")
_TEST = ("revision", "purpose", "requirement", "sequence", "sequence_revision", "weather",
         "initial_conditions", "sampling", "deferred_until", "deferral_reason", "safe_state",
         "returned_to_normal")


def payload(
    job: Job, trends: Grid, limits: Limits, checks: Sequence[Check],
    readings: Iterable[Reading], instruments: Mapping[str, Instrument] | Iterable[Instrument],
    made: datetime | None = None,
) -> dict[str, Any]:
    """Everything the record states, plain JSON types only.

    It is not held against its schema here: that costs a second and belongs to signing.

    Args:
        job: the job folder; its answers and files are read now.
        trends: the trends the checks were computed from.
        limits: the limits in force.
        checks: every check of every step, in the procedure's order.
        readings: field readings in the glossary's units.
        instruments: the field instruments.
        made: moment of making; the present one where left out.

    Raises:
        RecordError: a value that a record cannot hold, or a file that cannot be read.
    """
    with job.locked():
        files = provenance.inputs(job)
        answers = plain(job.answers(), "job.toml")
    _unchanged(trends, files)
    rows = [check_row(check) for check in checks]
    return {
        "schema": {"name": schema.NAME, "version": schema.VERSION, "decimals": DECIMALS},
        "program": provenance.program(),
        "clock": provenance.clock(made or now()),
        "procedure": {"edition": _text(answers, "job.procedure"),
                      "letterhead": [str(line) for line in _letterhead(answers)],
                      "workbooks": provenance.workbooks(job)},
        "job": _job(answers),
        "test": _test(answers, trends),
        **{name: _table(answers, name) for name in _TABLES},
        **{name: lookup(answers, name, []) for name in _LISTS},
        "inputs": files,
        "trends": _trends(trends),
        "limits": _limits(limits, answers),
        "steps": _steps(checks),
        "checks": rows,
        "readings": [_reading(reading) for reading in readings],
        "instruments": [_instrument(entry) for entry in _each(instruments)],
        "deficiencies": deficiencies.from_checks(rows, _table(answers, "deficiencies")),
        "retest": _table(answers, "retest"),
        "signatures_required": _required(answers),
    }


def _unchanged(trends: Grid, files: Mapping[str, Any]) -> None:
    """The files that were judged must be those that the record names."""
    now_there = {name: entry["sha256"] for name, entry in files["trends"].items()}
    for file in trends.files:
        if file.sha256 != now_there.get(file.name):
            raise RecordError(f"trend file '{file.name}' changed after it was judged; run the "
                              "steps again and sign then")


def _table(answers: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = lookup(answers, name, {})
    if not isinstance(found, dict):
        raise RecordError(f"job.toml: '{name}' must be a table, written as [{name}]")
    return found


def _letterhead(answers: Mapping[str, Any]) -> list[Any]:
    lines = lookup(answers, "procedure.letterhead", [])
    return lines if isinstance(lines, list) else [lines]


def _text(answers: Mapping[str, Any], path: str) -> str:
    return str(lookup(answers, path, ""))


def _job(answers: Mapping[str, Any]) -> dict[str, Any]:
    names = ("number", "title", "created", "condition")
    stated = {name: _text(answers, f"job.{name}") for name in names}
    return {**stated, "invented": lookup(answers, "job.invented", False) is True}


def _test(answers: Mapping[str, Any], trends: Grid) -> dict[str, Any]:
    rows = len(trends)
    span = (trends.time(0), trends.time(rows)) if rows else (None, None)
    return {
        **{name: _text(answers, f"test.{name}") for name in _TEST},
        "trended_from": moment(span[0]), "trended_to": moment(span[1]),
        "time_zone": _text(answers, "site.time_zone"),
        "observed_weather": _weather(trends),
    }


def _weather(trends: Grid) -> dict[str, Any]:
    names = [name for name in ("outdoor_dry_bulb", "outdoor_wet_bulb", "outdoor_humidity")
             if trends.has(name)]
    return {
        name: {"lowest": plain(np.nanmin(trends.columns[name]), name),
               "highest": plain(np.nanmax(trends.columns[name]), name),
               "unit": points.point(name).unit}
        for name in names
    }


def _trends(trends: Grid) -> dict[str, Any]:
    return {
        "step_minutes": plain(trends.minutes, "trends"),
        "files": [plain(asdict(file), file.name) for file in trends.files],
        "sources": plain(trends.sources, "trends"),
        "remarks": [plain(asdict(remark), "remark") for remark in trends.remarks],
        "alarms": [plain(asdict(alarm), "alarm") for alarm in trends.alarms],
    }


def _limits(limits: Limits, answers: Mapping[str, Any]) -> dict[str, Any]:
    frozen = _table(answers, "frozen")
    digest = limits.digest()
    return {
        "in_force": [_limit(name, limits) for name in limits.in_force()],
        "digest": digest,
        "frozen": frozen,
        "unchanged_since_frozen": frozen["limits"] == digest if "limits" in frozen else None,
    }


def _limit(name: str, limits: Limits) -> dict[str, Any]:
    usual = standard(name)
    deviation = limits.deviations.get(name)
    return {
        "name": name, "value": plain(limits.value(name), name), "unit": usual.unit,
        "meaning": usual.meaning, "basis": limits.basis(name),
        "standard": plain(usual.value, name),
        "deviation": plain(asdict(deviation), name) if deviation else None,
    }


def check_row(check: Check) -> dict[str, Any]:
    """A check as the payload holds it."""
    row = {name: getattr(check, name) for name in check.__dataclass_fields__ if name != "events"}
    events = [_event(check, event) for event in check.events]
    return {**plain(row, check.id), "step": check.step, "events": events}


def _event(check: Check, event: Event) -> dict[str, Any]:
    names = ("name", "start", "end", "verdict", "text", "measured", "limit", "margin",
             "uncertainty", "probability", "unit")
    row = {name: getattr(event, name) for name in names}
    return plain(row, f"{check.id}, {event.name}")


def _steps(checks: Sequence[Check]) -> list[dict[str, Any]]:
    # Steps the standard does not know come last, in the order of their checks.
    names = dict.fromkeys([*(step.name for step in JUDGED), *(check.step for check in checks)])
    return [_step(name, [check for check in checks if check.step == name]) for name in names]


def _step(name: str, checks: Sequence[Check]) -> dict[str, Any]:
    verdicts = [check.verdict for check in checks]
    return {
        "step": name, "title": TITLES.get(name, name), "verdict": worst(verdicts).value,
        "counts": {verdict.value: verdicts.count(verdict) for verdict in Verdict
                   if verdict is not Verdict.NOT_APPLICABLE},
    }


def _reading(reading: Reading) -> dict[str, Any]:
    row = plain(asdict(reading), f"reading of {reading.point}")
    return {**row, "unit": points.point(reading.point).unit}


def _instrument(instrument: Instrument) -> dict[str, Any]:
    return plain(asdict(instrument), f"instrument {instrument.tag}")


def _each(entries: Mapping[str, Instrument] | Iterable[Instrument]) -> Iterable[Instrument]:
    return entries.values() if isinstance(entries, Mapping) else entries


def _required(answers: Mapping[str, Any]) -> list[str]:
    people = lookup(answers, "people", {})
    named = [role for role in ("technician", "engineer", "witness")
             if _text(people, f"{role}.name").strip()]
    return named or ["technician"]
