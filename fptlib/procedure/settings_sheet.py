"""The settings sheet: each setting of the sequence as specified, as found and recommended, why, and
its valid range at this plant.

Every recommendation follows from a limit, the plant's path from chillers to exchanger and what the
sensors are known to. It is then replayed over the job's own weather and load, and judged by the
checks themselves; what fails one is withheld. Where no settings keep the chillers' lift, the sheet
says infeasible, why, and what would help.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fptlib import units
from fptlib.job.schema import TEMPORARY_SETPOINT, Approach
from fptlib.job.tables import SETTINGS
from fptlib.limits import standard
from fptlib.physics.water import BTU_PER_TON_HOUR
from fptlib.procedure import approaches, feasibility, power_models, uncertainty
from fptlib.procedure.feasibility import FEASIBLE, INFEASIBLE, Path
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import median
from fptlib.procedure.recovery import RATE_WINDOW
from fptlib.procedure.replay import Replay, follows, replayed
from fptlib.procedure.reset import ResetLine
from fptlib.procedure.sequence import CHILLERS, ECONOMIZER, Settings, as_specified
from fptlib.procedure.setting_effects import with_effects
from fptlib.procedure.settings import span
from fptlib.procedure.sheet_lines import (
    WITHHELD,
    Line,
    break_even,
    effect,
    enable_line,
    fans_in_frost,
    on_cost,
    water_on_chillers,
)
from fptlib.procedure.steps import CHECKS, judge
from fptlib.procedure.verdict import Check, NotTested, Verdict
from fptlib.procedure.waters import waters

# What the replay shows and so what can be judged of it; alarms it does not show.
REPLAYED = ("reset.active", "enable.condition", "enable.dwell", "enable.stay", "enable.rest",
            "enable.missed", "lift.minimum", "lift.setpoint", "lift.floor", "lift.chiller_on",
            "lift.release", "lift.evaporator", "lift.pull_down", "handover.excursion",
            "recovery.rate", "recovery.duration", "recovery.supply", "exit.supply",
            "exit.comparative", "exit.not_early")
# Where hours are missed, so much less tolerance in all, where runs come out too short more [degF],
# and such longer delays [min].
TRIES = ((0.0, 0.0), (-1.0, 0.0), (1.0, 0.0), (1.0, 15.0), (2.0, 15.0), (3.0, 30.0))
# A minimum run time beyond a day holds a plant on the exchanger in weather that it is not for.
LONGEST_RUN = 1440.0
# The supply may rise at so large a share of its limit, and the ramp of its own.
SHARE = 0.8


@dataclass(frozen=True)
class Sheet:
    """The whole sheet. ``settings`` and ``replay`` are what was replayed, ``reset`` the reset
    setpoint it rested on [degF], ``checks`` the verdicts on it; none where it is infeasible or not
    known."""

    verdict: str
    reason: str
    helps: tuple[str, ...]
    path: Path | None
    lines: tuple[Line, ...]
    settings: Settings | None = None
    replay: Replay | None = None
    checks: tuple[Check, ...] = ()
    basis: tuple[str, ...] = ()

    @property
    def failed(self) -> list[Check]:
        """The checks that the replayed recommendations fail."""
        return [check for check in self.checks if check.verdict is Verdict.FAIL]


def sheet(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]]) -> Sheet:
    """The settings sheet of a test, ``stated`` being the answers of ``[settings]``.

    Raises:
        NotTested: a point or an approach is missing.
    """
    line = reset_line(test)
    if lacks := test.missing("wet_bulb", *(() if line else ("reset_setpoint", "request",
                                                             "chillers"))):
        raise NotTested(f"not trended: {', '.join(lacks)}")
    reset = test.reset_setpoint if line is None else line.of(test["outdoor_dry_bulb"])
    found = recommended(test, stated, 0.0, 0.0)
    path = feasibility.path(test, lowest_reset(test, reset, found), found.margin, found.lowest)
    verdict, reason = feasibility.verdict(test, path)
    known = path if isinstance(path, Path) else None
    if verdict != FEASIBLE:
        helps = feasibility.helps(test, known) if verdict == INFEASIBLE and known else ()
        return Sheet(verdict, reason, tuple(helps), known, _lines(
            test, stated, found, known, line, verdict,
            _beside(test, stated, found, None, reset)))
    tried = []
    for more, longer in TRIES:
        found = recommended(test, stated, more, longer, known)
        replay = replayed(test, found, reset)
        pretended = as_if(test, replay, reset)
        checks = tuple(judge(pretended, id) for id in REPLAYED
                       if found.follows or id != "lift.minimum")
        tried.append((found, replay, checks))
        if not any(check.verdict is Verdict.FAIL for check in checks):
            break
    found, replay, checks = min(
        tried, key=lambda each: sum(check.verdict is Verdict.FAIL for check in each[2]))
    failed = [check.id for check in checks if check.verdict is Verdict.FAIL]
    groups = {id.split(".")[0] for id in failed} | ({""} if failed else set())
    lines = tuple(replace(each, recommended=WITHHELD, why="no settings were found that pass "
                          f"{', '.join(failed)} in the replay") if each.group in groups else each
                  for each in _lines(test, stated, found, known, line, verdict,
                                     _beside(test, stated, found, replay, reset)))
    lines = with_effects(test, stated, found, reset, lines, line)
    return Sheet(verdict, reason, (), known, lines, found, replay, checks, waters(test).basis)


def reset_line(test: FunctionalTest) -> ResetLine | None:
    """The reset to set where the plant's own does not work: from the setpoint as found in warm
    weather up by twice the least range of a working reset, over what outdoor air was seen. What
    loads and their humidity accept is for the owner's engineer to say."""
    if judge(test, "reset.active").verdict is not Verdict.FAIL or test.missing("outdoor_dry_bulb"):
        return None
    outdoor = test["outdoor_dry_bulb"]
    cold, warm = (5.0 * round(float(np.nanpercentile(outdoor, share)) / 5.0) for share in (25, 90))
    now = median(test.reset_setpoint)
    return ResetLine(cold, now + 2.0 * test.limits["reset.range"], warm, now) if warm > cold else (
        None)


