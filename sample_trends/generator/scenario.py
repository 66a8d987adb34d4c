"""What can be said of an invented plant: site, design, sequence of operation, sensors.

Every fault of the fault library is one of these numbers changed; the defaults are the
sound plant. Units: degF, minutes, tons, gpm, gal, kW, ft unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Site:
    """Where the plant stands."""

    altitude: float = 4200.0
    time_zone: str = "America/Denver"


@dataclass(frozen=True)
class Design:
    """The plant's hardware.

    ``size`` is the tonnage that loads, exchanger and towers are sized for; chillers share
    it evenly. ``ua`` scales the exchanger (fouling), ``idle_leak`` is the share of
    a stopped chiller's flow that still passes its isolation valve, ``primary_surplus`` the
    plant's flow above the building's (negative: the decoupler flows backwards).
    """

    chillers: int = 2
    tower_cells: int = 2
    size: float = 600.0
    refrigerant: str = "R-134a"
    minimum_lift: float = 6.0
    trip_lift: float = 3.0
    cutout: float = 34.0
    loop_volume: float = 6000.0
    sump_volume: float = 9000.0
    equipment_limit: int = 4
    ua: float = 1.0
    idle_leak: float = 0.0
    primary_surplus: float = 0.05
    fan_kw_per_ton: float = 0.075

    @property
    def capacity(self) -> float:
        """Of one chiller. A single one is not doubled up, so it is cut to the peak load."""
        return 0.7 * self.size if self.chillers == 1 else self.size / self.chillers

    @property
    def scale(self) -> float:
        """Size against the plant the constants were chosen for."""
        return self.size / 600.0


@dataclass(frozen=True)
class Sequence:
    """The sequence of operation, as the controller holds it.

    Numbers of zero and ``False`` stand for "not so": no ``fixed_temporary`` setpoint, no
    ``longest_stay``, no ``fan_override`` (a share of full speed, by hand, in the run). A
    ``return_rate`` of zero is a return in one step; ``follow`` is the lift protection.
    """

    # Reset of the chilled-water setpoint by outdoor temperature.
    reset_cold: float = 52.0
    reset_warm: float = 44.0
    reset_cold_outdoor: float = 30.0
    reset_warm_outdoor: float = 60.0
    # Request.
    tower_approach: float = 7.0
    exchanger_approach: float = 1.8
    tolerance: float = 2.0
    dwell: int = 45
    rest: int = 60
    attempts_per_day: int = 2
    # Pull-down.
    chiller_mode_cw: float = 60.0
    cw_ramp: float = 0.35
    follow: bool = True
    fixed_temporary: float = 0.0
    offset: float = 5.0
    floor: float = 38.0
    handover_margin: float = 0.8
    handover_hold: int = 5
    longest_pull_down: int = 150
    pull_with_all: bool = False
    # Recovery.
    release_delay: int = 0
    return_rate: float = 0.17
    recovery_depth: float = 1.8
    return_swing: float = 0.0
    # Run.
    tower_run: str = "setpoint"
    tower_wet_bulb_approach: float = 5.0
    fan_gain: float = 14.0
    fan_reset: float = 12.0
    fan_minimum: float = 25.0
    fan_cycle_band: float = 0.8
    cell_delay: int = 15
    cell_add_delay: int = 3
    fan_override: float = 0.0
    chiller_left_on: bool = False
    # Exit.
    exit_band: float = 1.5
    exit_delay: int = 17
    start_delay: int = 1
    shortest_stay: int = 130
    longest_stay: int = 0
    leave_with_condition: bool = False
    start_condenser_valve: float = 0.5
    # Handover: the exchanger's valve opens by this share a minute, and when it has been open for
    # nearly so many minutes the chillers stop so many minutes apart: the water changes slowly.
    exchanger_opening: float = 0.04
    stop_spacing: int = 12


@dataclass(frozen=True)
class SensorError:
    """What is wrong with one trended sensor: ``reading = truth * factor + bias``.

    Between the days ``stuck`` the reading stays at one value. ``late`` shifts the trend's
    clock by minutes; the controller is not deceived by that.
    """

    bias: float = 0.0
    factor: float = 1.0
    stuck: tuple[float, float] | None = None
    late: int = 0


@dataclass(frozen=True)
class Scenario:
    """One simulation: the same scenario gives the same result to the last digit."""

    name: str = "sound"
    seed: int = 41
    start: str = "2026-01-10"
    days: int = 14
    site: Site = Site()
    design: Design = Design()
    sequence: Sequence = Sequence()
    sensors: Mapping[str, SensorError] = field(default_factory=dict)
    weather: str = "changing"
