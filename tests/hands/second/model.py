"""What a plant is, what its sequence says, and what may be wrong with it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from math import ceil
from typing import Any

from .physics import WATER as WATER
from .physics import Tower, chiller_power, exchanger_sized, exchanger_ua, tower_balance

CHILLERS, PULL_DOWN, HAND_OVER, ECONOMIZER, RETURN = range(5)


@dataclass(frozen=True)
class Plant:
    """Sizes. Tons, gpm, gallons, °F, kW; ``head`` is how a chiller's lift is protected:
    a condenser-water ``valve`` or ``bypass``, or a temporary chilled-water ``setpoint``."""

    site: str
    zone: str
    altitude: float
    chillers: int = 2
    capacity: float = 400.0
    refrigerant: str = "R-134a"
    minimum_lift: float = 14.0
    head: str = "valve"
    cells: int = 2
    fans: str = "variable"
    fan_kw: float = 22.0
    tower_size: float = 1.0
    exchanger_load: float = 380.0
    exchanger_approach: float = 1.8
    sump: float = 11000.0
    loop_factor: float = 5.0
    reset: str = "outdoor"
    reset_range: tuple[float, float] = (45.0, 49.0)
    load: tuple[float, float, float] = (170.0, 60.0, 4.5)
    pump_kw: float = 26.0
    exchanger_pump_kw: float = 20.0
    constant_pumps: bool = False
    headers_only: bool = False
    change_of_value: bool = False
    service_meter: bool = False
    demand_window: str = "clock"

    @property
    def chw_chiller(self) -> float:
        return 2.0 * self.capacity

    @property
    def cw_chiller(self) -> float:
        return 2.8 * self.capacity

    @property
    def chw_exchanger(self) -> float:
        return 2.4 * self.exchanger_load

    @property
    def cw_exchanger(self) -> float:
        return 2.9 * self.exchanger_load

    @property
    def chw_total(self) -> float:
        return self.chillers * self.chw_chiller

    @property
    def loop(self) -> float:
        return self.loop_factor * self.chw_total

    @cached_property
    def ua(self) -> float:
        return exchanger_sized(
            self.exchanger_load, self.chw_exchanger, self.cw_exchanger, 58.0,
            self.exchanger_approach,
        )

    def tower(self, pressure: float) -> Tower:
        return Tower(self.cells, self.tower_size * self.chillers * self.cw_chiller, pressure)

    @cached_property
    def approaches(self) -> tuple[float, float]:
        """Tower and exchanger approach as somebody would have observed them, upward to 0.5 °F:
        economizer load nine tenths, all fans full, wet bulb 37 °F, the site's own air."""
        pressure = 14.696 * (1 - 6.8754e-6 * self.altitude) ** 5.2559
        tons, wet = 0.9 * self.exchanger_load, 37.0
        tower = self.tower(pressure)
        out = tower_balance(tower, tons, wet, self.cw_exchanger, (1.0,) * self.cells)
        return ceil(2 * (out - wet)) / 2, ceil(2 * self.exchanger_approach) / 2

    def clean_ua(self, warm, cold):
        return exchanger_ua(self.ua, warm, cold, self.chw_exchanger, self.cw_exchanger)


@dataclass(frozen=True)
class Sequence:
    """The sequence of operation; minutes, °F, °F/min. The last block is tuning and wiring."""

    enable_delay: int = 30
    tolerance: float = 2.0
    minimum_run: int = 60
    minimum_off: int = 60
    pull_down_longest: int = 180
    condenser_ramp: float = 0.25
    condenser_chiller_mode: float = 62.0
    condenser_margin: float = 0.5
    condenser_lowest: float = 40.0
    lift_margin: float = 5.5
    offset: float = 5.0
    lowest_setpoint: float = 38.0
    release_ramp: float = 0.25
    exit_band: float = 1.5
    exit_delay: int = 15
    weather_over: float = 3.0
    weather_delay: int = 20
    hours: tuple[float, float] | None = None
    cost: bool = False
    cost_margin: float = 1.10
    cost_delay: int = 30
    cost_lockout: int = 240
    stop_to_start: int = 20
    start_to_start: int = 40
    lag_on: float = 0.88
    lag_off: float = 0.62
    lag_delay: int = 15
    valve_minutes: int = 15
    settle_minutes: int = 6

    wet_bulb_bias: float = 0.0
    first_lift_margin: float | None = None  # chiller 1's, where it is another
    bypass_stroke: float = 2.0
    bypass_lag: float = 1.0  # minutes of the sensor's pocket that the bypass is led by
    bypass_gain: tuple[float, float] = (0.03, 0.015)
    fan_gain: tuple[float, float] = (0.10, 0.008)
    fan_rest: int = 12
    fan_wait: int = 3
    fan_band: float = 1.5
    follows_water: bool = True
    releases: bool = True
    stops_chiller: bool = True
    all_at_once: bool = False
    watches_supply: bool = True
    watches_weather: bool = True
    leaves_at: float | None = None
    clock_error: float = 0.0
    restarts_after_alarm: bool = True


@dataclass(frozen=True)
class Fault:
    """One thing wrong. ``program`` changes the sequence as programmed, the rest the plant."""

    program: dict[str, Any] = field(default_factory=dict)
    ua: float = 1.0
    lift_valve_stuck: float | None = None
    passing_valve: float = 0.0
    failed_cell: bool = False
    offset: dict[str, float] = field(default_factory=dict)
    scale: dict[str, float] = field(default_factory=dict)
    frozen: dict[str, tuple[int, int]] = field(default_factory=dict)
    late_clock: tuple[str, int] | None = None
    locked_out: tuple[int, int] | None = None
    drops_out: tuple[int, ...] = ()


@dataclass(frozen=True)
class Scenario:
    """A plant, its specified sequence, a winter and at most one fault."""

    name: str
    plant: Plant
    sequence: Sequence
    weather: str
    start: str
    days: int = 8
    seed: int = 1
    warmer: float = 0.0
    fault: Fault = Fault()
    expected: frozenset[str] = frozenset()
    follows: frozenset[str] = frozenset()  # what the fault may bring with it

    @property
    def sound(self) -> bool:
        return not self.expected

    @property
    def programmed(self) -> Sequence:
        return replace(self.sequence, **self.fault.program)


def chiller_mode_power(plant: Plant, sequence: Sequence, tons: float, setpoint: float) -> float:
    """kW of the whole plant if chillers carried the load now, steady, towers at their setpoint."""
    running = max(1, ceil(tons / (sequence.lag_on * plant.capacity)))
    each = max(tons / running, 0.15 * plant.capacity)
    warm = sequence.condenser_chiller_mode + each * 1.15 * WATER / plant.cw_chiller
    warm = max(warm, setpoint + plant.minimum_lift + sequence.lift_margin)
    compressors = running * chiller_power(each, plant.capacity, setpoint, warm)
    return compressors + running * plant.pump_kw + 0.10 * plant.cells * plant.fan_kw