def lowest_reset(test: FunctionalTest, reset: np.ndarray, found: Settings) -> float:
    """The lowest reset setpoint at which the plant would enable [degF]; where the weather never
    allowed it, the highest that was seen."""
    holds = test.wet_bulb + found.needed <= reset
    return float(np.nanmin(reset[holds]) if holds.any() else np.nanmax(reset))


def recommended(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], more: float,
                longer: float, path: Path | None = None) -> Settings:
    """The settings to try: nothing looser than specified or than the limits ask for, each with a
    margin for what it is known to; ``more`` tolerance in all [degF], a ``longer`` delay [min]."""
    limits, spec = test.limits, as_specified(test.limits, stated)
    known = float(np.nanmedian(approaches.enable_uncertainty(test)))
    tolerance = _up(known / 2.0, 0.5) + more / 2.0
    supply = uncertainty.expanded(test, {"chw_supply_temp": 1.0})
    approach = approaches.exchanger(test).value
    lowest = max(spec["lowest"], test.floor + _up(supply, 0.5))
    sensors = uncertainty.added({"cw_supply_temp": 1.0}, approaches.exchanger(test).sensors)
    margin = _up(uncertainty.expanded(test, sensors) + 0.3, 0.1)
    # A larger one meets the lowest setpoint before the transition.
    offset = spec["offset"] if path is None else max(
        _up(path.offset, 0.1), min(max(spec["offset"], _up(path.offset, 0.5)),
                                   _down(path.transition - path.lowest, 0.5)))
    distance, timing = offset + approach + margin, test.timing_tolerance
    most = SHARE * min(limits["recovery.rate"], spec["rate"])
    # Rows longer than a minute show a timer as kept only from so much on.
    every = test.sample_interval("request", "wet_bulb", "chillers")
    rows = max(every - 2.0 * timing, 0.0) + every if every > 1.0 else 0.0
    exit_delay = spec["exit_delay"]
    if not limits["exit.delay"] <= exit_delay <= limits["exit.delay"] + limits["exit.grace"]:
        exit_delay = limits["exit.delay"]
    run_time = max(spec["run_time"], _least_run(test))
    apart = max((each.start_to_start or 0.0 for each in test.plant.chillers), default=0.0)
    return Settings(
        approaches.tower(test).value, approach,
        tower_tolerance=max(spec["tower_tolerance"], limits["enable.tower_tolerance"],
                            limits["enable.tower_tolerance"] + tolerance),
        exchanger_tolerance=max(spec["exchanger_tolerance"], limits["enable.exchanger_tolerance"],
                                limits["enable.exchanger_tolerance"] + tolerance),
        delay=max(spec["delay"], limits["enable.dwell"]) + longer + rows,
        run_time=run_time,
        off_time=max(spec["off_time"], limits["enable.rest"], apart - run_time) + rows,
        per_day=min(spec["per_day"], limits["enable.attempts"]),
        offset=offset, lowest=lowest, margin=margin, follows=follows(test),
        opening=_up(10.0 * (offset + approach) / (SHARE * limits["recovery.supply_rate"]), 5.0),
        spacing=RATE_WINDOW + timing, longest_pull_down=limits["lift.pull_down"],
        rate=min(most, _down(10.0 * distance / (limits["recovery.shortest"] + timing), 0.1)),
        band=min(spec["band"], limits["exit.band"]), exit_delay=exit_delay + timing,
        weather_exit=test.sequence.weather_exit, weather_band=test.sequence.weather_exit_band,
        cost_delay=limits["exit.comparative_delay"] if power_models.models(test) else None)


