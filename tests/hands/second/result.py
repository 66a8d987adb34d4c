"""One scenario run: the trends as a building automation system keeps them, and the truth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from .columns import PLAIN, true_columns
from .job import job_of, sequence_of
from .model import Scenario
from .plant import simulate
from .sensors import Sensors, kind_of, reports
from .truth import Changeover, Statement, Truth
from .weather import wander


@dataclass
class Result:
    """``frame``: columns of the glossary, one row a minute, stamped at its beginning; readings
    are instantaneous, powers the mean of the minute. ``extra`` holds what the glossary has no
    name for. ``states`` are noise-free."""

    scenario: Scenario
    frame: pd.DataFrame
    extra: pd.DataFrame
    states: dict[str, np.ndarray]
    truth: list[Statement]
    changeovers: list[Changeover]
    demand: tuple[float, float]  # highest kW with a part in a changeover, and without
    job: dict[str, Any]
    true: dict[str, np.ndarray]  # what perfect sensors would trend

    @property
    def sequence(self) -> dict[str, Any]:
        """The specified sequence in plain words, limits and settings alike."""
        return sequence_of(self.scenario)

    def at(self, minutes: int) -> pd.DataFrame:
        """Every ``minutes``-th reading; powers as the mean of the interval that begins there."""
        sampled = self.frame.iloc[::minutes].copy()
        powers = [c for c in self.frame if c.endswith("_power")]
        means = self.frame[powers].groupby(np.arange(len(self.frame)) // minutes).mean()
        sampled[powers] = means.to_numpy()
        return sampled

    def log(self) -> dict[str, pd.Series]:
        """Change-of-value log: each point's own moments."""
        out = {}
        for name in self.frame:
            written = reports(name, self.frame[name].to_numpy())
            out[name] = self.frame[name][written]
        return out


def _building(scenario: Scenario, when: pd.DatetimeIndex) -> np.ndarray:
    """Power of all the service meter sees beside the plant, kW."""
    busy = np.clip(np.minimum((when.hour - 6) / 2.0, (20 - when.hour) / 3.0), 0.0, 1.0)
    size = 0.4 * scenario.plant.capacity
    rng = np.random.default_rng([scenario.seed, 5])
    noise = wander(rng, len(when), 0.02 * size, 8)
    return size * (1 + 0.8 * busy * np.where(when.day_of_week < 5, 1.0, 0.5)) + noise


def run(scenario: Scenario) -> Result:
    """Simulate, read, judge."""
    p, fault = scenario.plant, scenario.fault
    minutes = scenario.days * 1440
    when = pd.date_range(scenario.start, periods=minutes, freq="min", tz=p.zone)
    states = simulate(scenario, when)
    sensors = Sensors(p, fault, scenario.seed, minutes)
    readings = {}
    true = true_columns(scenario, states)
    for name, each in true.items():
        value = np.round(each, 2) if name.endswith("setpoint") else sensors.series(name, each)
        if fault.late_clock and name.startswith(fault.late_clock[0]):
            value = np.r_[np.repeat(value[:1], fault.late_clock[1]), value[: -fault.late_clock[1]]]
        if kind_of(name) in ("flow", "power", "amps"):
            value = np.maximum(value, 0.0)
        if p.change_of_value:
            written = np.flatnonzero(reports(name, value))
            value = value[written[np.searchsorted(written, np.arange(minutes), "right") - 1]]
        readings[name] = value
    frame = pd.DataFrame(readings, index=when)
    service = _building(scenario, when) + states["plant_kw"]
    extra = pd.DataFrame({"exchanger_bypass": states["bypass"],
                          "most_open_air_handler_valve": states["most_open"]}, index=when)
    for i in range(1, p.chillers + 1):
        if p.head != "setpoint":
            extra[f"chiller_{i}_{p.head}_position"] = 100 * states[f"position_{i}"]
    if p.service_meter:
        frame["service_power"] = np.round(service, 1)
    seen = {"outdoor_wet_bulb": sensors.series("outdoor_wet_bulb", states["wet"])}
    for name in ("chw_supply_temp", "plant_load", "plant_power"):  # a scan behind
        last = states[PLAIN[name]]
        seen[name] = sensors.series(name, np.r_[last[:1], last[:-1]])
    truth = Truth(scenario, states, seen, service if p.service_meter else None)
    return Result(scenario, frame, extra, states, truth.found, truth.over,
                  (truth.peak_in, truth.peak_out), job_of(scenario, frame), true)
