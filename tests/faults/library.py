"""The fault library: one small named change each to controls, plant or sensors.

Every fault is a sound plant with one thing wrong, and says which checks must fail for it
(``fails``), which must come out as ``indeterminate``, and which others may fail because the
same thing truly breaks them as well (``may_fail``). A check that fails and is in neither
list is a false alarm.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from sample_trends.generator import Result, Scenario, SensorError
from sample_trends.generator.readings import Reading, read, usual_readings

Apply = Callable[[Scenario], Scenario]
Finish = Callable[[Result], Result]


@dataclass(frozen=True)
class AlarmText:
    """What an alarm point said and when."""

    time: pd.Timestamp
    point: str
    text: str


@dataclass(frozen=True)
class Fault:
    """One fault.

    Attributes:
        name: short, unique.
        meaning: what is wrong, in one sentence.
        fails: ids of the checks that must fail.
        may_fail: ids of further checks that the fault truly breaks, here and there.
        apply: makes the faulty scenario from a sound one.
        indeterminate: ids of the checks that must come out indeterminate.
        finish: changes the result after the simulation, where the fault is no part of it.
        readings: extra moments at which a field reading shows the fault, from the result.
        job: answers of the job file that differ, by dotted path.
        alarms: texts of alarm points, from the result.
    """

    name: str
    meaning: str
    fails: tuple[str, ...]
    apply: Apply
    may_fail: tuple[str, ...] = ()
    indeterminate: tuple[str, ...] = ()
    finish: Finish = lambda result: result
    readings: Callable[[Result], dict[str, list[pd.Timestamp]]] = lambda result: {}
    job: Mapping[str, Any] = field(default_factory=dict)
    alarms: Callable[[Result], list[AlarmText]] = lambda result: []


# What water below freezing breaks.
ICE = ("cold.condenser_water", "cold.exchanger", "cold.fans")


def sequence(**changes: Any) -> Apply:
    """A fault of the controls."""
    return lambda s: replace(s, sequence=replace(s.sequence, **changes))


def design(**changes: Any) -> Apply:
    """A fault of the plant."""
    return lambda s: replace(s, design=replace(s.design, **changes))


def sensor(error: SensorError, *points: str) -> Apply:
    """A fault of sensors or of their trends."""
    return lambda s: replace(s, sensors={**s.sensors, **dict.fromkeys(points, error)})


def both(*changes: Apply) -> Apply:
    """Several changes, one after the other."""

    def apply(scenario: Scenario) -> Scenario:
        for change in changes:
            scenario = change(scenario)
        return scenario

    return apply


def chillers_late(minutes: int) -> Apply:
    """The chillers' trend file has a clock of its own."""

    def apply(scenario: Scenario) -> Scenario:
        stems = range(1, scenario.design.chillers + 1)
        points = [f"chiller_{n}_{what}" for n in stems for what in _CHILLER_POINTS]
        return sensor(SensorError(late=minutes), *points)(scenario)

    return apply


_CHILLER_POINTS = (
    "running", "power", "amps", "chw_leaving_temp", "cw_entering_temp", "cw_leaving_temp",
    "evaporator_pressure", "condenser_pressure", "alarm",
)


def in_pull_down(result: Result, after: int) -> list[pd.Timestamp]:
    """So many minutes after each request that came to a handover."""
    handovers = [event.time for event in result.events("handover")]
    wait = pd.Timedelta(minutes=after)
    return [
        request.time + wait
        for request in result.events("request")
        if any(request.time + wait < time < request.time + 6 * wait for time in handovers)
    ]


def lead_chiller(result: Result, time: pd.Timestamp) -> int:
    """A chiller that runs at ``time``, as it truly was."""
    return next(
        n for n in range(1, result.scenario.design.chillers + 1)
        if result.actual.at[time, f"chiller_{n}_running"]
    )


def _hold_alarm(result: Result) -> Result:
    """A hold of the running chiller in the second pull-down, which clears by itself."""
    start = in_pull_down(result, 20)[1]
    frame = result.frame.copy()
    point = f"chiller_{lead_chiller(result, start)}_alarm"
    frame.loc[start : start + pd.Timedelta(minutes=9), point] = 1.0
    return replace(result, frame=frame)