def _least_run(test: FunctionalTest) -> float:
    """What a run must last [min]: by the limit, until a stopped chiller may start, and for the
    energy of its changeover, where a day is enough for that."""
    pays = _up(break_even(test)[0], 5.0)
    recycle = max((each.anti_recycle or 0.0 for each in test.plant.chillers), default=0.0)
    return max(test.limits["enable.stay"], recycle, pays if pays <= LONGEST_RUN else 0.0)


def _beyond_limit(test: FunctionalTest) -> str:
    """What the break-even run length says against the limit on the minimum run time."""
    pays, limit = _up(break_even(test)[0], 5.0), test.limits["enable.stay"]
    if pays > LONGEST_RUN:
        return ("; no minimum run time makes a changeover pay, for a run would have to last longer "
                "than a day: find out what the changeover draws before anything is set")
    return "" if pays <= limit else (
        f"; the limit of {limit:.0f} min passes runs that do not pay: state {pays:.0f} min as this "
        "job's own limit")


def _up(value: float, step: float) -> float:
    return round(math.ceil(round(value / step, 6)) * step, 6)


def _down(value: float, step: float) -> float:
    return round(math.floor(round(value / step, 6)) * step, 6)


# -- the replay, as if it had been trended -------------------------------------------------


def as_if(test: FunctionalTest, replay: Replay, reset: np.ndarray) -> FunctionalTest:
    """The replay as a functional test of its own: the job's weather and load, the replay's
    commands, setpoints and water, one chiller that carries what the exchanger does not, and the
    power of either by the job's models."""
    move, on = waters(test), replay.mode != ECONOMIZER
    water = {name: test.grid.columns[name] for name in (
        "outdoor_dry_bulb", "outdoor_wet_bulb", "outdoor_humidity", "station_pressure", "chw_flow")
        if test.has(name)}
    beside = np.where(replay.mode > 1, move.beside, move.range)
    water |= {
        "economizer_command": (replay.mode != CHILLERS).astype(float),
        "chw_supply_setpoint": np.round(replay.active, 2), "chw_reset_setpoint": np.round(reset, 2),
        "chw_supply_temp": replay.supply, "cw_supply_temp": replay.condenser}
    if "chw_flow" in water and not test.missing("load"):
        with np.errstate(divide="ignore", invalid="ignore"):
            water["chw_return_temp"] = replay.supply + (
                test.load * BTU_PER_TON_HOUR / test.plant.btu_per_gpm("chw") / water["chw_flow"])
    if (models := power_models.models(test)) is not None:
        water["plant_power"] = np.where(
            on, models.on_chillers(test.load, reset),
            models.on_exchanger(test.load, reset, test.wet_bulb))
    # A chiller's own water follows its setpoint, whatever the exchanger mixes in.
    leaving = np.minimum(replay.supply, replay.active + feasibility.LAGGING)
    for n in test.chiller_numbers:
        water |= {f"chiller_{n}_running": (on & (n == test.chiller_numbers[0])).astype(float),
                  f"chiller_{n}_alarm": np.zeros(len(test)),
                  f"chiller_{n}_chw_leaving_temp": leaving,
                  f"chiller_{n}_cw_leaving_temp": replay.condenser + beside}
    said = [Approach(value, "observed", "as replayed") for value in (
        approaches.tower(test).value, approaches.exchanger(test).value)]
    grid = replace(test.grid, columns=water, alarms=(), remarks=(), intervals=dict.fromkeys(
        water, test.minutes))
    return replace(test, grid=grid, plant=replace(
        test.plant, tower_approach=said[0], exchanger_approach=said[1]), overrides=(), marks=(),
        weather=None)


