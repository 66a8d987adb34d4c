"""The job's description in the shape of ``job.toml``: the plant and its sequence as specified."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fptlib.points import point

from .model import Scenario
from .sensors import KINDS, kind_of

FILE = "trend.csv"
AUTHOR = "Ada Imagined"
# A setting of the sequence -> the limit of the job that carries it.
LIMIT_IDS = {
    "offset": "lift.offset", "lowest_setpoint": "lift.lowest_setpoint",
    "enable_delay": "enable.dwell", "minimum_run": "enable.stay", "minimum_off": "enable.rest",
    "exit_band": "exit.band", "exit_delay": "exit.delay",
    "condenser_margin": "running.tower_offset",
}
_TUNING = ("wet_bulb_bias", "bypass_gain", "first_lift_margin", "bypass_stroke", "bypass_lag",
           "fan_gain", "fan_rest", "fan_wait",
           "fan_band", "follows_water",
           "releases", "stops_chiller", "all_at_once", "watches_supply", "watches_weather",
           "leaves_at", "clock_error", "restarts_after_alarm")


HEADER = "time,point,value,unit,instrument,taken_by,remark"
INSTRUMENTS = {
    tag: {"make_model": f"Invented {kind}", "serial": f"INV-02{n}", "accuracy": accuracy,
          "accuracy_unit": unit, "calibrated": "2025-09-01", "due": "2026-09-01"}
    for n, (tag, kind, accuracy, unit) in enumerate((
        ("T1", "immersion thermometer", 0.1, "degF"), ("P1", "psychrometer", 0.4, "degF"),
        ("F1", "clamp-on flow meter", 1.5, "% of reading"),
        ("E1", "power meter", 0.5, "% of reading")))
}
# Point, instrument, and its error's largest share (F1, E1) or degrees.
TAKEN = (
    ("chw_supply_temp", "T1", 0.1), ("chw_return_temp", "T1", 0.1), ("cw_supply_temp", "T1", 0.1),
    ("cw_return_temp", "T1", 0.1), ("outdoor_dry_bulb", "P1", 0.3), ("outdoor_wet_bulb", "P1", 0.3),
    ("chw_flow", "F1", 0.01), ("plant_power", "E1", 0.004), ("hx_chw_entering_temp", "T1", 0.1),
    ("hx_chw_leaving_temp", "T1", 0.1), ("hx_cw_entering_temp", "T1", 0.1),
    ("hx_cw_leaving_temp", "T1", 0.1),
)


def sequence_of(scenario: Scenario) -> dict[str, Any]:
    """The sequence as specified, minutes and °F, with how lift is protected and what resets."""
    p = scenario.plant
    settings = {k: v for k, v in asdict(scenario.sequence).items() if k not in _TUNING}
    settings |= {"lift_protection": p.head, "reset_driver": p.reset, "reset_range": p.reset_range,
                 "tower_approach": p.approaches[0], "exchanger_approach": p.approaches[1]}
    if p.head != "setpoint":
        for key in ("offset", "lowest_setpoint", "release_ramp"):
            settings.pop(key)
    return settings


def _exchanger(p) -> dict[str, Any]:
    out = 58.0 - 23.93 * p.exchanger_load / p.chw_exchanger
    cold = out - p.exchanger_approach
    return {
        "tag": "HX-1", "load": p.exchanger_load, "chw_flow": round(p.chw_exchanger, 1),
        "cw_flow": round(p.cw_exchanger, 1), "chw_entering": 58.0, "chw_leaving": round(out, 2),
        "cw_entering": round(cold, 2),
        "cw_leaving": round(cold + 23.93 * p.exchanger_load / p.cw_exchanger, 2),
    }


def job_of(scenario: Scenario, frame: pd.DataFrame) -> dict[str, Any]:
    """A dict for ``tomlkit.dump``; points map to the columns of one file."""
    p, begin = scenario.plant, frame.index[0]
    day = str(begin.date())
    tower, exchanger = p.approaches
    observed = "observed before the test: load nine tenths of the exchanger's, wet bulb 37 °F, " \
        "all fans at full speed, steady"
    job: dict[str, Any] = {
        "job": {
            "title": f"{p.site}: economizer changeover ({scenario.name})", "number": "INV-H2",
            "procedure": "standard 1", "condition": "natural", "invented": True,
            "created": begin.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%SZ"),
        },
        "site": {"name": p.site, "place": "an invented place", "altitude": p.altitude,
                 "time_zone": p.zone},
        "plant": {
            "chillers": p.chillers, "tower_cells": p.cells, "loop_volume": p.loop,
            "sump_volume": p.sump, "equipment_limit": p.cells + 2,
            "demand_window": "clock" if p.demand_window == "clock" else "sliding",
            "exchanger": _exchanger(p),
            "tower_approach": {"value": tower, "basis": "observed", "remark": observed},
            "exchanger_approach": {"value": exchanger, "basis": "observed", "remark": observed},
        },
        "files": {FILE: {"time_column": "Time", "time_zone": p.zone, "stamps": "begin"}},
        "points": {n: {"file": FILE, "column": n, "unit": point(n).unit} for n in frame},
        "sensors": {
            n: {"accuracy": KINDS[kind_of(n)][0], "resolution": KINDS[kind_of(n)][2]}
            for n in frame if kind_of(n) in ("temp", "wet_bulb", "dry_bulb", "humidity")
        },
        "sequence": _as_specified(scenario),
        "instruments": INSTRUMENTS,
        "limits": {},
        "people": {"engineer": {"name": AUTHOR, "firm_role": "Made-up Commissioning (invented)"}},
    }
    for i in range(1, p.chillers + 1):
        job["plant"][f"chiller_{i}"] = {
            "tag": f"CH-{i}", "refrigerant": p.refrigerant, "capacity": p.capacity,
            "minimum_water_lift": p.minimum_lift, "cutout": 34.0,
            # A chiller unloads for up to ten minutes of its timer, as the truth has it.
            "anti_recycle": scenario.sequence.stop_to_start - 10.0,
            "start_to_start": float(scenario.sequence.start_to_start),
        }
    for setting, value in sequence_of(scenario).items():
        if setting in LIMIT_IDS:
            job["limits"][LIMIT_IDS[setting]] = own(float(value), day)
    for side in ("tower", "exchanger"):  # the sequence's one tolerance, half on either approach
        job["limits"][f"enable.{side}_tolerance"] = own(scenario.sequence.tolerance / 2, day)
    return job


def own(value: float, day: str) -> dict[str, Any]:
    return {"value": value, "reason": "this is the value of the plant's own sequence",
            "author": AUTHOR, "date": day}


def _as_specified(scenario: Scenario) -> dict[str, Any]:
    """Of the sequence what is no number among the limits: exits, lift protection, reset."""
    s, p = scenario.sequence, scenario.plant
    means = "temporary setpoint" if p.head == "setpoint" else "head-pressure control"
    driver = {"valves": "valve position", "outdoor": "outdoor air", "load": "load",
              "pressure": "differential pressure"}[p.reset]
    exits: dict[str, Any] = {"lift": {"means": means}, "reset": {"driver": driver, **_line(p)}}
    if s.weather_over < 50:
        exits["weather_exit"] = float(s.weather_delay)
        exits["weather_exit_band"] = float(s.weather_over)
    if s.hours is not None:
        exits["clock_enable"] = f"{int(s.hours[0]):02d}:00"
        exits["clock_exit"] = f"{int(s.hours[1]):02d}:00"
    if s.cost:
        exits["other_exit"] = "when chillers would draw less, and then locked out for a while"
    return exits


def _line(p) -> dict[str, float]:
    """The reset's line; one that trims and responds to valves has none."""
    low, high = p.reset_range
    tons = p.chillers * p.capacity
    ends = {"outdoor": (38.0, 62.0), "load": (0.2 * tons, 0.7 * tons), "pressure": (9.0, 17.0)}
    if p.reset not in ends:
        return {}
    first, last = ends[p.reset]
    return {"driver_low": first, "setpoint_low": high, "driver_high": last, "setpoint_high": low}


