"""The job of a third-hand plant: two trend files in SI units, mapped as a technician maps them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from fptlib.points import point
from tests.hands.second.job import AUTHOR, INSTRUMENTS, own, readings, stamps
from tests.hands.second.sensors import KINDS, kind_of

from .model import GPM_PER_TON, Scenario

PLANT, TOWERS = "central plant.csv", "towers and weather.csv"
LIMITS = {"offset": "lift.offset", "lowest_setpoint": "lift.lowest_setpoint",
          "enable_delay": "enable.dwell", "minimum_run": "enable.stay",
          "minimum_off": "enable.rest", "exit_band": "exit.band", "exit_delay": "exit.delay",
          "condenser_margin": "running.tower_offset"}
# The glossary's unit -> the one in the file, and how many digits it shows.
SI = {"degF": ("degC", lambda x: (x - 32) / 1.8, 2), "gpm": ("L/s", lambda x: x * 0.0630902, 3),
      "tons": ("kW", lambda x: x * 3.516853, 2)}


def _file(name: str) -> str:
    return TOWERS if name.startswith(("outdoor", "cw_", "tower")) else PLANT


def _column(name: str) -> str:
    return name.replace("_", " ").title()


def job_of(scenario: Scenario, frame: pd.DataFrame) -> dict[str, Any]:
    """A dict for ``tomlkit.dump``."""
    p, s, begin = scenario.plant, scenario.sequence, frame.index[0]
    tower, exchanger = p.approaches
    remark = "observed in an earlier winter: fans at full speed, steady, 36 °F wet bulb"
    cold, top, warm, low = p.reset_line
    limits = {id: own(float(getattr(s, name)), str(begin.date())) for name, id in LIMITS.items()}
    for side in ("tower", "exchanger"):  # the sequence's one tolerance, half on either approach
        limits[f"enable.{side}_tolerance"] = own(s.tolerance / 2, str(begin.date()))
    gpm = GPM_PER_TON * p.exchanger_load
    leaving = 56.0 - 23.93 / GPM_PER_TON
    job: dict[str, Any] = {
        "job": {"title": f"{p.site}: economizer changeover ({scenario.name})", "number": "INV-H3",
                "procedure": "standard 1", "condition": "natural", "invented": True,
                "created": begin.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%SZ")},
        "site": {"name": p.site, "place": "an invented place", "altitude": p.altitude,
                 "time_zone": p.zone},
        "plant": {
            "chillers": p.chillers, "tower_cells": p.cells, "loop_volume": p.loop,
            "sump_volume": p.sump, "equipment_limit": p.cells + 2, "demand_window": "sliding",
            "exchanger": {
                "tag": "HX-1", "load": p.exchanger_load, "chw_flow": round(gpm, 1),
                "cw_flow": p.cw_exchanger, "chw_entering": 56.0, "chw_leaving": round(leaving, 2),
                "cw_entering": round(p.design_cold(56.0), 2),
                "cw_leaving": round(p.design_cold(56.0) + 23.93 / 3.0, 2)},
            "tower_approach": {"value": tower, "basis": "observed", "remark": remark},
            "exchanger_approach": {"value": exchanger, "basis": "observed", "remark": remark}},
        "files": {name: {"time_column": "Date/Time", "time_zone": p.zone, "stamps": "begin"}
                  for name in (PLANT, TOWERS)},
        "points": {n: {"file": _file(n), "column": _column(n),
                       "unit": SI.get(point(n).unit, (point(n).unit,))[0]} for n in frame},
        "sensors": {n: {"accuracy": KINDS[kind][0], "resolution": KINDS[kind][2]}
                    for n in frame if (kind := kind_of(n))
                    in ("temp", "wet_bulb", "dry_bulb", "humidity")},
        "sequence": {
            "lift": {"means": p.means},
            "weather_exit": float(s.weather_delay),
            "weather_exit_band": s.weather_over + s.tolerance,
            "reset": {"driver": "outdoor air", "driver_low": cold, "setpoint_low": top,
                      "driver_high": warm, "setpoint_high": low}},
        "instruments": {tag: each | {"due": "2027-09-01"} for tag, each in INSTRUMENTS.items()},
        "limits": limits,
        "people": {"engineer": {"name": AUTHOR, "firm_role": "Made-up Commissioning (invented)"}},
    }
    for i in range(1, p.chillers + 1):
        job["plant"][f"chiller_{i}"] = {
            "tag": f"CH-{i}", "refrigerant": p.refrigerant, "capacity": p.capacity,
            "minimum_water_lift": p.minimum_lift, "cutout": 34.0}
    return job


def write(result, folder: Path, minutes: int = 1) -> None:
    """A job folder: ``job.toml``, ``readings.csv`` and two trend files of equal rows."""
    import tomlkit

    trends = folder / "trends"
    trends.mkdir(parents=True, exist_ok=True)
    frame = result.at(minutes) if minutes > 1 else result.frame
    shown = {}
    for name, each in frame.items():
        unit, convert, digits = SI.get(point(name).unit, ("", lambda x: x, 4))
        shown[name] = convert(each).round(digits)
    when = stamps(frame.index)
    for file in (PLANT, TOWERS):
        part = pd.DataFrame({_column(n): each.to_numpy() for n, each in shown.items()
                             if _file(n) == file}, index=when)
        part.to_csv(trends / file, index_label="Date/Time")
    (folder / "job.toml").write_text(tomlkit.dumps(result.job), encoding="utf-8")
    (folder / "readings.csv").write_text("\n".join([*readings(result), ""]), encoding="utf-8")
