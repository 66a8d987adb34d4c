"""Step 4: does every running chiller keep its lift while the sump is pulled cold?

The pull-down begins at the command; a status that comes with the transition shows none of it,
so these checks need the command itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from fptlib.job.schema import NO_PROTECTION, TEMPORARY_SETPOINT
from fptlib.procedure import alarms, approaches, uncertainty
from fptlib.procedure.changeovers import TAKEN_OVER_MINUTES, Request, Run
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.judge import Finding, check, not_judged, on_sheet
from fptlib.procedure.lift_range import NONE_NEEDED, PULL_DOWN
from fptlib.procedure.measures import between_rows, highest_kept, lowest_kept
from fptlib.procedure.setpoint_release import (
    last_lowered,
    nothing_lowered,
    ramp_before,
    release_row,
    rise_hidden,
)
from fptlib.procedure.status import is_mean, least_run
from fptlib.procedure.verdict import Event, NotApplicable, Verdict


@cached
def temporary_setpoint(test: FunctionalTest) -> np.ndarray:
    """What the lift asks of the active setpoint [degF]: condenser water minus the offset,
    not below the lowest that the sequence goes to."""
    return np.maximum(_scanned_water(test) - test.limits["lift.offset"], _lowest(test))


@cached
def _scanned_water(test: FunctionalTest) -> np.ndarray:
    """The warmest condenser water within the timing tolerance [degF]: it falls while the
    controller scans, averages and ramps."""
    water, back = test["cw_supply_temp"], int(test.timing_tolerance // test.minutes)
    before = np.concatenate([np.full(back, np.nan), water])
    warmest = np.fmax.reduce([before[back - k : len(before) - k] for k in range(back + 1)])
    return np.where(np.isnan(water), np.nan, warmest)


def _lowest(test: FunctionalTest) -> float:
    return max(test.limits["lift.lowest_setpoint"], test.floor)


@check("lift.setpoint", unit="degF", each="request",
       needs=(*PULL_DOWN, "chw_supply_setpoint", "reset_setpoint", "cw_supply_temp"),
       limits=("lift.setpoint_band", "lift.offset", "lift.lowest_setpoint", "lift.short_dip",
               "timing.tolerance"),
       advise=on_sheet)
def setpoint(test: FunctionalTest, request: Request) -> Finding:
    """How far the active setpoint was above the temporary one, where a running chiller needs
    it; by the warmest condenser water within the timing tolerance."""
    if (means := test.sequence.lift.means) != TEMPORARY_SETPOINT:
        raise NotApplicable(
            f"the plan states no minimum lift: {NONE_NEEDED}" if means == NO_PROTECTION else
            f"the sequence keeps lift by {means}, as the plan states; see lift.head_pressure")
    rows = request.pull_down
    wanted, active = temporary_setpoint(test)[rows], test["chw_supply_setpoint"][rows]
    reset, on = test.reset_setpoint[rows], test.chillers_on[rows]
    # Where every chiller was off already at the enable, there is no lift to keep.
    asked = (wanted < reset) & (on == 1.0)
    unknown = np.isnan(active - wanted + reset) & (on != 0.0)
    every = test.sample_interval("chw_supply_setpoint", "cw_supply_temp")
    found = highest_kept(np.where(asked, active - wanted, np.nan), test.limits["lift.short_dip"],
                         test.minutes, every, unknown, active - wanted,
                         between_rows(wanted, every))
    if found is None:
        return not_judged(request.number, request.row, "the condenser water never came near "
                          "enough to ask a running chiller for it")
    row = request.row + found.row
    rounding = uncertainty.resolution(test, "chw_supply_setpoint", "cw_supply_temp")
    return Finding(
        request.number, row,
        f"was {found.value:+z.1f} °F against condenser water minus "
        f"{test.limits['lift.offset']:g} (not below {_lowest(test):.4g} °F)",
        last=request.end, measured=found.value, at_most=test.limits["lift.setpoint_band"],
        uncertainty=rounding + found.uncertainty,
        worst_in_gaps=found.worst_in_gaps, cut_off=request.unseen,
        quantities={"condenser water, °F": float(_scanned_water(test)[row]),
                    "temporary setpoint, °F": float(temporary_setpoint(test)[row]),
                    "active setpoint, °F": float(test["chw_supply_setpoint"][row])})


@check("lift.floor", unit="degF", each="request", all_or_none=True,
       needs=("chw_supply_setpoint", "chw_supply_temp", *PULL_DOWN),
       limits=("lift.floor", "lift.above_cutout", "lift.short_dip"),
       advise=on_sheet)
def floor(test: FunctionalTest, request: Request) -> Iterator[Finding]:
    """The lowest active setpoint and the lowest chilled water that lasted in the pull-down."""
    rounding = uncertainty.resolution(test, "chw_supply_setpoint")
    # A lowest setpoint at the floor itself keeps it, however it is rounded.
    for subject, name, doubt, tolerance in (
            ("active setpoint", "chw_supply_setpoint", rounding, rounding),
            ("supply", "chw_supply_temp", uncertainty.expanded(test, {"chw_supply_temp": 1.0}),
             0.0)):
        values = test[name][request.row : request.end + 1]
        found = lowest_kept(values, test.limits["lift.short_dip"], test.minutes,
                            test.sample_interval(name))
        if found is None:
            yield not_judged(request.number, request.row,
                             "the pull-down is too short, or has gaps", subject=subject)
            continue
        yield Finding(
            request.number, request.row + found.row,
            f"lowest was {found.value:.1f} °F, the floor is {test.floor:.4g} °F",
            subject=subject, measured=found.value, at_least=test.floor, tolerance=tolerance,
            uncertainty=doubt + found.uncertainty, worst_in_gaps=found.worst_in_gaps,
            cut_off=request.unseen)


def _advise_given_up(test: FunctionalTest, _failed: Sequence[Event]) -> str:
    """Of the attempts that were given up without an alarm: was the water never cold enough, or
    did a chiller that was no longer needed stay on?"""
    over = [_coldest(test, request) for request in test.requests
            if request.abandoned is not None and alarms.first(test, request) is None]
    if not over or np.isnan(over).all():
        return ""
    if (short := float(np.nanmax(over))) > 0.0:
        return (f"Where the changeover was abandoned, condenser water was up to {short:.1f} °F "
                "too warm for the exchanger: enable later, or give the pull-down more time.")
    return ("Where the changeover was abandoned, condenser water could have carried the load: find "
            "what kept the chiller on.")


def _coldest(test: FunctionalTest, request: Request) -> float:
    """The least by which the exchanger missed the reset setpoint in a pull-down [degF]."""
    reachable = test["cw_supply_temp"][request.pull_down] + approaches.exchanger(test).value
    over = reachable - test.reset_setpoint[request.pull_down]
    return float(np.nanmin(over)) if not np.isnan(over).all() else math.nan


@check("lift.chiller_on", unit="degF", each="request", advise=_advise_given_up,
       needs=(*PULL_DOWN, "cw_supply_temp", "reset_setpoint", "chiller_{n}_alarm"))
def chiller_on(test: FunctionalTest, request: Request) -> Finding:
    """Condenser water plus exchanger approach against the reset setpoint, when the last chiller
    stopped; a trip or alarm before is a fail."""
    approach, number, row = approaches.exchanger(test).value, request.number, request.transition
    if alarm := alarms.first(test, request):
        return Finding(number, alarm.row, alarm.text, last=request.end, verdict=Verdict.FAIL)
    if request.trips:
        return Finding(number, request.trips[0], "every chiller stopped, and the exchanger carried "
                       "nothing for ten minutes", last=request.end, verdict=Verdict.FAIL)
    if request.unseen:
        return not_judged(number, request.row, request.unseen)
    if row is None:
        # Rows further apart than the load must be carried may hide that it was.
        every = test.sample_interval("chillers")
        hidden = (f"; rows of {every:.0f} min cannot show whether it took it for a while"
                  if every > TAKEN_OVER_MINUTES and not _ran_through(test, request, every) else "")
        return Finding(number, request.end, "the changeover was abandoned before the exchanger "
                       f"took the load{hidden}",
                       verdict=Verdict.INDETERMINATE if hidden else Verdict.FAIL)
    if alarms.unknown(test, request):
        return not_judged(number, request.row, "an alarm column has a gap there")
    every = test.sample_interval("cw_supply_temp")
    water = test["cw_supply_temp"][test.window(row - test.rows(every), row + 1)]
    reachable, wanted = float(water.mean()) + approach, float(test.reset_setpoint[row])
    if math.isnan(reachable) or math.isnan(wanted):
        return not_judged(number, row, "a gap at the transition")
    sensors = uncertainty.added({"cw_supply_temp": 1.0}, approaches.exchanger(test).sensors)
    return Finding(
        number, row, f"the exchanger could reach {reachable:.1f} when the last chiller stopped, "
        f"the reset asked for {wanted:.1f} °F", measured=reachable, at_most=wanted,
        uncertainty=math.hypot(uncertainty.expanded(test, sensors), between_rows(water, every)),
        quantities={"condenser water, °F": float(water.mean()),
                    "exchanger approach, °F": approach, "reset setpoint, °F": wanted})


def _ran_through(test: FunctionalTest, request: Request, every: float) -> bool:
    """Whether a chiller that ran at every sample from the enable on was by its mean power never off
    for as long between two of them as the exchanger must carry the load."""
    numbers, apart = test.chiller_numbers, test.rows(every)
    powers = [f"chiller_{n}_power" for n in numbers]
    rows = test.window(request.row - apart, request.end)
    if not test.has(*powers) or not is_mean(
            [test.running(n) for n in numbers], [test[name] for name in powers], apart):
        return False
    return any((test.running(n)[rows] == 1.0).all()
               and (least_run(test[name], apart)[rows] > 1.0 - TAKEN_OVER_MINUTES / every).all()
               for n, name in zip(numbers, powers, strict=True))


@check("lift.release", unit="min", each="run", limits=("lift.release",),
       needs=("request", "chillers", "chw_supply_setpoint", "reset_setpoint"),
       advise=on_sheet)
def release(test: FunctionalTest, run: Run) -> Finding | None:
    """Minutes from the last chiller's stop to the first rise of the active setpoint."""
    if run.enabled is None:
        return None
    if last_lowered(test, run) is None:
        return nothing_lowered(test, run)
    up = release_row(test, run)
    if up is not None and rise_hidden(test, up):
        return not_judged(run.number, run.first,
                          "the setpoint has a gap before it began to rise")
    waited = max((run.last if up is None else up) - run.first, 0) * test.minutes
    limit, every = test.limits["lift.release"], test.sample_interval("chw_supply_setpoint",
                                                                     "chillers")
    if up is None and waited <= limit:
        return not_judged(run.number, run.first, "the run was too short to see the release")
    if up is not None and every > 1.0:
        # The chiller stopped between two samples; the ramp says when it began.
        waited = max(waited - every * ramp_before(test, up, every) + every / 2.0, 0.0)
        every /= 2.0
    return Finding(
        run.number, run.first,
        f"did not rise in the {waited:.0f} min of the run" if up is None
        else f"began to rise {waited:.0f} min after the last chiller stopped",
        last=run.last if up is None else up, measured=waited, at_most=limit, uncertainty=every,
        tolerance=test.timing_tolerance)


CHECKS = (setpoint, floor, chiller_on, release)
