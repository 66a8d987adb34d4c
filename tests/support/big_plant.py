"""A large invented plant, drawn from its description alone: four chillers, two exchangers in
parallel, six tower cells over three sumps that equalizers join, headered pumps.

Two days, one changeover, five-minute rows. The numbers are drawn, not simulated: water
temperatures follow a schedule, loads a sine, and flows the load.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

ZONE = "America/Denver"
CHILLERS, CELLS, SUMPS, EXCHANGERS, PUMPS = 4, 6, 3, 2, 4

# Of both exchangers together.
DESIGN = {"tag": "HX-1 and HX-2", "load": "1800", "chw_flow": "3600", "cw_flow": "4320",
          "chw_entering": "60", "chw_leaving": "48", "cw_entering": "45.5", "cw_leaving": "55.5"}


def frame(days: int = 2, minutes: int = 5) -> pd.DataFrame:
    """Enable at 20:00 of the first day, chillers off one by one until 21:30, exit at 10:00."""
    index = pd.date_range("2026-01-10", periods=days * 1440 // minutes, freq=f"{minutes}min",
                          tz=ZONE)
    at = np.arange(len(index)) * minutes / 60.0
    rng = np.random.default_rng(3)
    wet = np.interp(at, [0, 14, 19, 30, 34, 48], [38, 42, 28, 26, 40, 45])
    enabled = (at >= 20.0) & (at < 34.0)
    on_exchanger = (at >= 21.5) & (at < 34.0)
    reset = np.interp(wet + 4.0, [30, 50], [50, 46])
    # The approach of both exchangers at four fifths of load and flow, where 2.5 °F are designed.
    needed = reset - 1.8
    water = np.where(on_exchanger, needed, np.interp(
        at, [0, 20, 21.5, 34, 34.5, 48], [62, 62, 46.8, 46.8, 62, 62]))
    active = np.where(enabled & ~on_exchanger, np.minimum(reset, water - 8.0), reset)
    released = np.interp(at, [21.5, 22.5], [39.2, 50.0])
    active = np.where(on_exchanger & (at < 22.5), np.minimum(released, reset), active)
    tons = 1500.0 + 150.0 * np.sin(2.0 * np.pi * (at - 9.0) / 24.0)
    supply = active + 0.2 * np.sin(at * 5.0)
    chw = tons / 1800.0 * 3600.0
    cw = np.where(on_exchanger, 4320.0, 5400.0)
    f = pd.DataFrame({
        "outdoor_dry_bulb": wet + 4.0, "outdoor_wet_bulb": wet,
        "chw_supply_temp": supply, "chw_supply_setpoint": active, "chw_reset_setpoint": reset,
        "chw_return_temp": supply + 24.0 * tons / chw, "chw_flow": chw,
        "cw_supply_temp": water, "cw_supply_setpoint": np.where(enabled, needed, 62.0),
        "cw_return_temp": water + 24.0 * tons / cw, "cw_flow": cw,
        "economizer_command": enabled.astype(float),
        "economizer_active": on_exchanger.astype(float)}, index=index)
    through = on_exchanger.astype(float)
    f["hx_chw_entering_temp"], f["hx_chw_leaving_temp"] = f["chw_return_temp"], supply
    f["hx_cw_entering_temp"] = water
    f["hx_cw_leaving_temp"] = water + through * 24.0 * tons / cw
    f["hx_chw_flow"], f["hx_cw_flow"] = through * chw, through * cw
    for n in range(1, CHILLERS + 1):
        # The fourth is the standby; the others stop half an hour apart.
        stops = {1: 21.5, 2: 21.0, 3: 20.5, 4: 0.0}[n]
        runs = ((at < stops) | (at >= 34.0)) & (n < 4)
        f[f"chiller_{n}_running"] = runs.astype(float)
        f[f"chiller_{n}_power"] = runs * 300.0
        f[f"chiller_{n}_chw_leaving_temp"] = supply
        f[f"chiller_{n}_cw_leaving_temp"] = water + 10.0 * runs
        f[f"chiller_{n}_alarm"] = 0.0
    for n in range(1, CELLS + 1):
        f[f"tower_{n}_fan_running"] = 1.0
        f[f"tower_{n}_fan_speed"] = 60.0 + 20.0 * np.sin(at / 4.0)
    for n in range(1, PUMPS + 1):
        f[f"pump_{n}_running"] = float(n < 4)
    f["tower_fan_power"] = 90.0
    f["chw_pump_power"], f["cw_pump_power"] = 60.0, 55.0
    for name in f:
        if name.endswith(("temp", "bulb")):
            f[name] += rng.normal(0.0, 0.03, len(f))
    return f


def unit(point: str) -> str:
    """The unit that the file states for a column."""
    from fptlib import points

    return points.point(point).unit


def write_trends(path: Path) -> Path:
    """The trends as one file."""
    content = frame()
    content.insert(0, "Time", content.index.strftime("%Y-%m-%d %H:%M"))
    content.round(2).to_csv(path, index=False, lineterminator="\n")
    return path
