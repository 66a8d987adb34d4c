"""Step 7a, the air side: outdoor-air economizers that do not open and cooling valves that leak make
a load in cold weather that should not be there.

The rules are those of two published sets for single-duct air handlers, expressions and tolerances
from memory (every tolerance is a limit; no section is cited). The fan's heat was 2.3 to 4.2 °F on
measured laboratory days, so it is known to no better than a degree and a half.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fptlib.procedure import uncertainty
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median
from fptlib.procedure.verdict import NotApplicable

FAN_RISE_KNOWN_TO = 1.5
# What an open damper shows, and a valve that is shut [%]; the least time to judge [min] (common
# practice, no source).
OPEN_DAMPER, SHUT_VALVE, LEAST_MINUTES = 90.0, 2.0, 60.0
_AIR = ("outdoor_dry_bulb", "ahu_{n}_fan_running", "ahu_{n}_mixed_temp", "ahu_{n}_return_temp")
_COIL = ("ahu_{n}_fan_running", "ahu_{n}_mixed_temp", "ahu_{n}_discharge_temp",
         "ahu_{n}_cooling_valve")


def _numbers(test: FunctionalTest) -> range:
    """The air handlers of the plan.

    Raises:
        NotApplicable: it has none.
    """
    if not test.plant.air_handlers:
        raise NotApplicable("the plan (step 0) lists no air handler with trends")
    return range(1, test.plant.air_handlers + 1)


def _rows(test: FunctionalTest, n: int, where: np.ndarray) -> np.ndarray:
    """The rows in which the fan of air handler ``n`` runs and this holds."""
    return np.flatnonzero((test[f"ahu_{n}_fan_running"] == 1.0) & where)


@check("load.air_economizer", unit="%", limits=(
    "load.air_cold", "load.air_valve", "load.air_mixed", "load.air_difference", "load.fan_rise"),
       needs=("outdoor_dry_bulb", "ahu_{n}_return_temp", *_COIL))
def economizer(test: FunctionalTest) -> Iterator[Finding]:
    """Share of the fan's time with its cooling valve open, of the rows in which outdoor air plus
    the fan's heat was colder than the discharge air by more than the tolerance."""
    numbers, has = _numbers(test), test.plant.air_economizer
    if has == "no":
        raise NotApplicable("these air handlers have no outdoor-air economizer, as the plan states")
    for n in numbers:
        outdoor, mixed, back, discharge = (test[name] for name in (
            "outdoor_dry_bulb", f"ahu_{n}_mixed_temp", f"ahu_{n}_return_temp",
            f"ahu_{n}_discharge_temp"))
        valve = test[f"ahu_{n}_cooling_valve"]
        spare = discharge - test.limits["load.fan_rise"] - outdoor
        least, far = test.limits["load.air_mixed"], test.limits["load.air_difference"]
        rows = _rows(test, n, ~np.isnan(valve + mixed + back) & (spare > least))
        if len(rows) * test.minutes < LEAST_MINUTES:
            yield not_judged(0, 0, "less than an hour with outdoor air that could cool alone",
                             subject=f"air handler {n}")
            continue
        cooled = valve[rows] > test.limits["load.air_valve"]
        apart = rows[np.abs(back - outdoor)[rows] >= far]
        part = 100.0 * median(((mixed - back) / (outdoor - back))[apart]) if len(apart) else 100.0
        share = 100.0 * float(cooled.mean())
        yield Finding(
            0, int(rows[np.argmax(cooled)]),
            f"the chilled-water valve is open for {share:.0f} % of the time in which outdoor air "
            f"could cool alone; the mixed air has {part:.0f} % outdoor air", last=int(rows[-1]),
            subject=f"air handler {n}", measured=share, at_most=test.limits["load.air_cold"],
            fail_needs="" if has == "yes" else "the plan (step 0) does not state whether it has an "
            "outdoor-air economizer",
            uncertainty=100.0 * float((np.abs(spare[rows] - least) <= math.hypot(
                FAN_RISE_KNOWN_TO, uncertainty.expanded(test, {
                    "outdoor_dry_bulb": -1.0, f"ahu_{n}_discharge_temp": 1.0}))).mean()),
            quantities={"rows judged": len(rows), "median outdoor, °F": median(outdoor[rows]),
                        "median discharge, °F": median(discharge[rows]),
                        "outdoor air in the mixed air, %": part,
                        "median valve, %": median(valve[rows])})


@check("load.air_damper", unit="degF", needs=(*_AIR, "ahu_{n}_outdoor_damper"),
       limits=("load.air_mixed", "load.air_difference"))
def damper(test: FunctionalTest) -> Iterator[Finding]:
    """Median distance of the mixed air from outdoor air while the outdoor-air damper shows open,
    of the rows in which outdoor and return air are apart by more than the tolerance."""
    for n in _numbers(test):
        outdoor, mixed = test["outdoor_dry_bulb"], test[f"ahu_{n}_mixed_temp"]
        apart = np.abs(test[f"ahu_{n}_return_temp"] - outdoor)
        rows = _rows(test, n, (test[f"ahu_{n}_outdoor_damper"] >= OPEN_DAMPER) & ~np.isnan(mixed)
                     & (apart >= test.limits["load.air_difference"]))
        if len(rows) * test.minutes < LEAST_MINUTES:
            yield not_judged(0, 0, "the damper showed open for less than an hour",
                             subject=f"air handler {n}")
            continue
        off = median(np.abs(mixed - outdoor)[rows])
        yield Finding(
            0, int(rows[np.argmax(np.abs(mixed - outdoor)[rows])]),
            f"with its damper open the mixed air is {off:.1f} °F away from outdoor air",
            last=int(rows[-1]), subject=f"air handler {n}", measured=off,
            at_most=test.limits["load.air_mixed"], uncertainty=uncertainty.expanded(
                test, {"outdoor_dry_bulb": -1.0, f"ahu_{n}_mixed_temp": 1.0}),
            quantities={"rows judged": len(rows), "median outdoor, °F": median(outdoor[rows]),
                        "median mixed, °F": median(mixed[rows])})


@check("load.air_valve", unit="degF", needs=_COIL, limits=("load.air_mixed", "load.fan_rise"))
def valve(test: FunctionalTest) -> Iterator[Finding]:
    """Median of mixed air plus the fan's heat minus discharge air while the cooling valve shows
    shut."""
    for n in _numbers(test):
        mixed, discharge = test[f"ahu_{n}_mixed_temp"], test[f"ahu_{n}_discharge_temp"]
        rows = _rows(test, n, (test[f"ahu_{n}_cooling_valve"] <= SHUT_VALVE)
                     & ~np.isnan(mixed + discharge))
        if len(rows) * test.minutes < LEAST_MINUTES:
            yield not_judged(0, 0, "the valve showed shut for less than an hour",
                             subject=f"air handler {n}")
            continue
        drop = (mixed + test.limits["load.fan_rise"] - discharge)[rows]
        yield Finding(
            0, int(rows[np.argmax(drop)]),
            f"with its chilled-water valve shut the coil still cools the air by "
            f"{median(drop):+.1f} °F", last=int(rows[-1]), subject=f"air handler {n}",
            measured=median(drop), at_most=test.limits["load.air_mixed"],
            uncertainty=math.hypot(FAN_RISE_KNOWN_TO, uncertainty.expanded(
                test, {f"ahu_{n}_mixed_temp": 1.0, f"ahu_{n}_discharge_temp": -1.0})),
            quantities={"rows judged": len(rows), "median mixed, °F": median(mixed[rows]),
                        "median discharge, °F": median(discharge[rows])})


CHECKS = (economizer, damper, valve)
