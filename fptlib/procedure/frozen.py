"""Sensors that stand still while what they measure moves: their rows are unknown.

An outdoor sensor is frozen where it shows one value for longer than the limit while another one
moves so far that it must have moved too; the chilled-water supply sensor where for half an hour
of two its setpoint is elsewhere. Water that is held exactly at its setpoint is not frozen. (Common
practice, no source.)
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fptlib.procedure.flags import stretches
from fptlib.procedure.measures import last_known
from fptlib.trends.grid import Grid

# By how much another outdoor sensor must have moved [degF].
_WITNESS = {"outdoor_wet_bulb": ("outdoor_dry_bulb", 5.0),
            "outdoor_dry_bulb": ("outdoor_wet_bulb", 2.0),
            "outdoor_humidity": ("outdoor_dry_bulb", 5.0)}
_SUPPLY, _SUPPLY_HOURS, _OFF_SETPOINT, _OFF_MINUTES = "chw_supply_temp", 2.0, 1.5, 30.0
# Humidity rests at the ends of its range by nature: fog, and a dry sensor's least.
_HUMIDITY_ENDS = (1.0, 99.0)


def frozen_rows(grid: Grid, hours: float) -> dict[str, np.ndarray]:
    """The rows in which a point is frozen, for points that are anywhere.

    Args:
        grid: the trends.
        hours: for longer than this an outdoor sensor does not show one value.
    """
    found: dict[str, np.ndarray] = {}
    for name, (witness, moved) in _WITNESS.items():
        if not grid.has(name, witness):
            continue
        values = grid.columns[name]
        for first, last in still(values, hours * 60.0 / grid.minutes):
            at_end = name == "outdoor_humidity" and not (
                _HUMIDITY_ENDS[0] < values[first] < _HUMIDITY_ENDS[1])
            if not at_end and _moved(grid.columns[witness][first : last + 1]) >= moved:
                found.setdefault(name, np.zeros(len(grid), dtype=bool))[first : last + 1] = True
    if grid.has(_SUPPLY, "chw_supply_setpoint"):
        values = grid.columns[_SUPPLY]
        off = np.abs(grid.columns["chw_supply_setpoint"] - values) >= _OFF_SETPOINT
        for first, last in still(values, _SUPPLY_HOURS * 60.0 / grid.minutes):
            setpoint = grid.columns["chw_supply_setpoint"][first : last + 1]
            elsewhere = float(off[first : last + 1].sum()) * grid.minutes
            if elsewhere >= _OFF_MINUTES and _moved(setpoint) >= _OFF_SETPOINT:
                found.setdefault(_SUPPLY, np.zeros(len(grid), dtype=bool))[first : last + 1] = True
    return found


def _moved(values: np.ndarray) -> float:
    known = values[~np.isnan(values)]
    return float(np.ptp(known)) if len(known) else 0.0


def still(values: np.ndarray, rows: float) -> Iterator[tuple[int, int]]:
    """First and last row of each stretch of more than ``rows`` in which a sensor showed one
    value; a gap after which it is the same does not end one."""
    known = last_known(values)
    for first, last in stretches(np.diff(values[known], prepend=np.nan) == 0.0):
        end = int(known[last])
        if end - first + 2 > rows:
            yield first - 1, end
