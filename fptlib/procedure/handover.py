"""Step 5: does the exchanger take the load without a stumble?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case
from fptlib.procedure.catalogue import at_least, at_most, check, in_full, unjudged
from fptlib.procedure.durations import longest, minutes_between
from fptlib.procedure.enable import known_minutes, run_minutes
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.known import stretches
from fptlib.procedure.representative import light_load
from fptlib.procedure.verdict import Check, Event, Verdict


@check(
    "handover.excursion",
    "After the handover: does the supply stay near the reset setpoint?",
    unit="min",
    needs=("request", "chillers", "chw_supply_temp", "reset_setpoint"),
    limits=("handover.band", "handover.time", "handover.window"),
    good="The users notice nothing of the handover.",
    bad="The supply ran away after the handover; users lose cooling or dehumidification.",
    adjust="Likely a handover before the sump was cold enough, then an exchanger valve that "
    "opens late, then a flow through an idle chiller: hand over later.",
    advise=lambda case, failed: _advise_handover(case, failed),
    capacity=True,
    runs=True,
)
def excursion(case: Case) -> list[Event]:
    return [_excursion(case, c) for c in case.handovers]


def _advise_handover(case: Case, failed: Sequence[Event]) -> str:
    if case.exchanger_approach is None:
        return ""
    setpoint = case.value(case.reset_setpoint, failed[0].start)
    wanted = setpoint - case.exchanger_approach.value - case.limits["enable.exchanger_tolerance"]
    return (f"With an exchanger approach of {case.exchanger_approach.value:.1f} the condenser "
            f"water should be at {wanted:.1f} °F or colder for a reset setpoint of "
            f"{setpoint:.1f}.")


def _excursion(case: Case, changeover: Changeover) -> Event:
    start = changeover.handover
    end = start + pd.Timedelta(minutes=case.limits["handover.window"])
    # A chiller that comes back within the hour ends the run, not what the users notice.
    rows = slice(start, end - case.trends.step)
    above = case.values("chw_supply_temp", rows) - case.values(case.reset_setpoint, rows)
    if problem := light_load(case, rows):
        return unjudged(changeover.name, start, problem, verdict=Verdict.DEFERRED)
    if np.isnan(above).any() or not len(above):
        return unjudged(changeover.name, start, "supply or setpoint has a gap in that hour")
    band, limit = case.limits["handover.band"], case.limits["handover.time"]
    doubt = uncertainty.expanded(case, {"chw_supply_temp": 1.0})
    minutes = {shift: _longest_above(case, above, band + shift) for shift in (-doubt, 0, doubt)}
    middle = minutes[0]
    spread = minutes[-doubt] - middle if middle <= limit else middle - minutes[doubt]
    worst = longest(above > band, case.times(rows), case.minutes)
    return in_full(at_most(
        case, changeover.name, worst.start if worst else start, worst.end if worst else None,
        middle, limit, (spread + case.seen_every("chw_supply_temp")) if worst or spread else 0.0,
        f"supply at most {above.max():+z.1f} °F above the reset setpoint, {middle:.0f} min "
        f"beyond {band:g} °F",
    ), "the trends end within that hour" if end > case.end else "")


def _longest_above(case: Case, values: np.ndarray, threshold: float) -> float:
    lengths = [last - first + 1 for first, last in stretches(values > threshold)]
    return max(lengths, default=0) * case.minutes


@check(
    "handover.fallback",
    "Does no chiller restart within the minimum stay?",
    unit="min",
    needs=("request", "chillers"),
    limits=("enable.stay",),
    good="The exchanger held the load; no chiller had to come back.",
    bad="A chiller had to come back: the handover was made too early.",
    adjust="Likely a supply that ran away (see handover.excursion), then a fail-safe set too "
    "tight, then a chiller started by hand: hand over later or with more tolerance.",
    advise=lambda case, failed: (
        f"The first chiller was back after {min(event.measured for event in failed):.0f} min."),
    runs=True,
)
def fallback(case: Case) -> list[Event]:
    return [_held(case, c) for c in case.handovers]


def _held(case: Case, changeover: Changeover) -> Event:
    limit = case.limits["enable.stay"]
    lasted = _until_a_chiller(case, changeover)
    if lasted < limit and (hidden := case.cut_off(changeover)):
        return unjudged(changeover.name, changeover.handover, hidden)
    if changeover.exit is None and lasted < limit:
        return unjudged(changeover.name, changeover.handover,
                        "the run ended early without a chiller starting")
    said = (f"a chiller started {lasted:.0f} min after the handover"
            if changeover.exit is not None else f"no chiller started in {lasted:.0f} min")
    return at_least(case, changeover.name, changeover.exit or changeover.handover, None, lasted,
                    limit, case.seen_every("request", "chillers"), said,
                    hidden=known_minutes(case, changeover, changeover.exit))


def _until_a_chiller(case: Case, changeover: Changeover) -> float:
    """Minutes from the handover to the first chiller's start, which may come after the command
    has gone off; without one the length of the run."""
    if changeover.exit is None:
        return run_minutes(case, changeover)
    return minutes_between(changeover.handover, changeover.exit)


CHECKS = (excursion, fallback)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
