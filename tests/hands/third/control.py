"""The controller of the third hand: three modes, their timers, three setpoints."""

from __future__ import annotations

import numpy as np

from tests.hands.second.sensors import Sensors

from .model import (
    CHILLERS,
    ECONOMIZER,
    GPM_PER_TON,
    M3S_PER_GPM,
    PULL_DOWN,
    WATTS_PER_TON,
    Scenario,
)

READ = {"outdoor_wet_bulb": "wet", "outdoor_dry_bulb": "dry", "chw_supply_temp": "supply",
        "cw_supply_temp": "sump"}


class Controller:
    """One step a minute, on the readings of the minute before."""

    def __init__(self, scenario: Scenario) -> None:
        self.sc, self.p, self.seq = scenario, scenario.plant, scenario.programmed
        sensors = Sensors(None, scenario.fault, scenario.seed, scenario.days * 1440)  # type: ignore
        self.readers = {name: sensors.reader(name) for name in READ}
        self.mode, self.since, self.left = CHILLERS, -999, -999
        _, high, _, low = self.p.reset_line
        self.reset = self.active = 0.5 * (low + high)
        self.condenser = self.seq.condenser_chillers
        self.fit_for = self.cold_for = self.warm_for = self.over_for = 0
        self.seen = dict.fromkeys(READ, 0.0)

    def reach(self, wet: float) -> float:
        """Chilled water that the exchanger can make."""
        return wet + sum(self.p.approaches) + self.seq.reach_error

    def step(self, t: int, true: dict[str, float], load: float) -> None:
        r = {name: read(max(t - 1, 0), true[READ[name]]) for name, read in self.readers.items()}
        self.seen = r
        cold, top, warm, low = self.p.reset_line
        wanted = float(np.interp(r["outdoor_dry_bulb"], (cold, warm), (top, low)))
        self.reset += 0.1 * (wanted - self.reset)
        self._mode(t, r, load)
        self._setpoints(r)

    def _go(self, mode: int, t: int) -> None:
        self.mode, self.since = mode, t

    def _mode(self, t: int, r: dict[str, float], load: float) -> None:
        s, spent = self.seq, t - self.since
        a, b = self.sc.fault.locked_out or (0, 0)
        room = self.reset - self.reach(r["outdoor_wet_bulb"])
        if self.mode == CHILLERS:
            fit = room >= s.tolerance and load <= self.p.exchanger_load and not a <= t < b
            self.fit_for = self.fit_for + 1 if fit else 0
            if self.fit_for > s.enable_delay and t - self.left >= s.minimum_off:
                self._go(PULL_DOWN, t)
                self.condenser = min(self.condenser, r["cw_supply_temp"])
                self.fit_for = self.cold_for = 0
        elif self.mode == PULL_DOWN:
            ready = r["cw_supply_temp"] <= self.reset - self.p.approaches[1] - 0.5
            self.cold_for = self.cold_for + 1 if ready else 0
            if self.cold_for >= 5:
                self._go(ECONOMIZER, t)
                self.warm_for = self.over_for = 0
            elif spent >= s.pull_down_longest:
                self._back(t, r)
        else:
            self._leave(t, r, spent, room)

    def _back(self, t: int, r: dict[str, float]) -> None:
        self._go(CHILLERS, t)
        self.left = t
        # fans slow down at once: chillers and full fans together would set a demand peak
        self.condenser = max(self.condenser, r["cw_supply_temp"] + 4.0)

    def _leave(self, t: int, r: dict[str, float], spent: int, room: float) -> None:
        s = self.seq
        warm = r["chw_supply_temp"] > max(self.reset, self.active) + s.exit_band
        self.warm_for = self.warm_for + 1 if warm and s.watches_supply else 0
        over = room < -s.weather_over and s.watches_weather
        self.over_for = self.over_for + 1 if over else 0
        if (self.warm_for >= s.exit_delay
                or self.over_for >= s.weather_delay and spent >= s.minimum_run
                or s.leaves_at is not None and abs(t / 60 % 24 - s.leaves_at) < 0.009):
            self._back(t, r)

    def _setpoints(self, r: dict[str, float]) -> None:
        s = self.seq
        lowering = self.mode != ECONOMIZER and s.follows
        if self.p.means == "temporary setpoint" and lowering:
            wanted = min(self.reset, max(s.lowest_setpoint, r["cw_supply_temp"] - s.offset))
        else:
            wanted = self.reset if s.releases or self.active > self.reset - 1.0 else self.active
        self.active += float(np.clip(wanted - self.active, -0.2, s.release_ramp))
        target = s.condenser_chillers if self.mode == CHILLERS else (
            self.reset - self.p.approaches[1] - s.condenser_margin)
        self.condenser += float(np.clip(target - self.condenser, -s.condenser_ramp,
                                        s.condenser_ramp))

    def commands(self, load: float) -> dict[str, float]:
        """Values of EnergyPlus's schedules: °C, W, shares."""
        def celsius(fahrenheit: float) -> float:
            return (fahrenheit - 32.0) / 1.8

        flow = max(GPM_PER_TON * load, 0.4 * GPM_PER_TON * self.p.capacity) * M3S_PER_GPM
        full = GPM_PER_TON * max(self.p.chillers * self.p.capacity,
                                 1.15 * self.p.exchanger_load) * M3S_PER_GPM
        return {"CHWSP": celsius(self.active), "CWSP": celsius(self.condenser),
                "LoadW": -load * WATTS_PER_TON, "Flow": flow / full,
                "ChOn": float(self.mode != ECONOMIZER), "HXOn": float(self.mode == ECONOMIZER)}

    def states(self) -> dict[str, float]:
        seen = {f"seen_{name}": value for name, value in self.seen.items()}
        return {"mode": self.mode, "reset": self.reset, "active": self.active,
                "cw_setpoint": self.condenser, **seen}
