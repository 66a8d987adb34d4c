"""Step 7: does economizer operation run calmly and efficiently?"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from fptlib.physics import exchanger as physics
from fptlib.procedure import approaches, instruments, uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import (
    Untested,
    at_least,
    at_most,
    check,
    in_full,
    together,
    unjudged,
)
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import median, share, stretches
from fptlib.procedure.representative import light_load, turned_over
from fptlib.procedure.verdict import Check, Event, Verdict

SHORTEST_RUN = 60.0
LEAST_KNOWN = 15.0


def settled(case: Case, changeover: Changeover) -> slice | None:
    """The rows of a run after recovery, the delay before the exit left out; ``None`` where
    too little is left to be judged."""
    rows = case.settled_run(changeover)
    start, end = max(rows.start, turned_over(case, changeover)), rows.stop
    if changeover.exit is not None:
        delay = case.limits["exit.delay"] + case.limits["exit.grace"]
        end = changeover.exit - pd.Timedelta(minutes=delay) - case.trends.step
    if (end - start).total_seconds() / 60.0 < SHORTEST_RUN:
        return None
    return slice(start, end)


def _over_runs(case: Case, judge: Callable[[Case, Changeover, slice], Event]) -> list[Event]:
    found = []
    for changeover in case.handovers:
        rows = settled(case, changeover)
        event = judge(case, changeover, rows) if rows else unjudged(
            changeover.name, changeover.handover,
            f"less than {SHORTEST_RUN:.0f} min of settled run")
        found.append(in_full(event, case.cut_off(changeover)))
    return found


@once
def wanted_condenser_water(case: Case) -> pd.Series:
    """Condenser water that the setpoint needs [degF]: active setpoint - exchanger approach -
    offset."""
    assert case.exchanger_approach is not None
    active = case.frame["chw_supply_setpoint"]
    return active - case.exchanger_approach.value - case.limits["running.tower_offset"]


def _share_event(case: Case, changeover: Changeover, rows: slice, good: np.ndarray,
                 doubtful: np.ndarray, known: np.ndarray, text: str) -> Event:
    """Judge a share of the rows ``known``; ``doubtful`` ones could be either for the sensors'
    sake."""
    found, spread = share(good, known), share(doubtful, known)
    if math.isnan(found):
        return unjudged(changeover.name, changeover.handover, "a gap over the whole run")
    return at_least(case, changeover.name, rows.start, rows.stop, found,
                    case.limits["running.share"], spread, f"{found:.0f} % of the run {text}",
                    hidden=100.0 * float((good & known).mean()))


def _within_event(case: Case, changeover: Changeover, rows: slice, difference: np.ndarray,
                  band: float, doubt: float, text: str) -> Event:
    """Judge the share of rows in which a difference, known to ``doubt``, is within a band."""
    away, known = np.abs(difference), ~np.isnan(difference)
    return _share_event(case, changeover, rows, away <= band, np.abs(away - band) <= doubt, known,
                        f"within {band:g} °F of {text}, median {median(difference):+z.1f}")


@check(
    "running.tower_setpoint",
    "Is the condenser-water setpoint the active setpoint minus exchanger approach and offset, "
    "and does it not follow the wet bulb?",
    unit="%",
    needs=("request", "chillers", "cw_supply_setpoint", "chw_supply_setpoint"),
    limits=("running.tower_band", "running.tower_offset", "running.share"),
    good="The towers make what the setpoint needs.",
    bad="The towers chase something other than the need, such as the wet bulb.",
    adjust="Likely a tower setpoint of wet bulb plus approach left in economizer operation, then "
    "a fixed setpoint: set it to the active chilled-water setpoint minus exchanger approach and "
    "offset.",
    advise=lambda case, failed: (
        f"With this exchanger: active setpoint minus "
        f"{case.exchanger_approach.value + case.limits['running.tower_offset']:.1f} °F."),
    runs=True,
)
def tower_setpoint(case: Case) -> list[Event]:
    approaches.need_exchanger(case)
    return _over_runs(case, _tower_setpoint)


def _tower_setpoint(case: Case, changeover: Changeover, rows: slice) -> Event:
    setpoint = case.values("cw_supply_setpoint", rows)
    difference = setpoint - case.values(wanted_condenser_water(case), rows)
    doubt = uncertainty.resolution(case, "cw_supply_setpoint", "chw_supply_setpoint")
    follows = "" if case.lacking(["wet_bulb"]) else _follows(
        setpoint, case.values(case.wet_bulb, rows))
    event = _within_event(case, changeover, rows, difference,
                          case.limits["running.tower_band"], doubt, "the setpoint needed")
    return replace(event, text=event.text + follows)


def _follows(setpoint: np.ndarray, wet_bulb: np.ndarray) -> str:
    both = np.array([setpoint, wet_bulb])
    both = both[:, ~np.isnan(both).any(axis=0)]
    if both.shape[1] < 2 or both.std(axis=1).min() < 0.2:
        return ""
    return "; it follows the wet bulb" if np.corrcoef(both)[0, 1] > 0.9 else ""


@check(
    "running.overcooling",
    "Is the condenser water no colder than needed unless the fans are at minimum?",
    unit="%",
    needs=("request", "chillers", "cw_supply_temp", "chw_supply_setpoint",
           "tower_{n}_fan_speed"),
    limits=("running.overcooling", "running.fan_minimum", "running.share"),
    good="No fan power is spent on water colder than needed.",
    bad="The towers make colder water than the setpoint needs.",
    adjust="Likely a tower setpoint below the need, then fans held at speed by hand: let the "
    "fans slow down at the condenser-water setpoint.",
    advise=lambda case, failed: (
        f"In the worst run only {min(event.measured for event in failed):.0f} % of the time was "
        f"within {case.limits['running.overcooling']:g} °F of the need or at minimum speed."),
    runs=True,
)
def overcooling(case: Case) -> list[Event]:
    approaches.need_exchanger(case)
    return _over_runs(case, _overcooling)


@once
def _fastest_fan(case: Case) -> pd.Series:
    """Speed of the fastest fan [%]; a gap where that of any is not known."""
    speeds = case.frame[[f"tower_{n}_fan_speed" for n in case.tower_numbers]]
    return speeds.max(axis=1, skipna=False)


def _overcooling(case: Case, changeover: Changeover, rows: slice) -> Event:
    wanted = case.values(wanted_condenser_water(case), rows)
    colder = wanted - case.values("cw_supply_temp", rows)
    fastest = case.values(_fastest_fan(case), rows)
    slow = fastest <= case.limits["running.fan_minimum"]
    band = case.limits["running.overcooling"]
    known = ~np.isnan(colder) & ((colder <= band) | ~np.isnan(fastest))
    doubt = uncertainty.expanded(case, {"cw_supply_temp": 1.0})
    doubtful = (np.abs(colder - band) <= doubt) & ~slow
    return _share_event(case, changeover, rows, (colder <= band) | slow, doubtful,
                        known,
                        f"not colder than needed by more than {band:g} °F, or fans at minimum")


@check(
    "running.fan_cycling",
    "Do the tower fans start only so often?",
    unit="per hour",
    needs=("request", "chillers", "tower_{n}_fan_running"),
    limits=("running.fan_starts",),
    good="The fans are not worn by starts.",
    bad="A tower fan starts too often: motor, belt and gear suffer.",
    adjust="Widen the band of the fan control, lengthen its minimum off time, or stage cells "
    "by speed.",
    advise=lambda case, failed: (
        f"{max(event.measured for event in failed):.0f} starts an hour: a shortest cycle of "
        f"{60.0 / case.limits['running.fan_starts']:.0f} min keeps the limit."),
    runs=True,
)
def fan_cycling(case: Case) -> list[Event]:
    return [event for c in case.handovers for event in _cycling(case, c)]


def _cycling(case: Case, changeover: Changeover) -> list[Event]:
    rows = slice(changeover.handover, changeover.ended)
    return together([in_full(_starts(case, changeover, n, rows), case.cut_off(changeover))
                     for n in case.tower_numbers])


def _starts(case: Case, changeover: Changeover, n: int, rows: slice) -> Event:
    name = f"{changeover.name}, cell {n}"
    limit = case.limits["running.fan_starts"]
    hour, times = case.rows(60.0), case.times(rows)
    status = case.values(f"tower_{n}_fan_running", rows)
    in_hour = _in_an_hour(np.diff(status, prepend=np.nan) == 1.0, hour)
    hidden = in_hour + _in_an_hour(_starts_in_gaps(status), hour)
    most, last = int(in_hour.max()), int(in_hour.argmax())
    # A start needs one row on and one row off to be seen.
    every = case.seen_every(f"tower_{n}_fan_running")
    if most <= limit and 60.0 / (2.0 * every) <= limit:
        return unjudged(name, changeover.handover,
                        f"rows of {every:.0f} min cannot show so many starts")
    return at_most(case, name, times[max(last - hour + 1, 0)], times[last], most, limit,
                   0.0, f"starts in the busiest hour: {most}", "per hour",
                   hidden=int(hidden.max()))


def _in_an_hour(starts: np.ndarray, hour: int) -> np.ndarray:
    """How many in the hour up to each row."""
    return np.convolve(starts.astype(int), np.ones(hour, dtype=int))[: len(starts)]


def _starts_in_gaps(status: np.ndarray) -> np.ndarray:
    """How many starts each gap may hide, in its last row: one in every two rows."""
    found = np.zeros(len(status), dtype=int)
    for first, last in stretches(np.isnan(status)):
        found[last] = (last - first + 2) // 2
    return found


@check(
    "running.supply",
    "Does the supply stay within the band around the active setpoint?",
    unit="%",
    needs=("request", "chillers", "chw_supply_temp", "chw_supply_setpoint"),
    limits=("running.supply_band", "running.share", "conditions.load_low"),
    good="The exchanger holds the setpoint.",
    bad="The exchanger does not hold the setpoint.",
    adjust="Where it stood high, likely a tower setpoint too high (running.tower_setpoint), then a "
    "fouled exchanger (running.exchanger), then flow through an idle chiller or the decoupler, "
    "then a late exit (exit.supply). Where it stood low, likely towers that make colder water "
    "than needed (running.overcooling), then a supply sensor that reads low.",
    advise=lambda case, failed: _advise_supply(case, failed),
    capacity=True,
    runs=True,
)
def supply(case: Case) -> list[Event]:
    return _over_runs(case, _supply)


def _advise_supply(case: Case, failed: Sequence[Event]) -> str:
    """To which side the failed runs left the band, for how much of the time and how far."""
    away = np.concatenate([_off_setpoint(case, slice(e.start, e.end)) for e in failed])
    band = case.limits["running.supply_band"]
    high, low = away[away > band], away[away < -band]
    word, side = ("high", high) if len(high) >= len(low) else ("low", low)
    share = 100.0 * len(side) / len(away)
    return (f"In the failed runs it stood too {word} {share:.0f} % of the time, then by "
            f"{abs(median(side)):.1f} °F (median).")


def _off_setpoint(case: Case, rows: slice) -> np.ndarray:
    """Supply minus active setpoint where both are known [degF]."""
    off = case.values("chw_supply_temp", rows) - case.values("chw_supply_setpoint", rows)
    return off[~np.isnan(off)]


def _supply(case: Case, changeover: Changeover, rows: slice) -> Event:
    if problem := light_load(case, rows):
        return unjudged(changeover.name, changeover.handover, problem, verdict=Verdict.DEFERRED)
    setpoint = case.values("chw_supply_setpoint", rows)
    return _within_event(case, changeover, rows,
                         case.values("chw_supply_temp", rows) - setpoint,
                         case.limits["running.supply_band"],
                         uncertainty.expanded(case, {"chw_supply_temp": 1.0}),
                         "the active setpoint")


@check(
    "running.exchanger",
    "Has the exchanger its design conductance, corrected to design flow?",
    unit="%",
    needs=("hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
           "hx_cw_leaving_temp", "exchanger_flows", "request", "chillers"),
    limits=("running.conductance",),
    good="The exchanger is as clean as it should be.",
    bad="The exchanger transfers less than it should: fouled, bypassed, or its flows are wrong.",
    adjust="Compare the pressure drop: high, clean it; normal, check flows and channel count; "
    "low, look for a bypass or a leaking valve.",
    capacity=True,
    runs=True,
)
def exchanger(case: Case) -> list[Event]:
    design = case.plant.exchanger
    values = (design.chw_flow, design.chw_entering, design.chw_leaving, design.cw_flow,
              design.cw_entering, design.cw_leaving)
    if any(value is None for value in values):
        raise Untested("the exchanger's design flows and temperatures are not all stated in "
                       "the plan")
    try:
        clean = physics.observed_conductance(*values)
    except ValueError as error:
        raise Untested(f"the exchanger's design data are impossible: {error}") from error
    balance = {e.name: e for e in instruments.heat_balance(case).events}
    return _over_runs(case, lambda case, changeover, rows: _conductance(
        case, changeover, rows, clean, balance.get(changeover.name)))


def _conductance(case: Case, changeover: Changeover, rows: slice, clean: float,
                 balance: Event | None) -> Event:
    if problem := light_load(case, rows):
        return unjudged(changeover.name, changeover.handover, problem, verdict=Verdict.DEFERRED)
    if balance is None or balance.verdict is not Verdict.PASS:
        return unjudged(changeover.name, changeover.handover,
                        "the heat balance of the exchanger does not close")
    names = ("hx_chw_flow", "hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_flow",
             "hx_cw_entering_temp", "hx_cw_leaving_temp")
    # The middles must be of the same rows: with gaps in some, the load of others would be theirs.
    values = np.array([case.values(name, rows) for name in names])
    known = values[:, ~np.isnan(values).any(axis=0)]
    if known.shape[1] * case.minutes < LEAST_KNOWN:
        return unjudged(changeover.name, changeover.handover,
                        f"less than {LEAST_KNOWN:.0f} min without a gap at the exchanger")
    middle = dict(zip(names, np.median(known, axis=1).tolist(), strict=True))

    def against_design(**readings: Any) -> Any:
        found = physics.observed_conductance(*readings.values())
        corrected = physics.corrected_conductance(
            found, clean, readings["hx_chw_flow"] / case.plant.exchanger.chw_flow,
            readings["hx_cw_flow"] / case.plant.exchanger.cw_flow)
        return 100.0 * corrected / clean

    try:
        found = against_design(**middle)
        doubt = uncertainty.propagated(case, against_design, middle)
    except ValueError as error:
        return unjudged(changeover.name, changeover.handover,
                        f"the sensors cannot decide it: {error}")
    return at_least(case, changeover.name, rows.start, rows.stop, found,
                    case.limits["running.conductance"], doubt,
                    f"{found:.0f} % of the design conductance, known to {doubt:.0f} %")


CHECKS = (tower_setpoint, overcooling, fan_cycling, supply, exchanger)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
