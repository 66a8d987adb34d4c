"""Step 7a, the air side: outdoor-air economizers that do not open and cooling valves that leak make
a load in cold weather that should not be there, and one valve can hold the plant's reset down.

The rules are those of two published sets for single-duct air handlers, expressions and tolerances
from memory (every tolerance is a limit; no section is cited). The fan's heat was 2.3 to 4.2 °F on
measured laboratory days, so it is known to no better than a degree and a half.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from fptlib.procedure import reset, uncertainty
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import median
from fptlib.procedure.trended import BY_VALVES
from fptlib.procedure.verdict import Deferred, NotApplicable, NotTested

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


# Two valves are left out, as published trim-and-respond resets ignore two requests.
WORST = 2


@check("load.reset_holders", unit="%", needs=("reset_setpoint", "reset_valves"),
       limits=("load.asks", "load.asks_share", "load.asks_hours", "reset.band", "reset.range",
               "reset.share"))
def reset_holders(test: FunctionalTest) -> Iterator[Finding]:
    """Of the time in which the reset setpoint was below its warm end, the share in which this
    valve asked for colder water (open to the limit or beyond), at most one other did, and without
    the two that asked longest, then led longest, the reset's line would have been warmer."""
    if test.reset_driver not in BY_VALVES:
        raise NotApplicable("no valve holds this reset down: by its sequence (step 2) "
                            f"{test.sequence.reset.driver} drives it")
    numbers = range(1, test.plant.air_handlers + 1)
    if len(numbers) <= WORST:
        raise NotTested(f"cannot be known from the valves of {len(numbers)} air handlers: list "
                        "those that the reset reads in the plan (step 0), three at the least, and "
                        "trend the chilled-water valve of each")
    valves = np.array([test[f"ahu_{n}_cooling_valve"] for n in numbers])
    setpoint, band, least = test.reset_setpoint, test.limits["reset.band"], test.limits["load.asks"]
    known = ~test.changing & ~np.isnan(setpoint + valves.sum(axis=0))
    warm = _warm_end(test, setpoint[known])
    held = np.flatnonzero(known & (setpoint < warm - band))
    hours = len(held) * test.minutes / 60.0
    if not len(held):
        yield Finding(0, int(np.argmax(known)), f"the reset stayed within {band:g} °F of its warm "
                      f"end, {warm:.1f} °F: nothing held it down", subject="reset", measured=0.0,
                      at_most=test.limits["load.asks_share"])
        return
    _require_the_most_open(test, valves, held)
    asks = valves[:, held] >= least
    leads = np.bincount(valves[:, held].argmax(axis=0), minlength=len(numbers))
    longest = np.lexsort((leads, asks.sum(axis=1)))[-WORST:]
    without = _without(test, valves, known, np.delete(valves, longest, axis=0).max(axis=0))
    spared = np.full(len(held), np.nan) if without is None else np.maximum(
        without[held], setpoint[held])
    few = (asks.sum(axis=0) <= WORST) & ~(spared - setpoint[held] <= band)
    worst = " and ".join(str(numbers[at]) for at in sorted(longest))
    said = (f"without air handlers {worst} the reset would have asked for up to "
            f"{median(spared):.1f} °F where it asked for {median(setpoint[held]):.1f} °F"
            if without is not None else "what the reset would have asked for without air handlers "
            f"{worst} cannot be known: state its line over valve position (step 2)")
    for at, n in enumerate(numbers):
        alone = asks[at] & few
        asked, leading = (float(rows) * test.minutes / 60.0 for rows in (
            asks[at].sum(), leads[at]))
        yield Finding(
            0, int(held[np.argmax(alone if alone.any() else asks[at])]),
            f"of the {hours:.1f} h in which the reset was below its warm end, {warm:.1f} °F, its "
            f"valve asked for colder water for {asked:.1f} h and was the most open for "
            f"{leading:.1f} h; {said}", last=int(held[-1]),
            subject=f"air handler {n}", measured=100.0 * float(alone.mean()),
            at_most=test.limits["load.asks_share"],
            fail_needs="what the reset would ask for without it is not known" if without is None
            else "" if asked >= test.limits["load.asks_hours"]
            else f"that is less than {test.limits['load.asks_hours']:.0f} h: watch it for longer",
            uncertainty=100.0 * float((few & (np.abs(valves[at, held] - least) <= (
                uncertainty.expanded(test, {f"ahu_{n}_cooling_valve": 1.0})))).mean()),
            quantities={"below the warm end, h": hours, "asked, h": asked,
                        "and at most one other, h": float(alone.sum()) * test.minutes / 60.0,
                        "most open, h": leading,
                        "median valve, %": median(valves[at, held]),
                        "median setpoint, °F": median(setpoint[held]),
                        "setpoint without the two, °F": median(spared)})


def _warm_end(test: FunctionalTest, setpoint: np.ndarray) -> float:
    """The warmest setpoint of the reset [°F]: its line's, or where none is stated what it reached.

    Raises:
        NotTested: less than an hour of setpoint and valves.
        Deferred: no line is stated, and the setpoint hardly moved.
    """
    if len(setpoint) * test.minutes < LEAST_MINUTES:
        raise NotTested("less than an hour outside changeovers has reset setpoint and valves")
    if test.sequence.reset.driver_low is not None:
        return max(reset.stated_line(test)[1])
    low, high = np.quantile(setpoint, [0.02, 0.98])
    if high - low < test.limits["reset.range"]:
        raise Deferred(f"the reset setpoint moved by only {high - low:.1f} °F and the warm end of "
                       "its line is not stated (step 2)")
    return float(high)


def _require_the_most_open(test: FunctionalTest, valves: np.ndarray, held: np.ndarray) -> None:
    """Raises ``NotTested`` where the valve that the reset reads is mostly none of these."""
    if not test.has("chw_valve_position"):
        return
    over = (test["chw_valve_position"] - valves.max(axis=0))[held]
    unseen = 100.0 * float((over > uncertainty.expanded(
        test, {"chw_valve_position": 1.0, "ahu_1_cooling_valve": -1.0})).mean())
    if unseen > 100.0 - test.limits["load.asks_share"]:
        raise NotTested(f"cannot be known: for {unseen:.0f} % of the time in which the reset was "
                        "held down, the most open valve (chw_valve_position) was that of an air "
                        "handler whose own valve is not trended: list it in the plan and trend it")


def _without(test: FunctionalTest, valves: np.ndarray, known: np.ndarray, others: np.ndarray
             ) -> np.ndarray | None:
    """What the reset would ask for if it read the other valves alone [°F], row by row: by its
    stated line, else by the one that the trends show; ``None`` where neither is known. The others
    would open further in warmer water, so it is the most that can be gained."""
    if test.reset_driver != "chw_valve_position":
        return None
    if test.sequence.reset.driver_low is not None:
        return np.interp(others, *reset.stated_line(test))
    most_open, setpoint = valves.max(axis=0)[known], test.reset_setpoint[known]
    line = reset.observed_line(test, most_open, setpoint, 5.0)
    # Trim and respond, and every other reset that is no line over the valve, scatters about it.
    close = np.abs(setpoint - np.interp(most_open, *line)) <= test.limits["reset.band"]
    return np.interp(others, *line) if (
        100.0 * close.mean() >= test.limits["reset.share"]) else None


CHECKS = (economizer, damper, valve, reset_holders)
