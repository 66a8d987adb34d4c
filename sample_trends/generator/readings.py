"""Field readings: what an invented technician reads beside the trends."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from sample_trends.generator.noise import Chance
from sample_trends.generator.run import Result
from sample_trends.generator.sensors import decimals

HEADER = "time,point,value,unit,instrument,taken_by,remark"
# Point, unit, instrument, standard deviation of the instrument (a share where below zero).
_TAKEN = (
    ("chw_supply_temp", "degF", "T1", 0.05),
    ("chw_return_temp", "degF", "T1", 0.05),
    ("cw_supply_temp", "degF", "T1", 0.05),
    ("cw_return_temp", "degF", "T1", 0.05),
    ("outdoor_dry_bulb", "degF", "P1", 0.1),
    ("outdoor_wet_bulb", "degF", "P1", 0.15),
    ("chw_flow", "gpm", "F1", -0.005),
    ("plant_power", "kW", "E1", -0.003),
)
_EXCHANGER = (
    ("hx_chw_entering_temp", "degF", "T1", 0.05),
    ("hx_chw_leaving_temp", "degF", "T1", 0.05),
    ("hx_cw_entering_temp", "degF", "T1", 0.05),
    ("hx_cw_leaving_temp", "degF", "T1", 0.05),
)


def write_readings(result: Result, moments: dict[str, str], taken_by: str, path: Path) -> None:
    """Write readings at these local moments (text: remark), a minute from point to point."""
    lines = [HEADER]
    for moment, remark in moments.items():
        start = pd.Timestamp(moment, tz=result.frame.index.tz)
        exchanger = bool(result.actual.at[start, "economizer_active"])
        taken = _TAKEN + (_EXCHANGER if exchanger else ())
        for n, (point, unit, instrument, spread) in enumerate(taken):
            time = start + pd.Timedelta(minutes=n)
            value = _reading(result, time, point, spread)
            lines.append(f"{time.isoformat()},{point},{value},{unit},{instrument},{taken_by},{remark}")
    path.write_bytes("\n".join([*lines, ""]).encode("utf-8"))


def _reading(result: Result, time: pd.Timestamp, point: str, spread: float) -> str:
    actual = float(result.actual.at[time, point])
    chance = Chance(result.scenario.seed)
    error = float(chance.bell(f"reading {time.isoformat()} {point}", 1, abs(spread))[0])
    value = actual * (1.0 + error) if spread < 0.0 else actual + error
    return f"{value:.{decimals(point)}f}"
