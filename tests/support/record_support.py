"""Invented jobs, checks and keys for the tests of the record; no real plant or person."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
from grids import grid_of
from joserfc.jwk import OKPKey

from fptlib.job.folder import Job, sha256
from fptlib.job.schema import Instrument, Reading
from fptlib.limits import Deviation, Limits
from fptlib.procedure.verdict import Check, Event, Verdict
from fptlib.record import signing
from fptlib.record.keys import Key
from fptlib.record.payload import payload
from fptlib.record.trusted_keys import TrustedKeys
from fptlib.trends.grid import AlarmText, Grid, Remark, TrendFile

ZONE = "America/Denver"
MOMENT = datetime(2026, 1, 20, 17, 30, tzinfo=UTC)
NAMES = {"technician": "Avery Field", "engineer": "Blair Senior", "witness": "Casey Owner"}
LIMITS = Limits({"enable.dwell": Deviation(45.0, "slow sump", "Blair Senior", "2026-01-05")})

JOB_TOML = """\
# An invented job
[job]
title = "Changeover test, invented plant"
number = "T-001"
procedure = "standard 1"
condition = "natural"
invented = true
created = "2026-01-05T08:00:00Z"
[test]
revision = "0"
purpose = "Show that the plant changes over without losing the load"
requirement = "OPR 4.2"
sequence = "Sequence of operation, economizer"
sequence_revision = "C"
weather = "clear, light wind"
initial_conditions = "one chiller on, reset active"
safe_state = "economizer off, chiller 1 in automatic"
returned_to_normal = "2026-01-19T16:00:00-07:00, read back by Avery Field"
[site]
name = "Invented works"
place = "Nowhere"
altitude = 4200
time_zone = "America/Denver"
[plant]
chillers = 2
tower_cells = 2
loop_volume = 9000
sump_volume = 14000
[plant.exchanger]
tag = "HX-1"
load = 500
[plant.chiller_1]
tag = "CH-1"
refrigerant = "R-134a"
minimum_water_lift = 20
[people.technician]
name = "Avery Field"
firm_role = "test technician"
[people.engineer]
name = "Blair Senior"
firm_role = "senior engineer"
[limits."enable.dwell"]
value = 45
reason = "slow sump"
author = "Blair Senior"
date = "2026-01-05"
[[prerequisites]]
text = "Trends set up at one minute"
done = "2026-01-04"
by = "Avery Field"
[[overrides]]
point = "chiller_2_running"
value = "off"
placed = "2026-01-06T08:00:00-07:00"
released = "2026-01-19T16:00:00-07:00"
readback = "automatic"
[[abort]]
text = "Supply above 56 degF for five minutes"
[findings]
summary = "The setpoint returned too fast at the second changeover."
"""
READINGS_CSV = """\
time,point,value,unit,instrument,taken_by,remark
2026-01-06T10:00:00-07:00,chw_supply_temp,44.1,degF,T1,Avery Field,
2026-01-06T10:05:00-07:00,chw_flow,1210,gpm,F1,Avery Field,clamp-on
"""
TREND_CSV = "Time,CHWS-T\n2026-01-06 00:00,44.0\n2026-01-06 00:01,44.1\n"


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz=ZONE)


def make_job(folder: Path, toml: str = JOB_TOML) -> Job:
    """A job folder with two trend files, readings and two workbooks."""
    for name in ("trends", "workbooks"):
        (folder / name).mkdir(parents=True)
    (folder / "job.toml").write_bytes(toml.encode())
    (folder / "readings.csv").write_bytes(READINGS_CSV.encode())
    (folder / "trends" / "plant.csv").write_bytes(TREND_CSV.encode())
    (folder / "trends" / "weather.csv").write_bytes(b"Time,OA\n2026-01-06 00:00,21.0\n")
    for name in ("03_enable", "04_lift"):
        (folder / "workbooks" / f"{name}.ipynb").write_text(notebook(name), encoding="utf-8")
    return Job(folder)


def notebook(name: str) -> str:
    cells = [{"cell_type": "markdown", "source": [f"# {name}"], "metadata": {}},
             {"cell_type": "code", "source": "checks", "metadata": {}, "outputs": [],
              "execution_count": 1}]
    return json.dumps({"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5})


def make_trends(job: Job) -> Grid:
    index = pd.date_range("2026-01-06", periods=4, freq="1min", tz=ZONE)
    frame = pd.DataFrame(
        {"chw_supply_temp": [44.0, 44.1, None, 44.2], "outdoor_dry_bulb": [21.0, 21.5, 22.0, 22.2]},
        index=index, dtype="float64",
    )
    digest = sha256(job.trends_folder / "plant.csv")
    file = TrendFile("plant.csv", digest, 4, index[0], index[-1], 1.0)
    return grid_of(
        frame, pd.Timedelta(minutes=1), files=(file,),
        remarks=(Remark("doubt", "one gap of one minute", "plant.csv", "chw_supply_temp", 4),),
        alarms=(AlarmText(index[1], "chiller_1_alarm", "low lift hold"),),
        sources={"chw_supply_temp": "plant.csv: CHWS-T [degF]"},
    )


def make_check(id: str = "recovery.rate", verdict: Verdict = Verdict.FAIL, **changed: Any) -> Check:
    event = Event(
        2, "", at("2026-01-12 06:10"), at("2026-01-12 06:40"), verdict,
        "the setpoint rose 5.10 degF in ten minutes", 5.1, 2.0, -3.1, 0.2, 0.0,
    )
    fields: dict[str, Any] = dict(
        id=id, question="Does the active setpoint return slowly enough?", verdict=verdict,
        unit="degF", measured=5.1, limit=2.0, basis="common practice, no source", margin=-3.1,
        uncertainty=0.2, probability=0.0, events=(event,),
        reason="In changeover 2 the setpoint rose 5.10 degF in ten minutes.",
        meaning="The load sees a step and chillers may be called back.",
        adjust="Set the ramp of the reset to 2 degF in ten minutes.",
    )
    return Check(**{**fields, **changed})


def make_checks() -> list[Check]:
    passed = dict(measured=25.0, limit=20.0, margin=5.0, uncertainty=1.0, probability=1.0,
                  reason="In every pull-down the lift stayed at 25.0 degF or above.",
                  question="Does each running chiller keep its minimum lift?",
                  meaning="The chiller is safe.", adjust="Nothing.", events=())
    absent = dict(measured=None, limit=None, margin=None, uncertainty=None, probability=None,
                  events=(), missing=("cw_supply_temp",), reason="cw_supply_temp is not trended.",
                  question="Does the condenser-water setpoint follow?", adjust="Trend it.",
                  meaning="Nothing can be said.")
    return [
        make_check("enable.dwell", Verdict.INDETERMINATE, margin=0.1, uncertainty=0.4),
        make_check("lift.minimum", Verdict.PASS, **passed),
        make_check(),
        make_check("running.tower_setpoint", Verdict.NOT_TESTED, **absent),
        make_check("exit.supply", Verdict.DEFERRED, reason="Not cold enough until November."),
    ]


READINGS = [
    Reading(at("2026-01-06 10:00"), "chw_supply_temp", 44.06, "T1", "Avery Field",
            taken="6.7", taken_unit="degC"),
    Reading(at("2026-01-06 10:05"), "chw_flow", 1210.0, "F1", "Avery Field", "clamp-on"),
]
INSTRUMENTS = {
    "T1": Instrument("T1", "thermometer", "SN-1", "0-120", 0.2, "degF", at("2025-06-01"),
                     at("2026-06-01")),
    "F1": Instrument("F1", serial="SN-2", accuracy=24.0, accuracy_unit="gpm",
                     calibrated=at("2025-02-01")),
}


def make_payload(job: Job, checks: list[Check] | None = None) -> dict[str, Any]:
    return payload(job, make_trends(job), LIMITS, make_checks() if checks is None else checks,
                   READINGS, INSTRUMENTS, made=MOMENT)


def of_version_3(content: dict[str, Any]) -> dict[str, Any]:
    """The payload without what version 4 added."""
    newer = {"script", "approvals", "changeovers", "statement", "sequence", "settings",
             "worth"}
    said = {"step", "title", "event", "at", "required", "causes", "setting_from", "setting_to",
            "status", "status_by", "status_on"}
    return {
        **{name: value for name, value in content.items() if name not in newer},
        "schema": {**content["schema"], "version": 3},
        "inputs": {name: value for name, value in content["inputs"].items() if name != "records"},
        "deficiencies": [{name: value for name, value in item.items() if name not in said}
                         for item in content["deficiencies"]]}


def make_keys() -> dict[str, Key]:
    return {role: Key(OKPKey.generate_key("Ed25519")) for role in NAMES}


def trust(keys: dict[str, Key]) -> TrustedKeys:
    trusted = TrustedKeys()
    for role, key in keys.items():
        trusted = trusted.add(key.public(), NAMES[role], role)
    return trusted


def signed(content: dict[str, Any], keys: dict[str, Key], roles: tuple[str, ...]) -> bytes:
    """A record signed by these roles, in this order."""
    first, *others = roles
    record = signing.sign(content, keys[first], first, NAMES[first], MOMENT)
    for role in others:
        record = signing.countersign(record, keys[role], role, NAMES[role], MOMENT)
    return record


def png(width: int = 40, height: int = 20) -> bytes:
    from PIL import Image

    stream = io.BytesIO()
    Image.new("RGB", (width, height), "white").save(stream, "PNG")
    return stream.getvalue()
