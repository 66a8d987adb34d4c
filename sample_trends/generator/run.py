"""One simulation: weather and load drive the plant, sensors feed the controls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sample_trends.generator.controls import Controls, Readings
from sample_trends.generator.load import cooling_load
from sample_trends.generator.noise import Chance
from sample_trends.generator.plant import Plant
from sample_trends.generator.record import names, row
from sample_trends.generator.scenario import Scenario, SensorError
from sample_trends.generator.sensors import Sensor
from sample_trends.generator.weather import DAY, weather

_SEEN = ("outdoor_dry_bulb", "outdoor_wet_bulb", "chw_supply_temp", "cw_supply_temp")
_SETTLING = 240


@dataclass(frozen=True)
class Event:
    """Something that happened, known to the generator whatever the trends say.

    ``kind`` is one of request, handover, recovered, leave (the controller decides), exit
    (the first chiller starts), abandoned, trip.
    """

    kind: str
    time: pd.Timestamp
    detail: str = ""


@dataclass(frozen=True)
class Result:
    """A simulated plant.

    Attributes:
        scenario: what was simulated.
        frame: the trends, one row a minute in the site's time zone, columns named and in
            units as the project's glossary has them.
        actual: the same columns without any sensor error.
        truth: every event in order of time.
    """

    scenario: Scenario
    frame: pd.DataFrame
    actual: pd.DataFrame
    truth: tuple[Event, ...]

    def events(self, kind: str) -> list[Event]:
        """The events of one kind."""
        return [event for event in self.truth if event.kind == kind]


def simulate(scenario: Scenario) -> Result:
    """Run a scenario."""
    return _Run(scenario).result()


class _Run:
    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.count = scenario.days * DAY
        self.index = pd.date_range(
            scenario.start, periods=self.count, freq="min", tz=scenario.site.time_zone
        )
        self.chance = Chance(scenario.seed)
        self.air = weather(scenario.weather, scenario.days, scenario.site.altitude, self.chance)
        self.load = cooling_load(self.air.dry, self.chance)
        self.load = self.load * scenario.design.scale
        self.truth: list[Event] = []
        self.minute = 0
        self.sensors = {name: self._sensor(name) for name in _SEEN}

    def _sensor(self, name: str) -> Sensor:
        error = self.scenario.sensors.get(name, SensorError())
        return Sensor(name, self.count, self.chance, error)

    def _tell(self, kind: str, detail: str) -> None:
        # A chiller's proof follows the order by a minute; the event is where trends show it.
        late = kind in ("handover", "exit")
        moment = self.index[min(self.minute + late, self.count - 1)]
        self.truth.append(Event(kind, moment, detail))

    def result(self) -> Result:
        rows, read = self._rows()
        columns = names(self.scenario.design)
        actual = pd.DataFrame(np.array(rows), index=self.index, columns=columns)
        return Result(self.scenario, self._trended(actual, read), actual, tuple(self.truth))

    def _rows(self) -> tuple[list[list[float]], list[list[float]]]:
        plant = Plant(self.scenario.design, float(self.air.pressure.mean()))
        controls = Controls(self.scenario.sequence, self.scenario.design, self._tell)
        self._settle(plant, controls)
        outdoor = [column.tolist() for column in self._outdoor()]
        rows, seen = [], []
        for minute, (load, *air) in enumerate(zip(self.load.tolist(), *outdoor, strict=True)):
            self.minute = minute
            read = self._read(minute, (air[0], air[2], plant.delivered, plant.sump))
            orders = controls.step(_readings(minute, read, plant))
            rows.append(row(air, plant, controls, orders))
            seen.append(read)
            plant.step(load, air[2], orders)
        return rows, seen

    def _settle(self, plant: Plant, controls: Controls) -> None:
        """Let the plant run into the first minute's weather before anything is recorded."""
        for _ in range(_SETTLING):
            values = (float(self.air.dry[0]), 99.0, plant.delivered, plant.sump)
            orders = controls.step(_readings(0, list(values), plant))
            plant.step(float(self.load[0]), float(self.air.wet[0]), orders)
        controls.settle()

    def _outdoor(self) -> tuple[np.ndarray, ...]:
        return self.air.dry, self.air.humidity, self.air.wet, self.air.pressure

    def _read(self, minute: int, values: tuple[float, ...]) -> list[float]:
        pairs = zip(self.sensors.values(), values, strict=True)
        return [sensor.read(minute, value) for sensor, value in pairs]

    def _trended(self, actual: pd.DataFrame, read: list[list[float]]) -> pd.DataFrame:
        """The trends: what the controller read, and every other sensor's own reading."""
        columns = dict(zip(_SEEN, np.array(read).T, strict=True))
        for name in actual.columns:
            if name not in columns:
                columns[name] = self._sensor(name).read_all(actual[name].to_numpy().copy())
        frame = pd.DataFrame({name: columns[name] for name in actual.columns}, self.index)
        for name, error in self.scenario.sensors.items():
            if error.late:
                frame[name] = frame[name].shift(error.late).bfill().ffill()
        return frame


def _readings(minute: int, read: list[float], plant: Plant) -> Readings:
    return Readings(
        minute, *read,
        load=plant.flow * (plant.returning - plant.supply) / 24.0,
        valve=plant.valve,
        alarm=[c.alarm for c in plant.chillers],
    )
