"""A column read as a point in a unit: the one that the file states, or that in which its values lie
where the point usually does; what a file leaves unstated is of one system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fptlib import points, units
from fptlib.trends.align import stretches
from fptlib.trends.columns import Column

# So many equal rows in weather are a frozen sensor.
_STILL = 36


@dataclass(frozen=True)
class Candidate:
    """A column that may be a point.

    Attributes:
        strength: how much of it the header says, 0 to 1.
        unit: the unit, stated or that in which the values fit best.
        stated: whether the file states the unit.
        fit: share of the values where the point usually lies, None where that says nothing.
        doubt: what speaks against it.
    """

    point: str
    column: Column
    strength: float
    unit: str
    stated: bool
    fit: float | None
    doubt: str = ""

    @property
    def score(self) -> float:
        """Weight in the assignment."""
        return self.strength * (0.6 + 0.4 * (0.8 if self.fit is None else self.fit))


# Where a plant's values usually lie, in the glossary's unit; narrower than plausible. Common
# practice, no source.
_USUAL: dict[str, tuple[float, float]] = {
    "chw_supply_temp": (36.0, 66.0), "chw_return_temp": (40.0, 75.0),
    "chw_supply_setpoint": (36.0, 60.0), "chw_reset_setpoint": (36.0, 60.0),
    "cw_supply_temp": (36.0, 95.0), "cw_return_temp": (38.0, 110.0),
    "cw_supply_setpoint": (36.0, 90.0), "outdoor_dry_bulb": (0.0, 115.0),
    "outdoor_wet_bulb": (-5.0, 85.0), "outdoor_humidity": (5.0, 100.0),
    "hx_chw_entering_temp": (40.0, 80.0), "hx_chw_leaving_temp": (36.0, 75.0),
    "hx_cw_entering_temp": (34.0, 95.0), "hx_cw_leaving_temp": (36.0, 110.0),
    "chiller_chw_leaving_temp": (36.0, 85.0), "chiller_cw_entering_temp": (36.0, 100.0),
    "chiller_cw_leaving_temp": (38.0, 110.0), "chw_flow": (5.0, 30_000.0),
    "cw_flow": (5.0, 40_000.0), "chiller_chw_flow": (5.0, 10_000.0),
    "chiller_cw_flow": (5.0, 15_000.0), "hx_chw_flow": (5.0, 30_000.0),
    "hx_cw_flow": (5.0, 40_000.0), "decoupler_flow": (-10_000.0, 10_000.0),
    "plant_load": (10.0, 20_000.0), "chiller_power": (5.0, 4000.0),
    "chiller_amps": (5.0, 2000.0), "tower_fan_power": (0.2, 2000.0),
    "chw_pump_power": (0.5, 2000.0), "cw_pump_power": (0.5, 2000.0), "plant_power": (5.0, 20_000.0),
    "tower_fan_speed": (0.0, 105.0), "station_pressure": (9.5, 15.8),
    "chw_diff_pressure": (0.5, 80.0), "basin_temp": (36.0, 95.0),
    "ahu_return_temp": (60.0, 85.0), "ahu_mixed_temp": (20.0, 95.0),
    "ahu_discharge_temp": (45.0, 110.0), "heating_load": (10.0, 20_000.0),
    "hx_chw_pressure_drop": (0.2, 40.0), "hx_cw_pressure_drop": (0.2, 40.0),
}
# What files write without saying so, the likeliest first.
_UNSTATED = {
    "degF": ("degF", "degC", "K"), "gpm": ("gpm", "L/s", "m3/h", "kg/s", "m3/s"),
    "kW": ("kW", "W"), "tons": ("tons", "kW", "W"), "psia": ("psia", "inHg", "kPa", "hPa", "Pa"),
    "psi": ("psi", "kPa"), "%RH": ("%RH", "fraction"), "%": ("%", "fraction"),
}
_METRIC = {"degC", "K"}
# Pressures written without saying gauge or absolute, as absolute ones.
_PLAIN = {"psi": "psia", "lb/in2": "psia", "kpa": "kPa", "bar": "bar"}


def in_its_unit(point: points.Point, column: Column, strength: float) -> Candidate | None:
    """The candidate with its unit; None where the file states a unit of something else."""
    if point.kind in (points.STATUS, points.ALARM):
        return Candidate(point.name, column, strength, point.unit, True, None) \
            if column.binary and not units.alias(column.unit, "kW") else None
    if column.words or column.binary and not column.unit and point.unit not in ("%", "kW", "A"):
        return None
    if column.unit:
        unit = units.alias(column.unit, point.unit)
        if unit in ("%", "%RH") and column.there.size and column.there.max() <= 1.05:
            return Candidate(point.name, column, strength, "fraction", False, 1.0)
        plain = column.unit.strip().lower()
        if point.unit == "psia" and plain in _PLAIN:
            return _gauge_or_absolute(point, column, strength, _PLAIN[plain])
        return _stated(point, column, strength, unit) if unit else None
    if point.name.endswith(("evaporator_pressure", "condenser_pressure")):
        return Candidate(point.name, column, strength, "psia", False, None,
                         "the file does not state the unit of this pressure")
    shares = {unit: fit(point, unit, column.there) for unit in _UNSTATED.get(
        point.unit, (point.unit,))}
    unit = max(shares, key=lambda each: -1.0 if shares[each] is None else float(shares[each] or 0))
    return Candidate(point.name, column, strength, unit, False, shares[unit])


def if_it_moves(one: Candidate) -> Candidate:
    """Weather never stands still: another column of it is better."""
    there = one.column.there
    if not one.point.startswith("outdoor") or len(there) < 10 * _STILL:
        return one
    lengths = [end - begin for begin, end in stretches(there[1:] == there[:-1])]
    still = sum(length for length in lengths if length >= _STILL) / len(there)
    if still < 0.2:
        return one
    return replace(one, strength=one.strength * (1.0 - still), doubt=(
        f"it stands still for {100 * still:.0f} % of the rows"))


def _stated(point: points.Point, column: Column, strength: float, unit: str) -> Candidate:
    share, doubt = fit(point, unit, column.there), ""
    if share is not None and share < 0.3:
        others = {other: fit(point, other, column.there) or 0.0
                  for other in _UNSTATED.get(point.unit, ()) if other != unit}
        better = max(others, key=lambda other: others[other], default="")
        if better and others[better] > 0.9:
            doubt = (f"the file says {units.symbol(unit)}, the values look like "
                     f"{units.symbol(better)}")
    return Candidate(point.name, column, strength, unit, True, share, doubt)


def _gauge_or_absolute(point: points.Point, column: Column, strength: float, unit: str
                       ) -> Candidate:
    """A plain "psi" or "kPa" of an absolute pressure, ``unit`` as absolute: barometers are
    absolute, below zero is a gauge."""
    if point.name == "station_pressure":
        return _stated(point, column, strength, unit)
    gauge = units.gauge_of(unit)
    below = bool((units.scale(unit, "psia", point.name)(column.there) < 0.5).any())
    said = column.unit.strip()
    return Candidate(point.name, column, strength, gauge if below else unit, below, None,
                     "" if below else f"{said}: is it gauge ({gauge}) or absolute "
                     f"({'psia' if unit == 'psia' else f'{unit} absolute'})?")


def fit(point: points.Point, unit: str, there: np.ndarray) -> float | None:
    """Share of the values that lie where the point usually lies; None where none is there."""
    if point.unit in ("gpm", "kW", "tons", "A"):
        # What is off says nothing of the unit.
        there = there[np.abs(there) > 0.02 * np.max(np.abs(there), initial=0.0)]
    if not len(there) or unit not in units.choices(point.unit):
        return None
    if unit == "fraction":
        return float(there.max() <= 1.05)
    low, high = _USUAL.get(_family(point.name), (point.low, point.high))
    meant = units.scale(unit, point.unit, point.name)(there)
    share = float(np.mean((meant >= low) & (meant <= high)))
    return 0.0 if point.unit in ("%", "%RH") and there.max() <= 1.05 else share


def _family(point: str) -> str:
    return "_".join(part for part in point.split("_") if not part.isdigit())


def in_one_system(found: Sequence[Candidate]) -> list[Candidate]:
    """What a file leaves unstated is of one system: one temperature scale, metric or not."""
    scales = {file: _scale_of([one for one in found if one.column.file == file])
              for file in {one.column.file for one in found}}
    return [_in_system(one, scales[one.column.file]) for one in found]


def _scale_of(found: Sequence[Candidate]) -> str:
    """The temperature scale of a file: as most columns state it, else as most values fit."""
    votes = dict.fromkeys(_UNSTATED["degF"], 0.0)
    for one in found:
        if points.point(one.point).unit == "degF":
            for unit in votes:
                votes[unit] += one.strength * (2.0 * (one.unit == unit) if one.stated else (
                    fit(points.point(one.point), unit, one.column.there) or 0.0))
    return max(votes, key=lambda unit: votes[unit]) if any(votes.values()) else ""


def _in_system(one: Candidate, scale: str) -> Candidate:
    point = points.point(one.point)
    if one.stated or one.doubt or not scale:
        return one
    metric = {"gpm": "L/s" if one.unit == "gpm" else one.unit, "psi": "kPa",
              "tons": "kW" if one.unit == "tons" else one.unit}
    unit = {"degF": scale, **(metric if scale in _METRIC else {})}.get(point.unit, one.unit)
    share = fit(point, unit, one.column.there)
    # A column that fits its own unit alone stays in it.
    if share is not None and share < 0.3 <= (one.fit or 0.0):
        return one
    return replace(one, unit=unit, fit=share)
