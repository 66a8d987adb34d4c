"""The payload: everything a test record states, as plain JSON types.

The members follow the record content that commissioning practice asks for: test id and
revision, purpose and requirement, sequence of operation, tags, time and zone, weather,
participants, prerequisites, instruments with calibration, initial conditions and overrides
with their release, procedure with limits stated before the test, response and verdict per
step, trends, deficiencies, retest, abort conditions and safe state, deferral, signatures.
"""

from __future__ import annotations

import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from importlib import metadata
from typing import Any

import numpy as np

import fptlib
from fptlib import points
from fptlib.errors import RecordError
from fptlib.job import plan
from fptlib.job.folder import Job, lookup, now
from fptlib.job.roles import AWAITED, must_approve
from fptlib.job.schema import Instrument, Reading
from fptlib.job.tables import TEST
from fptlib.limits import Limits, standard
from fptlib.procedure.steps import JUDGED, TITLES
from fptlib.procedure.verdict import Check, Verdict, worst
from fptlib.record import files, schema
from fptlib.record.canonical import DECIMALS, moment, plain
from fptlib.record.deficiencies import deficiencies, performed
from fptlib.record.statement import statement
from fptlib.trends.grid import Grid

# Lists and tables of job.toml that go into the record as they are.
_TABLES = ("site", "plant", "sequence", "settings", "sensors", "points", "files", "people",
           "answers", "findings", "retest")
_LISTS = ("prerequisites", "overrides", "abort", "marks", "script")
_JOB = ("number", "title", "created", "condition")
_EVENT = ("name", "start", "end", "verdict", "text", "measured", "limit", "margin",
          "uncertainty", "probability", "unit", "changeover", "subject", "first", "last",
          "quantities")
_WEATHER = ("outdoor_dry_bulb", "outdoor_wet_bulb", "outdoor_humidity")
# Packages whose version can change a computed number or the record's bytes.
_PACKAGES = (
    "numpy", "pandas", "pyarrow", "python-calamine", "openpyxl", "tomlkit", "rfc8785", "joserfc",
    "cryptography", "tzdata", "matplotlib", "typst", "jinja2",
)


