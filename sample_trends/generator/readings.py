"""Field readings: what an invented technician reads beside the trends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Reading:
    """One field reading, as text with the point's usual decimals."""

    time: pd.Timestamp
    point: str
    value: str
    unit: str
    instrument: str
    remark: str


def usual_readings(result: Result, moments: Mapping[pd.Timestamp, str]) -> list[Reading]:
    """A round of readings at each of these moments, a minute from point to point."""
    rounds = []
    for start, remark in moments.items():
        exchanger = bool(result.actual.at[start, "economizer_active"])
        points = _TAKEN + (_EXCHANGER if exchanger else ())
        for n, taken in enumerate(points):
            rounds.append(read(result, start + pd.Timedelta(minutes=n), *taken, remark))
    return rounds


def read(
    result: Result, time: pd.Timestamp, point: str, unit: str, instrument: str,
    spread: float, remark: str,
) -> Reading:
    """One reading of what is truly there, with the instrument's own small error."""
    actual = float(result.actual.at[time, point])
    chance = Chance(result.scenario.seed)
    error = float(chance.bell(f"reading {time.isoformat()} {point}", 1, abs(spread))[0])
    value = actual * (1.0 + error) if spread < 0.0 else actual + error
    return Reading(time, point, f"{value:.{decimals(point)}f}", unit, instrument, remark)


def write_readings(rows: Sequence[Reading], taken_by: str, path: Path) -> None:
    """Write a job's readings.csv."""
    lines = [HEADER]
    for row in rows:
        cells = (row.time.isoformat(), row.point, row.value, row.unit, row.instrument)
        lines.append(",".join((*cells, taken_by, row.remark)))
    path.write_bytes("\n".join([*lines, ""]).encode("utf-8"))
