"""What each recommended setting brings alone: the sequence replayed over the job's own weather and
load with the settings as found, and once more with that one setting as recommended.

Hours, energy, demand and chiller starts of the record, and of a typical year where the job has one;
both modes are priced by the power models, at the same load. What the pull-downs draw is not in it.
A setting that the replay does not carry is "not known".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fptlib.limits import standard
from fptlib.procedure import power_models, savings, year_replayed
from fptlib.procedure.chiller_baseline import minutes_past_midnight
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import interval_demand
from fptlib.procedure.peaks import one_hour
from fptlib.procedure.replay import Replay, replayed, specified
from fptlib.procedure.reset import ResetLine, reset_line
from fptlib.procedure.sequence import CHILLERS, ECONOMIZER, NAMES, Settings
from fptlib.procedure.sheet_lines import ENABLE, ON_COST, UNKNOWN, WITHHELD, Line
from fptlib.procedure.verdict import NotTested

ALONE = f"{UNKNOWN}: as found it is not stated, or the replay does not carry it"


def with_effects(test: FunctionalTest, stated: Mapping[str, Mapping[str, Any]], s: Settings,
                 reset: np.ndarray, lines: Sequence[Line], line_to_set: ResetLine | None = None
                 ) -> tuple[Line, ...]:
    """The lines, each with what it brings alone over the settings as programmed, else as specified,
    else the limits in force; ``reset`` is the reset setpoint to set [degF], and ``line_to_set``
    its line where it is not that of the plant."""
    given = {name: next(((word, row[word]) for word in ("programmed", "specified")
                         if row.get(word) is not None), None) for name, row in stated.items()}
    numbers = {name: {"specified": each[1]} for name, each in given.items() if each}
    cost = numbers.get(COST_DELAY, {"specified": None})["specified"]
    before = replace(specified(test, numbers), cost_delay=cost)
    as_found, own = replayed(test, before), test.reset_setpoint

    def effect(line: Line) -> str:
        if line.recommended in (WITHHELD, UNKNOWN):
            return "–"
        if not line.group:
            return in_year(test, before, s, line_to_set)
        if line.group == "reset":
            return ("against the reset as found: " + _between(
                test, as_found, own, replayed(test, before, reset), reset) + ". " + in_year(
                test, before, before, line_to_set))
        name, field = FIELDS.get(line.name, ("", ""))
        if not field or line.name == ENABLE and before.fixed_wet_bulb is None:
            return ALONE
        known = given.get(name)
        against = (f"the value {known[0]}" if known else "the fixed wet bulb" if line.name == ENABLE
                   else "no such exit" if line.name == ON_COST else "the limit")
        if (value := getattr(s, field)) == getattr(before, field):
            return f"none against {against}: it is the same"
        changed = replace(before, **{field: value})
        return f"against {against}: " + _between(
            test, as_found, own, replayed(test, changed), own) + ". " + in_year(
            test, before, changed)

    return tuple(replace(line, effect=effect(line)) for line in lines)


def in_year(test: FunctionalTest, before: Settings, after: Settings,
            line_to_set: ResetLine | None = None) -> str:
    """The same of a typical year against the settings ``before``, or why it is not known;
    ``line_to_set`` in place of the reset as found."""
    said = f"In a typical year {UNKNOWN}: "
    if test.weather is None:
        return said + "the job has no weather file"
    if test.missing("chw_supply_setpoint", "outdoor_dry_bulb") or not len(reset_line(test)[0]):
        return said + "the trends show no reset line"
    moved = [(old, new) for old, new in ((getattr(each, field) for each in (before, after))
                                         for field in TIMERS) if old != new]
    if len(moved) == 1 and line_to_set is None and any(
            each % year_replayed.ROW for each in moved[0] if each is not None):
        return said + "it is replayed in quarter-hours, and this timer moves within them"
    return "In a typical year " + year_replayed.apart(
        test, (before, None), (after, line_to_set))


COST_DELAY = "exit.comparative_delay"
TIMERS = ("delay", "run_time", "off_time", "exit_delay", "release", "cost_delay")
# By the name of its line, each setting that can be replayed: its limit and its field.
FIELDS = {standard(name).short: (name, field)
          for name, field in {**NAMES, "lift.release": "release"}.items()} | {
              ON_COST: (COST_DELAY, "cost_delay"), ENABLE: ("", "fixed_wet_bulb")}


def _between(test: FunctionalTest, old: Replay, old_reset: np.ndarray, new: Replay,
             new_reset: np.ndarray) -> str:
    """What the ``new`` replay does that the ``old`` did not, each at its reset setpoint [degF]."""
    before, after = old.mode == ECONOMIZER, new.mode == ECONOMIZER
    if (before == after).all():
        return "no hour more or less on the exchanger"
    more = savings.apart(test, after & ~before, old_reset, new_reset)
    less = savings.apart(test, before & ~after, new_reset, old_reset)
    said = [f"{word} {each}" for word, each in (("gains", more), ("loses", less)) if each.hours]
    starts = _starts(new) - _starts(old)
    return (f"on the exchanger it {' and '.join(said)}; chiller starts "
            f"{f'{starts:+d}' if starts else 'as before'}; "
            + _demand(test, (before, old_reset), (after, new_reset)))


def _starts(replay: Replay) -> int:
    """How often chillers start after a run on the exchanger."""
    return int(((replay.mode[:-1] == ECONOMIZER) & (replay.mode[1:] == CHILLERS)).sum())


def _demand(test: FunctionalTest, *each: tuple[np.ndarray, np.ndarray]) -> str:
    """By how much the highest demand interval changes, from before to after: where the exchanger
    carries the load, and the reset setpoint [degF]."""
    models = power_models.models(test)
    if models is None:
        return f"demand {UNKNOWN}"
    power = [np.where(on, models.on_exchanger(test.load, reset, test.wet_bulb),
                      models.on_chillers(test.load, reset)) for on, reset in each]
    moved = each[0][0] != each[1][0]
    if np.isnan(power[0] + power[1])[moved].any():
        return f"demand {UNKNOWN}: load or weather that the trends did not see in both modes"
    try:
        before, after = (float(interval_demand(
            rows, test.minutes, max(test.limits["recovery.demand_interval"], test.minutes),
            test.plant.demand_window, minutes_past_midnight(test)).power.max()) for rows in power)
    except NotTested as why:
        return f"demand {UNKNOWN}: {why}"
    return "highest demand as before" if abs(after - before) < 0.5 else (
        f"highest demand {after - before:+,.0f} ± {one_hour(test):,.0f} kW")
