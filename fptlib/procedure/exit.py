"""Step 8: does the plant leave economizer operation when it must, and not before?"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fptlib.procedure import approaches, chiller_baseline, exit_reasons, transition, uncertainty
from fptlib.procedure.changeovers import Exit, Run
from fptlib.procedure.exit_reasons import (
    COMPARISON,
    EQUIPMENT,
    WARMTH,
    Reason,
    against_chillers,
    exceeded,
    reasons,
    too_warm,
    uneconomic,
)
from fptlib.procedure.flags import Flags, Stretch
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.measures import SWINGS, crossed, median, swings_through
from fptlib.procedure.verdict import NotTested, Verdict

FINE_STEP = 0.2
# Of a run, so much [%] must have been compared with chillers for it to pass (common practice, no
# source).
LEAST_COMPARED = 10.0
# Chilled water in economizer operation moves no faster [degF/min]: it follows the sump, whose water
# the towers exchange once in ten minutes or so, over a range of ten degrees (common practice, no
# source); half of that, for something cools it still.
FASTEST = 0.5


def _rounding(test: FunctionalTest) -> float:
    """How far the trends' display steps leave open whether the supply was above the band [degF]."""
    return uncertainty.resolution(test, *_shown(test))


def _shown(test: FunctionalTest) -> tuple[str, str]:
    setpoint = "chw_reset_setpoint" if test.has("chw_reset_setpoint") else "chw_supply_setpoint"
    return "chw_supply_temp", setpoint


def _longest(test: FunctionalTest, found: Flags) -> float:
    longest = found.longest()
    return longest.rows * test.minutes if longest else 0.0


@check("exit.supply", unit="min", each="run",
       needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
       limits=("exit.band", "exit.delay", "exit.grace"),
       advise=on_sheet)
def supply(test: FunctionalTest, run: Run) -> Finding:
    """Longest time in the run with the chilled water above the setpoint by more than the band."""
    limit = test.limits["exit.delay"] + test.limits["exit.grace"]
    rows = test.settled(run)
    seen = _longest(test, too_warm(test)[rows])
    # Rounding accuses nobody; a pass it unsettles only where it is coarser than a tenth of a
    # degree of either scale, which shows to some minutes when the water rose above the band
    # (common practice, no source).
    coarse = max(test.sensor(name).resolution for name in _shown(test)) > FINE_STEP
    doubt = 0.0
    if seen > limit or coarse:
        rounding = -_rounding(test) if seen <= limit else _rounding(test)
        doubt = abs(_longest(test, too_warm(test, rounding)[rows]) - seen)
    above = _above_band(test)
    found = _longest_stay(test, run, too_warm(test)[rows], limit, WARMTH,
                          f"the chilled water was more than {test.limits['exit.band']:g} °F above "
                          "setpoint", above, doubt)
    swings = swings_through(
        above[run.rows], slice(int(found.first) - run.first, (found.last or 0) + 1 - run.first),
        test.sample_interval(*WARMTH))
    return replace(found, fail_needs=SWINGS if swings else "")


@cached
def _above_band(test: FunctionalTest) -> np.ndarray:
    """Chilled-water supply above the reset setpoint by more than the band [degF]."""
    return test.above_reset - test.limits["exit.band"]


def _longest_stay(test: FunctionalTest, run: Run, found: Flags, limit: float,
                  needs: tuple[str, ...], what: str, above: np.ndarray, doubt: float = 0.0
                  ) -> Finding:
    """The longest stretch of what rests on ``needs``; rounding leaves ``doubt``. Where the value
    ``above`` zero is known before it, it moves in a straight line, which says when it began."""
    possible = found.stretches(maybe=True)
    hidden = max((each.rows for each in possible), default=0) * test.minutes
    if not run.complete and possible and possible[-1].last == run.last:
        # It lasts until the run is seen no more, and so may be longer.
        hidden = math.inf
    worst, every = found.longest(), test.sample_interval(*needs)
    minutes = worst.rows * test.minutes if worst else 0.0
    if worst and every > 1.0 and not (
            worst.first > run.first and math.isnan(above[worst.first - 1])):
        minutes += every * (_between_samples(worst, run, above) - 1.0)
        every /= 2.0
    return Finding(
        run.number, worst.first if worst else run.first,
        f"for {minutes:.0f} min {what}" if worst else f"at no time {what}",
        last=worst.last if worst else run.last, measured=minutes, at_most=limit,
        uncertainty=doubt + (every if worst else 0.0), tolerance=test.timing_tolerance,
        worst_in_gaps=hidden, cut_off=test.cut_off(run))


