"""The plant's physics: loop, chillers, exchanger, towers and sump, one minute a step.

Heat in tons, temperatures in degF, flows in gpm: one ton warms 24 gpm by one degF.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from sample_trends.generator.air import saturated_enthalpy
from sample_trends.generator.refrigerant import saturation_pressure
from sample_trends.generator.scenario import Design

GPM_F_PER_TON = 24.0
KW_PER_TON = 3.5169
_CONDENSER_GPM_PER_TON = 2.4
_AIR_PER_WATER = 1.28
_TOWER_TRANSFER = 1.75
_STILL_AIR = 0.06
_LOAD_RISE_PER_MINUTE = 0.12


@dataclass
class Orders:
    """What the controls want of the plant in the next minute."""

    chw_setpoint: float = 46.0
    exchanger: bool = False
    exchanger_opening: float = 0.4
    condenser_water_through_exchanger: bool = False
    fan_speed: float = 0.0
    cells_on: int = 1
    chillers_on: list[bool] = field(default_factory=list)
    condenser_valve: list[float] = field(default_factory=list)
    clear_alarm: list[bool] = field(default_factory=list)


@dataclass
class Chiller:
    """One chiller's state."""

    capacity: float
    running: bool = False
    alarm: bool = False
    minutes: int = 0
    load: float = 0.0
    power: float = 0.0
    chw_leaving: float = 52.0
    cw_leaving: float = 62.0
    evaporating: float = 60.0
    condensing: float = 60.0
    low_lift_minutes: int = 0
    flow: float = 0.0
    condenser_flow: float = 0.0


