"""The sequence replayed: what the plant should have done, minute by minute, beside what it did.

The state machine of ``sequence`` reads the job's own weather, load and setpoints. While it is in
the plant's mode it reads the plant's own water; from where they part, sump and loop go on by a
simple balance. With other settings, and no plant beside it, the same replay shows what these would
do in the same weeks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from fptlib.job.schema import TEMPORARY_SETPOINT
from fptlib.procedure import approaches, enable, exit, power_models
from fptlib.procedure.chiller_baseline import BLOCK_MINUTES
from fptlib.procedure.flags import stretches
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.load_model import local_times
from fptlib.procedure.sequence import (
    CHILLERS,
    ECONOMIZER,
    PULL_DOWN,
    TRANSITION,
    Controller,
    Seen,
    Settings,
    as_specified,
)
from fptlib.procedure.verdict import NotTested, Verdict
from fptlib.procedure.waters import Waters, carried_on, opened, waters

NEEDS = ("economizer_command", "chillers", "wet_bulb", "reset_setpoint", "cw_supply_temp",
         "chw_supply_temp", "chw_supply_setpoint")


@dataclass(frozen=True)
class Replay:
    """What the sequence does, row by row: mode, active setpoint, condenser and chilled water
    [degF], for how long the enable condition and the warm supply had lasted and since when the
    last run was over [min], and the enables of the day so far."""

    settings: Settings
    mode: np.ndarray
    active: np.ndarray
    condenser: np.ndarray
    supply: np.ndarray
    held: np.ndarray
    above: np.ndarray
    since_exit: np.ndarray
    enables: np.ndarray

    @cached_property
    def stage(self) -> np.ndarray:
        """0 on chillers, 1 changing over, 2 on the exchanger."""
        return np.array([0, 1, 1, 2])[self.mode]

    def in_pull_down(self, row: int) -> bool:
        """Whether it changed over in the row before."""
        return row > 0 and bool(self.mode[row - 1] in (PULL_DOWN, TRANSITION))


def plant_stage(test: FunctionalTest) -> np.ndarray:
    """The same of the plant, -1 where it is not known."""
    known = ~np.isnan(test.commanded) & ~np.isnan(test.chillers_on)
    stage = np.where(test.commanded == 0.0, 0, np.where(test.chillers_on == 1.0, 1, 2))
    return np.where(known, stage, -1)


def replayed(test: FunctionalTest, settings: Settings, reset: np.ndarray | None = None,
             beside: bool = False, closed: np.ndarray | None = None) -> Replay:
    """The sequence with these settings over the job's weather and load; ``reset`` in place of the
    plant's own reset setpoint [degF], ``closed`` in place of the hours in which it does not enable,
    and ``beside`` the plant's own water and moments.

    Raises:
        NotTested: a point is missing.
    """
    if lacks := test.missing(*NEEDS):
        raise NotTested(f"not trended: {', '.join(lacks)}")
    wanted = carried_on(test.reset_setpoint if reset is None else reset)
    models = None if settings.cost_delay is None else power_models.models(test)
    shut = (enable.hours_closed(test).sure if closed is None else closed).tolist()
    given = Given(
        waters(test), test.minutes, carried_on(test.wet_bulb), wanted,
        (np.zeros(len(test), dtype=bool) if models is None else models.dearer(
            test.load, np.array(wanted), test.wet_bulb)).tolist(),
        shut, local_times(test).astype("M8[D]").astype(int).tolist(),
        tuple(float(test[name][0]) for name in ("cw_supply_temp", "chw_supply_temp")))
    return moved_on(settings, given, Beside(
        plant_stage(test).tolist(), test["cw_supply_temp"].tolist(),
        test["chw_supply_temp"].tolist(), _left_with_cause(test).tolist()) if beside else None)


@dataclass(frozen=True)
class Given:
    """What a replay reads, a value a row: weather and reset setpoint [degF], where chillers would
    draw less, where nothing enables, and the days; ``start`` is condenser and chilled water before
    the first row, NaN where not known."""

    move: Waters
    minutes: float
    wet_bulb: list[float]
    reset: list[float]
    dearer: list[bool]
    shut: list[bool]
    days: list[int]
    start: tuple[float, ...]


@dataclass(frozen=True)
class Beside:
    """The plant that a replay runs beside: its stage, its waters [degF], and the rows in which it
    may have left with a valid cause."""

    stage: list[int]
    condenser: list[float]
    supply: list[float]
    left: list[bool]


def moved_on(settings: Settings, given: Given, plant: Beside | None = None) -> Replay:
    """The sequence with these settings, row by row."""
    move, minutes = given.move, given.minutes
    controller = Controller(settings, ECONOMIZER if plant and plant.stage[0] == 2 else CHILLERS)
    condenser, supply = (start if math.isnan(value) else value for value, start in zip(
        given.start, (move.usual, given.reset[0]), strict=True))
    rows, follows, left = [], None, False
    for row, (wet_bulb, wanted) in enumerate(zip(given.wet_bulb, given.reset, strict=True)):
        if plant:
            stage = plant.stage[row]
            seen = plant.condenser[row], plant.supply[row]
            if stage == (0, 1, 1, 2)[controller.mode] and not math.isnan(sum(seen)):
                condenser, supply = seen
            follows = (CHILLERS, PULL_DOWN, ECONOMIZER)[stage] if stage > 0 else None
            left = plant.left[row] and 0 <= stage < 2
        controller.step(Seen(wet_bulb, wanted, condenser, supply, not given.shut[row],
                             given.days[row], follows, left, given.dearer[row]), minutes)
        rows.append((controller.mode, controller.active, condenser, supply, controller.held,
                     controller.above, controller.since_exit, controller.enables))
        condenser = move.condenser(row, condenser, controller.mode, wanted, settings, minutes)
        part = opened(settings, controller.in_mode) if controller.mode == TRANSITION else 0.0
        supply = move.supply(row, supply, controller.mode, controller.active, condenser,
                             part, minutes)
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    return Replay(settings, *columns)


def _left_with_cause(test: FunctionalTest) -> np.ndarray:
    """Rows around every exit that the plant had, or may have had, a valid cause for."""
    early = {event.changeover for event in exit.not_early(test).events
             if event.verdict is Verdict.FAIL} if test.exits else set()
    near = test.rows(BLOCK_MINUTES)
    return test.within(test.window(left.run.last + 1 - near, left.row + near)
                       for left in test.exits if left.number not in early)


@dataclass(frozen=True)
class Disagreement:
    """Rows ``first`` to ``last`` in which the plant was elsewhere than its sequence allows."""

    first: int
    last: int
    plant: str
    sequence: str
    reason: str


STAGES = ("on chillers", "changing over", "on the exchanger")


def specified(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]]) -> Settings:
    """The settings that ``[settings]`` specifies; for what it leaves open the limits in force."""
    return Settings(
        approaches.tower(test).value, approaches.exchanger(test).value,
        **as_specified(test.limits, stated), weather_exit=test.sequence.weather_exit,
        weather_band=test.sequence.weather_exit_band,
        fixed_wet_bulb=test.sequence.enable.wet_bulb, follows=follows(test))


def bounds(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]]
           ) -> tuple[Settings, Settings]:
    """The earliest and the latest that the sequence allows: what ``[settings]`` specifies, by the
    timing tolerance and the steps of the trends; for what it leaves open the limits in force, and
    for an enable the longest that hours may be missed."""
    plain, timing = specified(test, stated), test.timing_tolerance
    step = max(test.sensor(name).resolution for name in ("outdoor_wet_bulb", "chw_supply_temp")
               if test.has(name)) if test.has("chw_supply_temp") else 0.1
    known = {name for name, row in stated.items() if row.get("specified") is not None}
    wait = 0.0 if "enable.dwell" in known else test.limits["enable.missed"]
    rise = (plain.offset + plain.exchanger_approach) * 10.0 / test.limits["recovery.longest"]
    early = replace(
        plain, tower_tolerance=plain.tower_tolerance - step, delay=plain.delay - timing,
        off_time=plain.off_time - timing, margin=-step - test.limits["lift.setpoint_band"],
        band=plain.band - step)
    late = replace(
        plain, tower_tolerance=plain.tower_tolerance + step, delay=plain.delay + wait + timing,
        off_time=plain.off_time + wait + timing, band=plain.band + step,
        exit_delay=plain.exit_delay + test.limits["exit.grace"] + timing,
        release=test.limits["lift.release"] + timing,
        rate=plain.rate if "recovery.rate" in known else min(rise, plain.rate))
    return early, late


def follows(test: FunctionalTest) -> bool:
    """Whether the sequence leads the setpoint down."""
    return test.sequence.lift.means == TEMPORARY_SETPOINT


def disagreements(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]]
                  ) -> list[Disagreement]:
    """Every stretch, longer than the tolerance, in which the plant was neither where the sequence
    has it at the earliest nor at the latest, nor between; and every one in which its active
    setpoint was not.

    Raises:
        NotTested: a point or an approach is missing.
    """
    first, last = bounds(test, stated)
    # At the latest the delay counts from the hour on in which the sequence may enable.
    wait = test.rows(last.delay)
    shut = np.convolve(enable.hours_closed(test).sure, np.ones(wait + 1))[: len(test)] > 0.0
    early = replayed(test, first, beside=True)
    late = replayed(test, last, beside=True, closed=shut)
    plant = plant_stage(test)
    low, high = np.minimum(early.stage, late.stage), np.maximum(early.stage, late.stage)
    known = (plant >= 0) & ~np.isnan(test.wet_bulb) & ~np.isnan(test.reset_setpoint)
    longest = test.timing_tolerance + test.sample_interval("economizer_command", "chillers")
    found = []
    for off in (known & (plant < low), known & (plant > high)):
        for begin, end in stretches(off):
            if (end - begin + 1) * test.minutes > longest:
                ahead = bool(plant[begin] > high[begin])
                did = dict.fromkeys(plant[begin : end + 1].tolist())
                found.append(Disagreement(
                    begin, end, ", then ".join(STAGES[each] for each in did),
                    STAGES[(high if ahead else low)[begin]],
                    _why(test, _moved(early, late, begin), begin, ahead)))
    found += _setpoint_off(test, early.settings, late.settings, np.where(known, plant, -1))
    return sorted(found, key=lambda each: each.first)


def _moved(early: Replay, late: Replay, row: int) -> Replay:
    """The one of both that changed its mode in this row, else the early one."""
    return next((each for each in (late, early)
                 if row and each.stage[row] != each.stage[row - 1]), early)


def _why(test: FunctionalTest, replay: Replay, row: int, ahead: bool) -> str:
    """What the sequence waited for and the plant, being ``ahead``, did not; or what the plant did
    not do although nothing kept it."""
    s, stage = replay.settings, int(replay.stage[row])
    reset, needed = float(test.reset_setpoint[row]), float(test.wet_bulb[row]) + s.needed
    ready = (f"condenser water {replay.condenser[row]:.1f} plus exchanger approach "
             f"{s.exchanger_approach:.1f} °F")
    if not ahead:
        return (f"the enable condition had held for {max(replay.held[row], 0.0):.0f} min and "
                "nothing kept the sequence from enabling" if stage == 1 else
                f"{ready} reached the reset setpoint of {reset:.1f}" if replay.in_pull_down(row)
                else "no valid cause to leave was seen")
    if stage == 1:
        return f"{ready} did not reach the reset setpoint of {reset:.1f}"
    if replay.since_exit[row] == 0.0:
        return (f"the chilled water was more than {s.band:.1f} °F above the reset setpoint for "
                f"{s.exit_delay:.0f} min" if replay.above[row] >= s.exit_delay else
                "the enable condition no longer held" if replay.stage[row - 1] == 2 else
                f"the pull-down lasted longer than {s.longest_pull_down:.0f} min")
    if needed > reset:
        return (f"the enable condition was short by {needed - reset:.1f} °F: wet bulb "
                f"{test.wet_bulb[row]:.1f} needs {needed:.1f}, the reset asked for {reset:.1f}")
    if replay.since_exit[row] < s.off_time:
        return (f"the minimum off time was not over: {replay.since_exit[row]:.0f} of "
                f"{s.off_time:.0f} min")
    if replay.enables[row] >= s.per_day:
        return f"{replay.enables[row]:.0f} changeovers had been made that day"
    return (f"the enable condition had held for {max(replay.held[row], 0.0):.0f} of "
            f"{s.delay:.0f} min")


def _setpoint_off(test: FunctionalTest, early: Settings, late: Settings, plant: np.ndarray
                  ) -> list[Disagreement]:
    """Where the active setpoint was not the sequence's for the mode that the plant itself was
    in: led down with condenser water, ramped back, else at the reset setpoint."""
    active, reset, limits = test["chw_supply_setpoint"], test.reset_setpoint, test.limits
    led = np.minimum(reset, np.fmax(test["cw_supply_temp"] - early.offset, early.lowest))
    # A chiller that starts on cold condenser water may be led down too: no sequence forbids it.
    low = np.where((plant < 2) & early.follows, led, reset)
    high = np.where((plant == 1) & early.follows, led, reset)
    for run in test.runs:
        since = np.arange(run.last - run.first + 1) * test.minutes
        # From the row before the last chiller stopped: a step falls on the stop itself.
        start = np.fmin(active[max(run.first - 1, 0)], active[run.first])
        low[run.rows] = start + np.maximum(since - late.release, 0.0) * late.rate / 10.0
        high[run.rows] = start + since * early.rate / 10.0
    # Nor does any say how quickly it comes back up after that.
    for over in (each.last + 1 for each in test.changeovers):
        after = test.window(over, over + limits["recovery.longest"] / test.minutes)
        low[after] = np.where(plant[after] == 0, -np.inf, low[after])
    band = limits["lift.setpoint_band"]
    low, high = np.minimum(low, reset) - band, np.minimum(high, reset) + band
    longest = test.timing_tolerance + test.sample_interval("chw_supply_setpoint")
    found = []
    for off, wanted in ((active < low, low + band), (active > high, high - band)):
        for first, last in stretches((plant >= 0) & off):
            if (last - first + 1) * test.minutes > longest:
                found.append(Disagreement(
                    first, last, f"active setpoint {active[first]:.1f} °F",
                    f"{wanted[first]:.1f} °F", _SETPOINT[plant[first]]))
    return found


_SETPOINT = ("on chillers the active setpoint is the reset setpoint",
             "while changing over it is condenser water minus the offset, between the lowest and "
             "the reset setpoint",
             "on the exchanger it ramps back to the reset setpoint")
