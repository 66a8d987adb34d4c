"""What may make a plant leave economizer operation, as conditions over the rows of a run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.procedure import approaches, chiller_baseline
from fptlib.procedure.changeovers import Run
from fptlib.procedure.chiller_baseline import BLOCK_MINUTES, block_means
from fptlib.procedure.flags import Flags, Stretch, stretches
from fptlib.procedure.functional_test import FunctionalTest, cached

WARMTH = ("chw_supply_temp", "reset_setpoint")
EQUIPMENT = ("tower_{n}_fan_running", "tower_{n}_fan_speed", "pump_{n}_running")
COMPARISON = ("load", "power", "wet_bulb")
WEATHER = ("wet_bulb", "reset_setpoint")


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason to leave: in words, the stretches of a run in which it held, for how long [min]
    it must last, and how long the blocks are in which it is known [min], 0 for rows."""

    words: str
    found: list[Stretch]
    delay: float
    block: float = 0.0


def reasons(test: FunctionalTest, run: Run, warmer: float, maybe: bool) -> list[Reason]:
    """What may be a reason in this run, the chilled water being ``warmer`` than the band [degF];
    with ``maybe`` also where the trends leave it open.

    Breaks as short as a noisy sample are closed: a controller averages.
    """
    limits, sequence = test.limits, test.sequence
    noise = int(limits["lift.short_dip"] // test.minutes)
    found = [Reason("the chilled water was above setpoint",
                    too_warm(test, warmer)[test.settled(run)].bridged(noise).stretches(maybe),
                    limits["exit.delay"])]
    if test.plant.equipment_limit is not None and not test.missing(*EQUIPMENT):
        found.append(Reason("the equipment count was exceeded",
                            exceeded(test)[run.rows].bridged(noise).stretches(maybe),
                            limits["exit.equipment_delay"]))
    if sequence.weather_exit is not None and weather_known(test):
        out = ~Flags.at_least(approaches.sequence_margin(test), -sequence.weather_exit_band)
        found.append(Reason("the enable condition no longer held",
                            out[run.rows].bridged(noise).stretches(maybe),
                            sequence.weather_exit))
    if not test.missing(*COMPARISON) and chiller_baseline.fit(test) is not None:
        found.append(Reason("chillers would have drawn less", uneconomic(test, run, maybe),
                            limits["exit.comparative_delay"], BLOCK_MINUTES))
    return found


def weather_known(test: FunctionalTest) -> bool:
    """Whether the enable condition can be followed through a run."""
    return not test.missing(*WEATHER) and approaches.known(test)


def by_clock(test: FunctionalTest, run: Run) -> str:
    """The clock exit that the sequence specifies, where the plant left at that time."""
    wanted = test.sequence.clock_exit
    if wanted is None:
        return ""
    grace = test.timing_tolerance + test.limits["exit.grace"]
    # The command goes off, then the first chiller starts.
    for row in (run.last + 1, run.exit):
        if row is None or row >= len(test):
            continue
        at = test.time(row)
        late = (at.hour - wanted.hour) * 60.0 + at.minute - wanted.minute
        if -test.minutes <= (late + 720.0) % 1440.0 - 720.0 <= grace:
            return f"the sequence leaves at {wanted:%H:%M}"
    return ""


def overdue(test: FunctionalTest, run: Run) -> float:
    """How long a run went on past the clock exit that the sequence specifies [min], its minimum run
    time granted; negative where it ended before, or none is specified."""
    wanted, begin = test.sequence.clock_exit, test.time(run.first)
    if wanted is None:
        return -math.inf
    ahead = (wanted.hour - begin.hour) * 60.0 + wanted.minute - begin.minute
    due = max(ahead % 1440.0, test.limits["enable.stay"])
    return (run.last + 1 - run.first) * test.minutes - due


@cached
def too_warm(test: FunctionalTest, beyond: float = 0.0) -> Flags:
    """Where the chilled water was above the reset setpoint by the band and ``beyond`` [degF]."""
    return Flags.above(test.above_reset, test.limits["exit.band"] + beyond)


@cached
def exceeded(test: FunctionalTest) -> Flags:
    """Where fans are at maximum and more cells and counted pumps run than the limit."""
    status = np.array([test[f"tower_{n}_fan_running"] for n in test.tower_numbers])
    speeds = np.array([test[f"tower_{n}_fan_speed"] for n in test.tower_numbers])
    pumps = np.array([test[f"pump_{n}_running"] for n in test.pump_numbers])
    fans, fast = Flags.on(status), Flags.at_least(speeds, test.limits["exit.fans_at_maximum"])
    slow_one = (fans.sure & ~fast.maybe).any(axis=0)
    limit, pumping = test.plant.equipment_limit or 0, Flags.on(pumps)
    at_maximum, count = fans & fast, (fans.sure.sum(axis=0) + pumping.sure.sum(axis=0),
                                      fans.maybe.sum(axis=0) + pumping.maybe.sum(axis=0))
    return Flags(at_maximum.sure.any(axis=0) & ~slow_one & (count[0] > limit),
                 at_maximum.maybe.any(axis=0) & ~slow_one & (count[1] > limit))


@dataclass(frozen=True, slots=True)
class QuarterHours:
    """Of every quarter-hour, the row it begins in: does it lie ``inside`` a settled run, could
    it be ``compared`` with chillers, was it ``worse`` by more than the fit's uncertainty, and
    ``maybe`` worse: by less, hidden by a gap, or not compared and dearer than any that was and
    paid?"""

    begins: np.ndarray
    inside: np.ndarray
    compared: np.ndarray
    worse: np.ndarray
    maybe: np.ndarray

    def of(self, rows: slice) -> QuarterHours:
        """Those that begin in these rows."""
        span = slice(*np.searchsorted(self.begins, [rows.start, rows.stop]))
        return QuarterHours(self.begins[span], self.inside[span], self.compared[span],
                            self.worse[span], self.maybe[span])


@cached
def against_chillers(test: FunctionalTest) -> QuarterHours:
    """Every quarter-hour against what chillers would have drawn."""
    fitted, blocks = chiller_baseline.fit(test), block_means(test)
    assert fitted is not None
    runs = test.within(test.settled(run) for run in test.runs)
    inside = blocks.whole((test.chillers_on == 0.0) & runs)
    load, air = blocks.load[inside], blocks.wet_bulb[inside]
    drawn, predicted = blocks.power[inside] / load, fitted.predict(load, air)
    known = np.isfinite(predicted)
    dearer = drawn > predicted + fitted.uncertainty(load, air)
    steady = blocks.whole(test.chiller_mode & ~test.changing)
    cheapest = (blocks.power[steady] / blocks.load[steady]).min(initial=np.inf)
    compared, worse = np.zeros((2, len(inside)), dtype=bool)
    maybe = blocks.inside((test.chillers_on != 1.0) & runs) & ~blocks.known
    compared[inside], worse[inside] = known, dearer
    maybe[inside] = dearer | (~known & (drawn > cheapest))
    return QuarterHours(blocks.begins(), inside, compared, worse, maybe)


def uneconomic(test: FunctionalTest, run: Run, maybe: bool = False) -> list[Stretch]:
    """Stretches of a run worse than chillers beyond the fit's uncertainty; with ``maybe`` also
    those that could not be compared and may be."""
    blocks, length = against_chillers(test).of(test.settled(run)), test.rows(BLOCK_MINUTES)
    return [Stretch(int(blocks.begins[first]), int(blocks.begins[last]) + length - 1)
            for first, last in stretches(blocks.maybe if maybe else blocks.worse)]
