"""Invented winter plants with a physics of their own, which share nothing with the checks.

A week in winter at five-minute rows. The exchanger is solved in closed form by effectiveness-NTU
for counterflow (Kays and London); its films follow flow by an exponent of their own, drawn for each
plant. Loads, weather and sensors are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from grids import grid_of

from fptlib.job.schema import Approach, Chiller, Exchanger, Plant, Sensor, Sensors
from fptlib.procedure.functional_test import FunctionalTest

DAYS, MINUTES = 7, 5
SOUND, FALSE, FOULED, SMALL, STUCK, WARM = "sound", "false", "fouled", "small", "stuck", "warm"


@dataclass(frozen=True)
class Built:
    """A drawn plant with its trends as a table."""

    plant: Plant
    table: pd.DataFrame

    def test(self, without: tuple[str, ...] = (), minutes: int = MINUTES,
             **changes: object) -> FunctionalTest:
        temperatures = {name: Sensor(0.2, 0.1) for name in self.table if name.endswith("temp")
                        or name.endswith("bulb")}
        step = pd.Timedelta(minutes=minutes)
        return replace(FunctionalTest(
            grid_of(self.table.drop(columns=list(without)), step), self.plant,
            sensors=Sensors(temperatures)), **changes)


def build(kind: str, seed: int) -> Built:
    """A plant of that kind, everything else at random."""
    rng = np.random.default_rng(seed)
    draw = rng.uniform
    tons, rise = draw(200.0, 900.0), draw(9.0, 14.0)
    setpoint, approach, tower = draw(46.0, 51.0), draw(1.8, 3.0), draw(4.0, 8.0)
    chw = 24.0 * tons / rise
    cw = chw * draw(1.0, 1.35)
    clean = ua_of(tons, chw, cw, approach)
    index = pd.date_range("2026-01-08", periods=DAYS * 1440 // MINUTES, freq=f"{MINUTES}min",
                          tz="America/Denver")
    hour = index.hour.to_numpy() + index.minute.to_numpy() / 60.0
    work = (index.day_of_week.to_numpy() < 5) & (hour >= 7.0) & (hour < 18.5)
    day = np.arange(len(index)) * MINUTES / 1440.0
    outdoor = (draw(24.0, 30.0) - 7.0 * np.cos((hour - 3.0) / 24.0 * 2.0 * np.pi)
               + 6.0 * np.sin(2.0 * np.pi * (day / draw(4.0, 7.0) + draw(0.0, 1.0))))
    wet_bulb = outdoor - draw(2.0, 5.0)

    needed = tons * (draw(0.5, 0.62) + draw(0.18, 0.28) * smooth(work)
                     + draw(0.0, 0.003) * (outdoor - 28.0))
    needed *= 1.0 + 0.01 * wander(rng, len(index))
    # What an owner says of the night, known to three per cent.
    expected = float(np.quantile(needed[hour < 5.0], 0.25)) * draw(0.97, 1.03)
    heating = tons * (0.15 + 0.006 * np.maximum(50.0 - outdoor, 0.0)
                      + 0.04 * wander(rng, len(index), 24))
    carried = needed.copy()
    if kind == FALSE:
        reheat = heating / heating.mean() if draw(0.0, 1.0) < 0.5 else 1.0
        carried += 0.25 * needed.mean() * reheat
    if kind == STUCK:
        colder = np.maximum(48.0 - outdoor, 0.0)
        carried += draw(0.2, 0.4) * needed.mean() * colder / colder.mean()
    foul = draw(0.45, 0.62) if kind == FOULED else draw(0.93, 1.03)
    exponent, difference = draw(0.68, 0.8), rise * draw(0.95, 1.05)

    def solved(load: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Flow and approach at a load."""
        flow = np.maximum(24.0 * load / difference, 0.25 * chw)
        films = (flow / chw) ** -exponent / 2.0 + 0.5
        return flow, approach_of(load, clean / (films + 1.0 / foul - 1.0), flow, cw)

    if kind == SMALL:
        # So small that by day the supply is clearly too warm: within its band nobody complains.
        missed = draw(2.2, 3.0)
        while np.quantile(solved(carried)[1], 0.8) < approach + missed:
            carried, expected = carried * 1.05, expected * 1.05
    flow, over = solved(carried)
    # Towers hold the setpoint minus the design approach; with load to spare they make less.
    coldest = np.maximum(wet_bulb + tower, setpoint - approach - 0.2)
    water = np.maximum(coldest, setpoint - over) + (3.5 if kind == WARM else 0.0)
    leaving = water + over + 0.05 * wander(rng, len(index), 6)

    chillers = day < 0.25
    leaving = np.where(chillers, setpoint, leaving)
    returning = leaving + 24.0 * carried / flow
    through = np.where(chillers, 0.0, 1.0)
    f = pd.DataFrame(index=index)
    f["outdoor_dry_bulb"], f["outdoor_wet_bulb"] = outdoor, wet_bulb
    f["chw_supply_setpoint"] = f["chw_reset_setpoint"] = setpoint
    f["chw_supply_temp"], f["chw_return_temp"], f["chw_flow"] = leaving, returning, flow
    f["cw_supply_temp"] = np.where(chillers, 65.0, water)
    f["hx_chw_entering_temp"], f["hx_chw_leaving_temp"] = returning, leaving
    f["hx_cw_entering_temp"] = f["cw_supply_temp"]
    f["hx_cw_leaving_temp"] = f["cw_supply_temp"] + through * 24.0 * carried / cw
    f["hx_chw_flow"], f["hx_cw_flow"] = through * flow, through * cw
    f["heating_load"] = heating
    for name in f:
        if name.endswith(("temp", "bulb")):
            f[name] += draw(-0.15, 0.15) + rng.normal(0.0, 0.05, len(f))
            f[name] = f[name].round(1)
        if name.endswith("flow"):
            f[name] *= draw(0.99, 1.01)
    f["economizer_command"] = (day >= 0.2).astype(float)
    f["chiller_1_running"] = chillers.astype(float)
    plant = Plant(
        4000.0, "America/Denver", (Chiller(1),), 2,
        Exchanger(tag="HX-1", load=tons, chw_flow=chw, cw_flow=cw, chw_entering=setpoint + rise,
                  chw_leaving=setpoint, cw_entering=setpoint - approach,
                  cw_leaving=setpoint - approach + 24.0 * tons / cw),
        tower_approach=Approach(tower, "observed", "drawn"),
        exchanger_approach=Approach(approach, "observed", "drawn"), base_load=expected)
    return Built(plant, f)


