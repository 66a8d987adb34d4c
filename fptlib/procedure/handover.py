"""Step 5: does the exchanger take the load without a stumble?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fptlib.procedure import approaches, exit_reasons, uncertainty
from fptlib.procedure.changeovers import Run
from fptlib.procedure.enable import known_minutes, run_minutes
from fptlib.procedure.flags import Flags
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, check, not_judged
from fptlib.procedure.measures import SWINGS, swings_through, warmest
from fptlib.procedure.verdict import Event


def _advise_handover(test: FunctionalTest, failed: Sequence[Event]) -> str:
    approach = approaches.exchanger(test)
    if not approach.known:
        return ""
    setpoint = test.reset_setpoint[failed[0].first]
    wanted = setpoint - approach.value - test.limits["enable.exchanger_tolerance"]
    return (f"With an exchanger approach of {approach.value:.1f} the condenser "
            f"water should be at {wanted:.1f} °F or colder for a reset setpoint of "
            f"{setpoint:.1f}.")


@check("handover.excursion", unit="min", each="run", capacity=True, advise=_advise_handover,
       needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
       limits=("handover.band", "handover.time", "handover.window"))
def excursion(test: FunctionalTest, run: Run) -> Finding:
    """Minutes on end that the chilled water was above the reset setpoint by more than the band,
    in the first hour after the transition."""
    # A chiller that comes back within the hour ends the run, not what the loads notice.
    stop = run.first + test.limits["handover.window"] / test.minutes
    rows = test.window(run.first, stop)
    above = test.above_reset[rows]
    if np.isnan(above).any() or not len(above):
        return not_judged(run.number, run.first, "chilled water or setpoint has a gap in that hour")
    band, limit = test.limits["handover.band"], test.limits["handover.time"]
    doubt = uncertainty.expanded(test, {"chw_supply_temp": 1.0})
    warm, least, most = (Flags.above(above, band + shift).longest()
                         for shift in (0.0, doubt, -doubt))
    minutes, least_minutes, most_minutes = (
        found.rows * test.minutes if found else 0.0 for found in (warm, least, most))
    spread = most_minutes - minutes if minutes <= limit else minutes - least_minutes
    every = test.sample_interval("chw_supply_temp")
    return Finding(
        run.number, run.first + (warm.first if warm else 0),
        f"{warmest(float(above.max()))}, {minutes:.0f} min above it by more than {band:g} °F",
        last=run.first + warm.last if warm else None,
        measured=minutes, at_most=limit, uncertainty=spread + every if warm or spread else 0.0,
        cut_off="the trends end within that hour" if stop > len(test) else "",
        pass_needs=test.light_load(rows),
        fail_needs=SWINGS if warm and swings_through(
            test.above_reset[run.rows] - band,
            slice(warm.first, warm.last + 1), every) else "",
        quantities={"highest above the reset setpoint, °F": float(above.max())})


@check("handover.fallback", unit="min", each="run", needs=("request", "chillers"),
       limits=("enable.stay",),
       advise=lambda test, failed: (
           "The first chiller was back after "
           f"{min(event.measured or 0.0 for event in failed):.0f} min."))
def fallback(test: FunctionalTest, run: Run) -> Finding:
    """Minutes from the transition to the first chiller's start, which may come after the command
    has gone off; without one the length of the run."""
    limit = test.limits["enable.stay"]
    lasted = run_minutes(test, run) if run.exit is None else (run.exit - run.first) * test.minutes
    if lasted < limit and (hidden := test.cut_off(run)):
        return not_judged(run.number, run.first, hidden)
    if lasted < limit and (clock := exit_reasons.by_clock(test, run)):
        return not_judged(run.number, run.first, f"{clock}, {lasted:.0f} min after the transition")
    if run.exit is None and lasted < limit:
        return not_judged(run.number, run.first,
                          "the run ended early without a chiller starting")
    stop, every = run.last if run.exit is None else run.exit, test.sample_interval(
        "request", "chillers")
    return Finding(
        run.number, run.first if run.exit is None else run.exit,
        f"no chiller started in {lasted:.0f} min" if run.exit is None
        else f"a chiller started {lasted:.0f} min after the transition",
        measured=lasted, at_least=limit, uncertainty=every,
        tolerance=test.timing_tolerance,
        worst_in_gaps=known_minutes(test, slice(run.first, stop + 1)))


CHECKS = (excursion, fallback)
