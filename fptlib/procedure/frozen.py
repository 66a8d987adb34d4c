"""Sensors that stand still while what they measure moves: their rows are unknown.

An outdoor sensor is frozen where it shows one value for longer than the limit while another one
moves; the chilled-water supply sensor where its setpoint moves and it does not. (Common practice,
no source.)
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fptlib.procedure.flags import stretches
from fptlib.procedure.measures import carried
from fptlib.trends.grid import Grid

# What moves with what, and by how much it must have moved.
_OUTDOOR = {"outdoor_wet_bulb": 2.0, "outdoor_dry_bulb": 2.0, "outdoor_humidity": 5.0}
_SUPPLY, _SETPOINT, _SETPOINT_MOVED, _SUPPLY_HOURS = (
    "chw_supply_temp", "chw_supply_setpoint", 1.5, 2.0)
# Humidity rests at the ends of its range by nature: fog, and a dry sensor's least.
_ENDS = {"outdoor_humidity": (1.0, 99.0)}


def frozen_rows(grid: Grid, hours: float) -> dict[str, np.ndarray]:
    """The rows in which a point is frozen, for points that are anywhere.

    Args:
        grid: the trends.
        hours: for longer than this an outdoor sensor does not show one value.
    """
    found: dict[str, np.ndarray] = {}
    for name in (*_OUTDOOR, _SUPPLY):
        if not grid.has(name):
            continue
        longer = hours if name in _OUTDOOR else _SUPPLY_HOURS
        witnesses = {other: moved for other, moved in _OUTDOOR.items() if other != name} \
            if name in _OUTDOOR else {_SETPOINT: _SETPOINT_MOVED}
        for first, last in still(grid.columns[name], longer * 60.0 / grid.minutes):
            low, high = _ENDS.get(name, (-np.inf, np.inf))
            if low < grid.columns[name][first] < high and any(
                    _moved(grid, other, first, last) >= moved
                    for other, moved in witnesses.items()):
                found.setdefault(name, np.zeros(len(grid), dtype=bool))[first : last + 1] = True
    return found


def _moved(grid: Grid, name: str, first: int, last: int) -> float:
    values = grid.columns.get(name, np.empty(0))[first : last + 1]
    known = values[~np.isnan(values)]
    return float(np.ptp(known)) if len(known) else 0.0


def still(values: np.ndarray, rows: float) -> Iterator[tuple[int, int]]:
    """First and last row of each stretch of more than ``rows`` in which a sensor showed one
    value; a gap after which it is the same does not end one."""
    known = ~np.isnan(values)
    for first, last in stretches(np.diff(carried(values), prepend=np.nan) == 0.0):
        end = first - 1 + int(np.flatnonzero(known[first - 1 : last + 1])[-1])
        if end - first + 2 > rows:
            yield first - 1, end
