"""An invented plant's trends for intake tests, made by simple rules, and jobs on real input."""

from __future__ import annotations

import os
import shutil
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from grids import grid_of

from fptlib import points
from fptlib.trends.grid import Grid, TrendFile
from fptlib.trends.suggest import Suggestion, propose

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("FPTLIB_SHARED") or ROOT.parent / "shared")
JOBS = ROOT / "tests" / "data" / "jobs"
REAL = {
    "campus_chiller": ("real_trends/campus_chiller_1.csv",),
    "four_chiller_plant": ("real_trends/four_chiller_plant_2023_12.csv",
                           "real_trends/four_chiller_weather_2023_12.csv"),
    "exchanger_parallel": ("simulated_trends/exchanger_parallel_january_1min.csv.gz",),
}


def plant(days: float = 2.0, minutes: int = 5) -> pd.DataFrame:
    """Two days of a plant on one chiller: loads, temperatures and flows that fit together."""
    index = pd.date_range("2026-01-05", periods=int(days * 1440 / minutes), freq=f"{minutes}min",
                          tz="America/Denver")
    dice, hour = np.random.default_rng(3), np.arange(len(index)) * minutes / 60.0
    load = 300.0 + 80.0 * np.sin(hour / 3.8) + dice.normal(0, 1, len(index))
    supply = 46.0 + 0.3 * np.sin(hour / 2.0) + dice.normal(0, 0.05, len(index))
    flow = 900.0 + 40.0 * np.sin(hour / 5.0)
    power = 0.55 * load
    wet = 38.0 + 6.0 * np.sin(hour / 3.8) + dice.normal(0, 0.05, len(index))
    cw = wet + 14.0 + dice.normal(0, 0.05, len(index))
    cw_flow = np.full(len(index), 1100.0)
    return pd.DataFrame({
        "outdoor_dry_bulb": wet + 8.0 + dice.normal(0, 0.05, len(index)),
        "outdoor_wet_bulb": wet,
        "outdoor_humidity": 50.0 + 20.0 * np.sin(hour / 3.8) + dice.normal(0, 0.5, len(index)),
        "chw_supply_temp": supply,
        "chw_supply_setpoint": np.full(len(index), 46.0),
        "chw_return_temp": supply + load * 24.0 / flow,
        "chw_flow": flow,
        "cw_supply_temp": cw,
        "cw_return_temp": cw + (load + power / 3.517) * 24.0 / cw_flow,
        "cw_flow": cw_flow,
        "chiller_1_running": np.ones(len(index)),
        "chiller_1_power": power,
        "plant_power": power + 60.0,
        "plant_load": load,
    }, index=index)


def trends_of(frame: pd.DataFrame) -> Grid:
    """The frame as trends read from one file."""
    step = frame.index[1] - frame.index[0]
    file = TrendFile("t.csv", "0" * 64, len(frame), frame.index[0], frame.index[-1],
                     step.total_seconds() / 60.0)
    return grid_of(
        frame, step, files=(file,),
        sources={name: f"t.csv: {name} [{points.point(name).unit}]" for name in frame})


def real_job(name: str, folder: Path) -> dict[str, Any]:
    """Answers of a job on real input, its files copied into ``folder``; skips without them."""
    for file in REAL[name]:
        if not (SHARED / file).is_file():
            pytest.skip(f"{file} is not in the shared folder (set FPTLIB_SHARED)")
        shutil.copy(SHARED / file, folder)
    return tomllib.loads((JOBS / name / "job.toml").read_text(encoding="utf-8"))


def suggestions(folder: Path, answers: Mapping[str, Any]) -> list[Suggestion]:
    """What is proposed for the columns of a folder, by point."""
    return sorted(propose(folder, answers).chosen.values(), key=lambda one: one.point)
