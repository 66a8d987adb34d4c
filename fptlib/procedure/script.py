"""The test script: numbered steps made from plan and sequence, each with the result it must show
and the checks that judge it. The firm may edit every one.

A changeover is induced by a setpoint or an enable threshold alone; a safety is never falsified,
and a sensor that a safety uses is never overridden (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from fptlib.job.schema import Abort, Plant
from fptlib.job.schema import Sequence as AsSpecified
from fptlib.limits import Limits
from fptlib.physics.water import freezing_point

_LICENSED = ("Licensed people only, under the site's lockout rules and the manufacturer's "
             "instructions; no work on live equipment.")
_NO_SAFETY = ("Adjust a setpoint or the enable threshold only; never override a safety, nor a "
              "sensor that a safety uses.")
_FALLING_ICE = ("Ice falls and floors are slippery: stay outside the cells and off ladders with "
                "ice; fans can start at any time, so keep guards on.")
_READY = "A chiller must be ready to start; critical loads watched; abort conditions agreed."


def script(plant: Plant, sequence: AsSpecified, limits: Limits, aborts: Sequence[Abort],
           safe_state: str, initial_state: str) -> list[dict[str, Any]]:
    """Every step in its order, as rows of ``[[script]]``."""
    made = [*_prepare(aborts, safe_state, initial_state), *_natural(plant, sequence, limits),
            *_envelope(plant), *_exchangers(plant), *_cold(plant, limits), *_induced(safe_state),
            *_failures(limits, safe_state),
            _step("return", "Technician and operator: release every override, verify each in AUTO, "
                  "set setpoints and HOA switches as found.",
                  f"Override list closed; {initial_state or 'plant as before the test'}.")]
    return [{"number": number, **row} for number, row in enumerate(made, start=1)]


def _step(kind: str, action: str, expected: str, *checks: str) -> dict[str, Any]:
    return {"kind": kind, "action": action, "expected": expected, "checks": ", ".join(checks)}


def _prepare(aborts: Sequence[Abort], safe: str, initial: str) -> Iterator[dict[str, Any]]:
    stop = "; ".join(condition.text for condition in aborts) or "no abort condition is planned yet"
    yield _step("prepare", "Technician, with operator and owner's witness: go through abort "
                "conditions, safe state, and who may start a chiller at once.",
                f"All agree. Stop when: {stop}. Safe state: {safe or 'not stated yet'}.",
                "abort.conditions")
    yield _step("prepare", "Technician: compare the clocks of the control system, chiller panels "
                "and power meters with true time.", "Within 1 min of each other.",
                "instruments.agreement")
    yield _step("prepare", "Technician: read wet bulb, chilled-water and condenser-water supply "
                "temperature and flow with field instruments, beside their trends.",
                "Within the limits of step 1.", "instruments.calibration", "instruments.agreement")
    yield _step("prepare", "Technician: note chillers on, setpoints, alarms, HOA switches.",
                f"Initial state: {initial or 'not stated yet'}. No alarm; nothing overridden.")


def _natural(plant: Plant, sequence: AsSpecified, limits: Limits) -> Iterator[dict[str, Any]]:
    def of(name: str) -> str:
        return f"{limits[name]:g}"

    tower = f"{plant.tower_approach.value:g}" if plant.tower_approach else "tower approach"
    exchanger = f"{plant.exchanger_approach.value:g}" if plant.exchanger_approach else \
        "exchanger approach"
    lifts = "; ".join(f"{c.tag or f'chiller {c.number}'} at least {c.minimum_water_lift:g} °F"
                      for c in plant.chillers if c.minimum_water_lift is not None)
    exits = [f"supply above setpoint by {of('exit.band')} °F for {of('exit.delay')} min, out "
             f"within {of('exit.grace')} min more"]
    if sequence.weather_exit is not None:
        exits.append(f"enable condition lost for {sequence.weather_exit:g} min")
    if sequence.clock_exit is not None:
        exits.append(f"at {sequence.clock_exit:%H:%M}")
    if sequence.other_exit:
        exits.append(sequence.other_exit)
    fixed = sequence.enable.wet_bulb
    yield _step("natural", "Technician at the front end: wait for the enable condition; mark when "
                "it holds.", f"Wet bulb + {tower} + {of('enable.tower_tolerance')} + {exchanger} + "
                f"{of('enable.exchanger_tolerance')} °F is at or below the reset setpoint."
                if fixed is None else f"Wet bulb is at or below {fixed:g} °F.",
                "enable.condition", "enable.missed")
    yield _step("natural", "Watch and mark the economizer enable; touch nothing.",
                f"Enabled after {of('enable.dwell')} min without a break.", "enable.dwell")
    yield _step("natural", "Pull-down: read leaving condenser water, leaving chilled water and "
                "active setpoint of each running chiller every 5 min.",
                f"Lift: {lifts or 'manufacturer’s minimum, not stated yet'}. Active setpoint "
                f"{of('lift.offset')} °F below condenser water, not below "
                f"{of('lift.lowest_setpoint')} °F.", "lift.minimum", "lift.setpoint", "lift.floor")
    yield _step("natural", "Mark when the last chiller stops and the exchanger valve is open.",
                f"No trip. Supply at most {of('handover.band')} °F above the reset setpoint for "
                f"longer than {of('handover.time')} min.", "lift.chiller_on",
                "handover.excursion", "abort.conditions")
    yield _step("natural", "Mark when the setpoint begins to return and when it is back at reset.",
                f"Released within {of('lift.release')} min; at most {of('recovery.rate')} °F in 10 "
                f"min; back after {of('recovery.shortest')} to {of('recovery.longest')} min.",
                "lift.release", "recovery.rate", "recovery.duration", "recovery.stable",
                "recovery.demand")
    yield _step("natural", "Let it run for the minimum run time and longer; read supply and fans.",
                f"No chiller for {of('enable.stay')} min; supply within "
                f"±{of('running.supply_band')} °F; at most {of('running.fan_starts')} fan starts "
                "an hour.", "enable.stay", "handover.fallback", "running.supply",
                "running.exchanger", "running.fan_cycling", "transition.entering")
    yield _step("natural", "Watch the exit; mark the first chiller's start.",
                f"Leaves on: {'; '.join(exits)}.", "exit.supply", "exit.not_early",
                "exit.comparative", "transition.leaving")


def _envelope(plant: Plant) -> Iterator[dict[str, Any]]:
    lowest = "; ".join(
        f"{c.tag or f'chiller {c.number}'} evaporator {c.minimum_chw_flow or '?'}, condenser "
        f"{c.minimum_cw_flow or '?'} gpm" for c in plant.chillers
        if c.minimum_chw_flow or c.minimum_cw_flow)
    yield _step("natural", "As the exchanger opens beside a running chiller: read the pressure "
                "drop over its evaporator and condenser, and take the flow from the manufacturer's "
                "curve; note starts, last stop and every trip or hold in the panel's log.",
                f"At least {lowest or 'the manufacturer’s minimum flow, not stated yet'}. No trip; "
                "starts and restart times within the manufacturer's.", "lift.flow", "lift.starts",
                "lift.trips")
    ramps = "; ".join(f"{c.tag or f'chiller {c.number}'} {c.loading_rate:g} % a minute"
                      for c in plant.chillers if c.loading_rate)
    limited = "; ".join(f"{c.tag or f'chiller {c.number}'} {c.current_limit:g} %"
                        for c in plant.chillers if c.current_limit)
    yield _step("natural", "As a chiller takes over at the exit: read at its panel the ramp and "
                "the current or demand limit in force, and its load every minute until it is "
                "steady; read them, change none.",
                f"Ramp: {ramps or 'the manufacturer’s, not stated yet'}. Limit: "
                f"{limited or 'none is stated'}; none that was set for the test is left in place.",
                "lift.loading", "lift.current_limit")


def _exchangers(plant: Plant) -> Iterator[dict[str, Any]]:
    """Trends show several exchangers together; which of them is fouled is read at each."""
    if plant.exchangers == 1:
        return
    yield _step("natural", f"Economizer steady for half an hour, all {plant.exchangers} exchangers "
                "open: read at each the four water temperatures and both pressure drops with one "
                "set of instruments, within ten minutes; note valve positions and strainers.",
                "Chilled water leaves all within 1 °F of each other, at pressure drops in the "
                "proportion of their design. Warmer at a like pressure drop: fouled plates or too "
                "little condenser water; at a higher one: plugged plates or strainer.",
                "running.exchanger", "load.fouling", "load.pressure_drop")


def _cold(plant: Plant, limits: Limits) -> Iterator[dict[str, Any]]:
    """What no trend shows of ice: read and looked at while the plant runs in frost."""
    cold, frost = plant.cold, f"With the air at or below {limits['cold.air']:g} °F"
    least = cold.water_minimum
    if least is None:
        least = plant.above_freezing(limits["cold.water"], "cw")
    idle = max(plant.above_freezing(limits["cold.exchanger"], side) for side in ("chw", "cw"))
    cells = f"{cold.cell_flow:g} gpm" if cold.cell_flow else "the manufacturer's least, not stated"
    yield _step("natural", f"{frost}: look at louvers, fill edge, drift eliminators and inlet of "
                "every cell from safe ground, and note the load; read the water that leaves the "
                f"cell with the fastest fan, which is the coldest. {_FALLING_ICE}",
                f"No hard ice; at least {least:.4g} °F in the coldest cell; every open cell wetted "
                f"over its width, {cells} each.", "cold.condenser_water", "cold.fans",
                "cold.cell_flow")
    yield _step("natural", f"{frost}: watch a start of the towers without heat load. "
                f"{_FALLING_ICE}",
                "All water through the bypass to the basin, none modulated over the fill, until "
                f"it is clear of {least:.4g} °F; fans off until then.", "cold.condenser_water")
    # Two manufacturers' manuals; field-erected lines allow longer, so the tower's own counts.
    yield _step("natural", f"{frost}, where fans have two speeds or reverse: operator, as the "
                "technician asks: step one down from high to low and, only to remove ice, reverse "
                f"it at low speed; time each pause. {_FALLING_ICE} Reversed air throws ice: "
                "nobody beside the louvers.",
                "As the tower manufacturer states, else 20 s or longer from high to low, 2 min "
                "off before reversing, reversed for 2 min at most, 10 min before forward again; "
                "ice melts, no vibration trip.", "running.fan_cycling", "cold.fans")
    yield _step("natural", f"{frost}: follow makeup, equalizers and idle pipes outdoors; read "
                "surface temperatures at the lowest and the most exposed point, and the level in "
                f"every basin. {_FALLING_ICE} Break no ice at a valve, a pipe or a float by force.",
                "Makeup valve moves, equalizers open (basins level with each other), heat trace "
                "on or pipes drained.")
    yield _step("natural", f"{frost}, exchanger idle: read all four of its water temperatures at "
                "the connections. Do not open a valve to an exchanger that may hold ice.",
                f"At least {idle:.4g} °F each; condenser water opens on proven "
                "chilled-water flow only.", "cold.exchanger")
    for side, loop in (("chw", "chilled"), ("cw", "condenser")):
        fluid = plant.fluid(side)
        if fluid.glycol is not None:
            yield _step(
                "prepare", f"Technician: read a sample of the {loop} water's glycol with a "
                "refractometer for that glycol. Wear gloves and eye protection; collect it, none "
                "goes to a drain; ethylene glycol is poisonous.",
                f"{fluid.percent:g} % {fluid.glycol} glycol by mass, as the plan states, which "
                f"freezes at {freezing_point(fluid.glycol, fluid.percent):.0f} °F; else correct "
                "the plan before the limits are frozen.", "cold.exchanger", "lift.evaporator")
    if cold.basin_heater is not None:
        yield _step("natural", f"{frost}, towers idle: read the basin's water beside its heater's "
                    f"status and current; test the low-water cutout. {_LICENSED}",
                    f"Heater on below {cold.basin_heater:g} °F and off above; never on without "
                    "water.", "cold.basin")
    if cold.space_humidity is not None:
        yield _step("natural", "Economizer running for an hour or longer: read the humidity of the "
                    "critical space with a field instrument; those responsible for it permit it.",
                    f"At most {cold.space_humidity:g} %RH.", "cold.humidity")


def _induced(safe: str) -> Iterator[dict[str, Any]]:
    yield _step("induced", "Operator, as the technician asks: raise the reset setpoint or the "
                "enable threshold until the economizer enables; enter the old and the new value in "
                f"the override list. {_NO_SAFETY} {_READY}",
                "Pull-down, transition and return as in the natural changeover. It proves "
                "function, not capacity.", "lift.minimum", "lift.setpoint", "lift.chiller_on",
                "recovery.rate")
    yield _step("return", "Operator: give the setpoint or threshold its old value, verify it in "
                "AUTO, and let the plant return to chillers.",
                f"Chillers back on; {safe or 'safe state'}; the override is closed.",
                "abort.conditions")


def _failures(limits: Limits, safe: str) -> Iterator[dict[str, Any]]:
    band = f"{limits['handover.band']:g}"
    held = f"Supply at most {band} °F above the reset setpoint; no trip; alarm raised"
    yield _step("failure", f"Economizer disabled in mid pull-down, by its command. {_READY}",
                f"Chillers stay on; setpoint ramps back, at most {limits['recovery.rate']:g} °F in "
                "10 min.", "lift.chiller_on", "recovery.demand")
    yield _step("failure", "Wet-bulb sensor failed: take its input out of service at the "
                f"controller (no safety uses it) and list it as overridden. {_READY}",
                "As specified for a failed sensor: economizer held or left, alarm raised; no "
                "changeover on the failed value.")
    yield _step("failure", "Exchanger isolation valve fails to open: valve held closed by its HOA "
                f"switch before the transition. {_READY}",
                "The last chiller stays on; alarm raised.", "lift.chiller_on")
    yield _step("failure", f"Loss of power to one tower fan, at its disconnect. {_LICENSED}",
                f"{held}; the plant goes on or leaves as specified.", "handover.excursion",
                "exit.supply")
    yield _step("failure", "Loss of the running chiller in the pull-down: stopped at its panel as "
                f"the manufacturer allows. {_LICENSED}",
                f"The next chiller starts after its timers; {held[0].lower()}{held[1:]}.",
                "lift.chiller_on")
    yield _step("failure", "Return to chillers on demand: operator commands it from the front "
                "end.", f"A chiller runs after its anti-recycle time; supply at most {band} °F "
                f"above the reset setpoint; {safe or 'safe state'}.", "exit.supply",
                "recovery.demand")
