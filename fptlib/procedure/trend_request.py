"""Points and trend request: what the controls contractor must trend, at what interval, which checks
each point serves, what is lost without it, and what a given list of points can prove at all.

It asks the checks themselves, through the same needs that make them not tested.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from fptlib import points
from fptlib.job.schema import DRIVERS, Abort, Plant
from fptlib.job.schema import Sequence as AsSpecified
from fptlib.limits import Limits
from fptlib.procedure import abort, air_handlers
from fptlib.procedure.assemble import with_fan_speeds
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import CHECKS, points_used
from fptlib.procedure.trended import BY_VALVES
from fptlib.trends.grid import Grid

AS_USUAL = AsSpecified()
# Common practice, no source: rows of a minute show a timer, a lift and a demand peak; a status is
# as good as a log of its changes; three changeovers need a cold spell of two weeks.
_EVERY = {points.STATUS: "1 min, or each change", points.ALARM: "each change, with its text",
          points.SETPOINT: "1 min", points.MEASURED: "1 min"}
DURATION = "two weeks of cold weather with three changeovers, without a break"
ESSENTIAL, USEFUL = "essential", "useful"
# Longer rows than this leave what is counted in minutes, or lasts for minutes, undecided.
_FINE_MINUTES = 1.0
STANDARD = Limits()


@dataclass(frozen=True, slots=True)
class Requested:
    """One point of the request; ``lost`` are the checks that are not tested without it alone."""

    point: str
    meaning: str
    tag: str
    unit: str
    interval: str
    priority: str
    serves: tuple[str, ...]
    lost: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Provable:
    """What a list of points can prove: each check with the points it lacks, those that rows of
    this length cannot show with the longest that could [min], and those that they may leave
    undecided."""

    can: tuple[str, ...]
    cannot: dict[str, list[str]]
    blind: dict[str, float]
    coarse: tuple[str, ...]


def stub(plant: Plant, names: Iterable[str], aborts: Sequence[Abort] = (),
         sequence: AsSpecified = AS_USUAL, limits: Limits = STANDARD) -> FunctionalTest:
    """A test in which these points are trended, and nothing else is known."""
    grid = Grid({name: np.ones(2) for name in names}, datetime(2026, 1, 1, tzinfo=UTC),
                timedelta(minutes=1), rows=2)
    return FunctionalTest(with_fan_speeds(grid, plant), plant, limits, aborts=aborts,
                          sequence=sequence)


def _missing(test: FunctionalTest) -> dict[str, list[str]]:
    """The points that each check lacks; those of the plan's abort conditions among them."""
    found = {id: test.missing(*check.needs) for id, check in CHECKS.items()}
    watched = [need for each in test.aborts if each.watched not in ("", "at the plant")
               for need in abort.needs(each)]
    found["abort.conditions"] = test.missing(*watched)
    return {id: lacks for id, lacks in found.items() if lacks}


def request(plant: Plant, aborts: Sequence[Abort] = (), tags: dict[str, str] | None = None,
            sequence: AsSpecified = AS_USUAL) -> list[Requested]:
    """Every point that a check of this plant uses, the costliest first; where valves drive the
    reset those of the air handlers that it reads, if the plan lists none as many as show which one
    holds it down."""
    every = [each.name for each in points.all_points(
        len(plant.chillers), plant.tower_cells, plant.pumps, plant.air_handlers, plant.sumps,
        plant.exchangers)]
    if DRIVERS[sequence.reset.driver] in BY_VALVES:
        listed, fewest = plant.air_handlers, air_handlers.WORST + 1
        every += [f"ahu_{n}_cooling_valve" for n in range(listed + 1, fewest + 1)]
        plant = replace(plant, air_handlers=max(listed, fewest))
    whole = stub(plant, every, aborts, sequence)
    used = {id: set(names) for id, names in points_used(whole).items()}
    for each in aborts:
        if each.watched not in ("", "at the plant"):
            used["abort.conditions"] |= {
                name for need in abort.needs(each) for name in whole.points_of(need)}
    always = set(_missing(whole))
    made = []
    for name in every:
        serves = tuple(id for id, names in used.items() if name in names)
        if serves:
            without = _missing(stub(
                plant, [other for other in every if other != name], aborts, sequence))
            lost = tuple(id for id in without if id not in always)
            entry = points.point(name)
            made.append(Requested(name, entry.meaning, (tags or {}).get(name, ""), entry.unit,
                                  _EVERY[entry.kind], ESSENTIAL if lost else USEFUL, serves, lost))
    return sorted(made, key=lambda each: (-len(each.lost), -len(each.serves)))


def provable(plant: Plant, names: Iterable[str], minutes: float, aborts: Sequence[Abort] = (),
             sequence: AsSpecified = AS_USUAL, limits: Limits = STANDARD) -> Provable:
    """Which checks a list of points, sampled every so many minutes, can and cannot prove."""
    test = stub(plant, names, aborts, sequence, limits)
    cannot = _missing(test)
    blind = {id: longest for id, longest in longest_rows(test).items()
             if id not in cannot and minutes > longest}
    can = tuple(id for id in CHECKS if id not in cannot and id not in blind)
    coarse = tuple(id for id in can if minutes > _FINE_MINUTES and (
        CHECKS[id].unit == "min" or "lift.short_dip" in CHECKS[id].limits))
    return Provable(can, cannot, blind, coarse)


def longest_rows(test: FunctionalTest) -> dict[str, float]:
    """The checks that long rows blind, with the longest that can show what they look for [min]."""
    return {id: check.rows(test) for id, check in CHECKS.items() if check.rows}