def readings(result) -> list[str]:
    """A round in chiller mode and one in the middle of each of two economizer runs: the true states
    with the instrument's small error. Where a clock is late, somebody also read a chiller's leaving
    condenser water just after it had stopped, twice: steady values show no clock."""
    rng = np.random.default_rng([result.scenario.seed, 13])
    true, lines = result.true, [HEADER]

    def take(row: int, name: str, tag: str, error: float, remark: str) -> None:
        kick = float(rng.uniform(-error, error))
        value = true[name][row] * (1 + kick) if tag in ("F1", "E1") else true[name][row] + kick
        lines.append(f"{result.frame.index[row].isoformat()},{name},{value:.1f},"
                     f"{point(name).unit},{tag},{AUTHOR},{remark}")

    served = [c for c in result.changeovers if c.in_service is not None]
    rounds = [((c.in_service + (c.left or len(result.frame))) // 2, "steady by the exchanger")
              for c in served[:2]]
    before = served[0].enabled if served else 300
    rounds.append((before - 15 if before > 120 else before + 5, "chillers steady"))
    for row, remark in sorted(rounds):
        for n, (name, tag, error) in enumerate(TAKEN):
            exchanger = name.startswith("hx_")
            if name in true and not (exchanger and remark.startswith("chillers")):
                take(row + n, name, tag, error, remark)
    for c in served[:2] if result.scenario.fault.late_clock else ():
        on = [i for i in range(1, result.scenario.plant.chillers + 1)
              if result.states[f"tons_{i}"][c.in_service] > 0]
        take(c.in_service + 8, f"chiller_{on[0]}_cw_leaving_temp", "T1", 0.1, "chiller just off")
    return lines


def write(result, folder: Path, minutes: int = 1) -> None:
    """A job folder: ``job.toml``, ``readings.csv`` and one trend file, a table of equal rows, or
    at one minute of a change-of-value plant the log of its changes."""
    import tomlkit

    (folder / "trends").mkdir(parents=True, exist_ok=True)
    job = dict(result.job)
    path = folder / "trends" / FILE
    if minutes == 1 and result.scenario.plant.change_of_value:
        log = pd.concat([pd.DataFrame({"Point": name, "Value": each})
                         for name, each in result.log().items()]).sort_index(kind="stable")
        log.set_axis(stamps(log.index), axis=0).to_csv(path, index_label="Time")
        job["files"] = {FILE: {**job["files"][FILE], "form": "long", "point_column": "Point",
                               "value_column": "Value", "hold": 168.0, "interval_minutes": 1.0}}
    else:
        frame = result.at(minutes) if minutes > 1 else result.frame
        frame.set_axis(stamps(frame.index), axis=0).to_csv(path, index_label="Time")
    (folder / "job.toml").write_text(tomlkit.dumps(job), encoding="utf-8")
    (folder / "readings.csv").write_text("\n".join([*readings(result), ""]), encoding="utf-8")


def stamps(when: pd.DatetimeIndex) -> np.ndarray:
    """Local time with its offset, such as 2026-03-04 12:00-0700; much faster than strftime."""
    local = when.tz_localize(None)
    hours = ((local - when.tz_convert("UTC").tz_localize(None)) // pd.Timedelta(hours=1)).tolist()
    text = np.datetime_as_string(local.to_numpy(), unit="m").tolist()
    return np.array([f"{t.replace('T', ' ')}{h:+03d}00" for t, h in zip(text, hours, strict=True)])