class Plant:
    """All state of the plant; ``step`` moves it on by a minute."""

    def __init__(self, design: Design, pressure: float) -> None:
        self.design = design
        self.pressure = pressure
        self.chillers = [Chiller(design.capacity) for _ in range(design.chillers)]
        self.sump = 60.0
        self.supply = 46.0
        self.building = 46.0
        self.returning = 57.0
        self.building_flow = 500.0 * design.scale
        self.flow = self.building_flow
        self.valve = 0.0
        self.hx_entering = 57.0
        self.hx_leaving = 60.0
        self.hx_cw_leaving = 60.0
        self.hx_flow = 0.0
        self.hx_cw_flow = 0.0
        self.tower_return = 66.0
        self.cw_flow = 0.0

    def step(self, load: float, wet: float, orders: Orders) -> None:
        """Let a minute pass with this cooling load and wet bulb."""
        self._building(load)
        self._valve(orders)
        self._branches(orders)
        self._condenser_side(orders)
        self._tower(wet, orders)

    # -- chilled water -----------------------------------------------------------------

    def _building(self, load: float) -> None:
        design = self.design
        rise = min(14.0, max(8.0, 9.5 + 0.3 * (48.0 - self.building)))
        wanted = load * GPM_F_PER_TON / rise
        self.building_flow += 0.25 * (wanted - self.building_flow)
        self.flow = self.building_flow * (1.0 + design.primary_surplus)
        passing = self.building_flow / (0.35 * design.loop_volume)
        self.building += (self.delivered - self.building) * passing / (1.0 + passing)
        leaving = self.building + load * GPM_F_PER_TON / self.building_flow
        passing = self.building_flow / (0.65 * design.loop_volume)
        self.returning += (leaving - self.returning) * passing / (1.0 + passing)

    @property
    def delivered(self) -> float:
        """Supply to the building, where the supply sensor sits: past the decoupler."""
        short = max(0.0, -self.design.primary_surplus)
        return (1.0 - short) * self.supply + short * self.returning

    @property
    def decoupler_flow(self) -> float:
        """Positive from supply to return."""
        return self.flow - self.building_flow

    @property
    def entering(self) -> float:
        """Chilled water entering chillers and exchanger."""
        surplus = max(0.0, self.design.primary_surplus)
        return (self.returning + surplus * self.supply) / (1.0 + surplus)

    def _valve(self, orders: Orders) -> None:
        wanted = 1.0 if orders.exchanger else 0.0
        self.valve += min(orders.exchanger_opening, max(-0.4, wanted - self.valve))

    def _branches(self, orders: Orders) -> None:
        entering, scale = self.entering, self.design.scale
        pairs = zip(self.chillers, orders.chillers_on, strict=True)
        weights = [self._open(chiller, on) for chiller, on in pairs]
        through_exchanger = self.valve * 600.0 * scale
        total = sum(weights) + through_exchanger
        header = 0.0
        for n, chiller in enumerate(self.chillers):
            chiller.flow = self.flow * weights[n] / total if total else 0.0
            self._chiller(n, entering, orders)
            header += chiller.flow * chiller.chw_leaving
        self.hx_flow = self.flow * through_exchanger / total if total else 0.0
        self._exchanger(entering, orders)
        header += self.hx_flow * self.hx_leaving
        if total:
            self.supply += 0.7 * (header / self.flow - self.supply)

    def _open(self, chiller: Chiller, on: bool) -> float:
        share = 1.0 if on or chiller.running else self.design.idle_leak
        return share * chiller.capacity

    # -- chiller -----------------------------------------------------------------------

    def _chiller(self, n: int, entering: float, orders: Orders) -> None:
        chiller = self.chillers[n]
        if orders.clear_alarm[n]:
            chiller.alarm = False
        running = orders.chillers_on[n] and not chiller.alarm
        chiller.minutes = chiller.minutes + 1 if running == chiller.running else 0
        chiller.running = running
        if running:
            self._cool(chiller, entering, orders.chw_setpoint)
            self._lift(chiller)
        else:
            self._rest(chiller, entering)

    def _cool(self, chiller: Chiller, entering: float, setpoint: float) -> None:
        passing = max(1.0, chiller.flow) / GPM_F_PER_TON
        wanted = min(1.12 * chiller.capacity, max(0.0, passing * (entering - setpoint)))
        most = chiller.load + _LOAD_RISE_PER_MINUTE * chiller.capacity
        chiller.load = min(wanted, most)
        leaving = entering - chiller.load / passing
        chiller.chw_leaving += 0.6 * (leaving - chiller.chw_leaving)
        part = chiller.load / chiller.capacity
        chiller.evaporating = chiller.chw_leaving - 0.8 - 2.0 * part
        chiller.condensing = chiller.cw_leaving + 0.8 + 2.0 * part
        chiller.power = chiller_power(chiller)

    def _lift(self, chiller: Chiller) -> None:
        """Too little lift for three minutes on end trips the chiller."""
        low = chiller.cw_leaving - chiller.chw_leaving < self.design.trip_lift
        settled = chiller.minutes > 5
        chiller.low_lift_minutes = chiller.low_lift_minutes + 1 if low and settled else 0
        if chiller.low_lift_minutes >= 3:
            chiller.alarm = True

    def _rest(self, chiller: Chiller, entering: float) -> None:
        chiller.load = chiller.power = 0.0
        chiller.low_lift_minutes = 0
        target = entering if chiller.flow > 1.0 else 66.0
        pace = 0.3 if chiller.flow > 1.0 else 0.004
        chiller.chw_leaving += pace * (target - chiller.chw_leaving)
        even = 0.5 * (chiller.chw_leaving + chiller.cw_leaving)
        chiller.evaporating += 0.05 * (even - chiller.evaporating)
        chiller.condensing += 0.05 * (even - chiller.condensing)

    def pressures(self, chiller: Chiller) -> tuple[float, float]:
        """Refrigerant pressure in evaporator and condenser [psia]."""
        name = self.design.refrigerant
        return (
            saturation_pressure(name, chiller.evaporating),
            saturation_pressure(name, chiller.condensing),
        )

    # -- exchanger ---------------------------------------------------------------------

    def _exchanger(self, entering: float, orders: Orders) -> None:
        scale = self.design.scale
        through = orders.condenser_water_through_exchanger or self.valve > 0.0
        wanted = 1050.0 * scale if through else 0.0
        self.hx_cw_flow += 0.5 * (wanted - self.hx_cw_flow)
        if not through and self.hx_cw_flow < 5.0:
            self.hx_cw_flow = 0.0
        heat = 0.0
        if self.hx_flow > 1.0 and self.hx_cw_flow > 1.0:
            heat = self._exchanged(entering)
            self.hx_leaving = entering - heat * GPM_F_PER_TON / self.hx_flow
            self.hx_entering = entering
        else:
            still = self.sump if self.hx_cw_flow > 1.0 else 66.0
            self.hx_leaving += 0.01 * (still - self.hx_leaving)
            self.hx_entering += 0.01 * (still - self.hx_entering)
        if self.hx_cw_flow > 1.0:
            self.hx_cw_leaving = self.sump + heat * GPM_F_PER_TON / self.hx_cw_flow
        else:
            self.hx_cw_leaving += 0.01 * (66.0 - self.hx_cw_leaving)

    def _exchanged(self, entering: float) -> float:
        """Counterflow effectiveness; film conductance goes with flow to the power 0.7."""
        scale, design = self.design.scale, self.design
        clean = 300.0 * scale * 24.0 / 3.0
        hot = (self.hx_flow / (800.0 * scale)) ** 0.7
        cold = (self.hx_cw_flow / (1050.0 * scale)) ** 0.7
        ua = design.ua * clean / (0.5 / hot + 0.5 / cold)
        small, large = sorted((self.hx_flow, self.hx_cw_flow))
        ratio, units = small / large, ua / small
        if abs(1.0 - ratio) < 1e-4:
            effectiveness = units / (1.0 + units)
        else:
            decay = math.exp(-units * (1.0 - ratio))
            effectiveness = (1.0 - decay) / (1.0 - ratio * decay)
        return effectiveness * small * (entering - self.sump) / GPM_F_PER_TON

    # -- condenser water ---------------------------------------------------------------

    def _condenser_side(self, orders: Orders) -> None:
        heat_flow = self.hx_cw_flow * self.hx_cw_leaving
        self.cw_flow = self.hx_cw_flow
        for n, chiller in enumerate(self.chillers):
            self._condenser(chiller, orders.condenser_valve[n])
            heat_flow += chiller.condenser_flow * chiller.cw_leaving
            self.cw_flow += chiller.condenser_flow
        if self.cw_flow > 1.0:
            self.tower_return += 0.6 * (heat_flow / self.cw_flow - self.tower_return)

    def _condenser(self, chiller: Chiller, opening: float) -> None:
        wanted = chiller.capacity * _CONDENSER_GPM_PER_TON * opening if chiller.running else 0.0
        chiller.condenser_flow += 0.6 * (wanted - chiller.condenser_flow)
        if not chiller.running and chiller.condenser_flow < 3.0:
            chiller.condenser_flow = 0.0
        if chiller.condenser_flow > 1.0:
            heat = chiller.load + chiller.power / KW_PER_TON
            leaving = self.sump + heat * GPM_F_PER_TON / chiller.condenser_flow
            chiller.cw_leaving += 0.6 * (leaving - chiller.cw_leaving)
        else:
            chiller.cw_leaving += 0.004 * (66.0 - chiller.cw_leaving)

    def _tower(self, wet: float, orders: Orders) -> None:
        if self.cw_flow <= 1.0:
            return
        cells = self.design.tower_cells
        on = min(cells, orders.cells_on)
        with_fan = self._cell(wet, max(_STILL_AIR, orders.fan_speed)) if on else 0.0
        still = self._cell(wet, _STILL_AIR) if on < cells else 0.0
        cooled = (on * with_fan + (cells - on) * still) / cells
        passing = self.cw_flow / self.design.sump_volume
        basin = self.tower_return - cooled
        self.sump += (basin - self.sump) * passing / (1.0 + passing)

    def _cell(self, wet: float, air_share: float) -> float:
        """Range of a cell's water: effectiveness on saturated-air enthalpy (Braun's form)."""
        warm = self.tower_return
        top = saturated_enthalpy(warm, self.pressure)
        bottom = saturated_enthalpy(wet, self.pressure)
        slope = (top - bottom) / max(0.5, warm - wet)
        full_air = _AIR_PER_WATER * 1100.0 * self.design.scale
        air = full_air * air_share / self.cw_flow
        units = _TOWER_TRANSFER * air**-0.4
        spread = air * slope + 1e-9
        decay = math.exp(-units * (1.0 - spread))
        effectiveness = (1.0 - decay) / (1.0 - spread * decay)
        return effectiveness * air * (top - bottom)


def chiller_power(chiller: Chiller) -> float:
    """Power [kW]: ideal work between refrigerant temperatures over a part-load efficiency."""
    part = chiller.load / chiller.capacity
    lift = max(4.0, chiller.condensing - chiller.evaporating)
    ideal = KW_PER_TON * lift / (chiller.evaporating + 459.67)
    efficiency = 0.70 - 0.22 * (part - 0.75) ** 2
    return chiller.load * ideal / efficiency + 0.045 * chiller.capacity
