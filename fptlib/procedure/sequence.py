"""The sequence of operation as a state machine: mode, active setpoint and timers, minute by minute.

It knows no plant and no trends: what it reads goes in, what it wants comes out. Chillers carry the
load until the enable condition has held for its delay; the sump is pulled cold under a chiller
whose setpoint goes down with it; the exchanger opens and the chillers stop one after another; the
setpoint ramps back; and the plant leaves when the chilled water has been too warm, or the exchanger
dearer than chillers, for the delay.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fptlib.limits import Limits

CHILLERS, PULL_DOWN, TRANSITION, ECONOMIZER = range(4)


@dataclass(frozen=True)
class Settings:
    """The numbers of the sequence: temperatures in degF, times in minutes, ``rate`` in degF within
    ten minutes; ``weather_exit`` and ``cost_delay`` are ``None`` where the sequence has no such
    exit."""

    tower_approach: float
    exchanger_approach: float
    tower_tolerance: float = 1.5
    exchanger_tolerance: float = 1.5
    delay: float = 30.0
    run_time: float = 120.0
    off_time: float = 30.0
    per_day: float = 2.0
    offset: float = 8.0
    lowest: float = 38.0
    # Condenser water plus exchanger approach lies below the reset setpoint by so much at the
    # transition; over ``opening`` the exchanger's valve opens, ``spacing`` later a chiller stops.
    margin: float = 0.0
    opening: float = 0.0
    spacing: float = 0.0
    longest_pull_down: float = 180.0
    release: float = 0.0
    rate: float = 2.0
    band: float = 1.5
    exit_delay: float = 15.0
    weather_exit: float | None = None
    weather_band: float = 0.0
    cost_delay: float | None = None
    # Where the sequence goes by a fixed wet bulb instead [degF].
    fixed_wet_bulb: float | None = None
    # Where another means keeps the lift the setpoint stays.
    follows: bool = True

    @property
    def needed(self) -> float:
        """What the reset setpoint must lie above the wet bulb by, to enable [degF]."""
        return (self.tower_approach + self.tower_tolerance
                + self.exchanger_approach + self.exchanger_tolerance)

    def temporary(self, condenser_water: float, reset: float) -> float:
        """The setpoint in the pull-down [degF]: led down by the offset, not below the lowest."""
        followed = max(self.lowest, condenser_water - self.offset)
        return min(reset, followed) if self.follows else reset


# Which setting is which limit of the standard, and so which answer of ``[settings]``.
NAMES = {
    "enable.tower_tolerance": "tower_tolerance", "enable.exchanger_tolerance":
    "exchanger_tolerance", "enable.dwell": "delay", "enable.stay": "run_time",
    "enable.rest": "off_time", "enable.attempts": "per_day", "lift.offset": "offset",
    "lift.lowest_setpoint": "lowest", "lift.pull_down": "longest_pull_down",
    "recovery.rate": "rate", "exit.band": "band", "exit.delay": "exit_delay",
}


def as_specified(limits: Limits, stated: Mapping[str, Mapping[str, Any]]) -> dict[str, float]:
    """Every setting by its name here: as ``[settings]`` specifies it, else the limit in force."""
    found = {}
    for name, here in NAMES.items():
        specified = stated.get(name, {}).get("specified")
        found[here] = float(limits[name] if specified is None else specified)
    return found


@dataclass(slots=True)
class Seen:
    """What the controller reads in a row [degF]; ``allowed`` is false where something else keeps
    it from enabling, ``dearer`` true where chillers would clearly draw less. Beside a plant,
    ``plant`` is that plant's mode, which is followed where the sequence leaves the moment open,
    and ``may_leave`` whether it left with a valid cause."""

    wet_bulb: float
    reset: float
    condenser_water: float
    supply: float
    allowed: bool = True
    day: int = 0
    plant: int | None = None
    may_leave: bool = False
    dearer: bool = False


class Controller:
    """The controller's memory. ``step`` lets a row of so many minutes pass."""

    def __init__(self, settings: Settings, mode: int = CHILLERS) -> None:
        self.settings, self.mode, self.active = settings, mode, math.nan
        self.needed = settings.needed
        self.in_mode, self.since_exit = 0.0, math.inf
        # Since when a condition has held without a break [min]; minus infinity: it does not.
        self.held = self.above = self.short = self.dearer = -math.inf
        self.day, self.enables = -1, 0
        self.recovering = False

    def step(self, seen: Seen, minutes: float) -> None:
        """One row of the sequence."""
        s = self.settings
        self.in_mode += minutes
        self.since_exit += minutes
        needed, level = ((seen.wet_bulb + self.needed, seen.reset) if s.fixed_wet_bulb is None
                         else (seen.wet_bulb, s.fixed_wet_bulb))
        self.held = _kept(self.held, needed <= level, minutes)
        self.short = _kept(self.short, needed > level + s.weather_band, minutes)
        self.above = _kept(self.above, seen.supply > seen.reset + s.band, minutes)
        self.dearer = _kept(self.dearer, seen.dearer, minutes)
        if seen.day != self.day:
            self.day, self.enables = seen.day, 0
        (self._chillers, self._pull_down, self._transition, self._economizer)[self.mode](seen)
        if self.mode == ECONOMIZER:
            self._ramp(seen, minutes)
        else:
            self.active = seen.reset if self.mode == CHILLERS else s.temporary(
                seen.condenser_water, seen.reset)

    def _enter(self, mode: int) -> None:
        self.mode, self.in_mode = mode, 0.0

    def _chillers(self, seen: Seen) -> None:
        s = self.settings
        if s.cost_delay is not None and seen.dearer:
            return
        if (seen.allowed and self.held >= s.delay and self.since_exit >= s.off_time
                and self.enables < s.per_day):
            self.enables += 1
            self._enter(PULL_DOWN)

    def _pull_down(self, seen: Seen) -> None:
        s = self.settings
        ready = seen.condenser_water + s.exchanger_approach <= seen.reset - s.margin
        if ready and seen.plant == ECONOMIZER:
            self._carry()
        elif ready and seen.plant != PULL_DOWN:
            self._enter(TRANSITION)
        elif self.in_mode > s.longest_pull_down:
            self._leave()

    def _transition(self, seen: Seen) -> None:
        if self.in_mode >= self.settings.opening + self.settings.spacing or (
                seen.plant == ECONOMIZER):
            self._carry()

    def _carry(self) -> None:
        self._enter(ECONOMIZER)
        self.above, self.recovering = -math.inf, True

    def _economizer(self, seen: Seen) -> None:
        s = self.settings
        too_warm = self.above >= s.exit_delay
        weather = s.weather_exit is not None and self.short >= s.weather_exit
        dearer = s.cost_delay is not None and self.dearer >= s.cost_delay
        if seen.may_leave or (
                (too_warm or weather or dearer) and self.in_mode >= s.run_time):
            self._leave()

    def _ramp(self, seen: Seen, minutes: float) -> None:
        if self.recovering and not math.isnan(self.active):
            if self.in_mode >= self.settings.release:
                self.active += self.settings.rate * minutes / 10.0
            self.recovering = self.active < seen.reset
        if not self.recovering or math.isnan(self.active):
            self.active = seen.reset

    def _leave(self) -> None:
        self._enter(CHILLERS)
        self.since_exit, self.recovering = 0.0, False


def _kept(held: float, holds: bool, minutes: float) -> float:
    """How long something has held [min]: zero in the first row in which it does."""
    # Rounded, or rows of seconds would miss a delay by a last binary digit.
    return round(max(held, -minutes) + minutes, 6) if holds else -math.inf