def _between_samples(found: Stretch, run: Run, above: np.ndarray) -> float:
    """Parts of a sample's interval before the first sample of a stretch and after its last: where
    the line to the next crosses zero it begins and ends; an exit lies half-way to the next."""
    lead, tail = 0.0, 0.5
    if found.first > run.first and above[found.first - 1] <= 0.0:
        lead = above[found.first] / (above[found.first] - above[found.first - 1])
    if found.last < run.last and above[found.last + 1] <= 0.0:
        tail = above[found.last] / (above[found.last] - above[found.last + 1])
    return float(lead + tail)


@check("exit.equipment", unit="min", each="run", needs=("request", "chillers", *EQUIPMENT),
       limits=("exit.fans_at_maximum", "exit.equipment_delay", "exit.grace"),
       advise=lambda test, failed: (
           f"That lasted up to {max(event.measured or 0.0 for event in failed):.0f} min."))
def equipment(test: FunctionalTest, run: Run) -> Finding:
    """Longest time in the run with fans at maximum and more equipment than allowed."""
    limit = test.limits["exit.equipment_delay"] + test.limits["exit.grace"]
    if test.plant.equipment_limit is None:
        raise NotTested("the plant states no equipment limit for economizer operation")
    if (installed := test.plant.tower_cells + test.plant.pumps) <= test.plant.equipment_limit:
        raise NotTested(f"the equipment limit is {test.plant.equipment_limit} and no more than "
                        f"{installed} are counted, so it can never be exceeded; correct the limit, "
                        "or state in the plan how many pumps count with the cells")
    # As long as the same machines run, the fans' speed says when it began.
    many = np.sum([test[name] == 1.0 for need in EQUIPMENT if need.endswith("running")
                   for name in test.points_of(need)], axis=0) > test.plant.equipment_limit
    slowest = np.min([np.where(test[f"tower_{n}_fan_running"] == 1.0,
                               test[f"tower_{n}_fan_speed"], np.inf)
                      for n in test.tower_numbers], axis=0)
    return _longest_stay(test, run, exceeded(test)[run.rows], limit, EQUIPMENT,
                         "were all fans at maximum and more equipment running than the limit",
                         np.where(many, slowest - test.limits["exit.fans_at_maximum"], np.nan))


@check("exit.comparative", unit="min", each="run", needs=("request", "chillers", *COMPARISON),
       limits=("exit.comparative_delay", "exit.grace"), capacity=True,
       advise=lambda test, failed: (
           "The longest stretches of these runs add up to "
           f"{sum(event.measured or 0.0 for event in failed) / 60.0:.1f} h."))
def comparative(test: FunctionalTest, run: Run) -> Finding:
    """Longest time in the run with kW/ton worse than chillers at the same load and wet bulb."""
    if chiller_baseline.fit(test) is None:
        raise NotTested(f"fewer than {chiller_baseline.FEWEST_BLOCKS} steady quarter-hours on "
                        "chillers: nothing to compare with")
    blocks = against_chillers(test).of(test.settled(run))
    compared, inside = int((blocks.compared & blocks.inside).sum()), int(blocks.inside.sum())
    if not compared:
        return not_judged(run.number, run.first,
                          "chillers were never seen at this load and wet bulb")
    worst = max(uneconomic(test, run), key=lambda found: found.rows, default=None)
    minutes = worst.rows * test.minutes if worst else 0.0
    hidden = max((found.rows for found in uneconomic(test, run, maybe=True)), default=0)
    limit = test.limits["exit.comparative_delay"] + test.limits["exit.grace"]
    doubt = chiller_baseline.BLOCK_MINUTES
    if worst and minutes > limit:
        # It may have gone on beyond its blocks; in them it was shorter by what rows say.
        doubt = min(doubt, minutes - _dearer(test, worst) + test.sample_interval(*COMPARISON))
    return Finding(
        run.number, worst.first if worst else run.first,
        f"worse than chillers for {minutes:.0f} min; {100.0 * compared / inside:.0f} % of the run "
        "could be compared",
        pass_needs=("" if 100.0 * compared >= LEAST_COMPARED * inside else
                    f"that is less than {LEAST_COMPARED:.0f} %; repeat the test where chillers run "
                    "at like load and wet bulb"),
        last=worst.last if worst else run.last, measured=minutes,
        at_most=limit, uncertainty=doubt if worst else 0.0,
        worst_in_gaps=hidden * test.minutes, cut_off=test.cut_off(run),
        quantities={"quarter-hours": inside, "compared": compared,
                    "worse than chillers": int(blocks.worse.sum())})


