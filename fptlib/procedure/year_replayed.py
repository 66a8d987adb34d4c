"""The sequence replayed over a typical year: what a setting brings in it.

The weather is hourly, so the replay goes in quarter-hours between its hours, with the approaches by
their curves and the load by its model. A timer that moves within a quarter-hour does not show.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import numpy as np

from fptlib.procedure import approaches, power_models, year
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import in_hours
from fptlib.procedure.replay import Given, moved_on
from fptlib.procedure.reset import ResetLine, setpoint_of_year
from fptlib.procedure.sequence import ECONOMIZER, Settings
from fptlib.procedure.waters import carried_on, waters

PARTS = 4
ROW = 60.0 / PARTS


@cached
def _weather(test: FunctionalTest) -> Given:
    """The year as a replay reads it, but for reset setpoint and power."""
    air = _between_hours(year.weather_wet_bulb(test))
    tower, plate = (np.where(np.isnan(curve), stated, curve) for curve, stated in zip(
        year.approaches_of_year(test),
        (approaches.tower(test).value, approaches.exchanger(test).value), strict=True))
    move = replace(waters(test), reach=carried_on(air + _between_hours(tower)),
                   exchanger=carried_on(_between_hours(plate)), spare=[np.inf] * len(air))
    clock = np.repeat(year.clock(test), PARTS)
    begins, ends = test.sequence.clock_enable, test.sequence.clock_exit or time(0, 0)
    shut = np.zeros(len(air), dtype=bool) if begins is None else ~in_hours(
        clock.tolist(), begins, ends)
    return Given(move, ROW, carried_on(air), [], [], shut.tolist(),
                 clock.astype("M8[D]").astype(int).tolist(), (np.nan, np.nan))


def _between_hours(values: np.ndarray) -> np.ndarray:
    return np.interp(np.arange(len(values) * PARTS) / PARTS, np.arange(len(values)), values)


@cached
def on_exchanger(test: FunctionalTest, settings: Settings, line: ResetLine | None) -> np.ndarray:
    """The quarter-hours of the typical year in which the sequence with these settings runs on the
    exchanger, on a line of the reset or on the one as found.

    Raises:
        NotTested: an approach is neither stated nor to be seen, or nothing is known of the weather.
    """
    setpoint = setpoint_of_year(test, line)
    models = None if settings.cost_delay is None else power_models.models(test)
    dearer = np.zeros(len(setpoint), dtype=bool) if models is None else models.dearer(
        year.weather_load(test), setpoint, year.weather_wet_bulb(test))
    found = moved_on(settings, replace(
        _weather(test), reset=carried_on(_between_hours(setpoint)),
        dearer=np.repeat(dearer, PARTS).tolist()))
    return found.mode == ECONOMIZER


def apart(test: FunctionalTest, old: tuple[Settings, ResetLine | None],
          new: tuple[Settings, ResetLine | None]) -> str:
    """What the new settings and reset bring over the old ones in a typical year: hours, energy and
    chiller starts."""
    before, after = on_exchanger(test, *old), on_exchanger(test, *new)
    was, becomes = setpoint_of_year(test, old[1]), setpoint_of_year(test, new[1])
    if (before == after).all():
        return "no hour more or less on the exchanger"
    more = year.energy(test, after & ~before, was, becomes)
    less = year.energy(test, before & ~after, becomes, was)
    starts = [int((on[:-1] & ~on[1:]).sum()) for on in (before, after)]
    said = [f"{word} {each}" for word, each in (("gains", more), ("loses", less)) if each.hours]
    return f"it {' and '.join(said)}; chiller starts {starts[1]} in place of {starts[0]}"
