"""Step 4: does every running chiller keep its lift while the sump is pulled cold?

The pull-down begins at the command; a status that comes with the handover shows none of it,
so these checks need the command itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from fptlib import units
from fptlib.procedure import alarms, approaches, uncertainty
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
from fptlib.procedure.durations import minutes_between
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.levels import highest_kept, lowest_kept
from fptlib.procedure.returning import lowered, release_time, rise_hidden
from fptlib.procedure.verdict import Check, Event, Verdict


def pull_down(case: Case, changeover: Changeover) -> slice:
    """The rows from the request up to the last one with a chiller running.

    It is coldest at its end: where that was not seen (``Changeover.unseen``), no pass is proven.
    """
    return slice(changeover.request, changeover.pull_down_end - case.trends.step)


@check(
    "lift.minimum",
    "In the pull-down: does each running chiller keep its maker's minimum lift?",
    unit="degF",
    needs=("economizer_command", "chillers", "chiller_{n}_cw_leaving_temp",
           "chiller_leaving_water"),
    limits=("lift.short_dip",),
    good="Every chiller kept enough lift until it stopped.",
    bad="A chiller lost its lift as the sump cooled; it may surge, starve of oil or trip.",
    adjust="Lower the chilled-water setpoint together with the condenser water during the "
    "pull-down, or throttle the chiller's condenser water; the maker's limit governs.",
    advise=lambda case, failed: _advise_lift(case, failed),
)
def minimum(case: Case) -> list[Event]:
    _minimum_lifts(case)
    return [event for c in case.requests for event in together(
        [lift for n in case.chiller_numbers for lift in _lifts(case, c, n)])]


def _advise_lift(case: Case, failed: Sequence[Event]) -> str:
    water = [event for event in failed if event.unit == "degF"]
    if not water:
        return ""
    short = max(event.uncertainty - event.margin for event in water)
    offset = case.limits["lift.offset"]
    low = min(event.measured for event in water)
    if (above := _above_wanted(case, water)) > case.limits["lift.setpoint_band"]:
        return (f"The lift went down to {low:.1f} °F while the active setpoint stood up to "
                f"{above:.1f} °F above condenser water minus {offset:g}: let it follow first "
                "(lift.setpoint), then see whether the offset is enough.")
    # Against the floor no offset helps: then the sump must stay warmer until the handover.
    return (f"The lift went down to {low:.1f} °F: raise the offset of the temporary setpoint "
            f"below condenser water from {offset:g} to {offset + short:.1f} °F; where that "
            f"meets the floor of {case.floor:g}, hand over with condenser water {short:.1f} °F "
            "warmer.")


def _above_wanted(case: Case, failed: Sequence[Event]) -> float:
    """How far the active setpoint stood above what the lift asks of it, where lift was lost
    [degF]; zero where that is not known."""
    if case.lacking(("chw_supply_setpoint", "cw_supply_temp")):
        return 0.0
    above = case.frame["chw_supply_setpoint"] - temporary_setpoint(case)
    return float(np.nan_to_num([case.value(above, event.start) for event in failed]).max())


def _minimum_lifts(case: Case) -> None:
    known = [n for n in case.chiller_numbers
             if case.plant.chiller(n).minimum_water_lift is not None
             or case.plant.chiller(n).minimum_pressure_lift is not None]
    if len(known) < len(case.chiller_numbers):
        absent = ", ".join(str(n) for n in case.chiller_numbers if n not in known)
        raise Untested(f"the maker's minimum lift of chiller {absent} is not stated in the plan")


def _lifts(case: Case, changeover: Changeover, n: int) -> list[Event]:
    chiller = case.plant.chiller(n)
    events = []
    if chiller.minimum_water_lift is not None:
        events.append(_kept(case, changeover, n, "water", case.water_lift(n),
                            chiller.minimum_water_lift, _water_points(case, n)))
    if chiller.minimum_pressure_lift is not None:
        events.append(_kept_pressure(case, changeover, n, chiller.minimum_pressure_lift))
    return [in_full(event, changeover.unseen) for event in events if event is not None]


def _kept_pressure(case: Case, changeover: Changeover, n: int, least: float) -> Event | None:
    if missing := case.trends.missing(_pressures(n)):
        # Beside a water lift the pressures are a second proof; alone they are the only one.
        if case.plant.chiller(n).minimum_water_lift is not None:
            return None
        return unjudged(f"{changeover.name}, chiller {n} pressure lift", changeover.request,
                        f"not trended: {', '.join(missing)}")
    return _kept(case, changeover, n, "pressure", pressure_lift(case, n), least, _pressures(n))


def _pressures(n: int) -> tuple[str, str]:
    return f"chiller_{n}_condenser_pressure", f"chiller_{n}_evaporator_pressure"


@once
def pressure_lift(case: Case, n: int) -> pd.Series:
    """Condenser minus evaporator pressure of chiller ``n`` while it runs [psi]."""
    condenser, evaporator = _pressures(n)
    return (case.frame[condenser] - case.frame[evaporator]).where(case.running(n) == 1.0)


def _water_points(case: Case, n: int) -> tuple[str, str]:
    own = f"chiller_{n}_chw_leaving_temp"
    return f"chiller_{n}_cw_leaving_temp", own if case.has(own) else "chw_supply_temp"


def _kept(
    case: Case, changeover: Changeover, n: int, kind: str, lifts: pd.Series, least: float,
    sensors: tuple[str, str],
) -> Event | None:
    """Judge a lift, which is the difference of two ``sensors``, while the chiller runs."""
    name, rows = f"{changeover.name}, chiller {n} {kind} lift", pull_down(case, changeover)
    lift, standing = case.values(lifts, rows), case.values(case.running(n), rows) == 0.0
    if standing.all():
        return None
    found = lowest_kept(case, lift, rows, case.seen_every(*sensors), np.isnan(lift) & ~standing)
    if found is None:
        if np.isnan(lift).all():
            return unjudged(name, changeover.request, "the lift has a gap there")
        return unjudged(name, changeover.request, "the chiller ran too briefly to be judged")
    unit = "psi" if kind == "pressure" else "degF"
    doubt = uncertainty.expanded(case, dict.fromkeys(sensors, 1.0))
    return at_least(case, name, found.at, changeover.pull_down_end, found.value, least,
                    doubt + found.doubt,
                    f"went down to {found.value:.1f} {units.symbol(unit)} for longer than "
                    f"{case.limits['lift.short_dip']:.0f} min; the maker asks for {least:.4g} "
                    f"{units.symbol(unit)}", unit, found.hidden)


@check(
    "lift.setpoint",
    "In the pull-down: does the active setpoint go down with the condenser water so that "
    "lift is kept?",
    unit="degF",
    needs=("economizer_command", "chillers", "chw_supply_setpoint", "reset_setpoint",
           "cw_supply_temp"),
    limits=("lift.setpoint_band", "lift.offset", "lift.lowest_setpoint", "lift.short_dip"),
    good="The temporary setpoint leads the chiller down ahead of the condenser water.",
    bad="The setpoint stayed up while the condenser water fell: nothing protected the lift.",
    adjust="During the pull-down let the active setpoint be the lower of the reset setpoint "
    "and condenser water minus the offset, but never below the floor.",
    advise=lambda case, failed: (
        f"It stood up to {max(event.measured for event in failed):.1f} °F too high against an "
        f"offset of {case.limits['lift.offset']:g}."),
)
def setpoint(case: Case) -> list[Event]:
    return [in_full(_followed(case, c), c.unseen) for c in case.requests]


@once
def temporary_setpoint(case: Case) -> pd.Series:
    """What the lift asks of the active setpoint [degF]: condenser water minus the offset,
    not below the lowest that the sequence goes to."""
    wanted = case.frame["cw_supply_temp"] - case.limits["lift.offset"]
    return wanted.clip(lower=_lowest(case))


def _lowest(case: Case) -> float:
    return max(case.limits["lift.lowest_setpoint"], case.floor)


def _followed(case: Case, changeover: Changeover) -> Event:
    rows = pull_down(case, changeover)
    wanted = case.values(temporary_setpoint(case), rows)
    # Where every chiller stood already at the request, there is no lift to keep.
    asked = (wanted < case.values(case.reset_setpoint, rows)) & (
        case.values(case.chillers_on, rows) == 1.0)
    above = case.values("chw_supply_setpoint", rows) - wanted
    unknown = (np.isnan(above + case.values(case.reset_setpoint, rows))
               & (case.values(case.chillers_on, rows) != 0.0))
    every = case.seen_every("chw_supply_setpoint", "cw_supply_temp")
    found = highest_kept(case, np.where(asked, above, np.nan), rows, every, unknown)
    if found is None:
        return unjudged(changeover.name, changeover.request,
                        "the condenser water never came near enough to ask a running chiller "
                        "for it")
    rounding = uncertainty.resolution(case, "chw_supply_setpoint", "cw_supply_temp")
    moving = uncertainty.between_rows(wanted, every)
    return at_most(case, changeover.name, found.at, changeover.pull_down_end, found.value,
                   case.limits["lift.setpoint_band"], rounding + moving + found.doubt,
                   f"stood {found.value:+z.1f} °F against condenser water minus "
                   f"{case.limits['lift.offset']:g} (not below {_lowest(case):.4g} °F)",
                   hidden=found.hidden)


@check(
    "lift.floor",
    "In the pull-down: do active setpoint and supply never go below the floor?",
    unit="degF",
    needs=("chw_supply_setpoint", "chw_supply_temp", "economizer_command", "chillers"),
    limits=("lift.floor", "lift.above_cutout", "lift.short_dip"),
    good="The chiller stayed clear of its low-temperature cut-out.",
    bad="Setpoint or supply went below the floor: the chiller may cut out or freeze.",
    adjust="Likely no floor in the sequence, then a floor below cut-out plus distance, then a "
    "chiller that undershoots: limit the temporary setpoint.",
    advise=lambda case, failed: (
        f"Raise the lowest temporary setpoint by "
        f"{max(event.uncertainty - event.margin for event in failed):.1f} °F; check it "
        "against the maker's cut-out."),
)
def floor(case: Case) -> list[Event]:
    return [event for c in case.requests for event in together([
        in_full(each, c.unseen) for each in _above_floors(case, c)])]


def _above_floors(case: Case, changeover: Changeover) -> list[Event]:
    rounding = uncertainty.resolution(case, "chw_supply_setpoint")
    doubt = uncertainty.expanded(case, {"chw_supply_temp": 1.0})
    return [_above_floor(case, changeover, "active setpoint", "chw_supply_setpoint", rounding),
            _above_floor(case, changeover, "supply", "chw_supply_temp", doubt)]


def _above_floor(case: Case, changeover: Changeover, what: str, name: str,
                 doubt: float) -> Event:
    rows = slice(changeover.request, changeover.pull_down_end)
    label = f"{changeover.name}, {what}"
    found = lowest_kept(case, case.values(name, rows), rows, case.seen_every(name))
    if found is None:
        return unjudged(label, changeover.request, "the pull-down is too short, or has gaps")
    return at_least(case, label, found.at, None, found.value, case.floor, doubt + found.doubt,
                    f"lowest was {found.value:.1f} °F, the floor is {case.floor:.4g} °F",
                    hidden=found.hidden)


@check(
    "lift.chiller_on",
    "Does the chiller run without trip, hold or alarm until condenser water can carry the "
    "load?",
    unit="degF",
    needs=("economizer_command", "chillers", "cw_supply_temp", "reset_setpoint",
           "chiller_{n}_alarm"),
    good="The last chiller stopped only when the exchanger could take over.",
    bad="A chiller tripped, or stopped before the exchanger could take over.",
    adjust="Keep the chiller on until condenser water plus exchanger approach is at the reset "
    "setpoint; find the cause of the trip or alarm before the next attempt.",
    advise=lambda case, failed: _advise_given_up(case),
)
def chiller_on(case: Case) -> list[Event]:
    approaches.need_exchanger(case)
    return [_stayed_on(case, c) for c in case.requests]


def _advise_given_up(case: Case) -> str:
    """Of the attempts that were given up without an alarm: was the water never cold enough, or
    did a chiller that was no longer needed stay on?"""
    given_up = [c for c in case.requests
                if c.abandoned is not None and alarms.first(case, c) is None]
    over = [_coldest(case, c) for c in given_up]
    if not over or np.isnan(over).all():
        return ""
    if (short := float(np.nanmax(over))) > 0.0:
        return (f"Where the request was given up, condenser water stayed up to {short:.1f} °F "
                "too warm for the exchanger: request later, or give the pull-down more time.")
    return ("Where the request was given up, condenser water could have carried the load: find "
            "what kept the chiller on.")


def _coldest(case: Case, changeover: Changeover) -> float:
    """The least by which the exchanger missed the reset setpoint in a pull-down [degF]."""
    assert case.exchanger_approach is not None
    rows = pull_down(case, changeover)
    reachable = case.values("cw_supply_temp", rows) + case.exchanger_approach.value
    over = reachable - case.values(case.reset_setpoint, rows)
    return float(np.nanmin(over)) if not np.isnan(over).all() else np.nan


def _stayed_on(case: Case, changeover: Changeover) -> Event:
    if alarm := alarms.first(case, changeover):
        time, text = alarm
        return Event(changeover.name, time, changeover.pull_down_end, Verdict.FAIL, text)
    if changeover.unseen:
        return unjudged(changeover.name, changeover.request, changeover.unseen)
    if changeover.handover is None:
        return Event(changeover.name, changeover.pull_down_end, None, Verdict.FAIL,
                     "the request was given up before the exchanger took the load")
    if alarms.unknown(case, changeover):
        return unjudged(changeover.name, changeover.request, "an alarm column has a gap there")
    return _ready(case, changeover)


def _ready(case: Case, changeover: Changeover) -> Event:
    assert case.exchanger_approach is not None
    every = case.seen_every("cw_supply_temp")
    around = slice(changeover.handover - pd.Timedelta(minutes=every), changeover.handover)
    water = case.values("cw_supply_temp", around)
    reachable = float(water.mean()) + case.exchanger_approach.value
    wanted = case.value(case.reset_setpoint, changeover.handover)
    if np.isnan(reachable) or np.isnan(wanted):
        return unjudged(changeover.name, changeover.handover, "a gap at the handover")
    sensors = uncertainty.added({"cw_supply_temp": 1.0}, approaches.exchanger_sensors(case))
    return at_most(case, changeover.name, changeover.handover, None, reachable, wanted,
                   float(np.hypot(uncertainty.expanded(case, sensors),
                                  uncertainty.between_rows(water, every))),
                   f"the exchanger could reach {reachable:.1f} when the last chiller stopped, "
                   f"the reset asked for {wanted:.1f} °F")


@check(
    "lift.release",
    "Does the temporary setpoint of the pull-down end soon after the last chiller stops?",
    unit="min",
    needs=("request", "chillers", "chw_supply_setpoint", "reset_setpoint"),
    limits=("lift.release",),
    good="The temporary setpoint is given back as soon as it has done its work.",
    bad="The temporary setpoint stayed: towers and exchanger chase a setpoint nobody needs.",
    adjust="Likely a release tied to the clock or to nothing: tie the release of the temporary "
    "setpoint to the last chiller's stop.",
    advise=lambda case, failed: (
        f"Release within {case.limits['lift.release']:.0f} min; the longest wait was "
        f"{max(event.measured for event in failed):.0f}."),
    runs=True,
)
def release(case: Case) -> list[Event]:
    return [_released(case, c) for c in case.requests if c.handover is not None]


def _released(case: Case, changeover: Changeover) -> Event:
    at = changeover.handover
    if not lowered(case, changeover):
        return unjudged(changeover.name, at, "there was no temporary setpoint to release")
    if rise_hidden(case, changeover):
        return unjudged(changeover.name, at, "the setpoint has a gap before it began to rise")
    up = release_time(case, changeover)
    waited = minutes_between(at, up or changeover.ended)
    limit = case.limits["lift.release"]
    text = (f"began to rise {waited:.0f} min after the last chiller stopped" if up is not None
            else f"did not rise in the {waited:.0f} min of the run")
    if up is None and waited <= limit:
        return unjudged(changeover.name, at, "the run was too short to see the release")
    return at_most(case, changeover.name, at, up or changeover.ended, waited, limit,
                   case.seen_every("chw_supply_setpoint", "chillers"), text)


CHECKS = (minimum, setpoint, floor, chiller_on, release)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
