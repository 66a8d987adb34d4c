"""A point map that contradicts physics: swapped columns, wrong units, impossible flows.

Nothing here changes a value. Each finding is a remark; ``unusable`` says that a point must
not be used in any check, and the caller takes it out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from fptlib import points, units
from fptlib.trends import series
from fptlib.trends.grid import Grid, Remark
from fptlib.trends.heat import (
    FEW,
    condenser_balance,
    doubt,
    flow_against_load,
    load_by_power,
    median,
    parts_of_power,
)

# (colder, warmer) of the two while the plant carries a load.
_PAIRS = (
    ("chw_supply_temp", "chw_return_temp", "chillers"),
    ("cw_supply_temp", "cw_return_temp", "chillers"),
    ("hx_chw_leaving_temp", "hx_chw_entering_temp", "exchanger"),
    ("hx_cw_entering_temp", "hx_cw_leaving_temp", "exchanger"),
)
# Points that lie close together: the first within so many degF of the second.
_CLOSE = (
    ("chw_supply_setpoint", "chw_supply_temp", 15.0),
    ("chw_reset_setpoint", "chw_supply_temp", 20.0),
    ("chw_supply_temp", "chw_return_temp", 30.0),
    ("cw_supply_temp", "cw_return_temp", 30.0),
    ("outdoor_wet_bulb", "cw_supply_temp", 45.0),
    ("outdoor_dry_bulb", "outdoor_wet_bulb", 55.0),
)

# Rows that show what is usual.
_ROWS = 100_000
# Another unit moves a value by this share of it, or of the level where it is small.
_LEAST_JUMP, _LEAST_LEVEL = 0.3, 10.0


def map_doubts(trends: Grid) -> list[Remark]:
    """What in the trends contradicts physics, most likely because of the point map."""
    usual: tuple[Callable[[Grid], Iterator[Remark]], ...] = (
        _swapped, _far_apart, _wet_above_dry, _shares, flow_against_load, load_by_power,
        condenser_balance, _idle_but_on, parts_of_power,
    )
    # What is usual in a year is as usual in every fifth minute of it.
    every = -(-len(trends) // _ROWS) or 1
    thinned = replace(trends, columns={n: v[::every] for n, v in trends.columns.items()})
    found = [remark for look in usual for remark in look(thinned)]
    return [*found, *_frozen(trends), *_unit_jumps(trends)]


def _loaded(trends: Grid, what: str) -> np.ndarray:
    """Rows in which the chillers, or the exchanger, carry the plant, as far as trended."""
    columns = trends.columns
    on = np.zeros(len(trends), dtype=bool)
    if what == "exchanger":
        if trends.has("economizer_active"):
            return columns["economizer_active"] == 1.0
        return ~on
    running = [f"chiller_{n}_running" for n in trends.numbers("chiller_{n}_running")]
    if not running:
        return ~on
    for name in running:
        on |= columns[name] == 1.0
    return on


def _swapped(trends: Grid) -> Iterator[Remark]:
    for cold, warm, what in _PAIRS:
        if not trends.has(cold, warm):
            continue
        rows = _loaded(trends, what)
        difference = (trends.columns[warm] - trends.columns[cold])[rows]
        difference = difference[~np.isnan(difference)]
        if len(difference) >= FEW and np.median(difference) < -0.5:
            share = 100.0 * float(np.mean(difference < 0))
            yield doubt(trends, cold, (
                f"{warm} is below {cold} in {share:.0f} % of the rows under load, median "
                f"{np.median(difference):.1f} °F; the two columns may be swapped in the map"))


def _far_apart(trends: Grid) -> Iterator[Remark]:
    for one, other, band in _CLOSE:
        if not trends.has(one, other):
            continue
        a, b = trends.columns[one], trends.columns[other]
        away = median(np.abs(a - b))
        if not away > band:
            continue
        for name, x, y in ((one, a, b), (other, b, a)):
            if hint := _as_celsius(x, y, away):
                yield doubt(trends, name, (
                    f"{one} and {other} lie {away:.0f} °F apart; {hint}: mend the unit of {name} "
                    "in the map"))
                break
        else:
            yield doubt(trends, one, (
                f"{one} and {other} lie {away:.0f} °F apart (median), more than {band:g}; look "
                "at both columns and units in the map"))


def _as_celsius(values: np.ndarray, others: np.ndarray, away: float) -> str:
    """The reading of ``values`` as the other temperature scale, if that mends the distance."""
    celsius = units.scale("degC", "degF", "")
    for converted, text in (
        (celsius(values), "read as °F it looks like °C"),
        (celsius.back(values), "read as °C it looks like °F"),
    ):
        if median(np.abs(converted - others)) < 0.4 * away:
            return text
    return ""


def _wet_above_dry(trends: Grid) -> Iterator[Remark]:
    if not trends.has("outdoor_dry_bulb", "outdoor_wet_bulb"):
        return
    above = trends.columns["outdoor_wet_bulb"] - trends.columns["outdoor_dry_bulb"]
    above = above[~np.isnan(above)]
    if len(above) >= FEW and np.mean(above > 1.0) > 0.05:
        yield doubt(trends, "outdoor_wet_bulb", (
            f"the wet bulb lies above the dry bulb in {100 * np.mean(above > 1.0):.0f} % of the "
            "rows, which cannot be: swapped columns, a wrong unit, or a failed sensor"))


def _shares(trends: Grid) -> Iterator[Remark]:
    for name, values in trends.columns.items():
        if points.point(name).unit not in ("%RH", "%") or not trends.has(name):
            continue
        high = float(np.nanmax(values))
        if 0.0 < high <= 1.05:
            yield doubt(trends, name, (
                f"the highest value is {high:.2f} %; the file may give a share of 0 to 1: state "
                'unit = "fraction"'))


def _idle_but_on(trends: Grid) -> Iterator[Remark]:
    for n in trends.numbers("chiller_{n}_running"):
        status, name = f"chiller_{n}_running", f"chiller_{n}_power"
        if not trends.has(status, name):
            continue
        power, on = trends.columns[name], trends.columns[status]
        least = 0.05 * np.nanmax(power)
        idle = float(np.mean(power[on == 1.0] < least)) if (on == 1.0).any() else 0.0
        busy = float(np.mean(power[on == 0.0] > 4 * least)) if (on == 0.0).any() else 0.0
        if idle > 0.2 or busy > 0.2:
            yield doubt(trends, status, (
                f"chiller {n} draws no power in {100 * idle:.0f} % of the rows in which it is on "
                f"and draws power in {100 * busy:.0f} % in which it is off; the status may be "
                "inverted, a command, or another chiller's"))


def _frozen(trends: Grid) -> Iterator[Remark]:
    for name, values in trends.columns.items():
        point = points.point(name)
        if series.may_be_stuck(point):
            text = series.frozen_text(trends.time, values, trends.minutes, point)
            if text:
                yield doubt(trends, name, text)


def _unit_jumps(trends: Grid) -> Iterator[Remark]:
    for name in trends.columns:
        point = points.point(name)
        if point.kind == points.MEASURED and point.unit in ("degF", "gpm", "psia", "psi"):
            yield from _jumps(trends, name, point)


def _jumps(trends: Grid, name: str, point: points.Point) -> Iterator[Remark]:
    values = trends.columns[name]
    dense, there = series.dense(values)
    if len(dense) < 2 * FEW:
        return
    for at in _largest_jumps(dense):
        before, after = dense[max(at - 10, 0) : at], dense[at : at + 10]
        if unit := _conversion(float(np.median(before)), float(np.median(after)), point):
            yield doubt(trends, name, (
                f"from {trends.time(series.at(there, at)):%Y-%m-%d %H:%M} on the values look "
                f"like {unit} where they were {point.unit} before; if so, state unit_changes under "
                f"[points.{name}]"))
            return


def _largest_jumps(values: np.ndarray) -> np.ndarray:
    """The rows after the five largest jumps that may be a change of unit, in their order."""
    jumps = np.diff(values)
    np.abs(jumps, out=jumps)
    at = np.flatnonzero(jumps >= _LEAST_JUMP * _LEAST_LEVEL)
    return np.sort(at[np.argsort(jumps[at])[-5:]]) + 1


def _conversion(before: float, after: float, point: points.Point) -> str:
    """The unit in which ``after`` would be the same quantity as ``before``."""
    if abs(after - before) < _LEAST_JUMP * max(abs(before), _LEAST_LEVEL):
        return ""
    for unit in units.choices(point.unit):
        if unit == point.unit:
            continue
        meant = units.scale(unit, point.unit, "")(after)
        close = 2.0 if point.unit == "degF" else 0.05 * abs(before)
        if abs(meant - before) < close:
            return unit
    return ""


def without_unusable(trends: Grid, remarks: list[Remark]) -> Grid:
    """The grid without the points that no check may use."""
    gone = {remark.point for remark in remarks if remark.severity == "unusable"}
    return replace(trends, rows=len(trends),
                   columns={n: v for n, v in trends.columns.items() if n not in gone})