def _dearer(test: FunctionalTest, found: Stretch) -> float:
    """Of a stretch of quarter-hours, how many minutes were dearer each for itself [min]."""
    fitted, rows = chiller_baseline.fit(test), slice(found.first, found.last + 1)
    assert fitted is not None
    load, air = test.load[rows], test.wet_bulb[rows]
    chillers = fitted.predict(load, air) + fitted.uncertainty(load, air)
    return float((test.kw_per_ton[rows] > chillers).sum()) * test.minutes


@check("exit.not_early", unit="min", each="exit",
       needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
       limits=("exit.band", "exit.delay", "exit.equipment_delay", "exit.comparative_delay",
               "exit.grace", "timing.tolerance"),
       advise=lambda test, failed: f"Exits without a valid cause: {len(failed)}.")
def not_early(test: FunctionalTest, left: Exit) -> Finding:
    """Whether a reason to leave had lasted its delay up to the exit. An exit without one fails
    only where the exchanger was clearly able to go on, and clearly cheaper. One that is later than
    the sequence's clock exit fails whatever its reason."""
    late, grace = exit_reasons.overdue(test, left.run), test.limits["exit.grace"]
    if late > grace + test.timing_tolerance:
        return Finding(left.number, left.row, "the sequence leaves at "
                       f"{test.sequence.clock_exit:%H:%M}, the plant left {late:.0f} min after it "
                       "was due", measured=late, at_most=grace, tolerance=test.timing_tolerance,
                       uncertainty=test.sample_interval("request", "chillers"),
                       cut_off=test.cut_off(left.run))
    if by_clock := exit_reasons.by_clock(test, left.run):
        return Finding(left.number, left.row, by_clock, verdict=Verdict.PASS)
    every, rounding = test.sample_interval(*WARMTH), -_rounding(test)
    # The controller counts between rows, at both ends.
    if seen := _reason(test, left.run, -test.timing_tolerance):
        return _with_reason(test, left, Verdict.PASS, seen, every)
    if seen := _reason(test, left.run, -test.timing_tolerance - every, rounding):
        return _with_reason(test, left, Verdict.INDETERMINATE, seen, every)
    hidden = _reason(test, left.run, -test.timing_tolerance - every, rounding, True)
    # What chillers draw was seen after the exit where it could not be foretold before.
    if hidden and not (hidden.block and not _not_cheaper(test, left)):
        return not_judged(left.number, left.row, "no valid cause seen, but the trends do not show "
                          f"whether {hidden.words}")
    return _without_reason(test, left, every)


def _reason(test: FunctionalTest, run: Run, beyond: float, warmer: float = 0.0,
            maybe: bool = False) -> Reason | None:
    """The first reason that lasted ``beyond`` its delay [min] up to the exit, the chilled water
    being ``warmer`` than the band [degF]; with ``maybe`` also one that is not ruled out."""
    grace = 2.0 * test.limits["exit.grace"]
    for reason in reasons(test, run, warmer, maybe):
        # What is known by blocks may have begun a block before the first whole one.
        least = max(reason.delay + beyond - reason.block, test.minutes)
        # The first chiller may start long after the plant has decided to leave.
        if (reason.found and reason.found[-1].rows * test.minutes >= least
                and (run.last - reason.found[-1].last) * test.minutes <= grace + reason.block):
            return reason
    return None


def _with_reason(test: FunctionalTest, left: Exit, verdict: Verdict, seen: Reason, every: float
                 ) -> Finding:
    short = "" if verdict is Verdict.PASS else ", which the trends do not show to the minute"
    minutes = seen.found[-1].rows * test.minutes
    return Finding(
        left.number, left.row, f"{seen.words} for {minutes:.0f} min before the exit{short}",
        verdict=verdict, measured=minutes, at_least=seen.delay, uncertainty=every)


def _without_reason(test: FunctionalTest, left: Exit, every: float) -> Finding:
    """An accusation needs proof of its own: able, and cheaper, both beyond the uncertainty."""
    delay, said = test.limits["exit.delay"], "no valid cause seen"
    found: list[Stretch] = too_warm(test)[test.settled(left.run)].stretches()
    near = bool(found) and (left.run.last - found[-1].last) * test.minutes <= 5.0
    minutes = found[-1].rows * test.minutes if near else 0.0
    text = f"{said}; the chilled water was above setpoint for {minutes:.0f} min"
    doubts = [*_not_able(test, left.run), *_not_cheaper(test, left)]
    if test.sequence.other_exit:
        doubts.append(f"the sequence allows {test.sequence.other_exit}")
    if hidden := test.cut_off(left.run):
        return not_judged(left.number, left.row, f"{said}, but {hidden}")
    if _between_rows(test, left):
        doubts.append(f"rows of {every:.0f} min cannot show the delay before the exit")
    return Finding(
        left.number, left.row, text + "".join(f"; but {doubt}" for doubt in doubts),
        verdict=Verdict.INDETERMINATE if doubts else Verdict.FAIL, measured=minutes,
        at_least=delay, uncertainty=every)


