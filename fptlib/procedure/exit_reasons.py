"""What may make a plant leave economizer operation, as stretches of a run.

Each is looked for alike: as it is known, or with ``maybe`` also where the trends leave it open.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd

from fptlib.procedure import chiller_mode
from fptlib.procedure.case import Case, once
from fptlib.procedure.durations import Stretch, all_stretches
from fptlib.procedure.episodes import Changeover

WARMTH = ("chw_supply_temp", "reset_setpoint")
EQUIPMENT = ("tower_{n}_fan_running", "tower_{n}_fan_speed", "pump_{n}_running")
COMPARISON = ("load", "power", "wet_bulb")


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason to leave: in words, where it is looked for, for how long [min] it must last, and
    how long the blocks are in which it is known [min], 0 for rows."""

    words: str
    look: Callable[..., list[Stretch]]
    delay: float
    block: float = 0.0


def reasons(case: Case, warmer: float) -> list[Reason]:
    """What may be a reason on this job, the supply being ``warmer`` than the band [degF]."""
    limits = case.limits
    found = [Reason("the supply stood above setpoint", partial(warm, beyond=warmer),
                    limits["exit.delay"])]
    if case.plant.equipment_limit is not None and not case.lacking(EQUIPMENT):
        found.append(Reason("the equipment count was exceeded", exceeded,
                            limits["exit.equipment_delay"]))
    if not case.lacking(COMPARISON) and chiller_mode.fit(case) is not None:
        found.append(Reason("chillers would have drawn less", uneconomic,
                            limits["exit.comparative_delay"], chiller_mode.BLOCK_MINUTES))
    return found


def warm(case: Case, changeover: Changeover, maybe: bool = False,
         beyond: float = 0.0) -> list[Stretch]:
    """Stretches of a run, setpoint recovered, in which the supply was above the band and
    ``beyond`` [degF]; with ``maybe`` also where a gap leaves it open."""
    return _stretches_in(case, _too_warm(case, maybe, beyond), case.settled_run(changeover))


def _stretches_in(case: Case, flags: pd.Series, rows: slice) -> list[Stretch]:
    return all_stretches(case.values(flags, rows), case.times(rows), case.minutes)


@once
def _too_warm(case: Case, maybe: bool, beyond: float) -> pd.Series:
    above, band = case.frame["chw_supply_temp"] - case.reset_setpoint, case.limits["exit.band"]
    return ~(above <= band + beyond) if maybe else above > band + beyond


def exceeded(case: Case, changeover: Changeover, maybe: bool = False) -> list[Stretch]:
    """Stretches of a run with fans at maximum and more cells and counted pumps running than the
    limit; with ``maybe`` also where a gap leaves it open."""
    return _stretches_in(case, _exceeds(case, maybe),
                         slice(changeover.handover, changeover.ended))


@once
def _exceeds(case: Case, maybe: bool) -> pd.Series:
    status = case.frame[[f"tower_{n}_fan_running" for n in case.tower_numbers]].to_numpy()
    speeds = case.frame[[f"tower_{n}_fan_speed" for n in case.tower_numbers]].to_numpy()
    maximum = case.limits["exit.fans_at_maximum"]
    running = status != 0.0 if maybe else status == 1.0
    fast = ~(speeds < maximum) if maybe else speeds >= maximum
    slow_one = ((status == 1.0) & (speeds < maximum)).any(axis=1)
    at_maximum = (running & fast).any(axis=1) & ~slow_one
    pumps = case.frame[[f"pump_{n}_running" for n in case.pump_numbers]].to_numpy()
    pumping = pumps != 0.0 if maybe else pumps == 1.0
    count = running.sum(axis=1) + pumping.sum(axis=1)
    too_many = count > (case.plant.equipment_limit or 0)
    return pd.Series(at_maximum & too_many, index=case.frame.index)


@once
def _against_chillers(case: Case) -> pd.DataFrame:
    """Of every quarter-hour: does it lie ``inside`` a settled run, could it be ``compared``
    with chillers, was it ``worse`` by more than the fit's uncertainty, and ``maybe`` worse:
    hidden by a gap, or not compared and dearer than any that was and paid?"""
    fitted = chiller_mode.fit(case)
    assert fitted is not None
    runs = case.within(case.settled_run(changeover) for changeover in case.handovers)
    inside = chiller_mode.whole(case, (case.chillers_on == 0.0) & runs)
    blocks = chiller_mode.block_means(case)
    load, air = blocks["load"].to_numpy()[inside], blocks["wet_bulb"].to_numpy()[inside]
    drawn, predicted = blocks["power"].to_numpy()[inside] / load, fitted.predict(load, air)
    compared = np.isfinite(predicted)
    worse = drawn > predicted + fitted.uncertainty(load, air)
    dearest = drawn[compared & ~worse].max(initial=0.0)
    table = pd.DataFrame(False, blocks.index, ["inside", "compared", "worse", "maybe"])
    table["inside"] = inside
    table["maybe"] = chiller_mode.hidden(case, (case.chillers_on != 1.0) & runs)
    table.loc[inside, "compared"], table.loc[inside, "worse"] = compared, worse
    table.loc[inside, "maybe"] = worse | (~compared & (drawn > dearest))
    return table


def quarter_hours_of(case: Case, changeover: Changeover) -> pd.DataFrame:
    """The quarter-hours of a run, see ``_against_chillers``."""
    blocks, run = _against_chillers(case), case.settled_run(changeover)
    first, last = (blocks.index.searchsorted(run.start),
                   blocks.index.searchsorted(run.stop, side="right"))
    return blocks.iloc[first:last]


def uneconomic(case: Case, changeover: Changeover, maybe: bool = False) -> list[Stretch]:
    """Stretches of a run worse than chillers beyond the fit's uncertainty; with ``maybe`` also
    those that could not be compared and may be."""
    blocks = quarter_hours_of(case, changeover)
    step = case.rows(chiller_mode.BLOCK_MINUTES) * case.minutes
    last_row = pd.Timedelta(minutes=step) - case.trends.step
    found = all_stretches(blocks["maybe" if maybe else "worse"].to_numpy(), blocks.index, step)
    return [replace(stretch, end=stretch.end + last_row) for stretch in found]