def payload(
    job: Job, trends: Grid, limits: Limits, checks: Sequence[Check],
    readings: Iterable[Reading], instruments: Mapping[str, Instrument],
    made: datetime | None = None, changeovers: Sequence[Mapping[str, Any]] = (),
    worth: Sequence[Mapping[str, str]] = (),
    settings_sheet: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Everything the record states, plain JSON types only.

    It is not held against its schema here: that costs a second and belongs to signing.

    Args:
        job: the job folder; its answers and files are read now.
        trends: the trends the checks were computed from.
        limits: the limits in force.
        checks: every check of every step, in the procedure's order.
        readings: field readings in the glossary's units.
        instruments: the field instruments, by tag.
        made: moment of making; the present one where left out.
        changeovers: each with its number and whether it was natural, induced or overridden.
        worth: the owner's questions with their answers.
        settings_sheet: what to set, and where the plant did otherwise than its sequence; left out
            where it was not made.

    Raises:
        RecordError: a value that a record cannot hold, or a file that cannot be read.
    """
    with job.locked():
        inputs = files.inputs(job)
        as_typed = job.answers()
    answers = plain(as_typed, "job.toml")
    for file in trends.files:
        if file.sha256 != inputs["trends"].get(file.name, {}).get("sha256"):
            raise RecordError(f"trend file '{file.name}' changed after it was judged; run the "
                              "steps again and sign then")
    rows = [check_row(check) for check in checks]
    content: dict[str, Any] = {
        "schema": {"name": schema.NAME, "version": schema.VERSION, "decimals": DECIMALS},
        "program": program(),
        "clock": _clock(made or now()),
        "procedure": {"edition": _text(answers, "job.procedure"),
                      "letterhead": [str(line) for line in _letterhead(answers)],
                      "workbooks": files.workbooks(job), **_firms_approvers(answers)},
        "job": {**{name: _text(answers, f"job.{name}") for name in _JOB},
                "invented": lookup(answers, "job.invented", False) is True},
        "test": _test(answers, trends),
        **{name: _table(answers, name) for name in _TABLES},
        **{name: lookup(answers, name, []) for name in _LISTS},
        "approvals": [_approval(row, as_typed) for row in lookup(answers, "approvals", [])],
        "inputs": inputs,
        "trends": _trends(trends),
        "limits": _limits(limits, answers),
        "steps": _steps(checks),
        "checks": rows,
        "changeovers": [dict(row) for row in changeovers],
        "worth": [dict(row) for row in worth],
        "readings": [{**plain(asdict(reading), f"reading of {reading.point}"),
                      "unit": points.point(reading.point).unit} for reading in readings],
        "instruments": [plain(asdict(entry), f"instrument {entry.tag}")
                        for entry in instruments.values()],
        "deficiencies": deficiencies(
            [*rows, *performed(lookup(answers, "script", []), rows)],
            _table(answers, "deficiencies"), _table(_table(answers, "retest"), "numbers")),
        "signatures_required": _required(answers),
    }
    if settings_sheet is not None:
        content["settings_sheet"] = plain(dict(settings_sheet), "settings sheet")
    if tariff := _table(answers, "tariff"):
        content["tariff"] = tariff
    return {**content, "statement": statement(content)}


def program() -> dict[str, Any]:
    """Version of this program, of Python and of the packages that bear on the numbers."""
    found = {}
    for name in _PACKAGES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return {"name": "fptlib", "version": fptlib.__version__,
            "python": platform.python_version(), "packages": found}


def _clock(made: datetime) -> dict[str, str]:
    """The clock of the computer on which the record was made; nobody vouches for it."""
    local = made.astimezone()
    return {"utc": made.isoformat(), "computer": local.isoformat(),
            "computer_zone": str(local.tzname() or "")}


def _table(answers: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = lookup(answers, name, {})
    if not isinstance(found, dict):
        raise RecordError(f"job.toml: '{name}' must be a table, written as [{name}]")
    return found


def _letterhead(answers: Mapping[str, Any]) -> list[Any]:
    lines = lookup(answers, "procedure.letterhead", [])
    return lines if isinstance(lines, list) else [lines]


def _firms_approvers(answers: Mapping[str, Any]) -> dict[str, list[str]]:
    asked = must_approve(answers)
    return {"approvers": list(asked)} if asked else {}


def _text(answers: Mapping[str, Any], path: str) -> str:
    return str(lookup(answers, path, ""))


def _test(answers: Mapping[str, Any], trends: Grid) -> dict[str, Any]:
    rows = len(trends)
    span = (trends.time(0), trends.time(rows)) if rows else (None, None)
    return {
        **{name: _text(answers, f"test.{name}") for name in TEST.answers},
        "trended_from": moment(span[0]), "trended_to": moment(span[1]),
        "time_zone": _text(answers, "site.time_zone"),
        "observed_weather": {
            name: {"lowest": plain(np.nanmin(trends.columns[name]), name),
                   "highest": plain(np.nanmax(trends.columns[name]), name),
                   "unit": points.point(name).unit} for name in _WEATHER if trends.has(name)},
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


def _approval(row: Mapping[str, Any], answers: Mapping[str, Any]) -> dict[str, Any]:
    # Imported here: a screening signs nothing.
    from fptlib.record import approvals

    try:
        approvals.of_row(row, answers)
    except RecordError as error:
        raise RecordError(f"the approval of the plan by {row.get('role')} {row.get('name')} does "
                          f"not count: {error}; take it away, or have the plan approved again"
                          ) from error
    return {**plain(row, "approvals"), "changed": plan.changed(row, answers)}


def check_row(check: Check) -> dict[str, Any]:
    """A check as the payload holds it."""
    row = {name: getattr(check, name) for name in check.__dataclass_fields__ if name != "events"}
    events = [plain({name: getattr(event, name) for name in _EVENT}, f"{check.id}, {event.name}")
              for event in check.events]
    return {**plain(row, check.id), "step": check.step, "events": events}


def _steps(checks: Sequence[Check]) -> list[dict[str, Any]]:
    # Steps the standard does not know come last, in the order of their checks.
    made = []
    known = [step.name for step in JUDGED]
    for name in dict.fromkeys([*known, *(check.step for check in checks)]):
        verdicts = [check.verdict for check in checks if check.step == name]
        made.append({
            "step": name, "title": TITLES.get(name, name), "verdict": worst(verdicts).value,
            "counts": {verdict.value: verdicts.count(verdict) for verdict in Verdict
                       if verdict is not Verdict.NOT_APPLICABLE or verdict in verdicts},
        })
    return made


def _required(answers: Mapping[str, Any]) -> list[str]:
    people = lookup(answers, "people", {})
    named = [role for role in AWAITED if _text(people, f"{role}.name").strip()]
    return named or ["technician"]
