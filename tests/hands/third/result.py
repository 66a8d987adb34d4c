"""One scenario run: the trends as a building automation system keeps them, and the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from tests.hands.second.result import Result as Trended
from tests.hands.second.sensors import Sensors
from tests.hands.second.truth import stretches
from tests.hands.second.weather import wander

from .job import job_of
from .model import CHILLERS, Scenario
from .simulate import simulate
from .truth import Truth


@dataclass
class Result(Trended):
    """As of the second hand; ``scenario`` is one of this hand's."""


def loads(scenario: Scenario) -> np.ndarray:
    """Tons that the building asks: a working day on a base, with a slow wander."""
    base, swing = scenario.plant.load
    hour = np.arange(scenario.days * 1440) / 60 % 24
    busy = np.clip(np.minimum((hour - 6) / 3.0, (20 - hour) / 4.0), 0.0, 1.0)
    rng = np.random.default_rng([scenario.seed, 3])
    return base + swing * busy + wander(rng, len(hour), 0.02 * base, 45)


def true_columns(scenario: Scenario, s: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What perfect sensors would trend."""
    p = scenario.plant
    true = {
        "outdoor_dry_bulb": s["dry"], "outdoor_humidity": s["humid"], "outdoor_wet_bulb": s["wet"],
        "chw_supply_temp": s["supply"], "chw_return_temp": s["entering"],
        "chw_supply_setpoint": s["active"], "chw_reset_setpoint": s["reset"],
        "chw_flow": s["plant_flow"], "plant_load": s["met"], "plant_power": s["plant_kw"],
        "cw_supply_temp": s["sump"], "cw_return_temp": s["back"],
        "cw_supply_setpoint": s["cw_setpoint"], "cw_flow": s["cw_total"],
        "hx_chw_entering_temp": s["hx_in"], "hx_chw_leaving_temp": s["hx_out"],
        "hx_cw_entering_temp": s["hx_cw_in"], "hx_cw_leaving_temp": s["hx_cw_out"],
        "hx_chw_flow": s["hx_chw"], "hx_cw_flow": s["hx_cw"],
        "tower_fan_power": s["fan_kw"], "chw_pump_power": s["chw_kw"], "cw_pump_power": s["cw_kw"],
        "economizer_command": (s["mode"] != CHILLERS) * 1.0,
        "economizer_active": (s["hx_chw"] > 1.0) * 1.0,
    }
    for n in range(1, p.chillers + 1):
        true |= {f"chiller_{n}_running": (s[f"tons_{n}"] > 0) * 1.0,
                 f"chiller_{n}_power": s[f"kw_{n}"],
                 f"chiller_{n}_chw_leaving_temp": s[f"leaving_{n}"],
                 f"chiller_{n}_cw_entering_temp": s["sump"],
                 f"chiller_{n}_cw_leaving_temp": s[f"warm_{n}"],
                 f"chiller_{n}_alarm": np.zeros(len(s["mode"]))}
    for n in range(1, p.cells + 1):
        true |= {f"tower_{n}_fan_running": (s["fan"] > 0) * 1.0,
                 f"tower_{n}_fan_speed": 100 * s["fan"]}
    return true


def run(scenario: Scenario) -> Result:
    """Simulate, read, judge."""
    p = scenario.plant
    minutes = scenario.days * 1440
    when = pd.date_range(scenario.start, periods=minutes, freq="min", tz=p.zone)
    s = simulate(scenario, loads(scenario))
    numbers = range(1, p.chillers + 1)
    s["met"] = s["plant_flow"] * (s["entering"] - s["supply"]) / 23.93
    s["plant_kw"] = s["fan_kw"] + s["chw_kw"] + s["cw_kw"] + sum(s[f"kw_{n}"] for n in numbers)
    for n in numbers:
        s[f"trip_{n}"], s[f"run_{n}"] = np.zeros(minutes), np.zeros(minutes)
        for a, b in stretches(s[f"tons_{n}"] > 0):
            s[f"run_{n}"][a:b] = np.arange(b - a)
    sensors = Sensors(None, scenario.fault, scenario.seed, minutes)  # type: ignore[arg-type]
    true = true_columns(scenario, s)
    frame = pd.DataFrame({
        name: np.round(each, 2) if name.endswith("setpoint") else np.maximum(
            sensors.series(name, each), -99.0 if name.endswith(("temp", "bulb")) else 0.0)
        for name, each in true.items()}, index=when)
    truth = Truth(scenario, s)
    job: dict[str, Any] = job_of(scenario, frame)
    return Result(scenario, frame, pd.DataFrame(index=when), s, truth.found, truth.over,
                  (truth.peak_in, truth.peak_out), job, true)