# -- in words ------------------------------------------------------------------------------


def _lines(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], s: Settings,
           path: Path | None, line: ResetLine | None, verdict: str, beside: tuple[Line, ...]
           ) -> tuple[Line, ...]:
    """Every line, those ``beside`` the path among them; where no path was found nothing is
    recommended."""
    limits, known = test.limits, float(np.nanmedian(approaches.enable_uncertainty(test)))
    approach, distance = s.exchanger_approach, s.offset + s.exchanger_approach + s.margin
    shortest, longest = limits["recovery.shortest"], limits["recovery.longest"]
    least_open = 10.0 * (s.offset + approach) / limits["recovery.supply_rate"]
    low, high = (path.offset, path.transition - path.lowest) if path else (math.nan, math.nan)
    top = path.transition + path.beside - path.needed - path.guard if path else math.nan
    rows: list[tuple[str, float, str, str]] = [
        ("enable.tower_tolerance", s.tower_tolerance,
         f"the limit and half of what the condition is known to ({known:.1f} °F), in steps of 0.5",
         f"{limits['enable.tower_tolerance']:.1f} °F or more"),
        ("enable.exchanger_tolerance", s.exchanger_tolerance, "the same",
         f"{limits['enable.exchanger_tolerance']:.1f} °F or more"),
        ("enable.dwell", s.delay, "no run of the replay was shorter than the minimum run time",
         f"{limits['enable.dwell']:.0f} to {limits['enable.dwell'] + limits['enable.missed']:.0f} "
         "min"),
        ("enable.stay", s.run_time, "the largest of specification, limit, the chillers' "
         f"anti-recycle time and break-even; {break_even(test)[1]}{_beyond_limit(test)}",
         f"{_least_run(test):.0f} min to a day"),
        ("enable.rest", s.off_time, "the larger of specification and limit, and with the minimum "
         "run time the chillers' time from start to start; a changeover's energy is paid by its "
         "run, not by time off",
         f"{limits['enable.rest']:.0f} min or more"),
        ("enable.attempts", s.per_day, "the smaller of specification and limit",
         f"{limits['enable.attempts']:.0f} or fewer"),
        ("lift.offset", s.offset,
         f"minimum lift {path.needed:.1f} plus {path.guard:.1f} to spare, minus the condenser "
         f"range of {path.beside:.1f} °F; as specified where that is more and does not meet the "
         "lowest setpoint before the transition" if path else "as specified",
         f"{low:.1f} to {high:.1f} °F" if path else "not known"),
        ("lift.lowest_setpoint", s.lowest,
         f"the floor of {test.floor:.1f} °F and what the supply sensor is known to",
         f"{test.floor:.1f} to {top:.1f} °F" if path else f"{test.floor:.1f} °F or more"),
        ("recovery.rate", s.rate,
         f"{distance:.1f} °F to return, in {shortest:.0f} to {longest:.0f} min, at "
         f"{SHARE:.0%} of the limit at most",
         f"{10.0 * distance / longest:.1f} to "
         f"{min(limits['recovery.rate'], 10.0 * distance / shortest):.1f} °F in ten minutes"),
        ("lift.release", 0.0, "begin to ramp when the last chiller stops",
         f"0 to {limits['lift.release']:.0f} min"),
        ("running.tower_offset", limits["running.tower_offset"],
         f"towers hold the active setpoint minus the exchanger approach of {approach:.1f} °F",
         f"within {limits['running.tower_band']:.1f} °F"),
        ("exit.band", s.band, "the smaller of specification and limit",
         f"up to {limits['exit.band']:.1f} °F"),
        ("exit.delay", s.exit_delay,
         "between the earliest valid exit and the latest, by the timing tolerance",
         f"{limits['exit.delay'] - test.timing_tolerance:.0f} to "
         f"{limits['exit.delay'] + limits['exit.grace']:.0f} min"),
    ]
    found = [Line(name.split(".")[0], standard(name).short, _specified(test, stated, name),
                  _found(test, stated, name), _stated(value, name), why, valid)
             for name, value, why, valid in rows]
    moments = {
        "lift": [
            ("condenser water plus exchanger approach below the reset setpoint, at the transition",
             f"{s.margin:.1f} °F or more", "what that comparison is known to, and 0.3 °F",
             "0 °F or more")],
        "recovery": [
            ("exchanger valve, time to open", f"{s.opening:.0f} min",
             f"{s.offset + approach:.1f} °F from the chiller's water to the exchanger's, at "
             f"{SHARE:.0%} of {limits['recovery.supply_rate']:.1f} °F in ten minutes",
             f"{least_open:.0f} min or more"),
            ("last chiller stops after the valve is open", f"{s.spacing:.0f} min",
             f"the {RATE_WINDOW:.0f} min over which a rise is counted",
             f"{RATE_WINDOW:.0f} min or more")],
        "reset": [] if line is None else [
            ("reset of the chilled-water setpoint by outdoor air",
             f"{line.cold_setpoint:.1f} °F at {line.cold:.0f} °F outdoors and below, "
             f"{line.warm_setpoint:.1f} °F at {line.warm:.0f} °F and above",
             f"twice the least range of {limits['reset.range']:.0f} °F above the setpoint as "
             "found, over the outdoor air seen", "up to what air handlers and humidity accept")]}
    found += [Line(group, name, "–", "–", value, why, valid)
              for group, each in moments.items() for name, value, why, valid in each]
    found += beside
    if verdict != FEASIBLE:
        return tuple(replace(each, recommended=WITHHELD, why=verdict, valid="–") for each in found)
    if test.sequence.lift.means != TEMPORARY_SETPOINT:
        found = [each for each in found if each.name not in (
            standard("lift.offset").short, standard("lift.lowest_setpoint").short)]
    return tuple(found)


