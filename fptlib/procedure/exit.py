"""Step 8: does the plant leave economizer operation when it must, and not before?"""

from __future__ import annotations

import math

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
from fptlib.procedure.measures import SWINGS, median, swings_through
from fptlib.procedure.verdict import NotTested, Verdict

FINE_STEP = 0.2
# Of a run, so much [%] must have been compared with chillers for it to pass (common practice, no
# source).
LEAST_COMPARED = 10.0


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
    return _longest_stay(test, run, too_warm(test)[rows], limit, WARMTH,
                         f"the chilled water was more than {test.limits['exit.band']:g} °F above "
                         "setpoint", doubt, above=_above_band(test))


@cached
def _above_band(test: FunctionalTest) -> np.ndarray:
    """Chilled-water supply above the reset setpoint by more than the band [degF]."""
    return test.above_reset - test.limits["exit.band"]


def _longest_stay(test: FunctionalTest, run: Run, found: Flags, limit: float,
                  needs: tuple[str, ...], what: str, doubt: float = 0.0,
                  above: np.ndarray | None = None) -> Finding:
    """The longest stretch of what rests on ``needs``; rounding leaves ``doubt``. Where it is a
    value ``above`` zero that moves in straight lines between samples, these say when it began."""
    possible = found.stretches(maybe=True)
    hidden = max((each.rows for each in possible), default=0) * test.minutes
    if not run.complete and possible and possible[-1].last == run.last:
        # It lasts until the run is seen no more, and so may be longer.
        hidden = math.inf
    worst, every = found.longest(), test.sample_interval(*needs)
    minutes = worst.rows * test.minutes if worst else 0.0
    if worst and above is not None and every > 1.0:
        minutes += every * (_between_samples(worst, run, above) - 1.0)
        every /= 2.0
    swings = worst is not None and above is not None and swings_through(
        above[run.rows], slice(worst.first - run.first, worst.last + 1 - run.first),
        test.sample_interval(*needs))
    return Finding(
        run.number, worst.first if worst else run.first,
        f"for {minutes:.0f} min {what}" if worst else f"at no time {what}",
        last=worst.last if worst else run.last, measured=minutes, at_most=limit,
        uncertainty=doubt + (every if worst else 0.0), tolerance=test.timing_tolerance,
        worst_in_gaps=hidden, cut_off=test.cut_off(run),
        fail_needs=SWINGS if swings else "")


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
    return _longest_stay(test, run, exceeded(test)[run.rows], limit, EQUIPMENT,
                         "were all fans at maximum and more equipment running than the limit")


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
    return Finding(
        run.number, worst.first if worst else run.first,
        f"worse than chillers for {minutes:.0f} min; {100.0 * compared / inside:.0f} % of the run "
        "could be compared",
        pass_needs=("" if 100.0 * compared >= LEAST_COMPARED * inside else
                    f"that is less than {LEAST_COMPARED:.0f} %; repeat the test where chillers run "
                    "at like load and wet bulb"),
        last=worst.last if worst else run.last, measured=minutes,
        at_most=test.limits["exit.comparative_delay"] + test.limits["exit.grace"],
        uncertainty=chiller_baseline.BLOCK_MINUTES if worst else 0.0,
        worst_in_gaps=hidden * test.minutes, cut_off=test.cut_off(run),
        quantities={"quarter-hours": inside, "compared": compared,
                    "worse than chillers": int(blocks.worse.sum())})


@check("exit.not_early", unit="min", each="exit",
       needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
       limits=("exit.band", "exit.delay", "exit.equipment_delay", "exit.comparative_delay",
               "timing.tolerance"),
       advise=lambda test, failed: f"Exits without a valid cause: {len(failed)}.")
def not_early(test: FunctionalTest, left: Exit) -> Finding:
    """Whether a reason to leave had lasted its delay up to the exit. An exit without one fails
    only where the exchanger was clearly able to go on, and clearly cheaper."""
    if by_clock := exit_reasons.by_clock(test, left):
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
    if every > delay / 2.0:
        doubts.append(f"rows of {every:.0f} min cannot show the delay before the exit")
    return Finding(
        left.number, left.row, text + "".join(f"; but {doubt}" for doubt in doubts),
        verdict=Verdict.INDETERMINATE if doubts else Verdict.FAIL, measured=minutes,
        at_least=delay, uncertainty=every)


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
    beyond_doubt = approaches.enable_margin(test) - approaches.enable_uncertainty(test)
    if not median(beyond_doubt[last]) >= -test.sequence.weather_exit_band:
        return ["the enable condition did not hold beyond doubt"]
    equipped = test.plant.equipment_limit is None or not test.missing(*EQUIPMENT)
    return [] if equipped else ["the equipment that ran is not trended"]


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
