"""Invented plants as job folders, of any length, for tests of the portfolio and benchmarks.

The drawn plant's two days are repeated, in the warm half of the year the second day alone;
its warmth is turned to frost for plants that miss hours. Filler columns stand for the points
that a trend export holds and a test does not need.
"""

from __future__ import annotations

from pathlib import Path

import drawn_plant
import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

from fptlib import points

YEAR_DAYS = 365
WARM_DAYS = range(90, 270)
_JOB = """# An invented job: plant, site and trends do not exist.
[job]
title = "{title}"
number = "INV-{number}"
procedure = "standard 1"
invented = true
[site]
name = "{title}"
altitude = 4200
time_zone = "America/Denver"
[plant]
chillers = 2
tower_cells = 2
equipment_limit = 2
[plant.exchanger]
load = 400
[plant.chiller_1]
minimum_water_lift = 9
[plant.chiller_2]
minimum_water_lift = 9
[plant.tower_approach]
value = 7.0
basis = "observed"
[plant.exchanger_approach]
value = 2.0
basis = "observed"
[limits."lift.lowest_setpoint"]
value = 40
reason = "the drawn sequence"
author = "test"
[files."plant.csv"]
time_column = "Time"
time_zone = "-07:00"
"""
# What one-minute screening of a plant asks of an export of forty columns.
USUAL = (
    "outdoor_dry_bulb", "outdoor_humidity", "chw_supply_temp", "chw_supply_setpoint",
    "chw_return_temp", "chw_flow", "cw_supply_temp", "economizer_command", "chiller_1_running",
    "chiller_2_running", "plant_power",
)


def frame(days: int, missed: float = 0.0, seed: int = 0) -> pd.DataFrame:
    """The drawn plant over so many days; ``missed`` is the share of second days in frost."""
    two, random = drawn_plant.frame(), np.random.default_rng(seed)
    second = np.array([day % 2 == 1 or day in WARM_DAYS for day in range(days)])
    frosty = second & (random.random(days) < missed)
    drawn = two.to_numpy().reshape(2, 1440, -1)
    table = pd.DataFrame(drawn[second.astype(int)].reshape(days * 1440, -1), columns=two.columns)
    table.loc[np.repeat(frosty, 1440), ["outdoor_wet_bulb", "outdoor_dry_bulb"]] -= 15.0
    table["outdoor_wet_bulb"] += random.normal(0.0, 0.02, len(table))
    start = pd.Timestamp("2026-01-10")
    table.index = pd.date_range(start, periods=len(table), freq="min", name="Time")
    return table.round(2)


def write_job(folder: Path, days: int = 4, missed: float = 0.0, seed: int = 0,
              names: tuple[str, ...] = (), columns: int = 0) -> Path:
    """A job folder of a drawn plant.

    ``names`` are the mapped points, every one where left out; fillers bring the file to
    ``columns``.
    """
    table = frame(days, missed, seed)
    names = names or tuple(str(name) for name in table.columns)
    filler = np.round(table["chw_return_temp"].to_numpy() + 0.37, 2)
    content = {"Time": table.index.to_numpy().astype("M8[s]")}
    content |= {name: _cells(name, table[name]) for name in names}
    content |= {f"spare {n}": filler for n in range(len(content), columns)}
    (folder / "trends").mkdir(parents=True)
    csv.write_csv(pa.table(content), folder / "trends" / "plant.csv")
    stated = "".join(
        f'[points.{name}]\nfile = "plant.csv"\ncolumn = "{name}"\n'
        f'unit = "{points.point(name).unit}"\n' for name in names)
    head = _JOB.format(title=f"Invented plant {folder.name}", number=seed)
    (folder / "job.toml").write_text(head + stated, encoding="utf-8")
    return folder


def _cells(name: str, values: pd.Series) -> np.ndarray:
    kind = points.point(name).kind
    return values.to_numpy(np.int8 if kind in (points.STATUS, points.ALARM) else float)
