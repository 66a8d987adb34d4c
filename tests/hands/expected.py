"""Which checks answer for which true statement of the second and third hand.

A check that fails and answers for nothing that is true of the scenario is a false fail.
"""

from __future__ import annotations

from tests.hands.second import truth as k

# Any of these finds it.
MUST: dict[str, frozenset[str]] = {kind: frozenset(ids.split()) for kind, ids in {
    k.UNREACHABLE: "enable.condition enable.dwell",
    k.DELAY_SHORT: "enable.dwell",
    k.NO_TOLERANCE: "enable.condition enable.dwell",
    k.LOW_LIFT: "lift.minimum",
    k.TRIP: "lift.chiller_on lift.trips",
    k.NOT_FOLLOWED: "lift.setpoint",
    k.NOT_RELEASED: "lift.release recovery.duration",
    k.ONE_STEP: "recovery.rate",
    k.FAST_WATER: "recovery.supply",
    k.SWINGING: "recovery.stable",
    k.NEW_PEAK: "recovery.demand",
    k.NO_SUPPLY_EXIT: "exit.supply",
    # It leaves at another time than the one that the sequence states.
    k.NO_CLOCK_EXIT: "exit.not_early",
    k.NO_CAUSE: "exit.not_early",
    k.EXIT_HASTY: "exit.not_early",
    k.DEARER: "exit.comparative",
    k.FOULED: "running.exchanger",
    k.OVERCOOLED: "running.overcooling",
    k.FAN_CYCLING: "running.fan_cycling",
    k.MISSED: "enable.missed",
    k.SHORT_RUN: "enable.stay",
    k.SHORT_OFF: "enable.rest",
    k.BOTH_ON: "lift.chiller_on",
    k.SENSOR_OFF: "instruments.agreement instruments.wet_bulb",
    k.SENSOR_FROZEN: "instruments.wet_bulb",
    k.FLOW_WRONG: "instruments.heat_balance instruments.agreement",
    k.CLOCK_OFF: "instruments.agreement",
    k.RECYCLED: "lift.starts",
    k.FREEZE: "cold.condenser_water",
}.items()}

# True of some scenarios, and no check asks for it.
NO_CHECK = {
    k.NO_WEATHER_EXIT, k.OVERCOOLED_BY_CHILLERS, k.DEAR_RUN, k.PASSING,
    k.DEAD_CELL, k.PULL_DOWN_FAILED, k.OVERSHOOT,
}

# What else it truly breaks.
MAY: dict[str, frozenset[str]] = {kind: frozenset(ids.split()) for kind, ids in {
    k.DEAR_RUN: "transition.entering transition.leaving exit.comparative",
    # Changes over again and again, and gives up.
    k.UNREACHABLE: "enable.rest enable.stay lift.chiller_on handover.fallback exit.not_early "
                   "enable.missed transition.entering transition.leaving exit.comparative "
                   "lift.pull_down",
    k.PULL_DOWN_FAILED: "lift.chiller_on handover.fallback enable.missed enable.rest "
                        "lift.pull_down",
    k.DEAD_CELL: "lift.pull_down running.tower_tracking",
    k.BOTH_ON: "lift.pull_down",
    # Where a temporary setpoint is to keep the lift, it did not.
    k.LOW_LIFT: "lift.setpoint",
    # The water warms while no chiller runs.
    k.TRIP: "recovery.stable recovery.supply handover.excursion running.supply exit.supply "
            "recovery.rate recovery.duration recovery.demand lift.setpoint enable.missed",
    k.ONE_STEP: "recovery.duration recovery.supply lift.setpoint lift.minimum",
    # Supply and tower aim at a setpoint that no exchanger reaches.
    k.NOT_RELEASED: "running.supply running.tower_setpoint running.tower_tracking recovery.stable "
                    "recovery.supply",
    k.NO_SUPPLY_EXIT: "running.supply recovery.supply recovery.stable",
    k.OVERCOOLED: "running.supply running.tower_setpoint running.tower_tracking",
    k.FREEZE: "cold.exchanger cold.fans",
    k.SWINGING: "running.supply recovery.supply",
    # The verdict of the step after rests on running.exchanger.
    k.FOULED: "load.cause",
    k.SHORT_RUN: "handover.fallback exit.not_early",
    k.SENSOR_FROZEN: "instruments.agreement",
    # One of the exchanger's own.
    k.SENSOR_OFF: "instruments.heat_balance",
    # A load that reads too high keeps two chillers on; as both stop the water truly rises 3.3 °F.
    k.FLOW_WRONG: "recovery.supply",
}.items()}

# How long after its true stretch a check may place its event [min].
ASTRAY: dict[str, int] = {}


def allowed(kinds: set[str]) -> set[str]:
    """The checks that something true may make fail."""
    return {id for kind in kinds for id in MUST.get(kind, frozenset()) | MAY.get(kind, frozenset())}


# What the checks get wrong today. Nothing is added here in silence; what is mended leaves the list.
KNOWN_FALSE: set[tuple[str, str]] = {
    # A swing of the samples' own period.
    ("bypass_hunts", "exit.supply"), ("bypass_hunts", "handover.excursion"),
    ("bypass_hunts", "instruments.agreement"), ("fans_short_cycle", "instruments.agreement"),
}
KNOWN_SILENT: set[tuple[str, str]] = set()
