"""A small invented plant for tests of the workbooks: two days, one changeover, five minutes.

The numbers are drawn with a pencil, not with physics; they only have to look like a plant.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from grids import grid_of

from fptlib.job.schema import Approach, Chiller, Exchanger, Plant
from fptlib.procedure.functional_test import FunctionalTest

ZONE = "America/Denver"

COLUMNS = {
    "outdoor_dry_bulb": "degF", "outdoor_humidity": "%RH", "outdoor_wet_bulb": "degF",
    "chw_supply_temp": "degF", "chw_supply_setpoint": "degF", "chw_reset_setpoint": "degF",
    "chw_return_temp": "degF", "chw_flow": "gpm", "cw_supply_temp": "degF",
    "cw_supply_setpoint": "degF", "economizer_command": "on/off",
    "chiller_1_running": "on/off", "chiller_1_cw_leaving_temp": "degF",
    "chiller_1_alarm": "alarm", "tower_1_fan_running": "on/off", "tower_1_fan_speed": "%",
    "plant_power": "kW",
}


def frame(days: int = 2, minutes: int = 5) -> pd.DataFrame:
    """Every point of the plant; request at 20:00 of the first day, exit at 10:00 of the next."""
    index = pd.date_range("2026-01-10", periods=days * 1440 // minutes, freq=f"{minutes}min",
                          tz=ZONE)
    hours = np.arange(len(index)) * minutes / 60.0
    cold = np.interp(hours, [0, 14, 19, 30, 34, 48], [38, 42, 28, 25, 40, 45])
    command = ((hours >= 20) & (hours < 34)).astype(float)
    chiller = 1.0 - ((hours >= 20.75) & (hours < 34)).astype(float)
    pulled = np.interp(hours, [0, 20, 20.75, 33, 34, 48], [62, 62, 45, 45, 50, 62])
    reset = np.interp(cold, [25, 45], [52, 46])
    active = np.where((command > 0) & (chiller > 0), np.minimum(reset, pulled - 8.0), reset)
    return pd.DataFrame({
        "outdoor_dry_bulb": cold + 4.0, "outdoor_humidity": 62.0 + 0.0 * hours,
        "outdoor_wet_bulb": cold, "chw_supply_temp": active + 0.3 * np.sin(hours * 7),
        "chw_supply_setpoint": active, "chw_reset_setpoint": reset,
        "chw_return_temp": active + 10.0, "chw_flow": 1800.0 + 0.0 * hours,
        "cw_supply_temp": pulled, "cw_supply_setpoint": np.where(command > 0, reset - 3, 60.0),
        "economizer_command": command, "chiller_1_running": chiller,
        "chiller_1_cw_leaving_temp": pulled + 9.0, "chiller_1_alarm": 0.0 * hours,
        "tower_1_fan_running": 1.0 + 0.0 * hours,
        "tower_1_fan_speed": 60.0 + 30.0 * np.sin(hours / 5),
        "plant_power": np.where(chiller > 0, 520.0, 180.0),
    }, index=index)


def case(content: pd.DataFrame | None = None) -> FunctionalTest:
    """The plant as a case."""
    content = frame() if content is None else content
    step = content.index[1] - content.index[0]
    return FunctionalTest(grid_of(content, step), Plant(
        altitude=4200.0, time_zone=ZONE,
        chillers=(Chiller(1, "CH-1", minimum_water_lift=14.0, cutout=34.0),), tower_cells=1,
        exchanger=Exchanger("HX-1", load=700.0), tower_approach=Approach(6.0, "observed"),
        exchanger_approach=Approach(2.0, "observed"), equipment_limit=2,
    ))


def empty_case() -> FunctionalTest:
    """A plant that trends nothing a step needs."""
    index = pd.date_range("2026-01-10", periods=10, freq="5min", tz=ZONE)
    return case(pd.DataFrame({"space_humidity": 40.0}, index=index))


JOB = """# An invented job for tests.
[job]
title = "Small invented plant"
number = "T-1"
procedure = "standard 1"
condition = "natural"
invented = true
[site]
name = "Invented house"
altitude = 4200
time_zone = "America/Denver"
[plant]
chillers = 1
tower_cells = 1
equipment_limit = 2
[plant.exchanger]
tag = "HX-1"
load = 700
[plant.chiller_1]
tag = "CH-1"
minimum_water_lift = 14.0
cutout = 34.0
[plant.tower_approach]
value = 6.0
basis = "observed"
remark = "near changeover"
[plant.exchanger_approach]
value = 2.0
basis = "observed"
remark = "near changeover"
[people.technician]
name = "A. Invented"
[instruments.T1]
make_model = "thermometer"
serial = "1"
accuracy = 0.2
accuracy_unit = "degF"
calibrated = "2025-06-01"
due = "2026-06-01"
[[overrides]]
point = "OA-WB"
value = "30"
[[prerequisites]]
text = "Towers in winter operation"
done = false
by = ""
"""


def write_job(folder: Path) -> Path:
    """The plant as a job folder with one trend file."""
    (folder / "trends").mkdir(parents=True)
    (folder / "workbooks").mkdir()
    content = frame()
    content.insert(0, "Time", content.index.strftime("%Y-%m-%d %H:%M"))
    content.round(2).to_csv(folder / "trends" / "plant.csv", index=False, lineterminator="\n")
    points = "".join(
        f'[points.{name}]\nfile = "plant.csv"\ncolumn = "{name}"\nunit = "{unit}"\n'
        for name, unit in COLUMNS.items()
    )
    (folder / "job.toml").write_text(JOB + points, encoding="utf-8")
    return folder
