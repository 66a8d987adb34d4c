"""The trend files as the invented building system writes them.

Values are written with fixed decimals, so that the bytes are the same on every machine.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from sample_trends.generator.sensors import decimals

TIME_COLUMN = "Time"
_LABELS = {
    "outdoor_dry_bulb": "Outdoor air temp [°F]",
    "outdoor_humidity": "Outdoor air humidity [%RH]",
    "outdoor_wet_bulb": "Outdoor wet bulb [°F]",
    "station_pressure": "Barometer [psia]",
    "chw_supply_temp": "CHW supply temp [°F]",
    "chw_supply_setpoint": "CHW supply setpoint, active [°F]",
    "chw_reset_setpoint": "CHW supply setpoint, reset [°F]",
    "chw_return_temp": "CHW return temp [°F]",
    "chw_flow": "CHW flow [gpm]",
    "chw_diff_pressure": "CHW diff pressure [psi]",
    "decoupler_flow": "Decoupler flow [gpm]",
    "cw_supply_temp": "CW from sump temp [°F]",
    "cw_supply_setpoint": "CW from sump setpoint [°F]",
    "cw_return_temp": "CW to towers temp [°F]",
    "cw_flow": "CW flow [gpm]",
    "hx_chw_entering_temp": "HX CHW in temp [°F]",
    "hx_chw_leaving_temp": "HX CHW out temp [°F]",
    "hx_cw_entering_temp": "HX CW in temp [°F]",
    "hx_cw_leaving_temp": "HX CW out temp [°F]",
    "hx_chw_flow": "HX CHW flow [gpm]",
    "hx_cw_flow": "HX CW flow [gpm]",
    "hx_valve": "HX valve [%]",
    "economizer_command": "Economizer command",
    "economizer_active": "Economizer in service",
    "chiller_running": "CH-{n} running",
    "chiller_power": "CH-{n} power [kW]",
    "chiller_amps": "CH-{n} current [A]",
    "chiller_chw_leaving_temp": "CH-{n} CHW out temp [°F]",
    "chiller_cw_entering_temp": "CH-{n} CW in temp [°F]",
    "chiller_cw_leaving_temp": "CH-{n} CW out temp [°F]",
    "chiller_evaporator_pressure": "CH-{n} evaporator [psia]",
    "chiller_condenser_pressure": "CH-{n} condenser [psia]",
    "chiller_alarm": "CH-{n} alarm",
    "tower_fan_running": "CT-{n} fan running",
    "tower_fan_speed": "CT-{n} fan speed [%]",
    "tower_fan_power": "Tower fans power [kW]",
    "chw_pump_power": "CHW pumps power [kW]",
    "cw_pump_power": "CW pumps power [kW]",
    "plant_power": "Plant power [kW]",
    "plant_load": "Plant load [tons]",
    "space_humidity": "Operating suite humidity [%RH]",
}


def label(point: str) -> str:
    """The building system's name of a point."""
    words = point.split("_")
    if len(words) > 2 and words[1].isdigit():
        return _LABELS["_".join([words[0], *words[2:]])].format(n=words[1])
    return _LABELS[point]


def file_of(point: str) -> str:
    """Which file a point is trended to: one per controller."""
    if point.startswith("chiller_"):
        return "chillers.csv"
    return "towers.csv" if point.startswith(("tower", "outdoor", "station")) else "plant.csv"


def write_trends(frame: pd.DataFrame, folder: Path) -> None:
    """Write every point of ``frame`` to its file in ``folder``, local time."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in sorted({file_of(str(point)) for point in frame.columns}):
        points = [str(point) for point in frame.columns if file_of(str(point)) == name]
        (folder / name).write_bytes(_csv(frame[points]).encode("utf-8"))


def _csv(frame: pd.DataFrame) -> str:
    # No label holds a comma beside these, which the quotes keep together.
    head = ",".join([TIME_COLUMN, *(_quoted(label(str(point))) for point in frame.columns)])
    times = frame.index.strftime("%Y-%m-%d %H:%M").tolist()
    columns = [_texts(frame[point], decimals(str(point))) for point in frame.columns]
    lines = [",".join(cells) for cells in zip(times, *columns, strict=True)]
    return "\n".join([head, *lines, ""])


def _quoted(text: str) -> str:
    return f'"{text}"' if "," in text else text


def _texts(values: pd.Series, places: int) -> list[str]:
    # Adding zero turns -0.0 into 0.0.
    return ["" if v != v else f"{v + 0.0:.{places}f}" for v in values.round(places).tolist()]