def _beside(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], found: Settings,
            replay: Replay | None, reset: np.ndarray) -> tuple[Line, ...]:
    """The lines that do not rest on the path, and what the settings bring where they were
    replayed."""
    specified = _specified(test, stated, "exit.comparative_delay")
    return (enable_line(test, found, reset), on_cost(test, specified),
            water_on_chillers(test, reset, found.lowest), fans_in_frost(test, replay),
            *(() if replay is None else (effect(test, replay, reset),)))


def _specified(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], name: str) -> str:
    value = stated.get(name, {}).get("specified")
    return _stated(value, name) if value is not None else (
        f"not stated; limit {_stated(test.limits[name], name)}")


def _stated(value: Any, name: str) -> str:
    return units.stated(value, standard(name).unit)


def _found(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], name: str) -> str:
    """As programmed, else what the check of that setting measured."""
    if (programmed := stated.get(name, {}).get("programmed")) is not None:
        return _stated(programmed, name)
    if name == "lift.offset" and not test.missing("chw_supply_setpoint", "cw_supply_temp"):
        led = test.within(request.pull_down for request in test.requests) & (
            test["chw_supply_setpoint"] < test.reset_setpoint - 0.5)
        seen = (test["cw_supply_temp"] - test["chw_supply_setpoint"])[led]
        return _range(seen, name)
    if name == "lift.lowest_setpoint" and not test.missing("chw_supply_setpoint"):
        led = test.within(request.pull_down for request in test.requests)
        return _range(test["chw_supply_setpoint"][led], name, lowest=True)
    id = SETTINGS.get(name, "")
    if id not in CHECKS:
        return "–"
    return _range(np.array([event.measured for event in judge(test, id).events
                            if event.measured is not None and event.unit == CHECKS[id].unit]), name)


def _range(seen: np.ndarray, name: str, lowest: bool = False) -> str:
    seen = seen[~np.isnan(seen)]
    if not len(seen):
        return "–"
    low, high = float(seen.min()), float(seen.min() if lowest else seen.max())
    return f"observed {span(low, high, standard(name).unit)}"
