"""The sequence of operation: when to change over, what to hold, when to leave."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from sample_trends.generator.plant import Orders
from sample_trends.generator.scenario import Design, Sequence
from sample_trends.generator.staging import Staging
from sample_trends.generator.towers import Towers

CHILLERS, PULL_DOWN, HANDOVER, ECONOMIZER, LEAVING = (
    "chillers", "pull-down", "handover", "economizer", "leaving",
)
_LEAVE_MINUTES = 6


@dataclass
class Readings:
    """What the controller sees in a minute: its own sensors and proofs."""

    minute: int
    outdoor: float
    wet: float
    supply: float
    cw: float
    load: float
    valve: float
    alarm: list[bool]


class Controls:
    """The controller's memory; ``step`` turns readings into orders.

    ``tell`` is called with a word and a detail at every event, for the truth beside the
    trends.
    """

    def __init__(
        self, sequence: Sequence, design: Design, tell: Callable[[str, str], None]
    ) -> None:
        self.sequence, self.design, self.tell = sequence, design, tell
        self.towers = Towers(sequence, design.tower_cells)
        self.mode = CHILLERS
        self.staging = Staging(design.chillers, design.capacity)
        self.reset = self.active = 46.0
        self.cw_setpoint = sequence.chiller_mode_cw
        self.command = False
        self._outdoor: float | None = None
        self._held = self._ready = self._above = self._open = 0
        self._in_mode = 0
        self._since_exit = 10_000
        self._attempts: tuple[int, int] = (-1, 0)
        self._recovering = False
        self._held_since = 0

    def settle(self) -> None:
        """Forget what the first minutes left behind: no condition held, no recent exit."""
        self._held, self._since_exit = 0, 10_000

    def step(self, seen: Readings) -> Orders:
        """One minute of the sequence."""
        self._in_mode += 1
        self._since_exit += 1
        self._reset(seen.outdoor)
        self.staging.step(seen.alarm, self.tell)
        getattr(self, "_" + self.mode.replace("-", "_"))(seen)
        self.towers.step(seen.cw, self._fan_target())
        if self.mode == ECONOMIZER and self.sequence.fan_override:
            self.towers.by_hand(self.sequence.fan_override)
        return self._orders()

    # -- what holds in every mode ------------------------------------------------------

    def _reset(self, outdoor: float) -> None:
        s = self.sequence
        if self._outdoor is None:
            self._outdoor = outdoor
        self._outdoor += (outdoor - self._outdoor) / 30.0
        span = s.reset_warm_outdoor - s.reset_cold_outdoor
        share = min(1.0, max(0.0, (self._outdoor - s.reset_cold_outdoor) / span))
        # To the hundredth, as it is trended: what a reader compares is what the plant compared.
        self.reset = round(s.reset_cold + share * (s.reset_warm - s.reset_cold), 2)

    def _orders(self) -> Orders:
        return Orders(
            chw_setpoint=self.active,
            exchanger=self.mode in (HANDOVER, ECONOMIZER)
            or (self.mode == LEAVING and self._in_mode < _LEAVE_MINUTES - 1),
            exchanger_opening=self.sequence.exchanger_opening,
            condenser_water_through_exchanger=self.mode in (PULL_DOWN, HANDOVER, ECONOMIZER),
            fan_speed=self.towers.speed,
            cells_on=self.towers.on,
            chillers_on=self.staging.wanted,
            clear_alarm=self.staging.cleared,
            condenser_valve=[self._condenser_valve(n) for n in range(self.design.chillers)],
        )

    def _condenser_valve(self, n: int) -> float:
        """After an exit a chiller starts on cold water: throttled, then opened slowly."""
        if self._since_exit > 120 or self.mode in (PULL_DOWN, HANDOVER):
            return 1.0
        start = self.sequence.start_condenser_valve
        return min(1.0, max(start, start + (self.staging.since_start[n] - 15) / 40.0))

    def _enter(self, mode: str) -> None:
        self.mode, self._in_mode = mode, 0
        self._held = self._ready = self._above = self._open = 0
        self.staging.forget()

    # -- chiller mode ------------------------------------------------------------------

    def _chillers(self, seen: Readings) -> None:
        self.active = self.reset
        self._warm_condenser_water()
        self.staging.by_load(seen.load)
        self._held = self._held + 1 if self._condition(seen) else 0
        if self._held > self.sequence.dwell and self._allowed(seen):
            self._request(seen)

    def _warm_condenser_water(self) -> None:
        s = self.sequence
        self.cw_setpoint = min(s.chiller_mode_cw, self.cw_setpoint + s.cw_ramp)

    def _condition(self, seen: Readings) -> bool:
        s = self.sequence
        needed = s.tower_approach + s.exchanger_approach + 2.0 * s.tolerance
        return seen.wet + needed <= self.reset

    def _allowed(self, seen: Readings) -> bool:
        s = self.sequence
        day = seen.minute // 1440
        if self._attempts[0] == day and self._attempts[1] >= s.attempts_per_day:
            return False
        return self._since_exit > s.rest

    def _request(self, seen: Readings) -> None:
        day = seen.minute // 1440
        self._attempts = (day, self._attempts[1] + 1 if self._attempts[0] == day else 1)
        self.command = True
        self.cw_setpoint = seen.cw
        self.towers.all_on()
        if self.sequence.pull_with_all:
            self.staging.start_all()
        self._enter(PULL_DOWN)
        self.tell("request", "")

    # -- changeover to the economizer --------------------------------------------------

    def _pull_down(self, seen: Readings) -> None:
        s = self.sequence
        coldest = self.reset - s.exchanger_approach - s.handover_margin - 0.7
        self.cw_setpoint = max(coldest, self.cw_setpoint - s.cw_ramp)
        self._follow(seen)
        self._ready = self._ready + 1 if self._can_carry(seen) else 0
        if self.staging.tripped:
            self._abandon("trip")
        elif self._ready >= s.handover_hold:
            self._enter(HANDOVER)
        elif self._in_mode > s.longest_pull_down:
            self._abandon("pull-down too long")

    def _follow(self, seen: Readings) -> None:
        """The temporary setpoint goes down with the condenser water, never below the floor."""
        s = self.sequence
        if not s.follow:
            self.active = s.fixed_temporary or self.reset
            return
        self.active = min(self.reset, max(s.floor, round(seen.cw - s.offset, 2)))

    def _can_carry(self, seen: Readings) -> bool:
        s = self.sequence
        return seen.cw + s.exchanger_approach <= self.reset - s.handover_margin

    def _abandon(self, why: str) -> None:
        self.tell("abandoned", why)
        self.command = False
        self._since_exit = 0
        self.staging.rotate()
        self._enter(CHILLERS)

    def _handover(self, seen: Readings) -> None:
        self._follow(seen)
        if self.staging.tripped:
            self._abandon("trip")
            return
        if self.sequence.chiller_left_on and sum(self.staging.on) == 1:
            self._wait_beside_the_chiller(seen)
        elif seen.valve >= 0.95:
            self._open += 1
            spacing = self.sequence.stop_spacing
            if self._open >= spacing - 1 and self._in_mode % spacing == 0:
                self.staging.stop_last()
        if not any(self.staging.on):
            self._carry()

    def _wait_beside_the_chiller(self, seen: Readings) -> None:
        """The last chiller does not stop; the plant gives up when the wet bulb has risen."""
        s = self.sequence
        if seen.wet + s.tower_approach + s.exchanger_approach > self.reset:
            self._abandon("the last chiller stayed on")

    def _carry(self) -> None:
        self._recovering = True
        self._held_since = 0
        self._enter(ECONOMIZER)
        self.tell("handover", "")

    # -- economizer run ----------------------------------------------------------------

    def _economizer(self, seen: Readings) -> None:
        if self._recovering:
            self._return()
        else:
            self.active = self.reset
        self.cw_setpoint = self._run_cw_setpoint(seen)
        if self._time_to_leave(seen):
            self._leave()

    def _return(self) -> None:
        s = self.sequence
        self._held_since += 1
        if self._held_since <= s.release_delay:
            return
        self.active = round(self.active + (s.return_rate or 99.0), 3)
        if self.active >= self.reset:
            self.active = self.reset
            self._recovering = False
            self.tell("recovered", "")

    def _fan_target(self) -> float:
        """While the setpoint returns, no colder water than the reset will soon ask for."""
        s = self.sequence
        if self.mode != ECONOMIZER or not (self._recovering or s.return_swing):
            return self.cw_setpoint
        held_back = self.reset - s.exchanger_approach - s.recovery_depth
        return max(self.cw_setpoint, held_back) + self._hunting()

    def _hunting(self) -> float:
        """Fans that swing to and fro after the handover, where the scenario asks for it."""
        early = self._in_mode < 240
        up = (self._in_mode // 20) % 2 == 0
        return self.sequence.return_swing * (1.0 if up else -1.0) if early else 0.0

    def _run_cw_setpoint(self, seen: Readings) -> float:
        s = self.sequence
        if s.tower_run == "wet_bulb":
            return seen.wet + s.tower_wet_bulb_approach
        return self.active - s.exchanger_approach

    def _time_to_leave(self, seen: Readings) -> bool:
        s = self.sequence
        # While the setpoint returns it lies below what the exchanger makes by intent.
        setpoint = self.reset if self._recovering else self.active
        above = seen.supply - setpoint > s.exit_band
        self._above = self._above + 1 if above else 0
        if s.longest_stay and self._in_mode >= s.longest_stay:
            return True
        if s.leave_with_condition and not self._condition(seen):
            return True
        return self._above > s.exit_delay and self._in_mode >= s.shortest_stay

    def _leave(self) -> None:
        self.command = False
        self.staging.rotate()
        self._recovering = False
        self._enter(LEAVING)
        self.tell("leave", "")

    def _leaving(self, seen: Readings) -> None:
        self.active = self.reset
        self._warm_condenser_water()
        if self._in_mode == self.sequence.start_delay:
            self._start_enough(seen.load)
            self._since_exit = 0
            self.tell("exit", "")
        if self._in_mode >= _LEAVE_MINUTES + self.sequence.start_delay:
            self._enter(CHILLERS)

    def _start_enough(self, load: float) -> None:
        wanted = max(1, math.ceil(load / (0.95 * self.design.capacity)))
        for _ in range(wanted - sum(self.staging.on)):
            self.staging.start_next()