def _hold_text(result: Result) -> list[AlarmText]:
    start = in_pull_down(result, 20)[1]
    point = f"chiller_{lead_chiller(result, start)}_alarm"
    return [AlarmText(start, point, "LOW OIL TEMPERATURE HOLD")]


def _clock_readings(result: Result) -> dict[str, list[pd.Timestamp]]:
    times = in_pull_down(result, 30)[:2]
    return {f"chiller_{lead_chiller(result, t)}_cw_leaving_temp": [t] for t in times}


_LEFT_IN_PLACE = {
    "point": "tower_1_fan_speed", "value": "70 % by hand", "placed": "2026-01-09T15:00:00-07:00",
}


def _at_the_limit(result: Result) -> Result:
    """The maker's minimum is just what the worst pull-down kept for three minutes."""
    least = min(
        _sustained_lift(result, request.time, handover.time)
        for request, handover in zip(
            result.events("request"), result.events("handover"), strict=False
        )
    )
    plant = replace(result.scenario.design, minimum_lift=round(least, 1))
    return replace(result, scenario=replace(result.scenario, design=plant))


def _sustained_lift(result: Result, start: pd.Timestamp, end: pd.Timestamp) -> float:
    chiller = f"chiller_{lead_chiller(result, start)}"
    frame = result.frame[start : end - pd.Timedelta(minutes=1)]
    lift = frame[f"{chiller}_cw_leaving_temp"] - frame[f"{chiller}_chw_leaving_temp"]
    return float(lift.where(frame[f"{chiller}_running"] > 0).rolling(3).max().min())