def ua_of(tons: float, chw: float, cw: float, approach: float) -> float:
    """UA that carries that load at that approach [Btu/h.°F], by bisection."""
    low, high = 1e4, 1e9
    for _ in range(80):
        middle = (low * high) ** 0.5
        over = float(approach_of(tons, middle, chw, cw))
        low, high = (low, middle) if over < approach else (middle, high)
    return low


def approach_of(tons: np.ndarray | float, ua: np.ndarray | float, chw: np.ndarray | float,
                cw: np.ndarray | float) -> np.ndarray:
    """Chilled water leaving minus condenser water entering [°F], 500 Btu/h.°F for a gpm."""
    hot, cold = 500.0 * np.asarray(chw), 500.0 * np.asarray(cw)
    least, most = np.minimum(hot, cold), np.maximum(hot, cold)
    ratio = np.minimum(least / most, 0.999999)
    x = np.exp(-ua / least * (1.0 - ratio))
    share = (1.0 - x) / (1.0 - ratio * x)
    heat = 12000.0 * np.asarray(tons)
    return heat / (share * least) - heat / hot


def wander(rng: np.random.Generator, rows: int, keep: int = 12) -> np.ndarray:
    """Noise of unit size that lasts for so many rows."""
    steps = rng.normal(0.0, 1.0, rows // keep + 2)
    return np.interp(np.arange(rows) / keep, np.arange(len(steps)), steps)


def smooth(flags: np.ndarray) -> np.ndarray:
    return np.convolve(flags.astype(float), np.ones(12) / 12.0, mode="same")
