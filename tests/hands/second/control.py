"""The plant's controller: modes with timers, reset, towers, bypass, lift, chillers and lags."""

from __future__ import annotations

from math import ceil
from types import SimpleNamespace

from .model import (
    CHILLERS,
    ECONOMIZER,
    HAND_OVER,
    PULL_DOWN,
    RETURN,
    Plant,
    Sequence,
    chiller_mode_power,
)


def between(x: float, points: tuple[float, float], values: tuple[float, float]) -> float:
    share = (x - points[0]) / (points[1] - points[0])
    return values[0] + (values[1] - values[0]) * min(max(share, 0.0), 1.0)


class Controller:
    """One step a minute; reads ``r`` and leaves its commands as attributes."""

    def __init__(self, plant: Plant, sequence: Sequence, locked_out, drops_out) -> None:
        self.plant, self.seq = plant, sequence
        self.locked_out, self.drops_out = locked_out, drops_out
        self.mode, self.since, self.left = CHILLERS, -9999, -9999
        self.low, self.high = plant.reset_range
        self.setpoint = self.active = 0.5 * (self.low + self.high)
        self.cw_setpoint = sequence.condenser_chiller_mode
        self.enable_for = self.cold_for = self.warm_for = self.over_for = self.dear_for = 0
        self.gone_for = 0
        self.exchanger_valve = self.bypass = 0.0
        self.condenser_side = False
        self.error = self.fan_error = 0.0
        self.felt = self.setpoint
        self.fan = 0.3
        self.cells_on, self.fan_changed, self.slow_for, self.fast_for = plant.cells, -99, 0, 0
        self.stage = plant.cells
        n = plant.chillers
        self.run = [i == 0 for i in range(n)]
        self.started, self.stopped = [-9999] * n, [-9999] * n
        self.position, self.lift_error = [1.0] * n, [0.0] * n
        self.busy_for = self.idle_for = 0
        self.locked_until = -1
        self.cause = ""

    # --- which mode -------------------------------------------------------------------------

    def step(self, t: int, r: SimpleNamespace) -> None:
        self._reset(t, r)
        self._mode(t, r)
        self._setpoints(r)
        self._fans(t, r)
        self._bypass(r)
        self._lift(r)
        self._stages(t, r)

    def reach(self, r) -> float:
        """Chilled water that the exchanger could make at this wet bulb, without tolerance."""
        tower, exchanger = self.plant.approaches
        return r.wet_bulb + self.seq.wet_bulb_bias + tower + exchanger

    def allowed(self, hour: float, before: float = 0.0) -> bool:
        """Whether the clock lets the economizer run, ``before`` hours from now too."""
        if self.seq.hours is None:
            return True
        first, last = self.seq.hours
        hour = (hour + self.seq.clock_error) % 24
        return (hour - first) % 24 < (last - first) % 24 - before

    def _go(self, mode: int, t: int) -> None:
        self.mode, self.since = mode, t

    def _mode(self, t: int, r) -> None:
        s, spent = self.seq, t - self.since
        locked = self.locked_out and self.locked_out[0] <= t < self.locked_out[1]
        if self.mode == CHILLERS:
            fit = self.reach(r) + s.tolerance <= self.setpoint
            fit = fit and r.load <= self.plant.exchanger_load and self.allowed(r.hour, 2.5)
            self.enable_for = self.enable_for + 1 if fit and not locked else 0
            rested = t - self.left >= s.minimum_off and t >= self.locked_until
            if self.enable_for > s.enable_delay and rested:
                self._go(PULL_DOWN, t)
                self.cw_setpoint = min(self.cw_setpoint, max(r.cws, self.setpoint))
                self.cold_for = self.gone_for = self.enable_for = 0
        elif self.mode == PULL_DOWN:
            cold = r.cws <= self.setpoint - self.plant.approaches[1] - 0.25
            self.cold_for = self.cold_for + 1 if cold else 0
            self.gone_for = self.gone_for + 1 if self.reach(r) > self.setpoint + 1.0 else 0
            if self.cold_for >= 5:
                self._go(HAND_OVER, t)
            elif spent >= s.pull_down_longest or self.gone_for > s.weather_delay or r.trip:
                self.cause = "pull-down given up"
                self.left = t
                self._go(CHILLERS, t)
        elif self.mode == HAND_OVER:
            self.exchanger_valve = min(1.0, self.exchanger_valve + 1.0 / s.valve_minutes)
            if spent >= s.valve_minutes + s.settle_minutes:
                if s.stops_chiller:
                    for i in range(self.plant.chillers):
                        self._stop(i, t)
                self.warm_for = self.over_for = self.dear_for = 0
                self._go(ECONOMIZER, t)
        elif self.mode == ECONOMIZER:
            self._leave(t, r, spent, locked)
        else:
            proven = sum(part > 0.11 for part in r.part)
            needed = ceil(r.load / (s.lag_on * self.plant.capacity))
            if proven < needed and spent and spent % 8 == 0 and sum(self.run) < needed:
                self._start(t)
            if proven >= min(needed, sum(self.run)) > 0 and spent >= s.settle_minutes:
                self.exchanger_valve = max(0.0, self.exchanger_valve - 1.0 / s.valve_minutes)
            if self.exchanger_valve <= 0.0:
                self.left = t
                self._go(CHILLERS, t)

    def _leave(self, t: int, r, spent: int, locked) -> None:
        s = self.seq
        warm = r.chws > self.setpoint + s.exit_band and r.chws > self.active + s.exit_band
        self.warm_for = self.warm_for + 1 if warm and s.watches_supply else 0
        over = self.reach(r) + s.tolerance > self.setpoint + s.weather_over
        self.over_for = self.over_for + 1 if over and s.watches_weather else 0
        dear = s.cost and r.power > s.cost_margin * chiller_mode_power(
            self.plant, s, r.load, self.setpoint
        )
        self.dear_for = self.dear_for + 1 if dear and spent > 45 else 0
        cause = ""
        if self.warm_for >= s.exit_delay:
            cause = "supply"
        elif spent >= s.minimum_run and self.over_for >= s.weather_delay:
            cause = "weather"
        elif not self.allowed(r.hour):
            cause = "clock"
        elif spent >= s.minimum_run and self.dear_for >= s.cost_delay:
            cause, self.locked_until = "cost", t + s.cost_lockout
        elif locked:
            cause = "by hand"
        elif s.leaves_at is not None and abs(r.hour - s.leaves_at) < 0.009:
            cause = "program"
        elif t in self.drops_out:
            cause = "fail-safe"
        if cause:
            self.cause = cause
            self._go(RETURN, t)
            self._start(t)
            if s.all_at_once:
                for _ in range(self.plant.chillers - 1):
                    self._start(t)

    # --- setpoints --------------------------------------------------------------------------

    def _reset(self, t: int, r) -> None:
        if t % 5 or self.mode in (PULL_DOWN, HAND_OVER, RETURN):
            return
        p, span = self.plant, (self.high, self.low)
        if p.reset == "valves":
            move = -0.2 if r.most_open > 93 else 0.1 if r.most_open < 85 else 0.0
            wanted = self.setpoint + move
        elif p.reset == "outdoor":
            wanted = between(r.dry_bulb, (38.0, 62.0), span)
        elif p.reset == "load":
            wanted = between(r.load / (p.chillers * p.capacity), (0.2, 0.7), span)
        else:
            wanted = between(r.pressure, (9.0, 17.0), span)
        wanted = min(max(wanted, self.low), self.high)
        step = min(max(wanted - self.setpoint, -0.2), 0.2)
        self.setpoint += step if p.reset == "valves" else 0.5 * step

    def _setpoints(self, r) -> None:
        s, p = self.seq, self.plant
        wanted = self.setpoint
        lowered = p.head == "setpoint" and s.follows_water and any(self.run)
        if lowered or (not s.releases and self.active < self.setpoint - 1.0):
            wanted = min(wanted, max(s.lowest_setpoint, min(r.cws, r.cws_slow) - s.offset))
            if not any(self.run):
                wanted = self.active
        if p.head == "setpoint":
            up = s.release_ramp if lowered or self.mode == ECONOMIZER else 1.0
            self.active += min(max(wanted - self.active, -0.7), up)
        else:
            self.active = wanted
        if self.mode in (CHILLERS, RETURN):
            target = s.condenser_chiller_mode
        else:
            target = self.setpoint - p.approaches[1] - s.condenser_margin
            target = max(target, s.condenser_lowest)
        move = target - self.cw_setpoint
        self.cw_setpoint += min(max(move, -s.condenser_ramp), s.condenser_ramp)
        self.condenser_side = self.exchanger_valve > 0 or (
            self.mode == HAND_OVER or self.mode == PULL_DOWN and p.head != "setpoint"
        )

    # --- towers, bypass, lift ---------------------------------------------------------------

    def _fans(self, t: int, r) -> None:
        s, p = self.seq, self.plant
        error = r.cws - self.cw_setpoint
        rested = t - self.fan_changed >= s.fan_rest
        if p.fans == "two-speed":
            self.fast_for = self.fast_for + 1 if error > s.fan_band else 0
            self.slow_for = self.slow_for + 1 if error < -s.fan_band else 0
            if rested and self.fast_for >= s.fan_wait and self.stage < 2 * p.cells:
                self.stage, self.fan_changed = self.stage + 1, t
            elif rested and self.slow_for >= s.fan_wait and self.stage > 0:
                self.stage, self.fan_changed = self.stage - 1, t
            return
        kp, ki = s.fan_gain
        self.fan += kp * (error - self.fan_error) + ki * error
        self.fan = min(max(self.fan, 0.0), 1.0)
        self.fan_error = error
        self.fast_for = self.fast_for + 1 if self.fan > 0.7 or (
            self.cells_on == 0 and error > s.fan_band) else 0
        self.slow_for = self.slow_for + 1 if self.fan <= 0.0 and error < -s.fan_band else 0
        if rested and self.fast_for >= min(8, s.fan_rest) and self.cells_on < p.cells:
            self.cells_on, self.fan_changed = self.cells_on + 1, t
            started = s.fan_gain[0] * error  # the first cell starts with its share at once
            share = (self.cells_on - 1) / self.cells_on
            self.fan = self.fan * share if self.cells_on > 1 else started
        elif rested and self.slow_for >= min(8, s.fan_rest) and self.cells_on > 0:
            self.cells_on, self.fan_changed = self.cells_on - 1, t

    def speeds(self) -> tuple[float, ...]:
        """Speed of each cell's fan, share of full."""
        n = self.plant.cells
        if self.plant.fans == "two-speed":
            return tuple(
                1.0 if i < self.stage - n else 0.5 if i < self.stage else 0.0 for i in range(n)
            )
        speed = 0.25 + 0.75 * self.fan
        return tuple(speed if i < self.cells_on else 0.0 for i in range(n))

    def _bypass(self, r) -> None:
        """Hold the common supply by water led around the exchanger."""
        kp, ki = self.seq.bypass_gain
        self.felt += (r.chws - self.felt) / self.seq.bypass_lag
        error = self.felt - (self.setpoint if self.mode == RETURN else self.active)
        if self.exchanger_valve > 0:
            self.bypass -= kp * (error - self.error) + ki * error
            self.bypass = min(max(self.bypass, 0.0), 0.85)
        elif self.exchanger_valve <= 0:
            self.bypass = 0.3 if self.plant.head != "setpoint" else 0.0
        self.error = error

    def _lift(self, r) -> None:
        if self.plant.head == "setpoint":
            return
        for i, on in enumerate(self.run):
            own = self.seq.first_lift_margin if i == 0 else None
            margin = self.seq.lift_margin if own is None else own
            target = self.plant.minimum_lift + margin
            if not on and r.part[i] <= 0:
                self.position[i], self.lift_error[i] = 0.45, 0.0
                continue
            error = r.lift[i] - target
            change = 0.06 * (error - self.lift_error[i]) + 0.14 * error
            p = self.position[i] + change / max(r.range[i], 6.0)  # the valve's gain is its range
            self.position[i], self.lift_error[i] = min(max(p, 0.08), 1.0), error

    # --- chillers ---------------------------------------------------------------------------

    def _ready(self, i: int, t: int) -> bool:
        rested = t - self.stopped[i] >= self.seq.stop_to_start
        return not self.run[i] and rested and t - self.started[i] >= self.seq.start_to_start

    def _start(self, t: int) -> bool:
        ready = [i for i in range(self.plant.chillers) if self._ready(i, t)]
        if ready:
            self.run[ready[0]], self.started[ready[0]] = True, t
        return bool(ready)

    def _stop(self, i: int, t: int) -> None:
        if self.run[i]:
            self.run[i], self.stopped[i] = False, t

    def _stages(self, t: int, r) -> None:
        for i in range(self.plant.chillers):
            if r.tripped[i]:
                self._stop(i, t)
                self.started[i] = t
        on = sum(self.run)
        if self.mode in (ECONOMIZER, HAND_OVER):
            return
        loads = [r.part[i] for i in range(self.plant.chillers) if self.run[i]]
        full = bool(loads) and min(loads) > self.seq.lag_on
        warm = r.chws > self.active + 2.0 and self.mode != RETURN and bool(loads)
        self.busy_for = self.busy_for + 1 if full or warm else 0
        if on == 0 or self.busy_for >= self.seq.lag_delay:
            if self._start(t):
                self.busy_for = 0
        light = on > 1 and sum(loads) / (on - 1) < self.seq.lag_off + 0.1 * (on > 2)
        self.idle_for = self.idle_for + 1 if light else 0
        if self.idle_for >= 25:
            last = max((i for i in range(self.plant.chillers) if self.run[i]),
                       key=lambda i: self.started[i])
            if t - self.started[last] > 40:
                self._stop(last, t)
                self.idle_for = 0