FAULTS: tuple[Fault, ...] = (
    Fault(
        "short dwell", "The request comes two minutes after the condition first held.",
        ("enable.dwell",), sequence(dwell=2, tolerance=1.7),
    ),
    Fault(
        "no margin", "The request takes the approaches without any tolerance.",
        ("enable.condition", "enable.dwell"), sequence(tolerance=0.6, dwell=5),
        # The pull-down may never arrive.
        ("lift.chiller_on",),
    ),
    Fault(
        "no lift protection", "The setpoint stays where it was while the sump is pulled cold.",
        ("lift.minimum", "lift.setpoint"),
        both(sequence(follow=False), design(trip_lift=-50.0)),
        ("recovery.duration", "recovery.rate", "lift.release"),
    ),
    Fault(
        "no floor", "The temporary setpoint has no floor and a large offset.",
        ("lift.floor",), sequence(floor=30.0, offset=8.5),
        # The colder setpoint costs power, takes longer to return, and brings the chiller to its
        # cutout; the water then has further to rise.
        ("recovery.duration", "recovery.demand", "lift.evaporator", "recovery.supply"),
    ),
    Fault(
        "temporary setpoint not released",
        "The temporary setpoint stays for three quarters of an hour after the handover.",
        ("lift.release",), sequence(release_delay=45), ("running.supply",),
    ),
    Fault(
        "stepwise return", "The setpoint jumps back to the reset in one step.",
        ("recovery.rate", "recovery.duration"), sequence(return_rate=0.0),
        # The water follows the setpoint as fast as loop and exchanger let it.
        ("handover.excursion", "recovery.supply"),
    ),
    Fault(
        "too slow return", "The setpoint takes over three hours to come back.",
        ("recovery.duration",), sequence(return_rate=0.045), ("running.supply",),
    ),
    Fault(
        "oscillating recovery", "The fans hunt after the handover and the supply with them.",
        ("recovery.stable",), sequence(return_swing=5.0),
        ("running.supply", "running.overcooling", "running.fan_cycling",
         "running.tower_tracking", "recovery.supply"),
    ),
    Fault(
        "demand peak", "Every chiller is started for the pull-down and driven to the floor.",
        ("recovery.demand",),
        # So cold that the peak stands clear of the tolerance at every plant.
        sequence(pull_with_all=True, follow=False, fixed_temporary=37.0, cw_ramp=0.1),
        ("transition.entering", "handover.excursion", "lift.floor", "lift.evaporator",
         "lift.pull_down", "recovery.supply"),
    ),
    Fault(
        "flat reset", "The reset asks for the same setpoint at every outdoor temperature.",
        ("reset.active",), sequence(reset_cold=47.0, reset_warm=47.0),
    ),
    Fault(
        "tower chases wet bulb", "In the run the tower setpoint is wet bulb plus five.",
        ("running.tower_setpoint",), sequence(tower_run="wet_bulb"),
        # The generator's water never freezes, and truly falls to 22 °F.
        ("running.overcooling", "running.supply", "recovery.supply", *ICE),
    ),
    Fault(
        "over-cooled tower", "The fans cannot go below 60 % and no cell is taken off.",
        ("running.overcooling",), sequence(fan_minimum=60.0, fan_cycle_band=99.0),
        # In the pull-down the water falls faster than the chiller can follow; it may trip.
        ("running.supply", "lift.minimum", "lift.chiller_on", "running.tower_tracking",
         "recovery.supply", *ICE),
    ),
    Fault(
        "fan cycling", "Single-speed fans on a band of a few tenths, with no delay.",
        ("running.fan_cycling",),
        sequence(fan_minimum=100.0, fan_cycle_band=0.15, cell_delay=1, cell_add_delay=1),
        # With one cell, each stop of its fan warms the water that has just been handed over.
        ("recovery.supply",),
    ),
    Fault(
        "fouled exchanger", "The exchanger has lost half its UA.",
        ("running.exchanger",),
        both(design(ua=0.5), sequence(exchanger_approach=4.0)),
        # The exchanger makes warmer water beside the chiller; and the step after says what it is.
        ("recovery.supply", "load.cause"),
    ),
    Fault(
        "leaking isolation valve",
        "Stopped chillers pass a third of their flow, which mixes return water into the supply.",
        ("running.supply",), both(design(idle_leak=0.35), sequence(exit_band=6.0)),
        # Exits with warm water set a demand peak.
        ("exit.supply", "handover.excursion", "recovery.stable", "exit.not_early",
         "recovery.demand", "recovery.supply"),
    ),
    Fault(
        "chiller left on", "One chiller stays on beside the exchanger.",
        ("lift.chiller_on",), both(sequence(chiller_left_on=True), design(trip_lift=-50.0)),
        ("lift.minimum", "lift.setpoint", "recovery.demand", "lift.pull_down"),
    ),
    Fault(
        "late exit", "The plant stays for hours after the supply has left its setpoint.",
        ("exit.supply",), sequence(exit_delay=120, exit_band=2.0),
        ("running.supply", "exit.comparative", "recovery.demand"),
    ),
    Fault(
        "early exit", "The plant leaves after two and a half hours without a reason.",
        ("exit.not_early",), sequence(longest_stay=150),
        # A request soon after may find the hour too warm to arrive, or hand over to water that
        # stays degrees above setpoint until the chillers are back.
        ("enable.missed", "enable.rest", "running.supply", "lift.chiller_on", "exit.supply",
         "recovery.demand", "recovery.stable", "recovery.supply"),
    ),
    Fault(
        "uneconomic stay", "The tower fans take five times the power they should.",
        ("exit.comparative",), design(fan_kw_per_ton=0.4),
        ("transition.leaving", "recovery.demand"),
    ),
    Fault(
        "equipment count exceeded", "Three cells run at full speed where two are allowed.",
        ("exit.equipment",), design(tower_cells=3, equipment_limit=2),
    ),
    Fault(
        "chatter", "No dwell, no stay, no rest: in and out with every swing of the wet bulb.",
        ("enable.stay", "enable.rest"),
        both(
            sequence(
                dwell=5, tolerance=2.0, rest=0, attempts_per_day=99, shortest_stay=0,
                leave_with_condition=True,
            ),
            lambda s: replace(s, weather="hovering"),
        ),
        (
            "enable.dwell", "handover.fallback", "exit.not_early", "recovery.duration",
            "recovery.demand", "running.supply", "exit.comparative",
        ),
    ),
    Fault(
        "missed hours", "The condition must hold for six hours before a request.",
        ("enable.missed",), sequence(dwell=360),
    ),
    Fault(
        "wet-bulb bias", "The trended wet bulb reads three degrees low.",
        ("instruments.wet_bulb", "instruments.agreement"),
        sensor(SensorError(bias=-3.0), "outdoor_wet_bulb"),
        # Too early in truth: a pull-down may never arrive, and then the rest costs hours.
        ("lift.chiller_on", "enable.missed"),
    ),
    Fault(
        "stuck wet bulb", "The trended wet bulb stands still for nine hours.",
        ("instruments.wet_bulb",),
        sensor(SensorError(stuck=(4.1, 4.5)), "outdoor_wet_bulb"),
    ),
    Fault(
        "supply sensor bias", "The supply sensor reads 1.6 degrees low.",
        ("instruments.agreement",), sensor(SensorError(bias=-1.6), "chw_supply_temp"),
        ("running.supply", "recovery.supply"),
    ),
    Fault(
        "clock offset between files", "The chillers' file is twenty minutes late.",
        ("instruments.agreement",), chillers_late(20),
        ("exit.supply", "exit.not_early", "lift.setpoint", "lift.release", "lift.minimum"),
        readings=_clock_readings,
    ),
    Fault(
        "low-lift trip", "Without lift protection a chiller trips on low lift.",
        ("lift.minimum", "lift.setpoint", "lift.chiller_on"),
        both(sequence(follow=False, rest=1200), design(trip_lift=4.5)),
        ("enable.missed", "recovery.duration", "recovery.rate", "lift.starts", "lift.trips"),
    ),
    Fault(
        "alarm text", "A running chiller reports a hold in the pull-down and carries on.",
        ("lift.chiller_on",), lambda scenario: scenario, finish=_hold_alarm, alarms=_hold_text,
    ),
    Fault(
        "marginal lift", "The maker's minimum lies just where the lift came to.",
        (), lambda scenario: scenario, indeterminate=("lift.minimum",), finish=_at_the_limit,
    ),
    Fault(
        "flow meter off by a factor", "Both chilled-water meters read 1.4 times the flow.",
        ("instruments.heat_balance", "instruments.agreement"),
        sensor(SensorError(factor=1.4), "hx_chw_flow", "chw_flow"), ("running.exchanger",),
    ),
    Fault(
        "decoupler reverse flow", "The building draws more than the plant gives.",
        ("running.supply",), both(design(primary_surplus=-0.3), sequence(exit_band=6.0)),
        ("exit.supply", "handover.excursion", "recovery.stable", "exit.not_early",
         # Return water in the supply: too warm as soon as a chiller is staged off.
         "recovery.supply", "load.decoupler", "load.cause", "lift.trips"),
    ),
    Fault(
        "override left in place", "The tower fans were left at 70 % by hand.",
        ("running.overcooling",), sequence(fan_override=0.7),
        ("running.supply", "running.tower_tracking", "recovery.supply", *ICE),
        job={"overrides": [_LEFT_IN_PLACE]},
    ),
)


def readings_of(entry: Fault | None, result: Result) -> list[Reading]:
    """Field readings beside a result: a usual round, and what shows the fault."""
    moments = {result.frame.index[0] + pd.Timedelta(hours=11): "chiller mode steady"}
    for event in result.events("handover")[:2]:
        moments[event.time + pd.Timedelta(hours=4)] = "economizer run steady"
    rows = usual_readings(result, moments)
    for point, times in (entry.readings(result) if entry else {}).items():
        rows += [read(result, time, point, "degF", "T1", 0.05, "moving") for time in times]
    return rows


def fault(name: str) -> Fault:
    """The fault of that name."""
    return next(entry for entry in FAULTS if entry.name == name)


INTERVALS = (1, 5, 15)


def faulty(entry: Fault, scenario: Scenario) -> Scenario:
    """The scenario with the fault in it."""
    return replace(entry.apply(scenario), name=f"{scenario.name}, {entry.name}")