def _between_rows(test: FunctionalTest, left: Exit) -> bool:
    """Whether a reason may have come and lasted its delay between two samples: too many machines,
    or water that rose above the band and, no chiller running yet, was back by the next sample,
    no faster than water moves."""
    every, last = test.sample_interval(*WARMTH), left.run.last
    shortest = test.limits["exit.delay"] - test.timing_tolerance
    if test.plant.equipment_limit is not None:
        counted = test.limits["exit.equipment_delay"] - test.timing_tolerance
        if test.sample_interval("request", *EQUIPMENT) > counted:
            return True
    if every <= shortest:
        return False
    apart, rounding = test.rows(every), _rounding(test)
    before = last - apart * math.ceil(2.0 * test.limits["exit.grace"] / every)
    below = (-rounding - _above_band(test))[max(before, left.run.first) : last + apart + 1 : apart]
    if test.chillers_on[min(last + apart, len(test) - 1)] != 0.0:
        # What a chiller cools falls as fast as it likes.
        below[-1:] = 0.0
    moved = np.maximum(below[:-1], 0.0) + np.maximum(below[1:], 0.0)
    return not (len(moved) and bool((moved > FASTEST * (every - shortest)).all()))


def _not_able(test: FunctionalTest, run: Run) -> list[str]:
    """Why it is not clear that the exchanger could have gone on; nothing where it is."""
    last = slice(test.window(run.last + 1 - test.limits["exit.delay"] / test.minutes,
                             run.last + 1).start, run.last + 1)
    above = median(test.above_reset[last])
    doubt = uncertainty.expanded(test, {"chw_supply_temp": 1.0})
    if not above + doubt <= test.limits["exit.band"]:
        return ["the chilled water was not clearly within the band"]
    if not exit_reasons.weather_known(test):
        return ["it is not known whether the weather would still have carried it"]
    if test.sequence.weather_exit is not None:
        if not _weather_lost(test, run) < test.sequence.weather_exit - test.timing_tolerance:
            return ["the enable condition may have been lost for its delay"]
    elif not median((approaches.enable_margin(test) - approaches.enable_uncertainty(test))[last]
                    ) >= -test.sequence.weather_exit_band:
        return ["the enable condition did not hold beyond doubt"]
    equipped = test.plant.equipment_limit is None or not test.missing(*EQUIPMENT)
    return [] if equipped else ["the equipment that ran is not trended"]


def _weather_lost(test: FunctionalTest, run: Run) -> float:
    """For how long the sequence's own condition may have been lost at the exit [min]: it leaves by
    the same readings, so only their noise, the trends' curves and rare samples leave it open."""
    noise = approaches.margin_noise(test)
    held = (approaches.sequence_margin(test) + test.sequence.weather_exit_band
            - approaches.own_spread(test))
    lost = ~Flags.at_least(held, noise)[run.rows]
    sure = np.flatnonzero(~lost.bridged(int(test.limits["lift.short_dip"] // test.minutes)).maybe)
    if not len(sure):
        return math.inf
    row, every = run.first + int(sure[-1]), test.sample_interval(*exit_reasons.WEATHER)
    # Where the last sample holds it the next one does not; the exit came before the row after.
    part = crossed(held, row, test.rows(every), noise)[0] if every > 1.0 and row < run.last else 0.0
    return (run.last + 1 - row) * test.minutes - part * every


def _not_cheaper(test: FunctionalTest, left: Exit) -> list[str]:
    """Why it is not clear that the exchanger was cheaper; nothing where it is."""
    if lacks := test.missing(*COMPARISON):
        return [f"whether chillers draw less is not known: not trended: {', '.join(lacks)}"]
    before, _ = transition.exit_hours(test, left)
    found = chiller_baseline.against_chillers(test, before)
    if not found.problem:
        cheaper = found.expected - found.drawn > found.uncertainty
        return [] if cheaper else ["chillers would not clearly have drawn more"]
    seen = transition.compare_exit(test, left)
    if not seen.problem and seen.change > seen.uncertainty:
        return []
    return ["it was not seen that chillers draw more at this load and wet bulb"]


CHECKS = (supply, equipment, comparative, not_early)
