"""Whether proposed columns behave as their points must: heat flows from warm to cold, a running
chiller draws power, a wet bulb follows from dry bulb and humidity, water carries the heat.

What agrees makes a proposal surer, what contradicts it is said with it. Limits are common practice,
no source: wide enough for biased sensors, too narrow for another column.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fptlib import points, units
from fptlib.physics import atmosphere, moist_air, refrigerant
from fptlib.physics.errors import ImpossibleState
from fptlib.physics.water import BTU_PER_GPM, BTU_PER_TON_HOUR
from fptlib.trends.columns import Column

_FEW = 12
# Tons of one gpm of water warmed by one degree F (glycol carries up to 12 % less, which no unit is
# taken for).
_TONS = BTU_PER_GPM / BTU_PER_TON_HOUR
_PAIRS = (("chw_supply_temp", "chw_return_temp"), ("cw_supply_temp", "cw_return_temp"),
          ("hx_chw_leaving_temp", "hx_chw_entering_temp"),
          ("hx_cw_entering_temp", "hx_cw_leaving_temp"))


@dataclass(frozen=True)
class Reading:
    """A column read as a point in a unit, which the file states or not."""

    column: Column
    unit: str
    stated: bool


@dataclass
class Seen:
    """What became of one proposal.

    Attributes:
        unit: the unit, perhaps another one.
        agrees: what confirms it.
        doubt: what contradicts it.
        wrong: whether it cannot be.
        swap: the point whose column this one should have instead.
    """

    unit: str
    agrees: list[str] = field(default_factory=list)
    doubt: str = ""
    wrong: bool = False
    swap: str = ""


class Plant:
    """The proposed points as values in the glossary's units, on common rows."""

    def __init__(self, readings: Mapping[str, Reading], answers: Mapping[str, Any]) -> None:
        self.readings, self.answers = readings, answers
        self.seen = {name: Seen(one.unit) for name, one in readings.items()}
        altitude = answers.get("site", {}).get("altitude")
        self.knows_air = isinstance(altitude, int | float)
        self.air = atmosphere.pressure_at(float(altitude) if self.knows_air else 0.0)

    def has(self, *names: str) -> bool:
        """Whether all of these points are proposed."""
        return all(name in self.readings for name in names)

    def numbers(self, pattern: str) -> list[int]:
        """The equipment numbers of a family of points."""
        return points.numbers(list(self.readings), pattern)

    def rows(self, *names: str) -> list[np.ndarray]:
        """The points on the rows of the first of them, NaN where one has no row near by."""
        first = self.readings[names[0]].column
        return [self._scaled(name, _on(first, self.readings[name].column)) for name in names]

    def _scaled(self, name: str, values: np.ndarray) -> np.ndarray:
        wanted, unit = points.point(name).unit, self.seen[name].unit
        return np.asarray(units.scale(unit, wanted, name, self.air)(values), dtype=float)

    def agree(self, text: str, *names: str) -> None:
        """Note what confirms these points."""
        for name in names:
            self.seen[name].agrees.append(text)

    def doubt(self, text: str, *names: str, wrong: bool = False) -> None:
        """Note what contradicts these points."""
        for name in names:
            seen = self.seen[name]
            seen.doubt, seen.wrong = seen.doubt or text, seen.wrong or wrong

    def running(self, n: int, first: str) -> np.ndarray | None:
        """On the rows of ``first``, whether chiller ``n`` runs, by its status or its power."""
        for name in (f"chiller_{n}_running", f"chiller_{n}_power", f"chiller_{n}_amps"):
            if self.has(name):
                return is_on(self.rows(first, name)[1])
        return None


def _on(first: Column, other: Column) -> np.ndarray:
    """Another column's values on the rows of the first."""
    if len(first.values) == len(other.values) and np.array_equal(first.times, other.times):
        return other.values
    if not len(first.times) or not len(other.times):
        return np.full(len(first.values), np.nan)
    order = np.argsort(other.times, kind="stable")
    times, values = other.times[order], other.values[order]
    at = np.clip(np.searchsorted(times, first.times, side="right") - 1, 0, None)
    step = np.median(np.diff(times)) if len(times) > 1 else 0.0
    near = np.abs(first.times - times[at]) <= max(2.0 * step, 6e10)
    return np.where(near, values[at], np.nan)


def is_on(values: np.ndarray) -> np.ndarray:
    """Where a status is on, or a power, current or speed is more than an idle one's."""
    return values > 0.05 * np.nanpercentile(values, 98) if np.isfinite(values).any() \
        else np.zeros(len(values), bool)


def median(values: np.ndarray) -> float:
    """The median of what is there; NaN of a few values only."""
    there = values[np.isfinite(values)]
    return float(np.median(there)) if len(there) >= _FEW else float("nan")


def look(readings: Mapping[str, Reading], answers: Mapping[str, Any]) -> dict[str, Seen]:
    """What physics says of each proposed point."""
    plant = Plant(readings, answers)
    with np.errstate(invalid="ignore", divide="ignore"), warnings.catch_warnings():
        # Columns without a value are NaN here, and nothing agrees with them.
        warnings.simplefilter("ignore", RuntimeWarning)
        _ends(plant)
        _flow(plant)
        _other_flows(plant)
        # MBtu/h pass for tons, kPa for psi: no usual range tells them apart.
        for name, what in (("heating_load", "this load"), ("hx_chw_pressure_drop", "this pressure"),
                           ("hx_cw_pressure_drop", "this pressure")):
            _unsure(plant, name, "", what)
        for n in plant.numbers("chiller_{n}_running"):
            _state(plant, f"chiller_{n}_running", f"chiller_{n}_power", "chiller_{n}_power")
            _state(plant, f"chiller_{n}_running", f"chiller_{n}_amps", "chiller_{n}_amps")
        for n in plant.numbers("tower_{n}_fan_running"):
            _state(plant, f"tower_{n}_fan_running", f"tower_{n}_fan_speed", "tower_{n}_fan_speed")
        _currents(plant)
        _chiller_water(plant)
        _economizer(plant)
        _air(plant)
        _setpoints(plant)
        _powers(plant)
        _pressures(plant)
    return plant.seen


# -- water ----------------------------------------------------------------------------------------

def _ends(plant: Plant) -> None:
    """The colder and the warmer end of each water; turned round where the values say so."""
    pairs = [*_PAIRS, *((f"chiller_{n}_cw_entering_temp", f"chiller_{n}_cw_leaving_temp")
                        for n in plant.numbers("chiller_{n}_cw_leaving_temp"))]
    for cold, warm in pairs:
        if not plant.has(cold, warm):
            continue
        low, high = plant.rows(cold, warm)
        difference = high - low
        if cold.startswith("chiller"):
            on = plant.running(int(cold.split("_")[1]), cold)
            difference = difference[on] if on is not None else difference
        if cold.startswith("hx"):
            difference = difference[np.abs(difference) > 1.0]
        between = median(difference)
        if between > 0.5:
            plant.agree(f"{between:.1f} °F between the colder and the warmer end", cold, warm)
        elif between < -0.5:
            text = ("but its values are the warmer of the two, so the ends are turned round",
                    "but its values are the colder of the two, so the ends are turned round")
            units_ = plant.readings[warm].unit, plant.readings[cold].unit
            for name, other, unit, why in zip((cold, warm), (warm, cold), units_, text,
                                              strict=True):
                plant.seen[name] = Seen(unit, [why], swap=other)


def _tons(plant: Plant, first: str, factor: float = 1.0) -> np.ndarray:
    flow, supply, back = plant.rows(first, "chw_supply_temp", "chw_return_temp")
    return _TONS * factor * flow * np.abs(back - supply)


def _flow(plant: Plant) -> None:
    """The unit of the plant's flow: that in which it carries the load, or the chillers' power."""
    if not plant.has("chw_flow", "chw_supply_temp", "chw_return_temp"):
        return _unsure(plant, "chw_flow")
    tons = _tons(plant, "chw_flow")
    if plant.has("plant_load"):
        load = plant.rows("chw_flow", "plant_load")[1]
        kept = (load > 0.1 * np.nanmax(load)) & (tons > 0)
        return _by_factor(plant, "chw_flow", median((load / tons)[kept]), (0.89, 1.12),
                          "the trended load", "plant_load")
    numbers = plant.numbers("chiller_{n}_power")
    # Of one chiller too few the power would speak for another unit.
    seen = {int(name.split("_")[1]) for name in plant.readings if name.startswith("chiller_")}
    every = seen | set(range(1, int(plant.answers.get("plant", {}).get("chillers") or 0) + 1))
    if not numbers or set(numbers) != every or any(
            plant.seen[f"chiller_{n}_power"].doubt for n in numbers):
        return _unsure(plant, "chw_flow")
    power = np.sum([np.nan_to_num(plant.rows("chw_flow", f"chiller_{n}_power")[1])
                    for n in numbers], axis=0)
    kept = (power > 0.2 * np.nanmax(power)) & (tons > 0)
    if plant.has("economizer_active"):
        kept &= plant.rows("chw_flow", "economizer_active")[1] == 0.0
    # The least of a chilled-water plant's chillers to the most, about 0.6 between.
    _by_factor(plant, "chw_flow", median((power / tons)[kept]) / 0.6, (0.5, 1.9),
               "what the chillers' power can cool")


def _by_factor(plant: Plant, flow: str, wanted: float, band: tuple[float, float], what: str,
               *others: str) -> None:
    """Settle a flow's unit by the factor that is missing in the balance."""
    if not np.isfinite(wanted) or wanted <= 0:
        return _unsure(plant, flow)
    now = plant.seen[flow].unit
    one = units.scale(now, "gpm", flow).factor
    factors = {unit: units.scale(unit, "gpm", flow).factor / one for unit in units.choices("gpm")}
    near = [unit for unit in factors if band[0] <= wanted / factors[unit] <= band[1]]
    # Of units that are the same within a percent (L/s, kg/s) the one at hand, else the first.
    best = now if now in near else min(
        near, key=lambda unit: round(abs(np.log(wanted / factors[unit])), 1), default="")
    if best and (best == now or not plant.readings[flow].stated):
        plant.seen[flow].unit = best
        # The chillers' power alone leaves room for one chiller that nobody trends.
        if others or plant.readings[flow].stated:
            plant.agree(f"in {units.symbol(best)} flow and temperatures carry {what}", flow,
                        *others)
    elif best:
        plant.doubt(f"the file says {units.symbol(now)}, but only in {units.symbol(best)} do flow "
                    f"and temperatures carry {what}", flow)
    else:
        plant.doubt(f"in no unit do flow and temperatures carry {what} (factor {wanted:.3g})",
                    flow, wrong=True)


def _unsure(plant: Plant, name: str, usual: str = "gpm", what: str = "this flow") -> None:
    if plant.has(name) and not plant.readings[name].stated and plant.seen[name].unit != usual:
        plant.doubt(f"the file does not state the unit of {what}, and nothing else settles it",
                    name)


def _other_flows(plant: Plant) -> None:
    """Flows beside the plant's: by the heat balance, or in the unit of the plant's own."""
    main = "chw_flow"
    settled = plant.has(main) and not plant.seen[main].doubt
    for name in ("hx_chw_flow", "hx_cw_flow", "decoupler_flow", "cw_flow"):
        if not plant.has(name) or plant.readings[name].stated:
            continue
        if settled and plant.readings[name].column.file == plant.readings[main].column.file:
            plant.seen[name].unit = plant.seen[main].unit
        else:
            _unsure(plant, name)
    if not settled or not plant.has("cw_flow", "cw_supply_temp", "cw_return_temp",
                                    "chw_supply_temp", "chw_return_temp"):
        return
    flow, low, high = plant.rows("cw_flow", "cw_supply_temp", "cw_return_temp")
    load = _TONS * plant.rows("cw_flow", main)[1] * np.abs(np.subtract(
        *plant.rows("cw_flow", "chw_return_temp", "chw_supply_temp")[1:]))
    rejected = _TONS * flow * np.abs(high - low)
    ratio = median((rejected / load)[load > 0.2 * np.nanmax(load)])
    if 0.7 <= ratio <= 1.7:
        plant.agree("the heat rejected is that of the load", "cw_flow")


# -- on and off -----------------------------------------------------------------------------------

def _state(plant: Plant, status: str, by: str, family: str) -> None:
    """A status against the power, current or speed of the same machine."""
    if not plant.has(status, by):
        return
    state, value = plant.rows(status, by)
    known = np.isfinite(state) & np.isfinite(value)
    if known.sum() < _FEW:
        return
    share = _same(state[known], value[known])
    varies = 0.01 < np.mean(state[known]) < 0.99
    if share > 0.93 and varies:
        return plant.agree(f"on and off as {units.symbol(points.point(by).unit)} of the same "
                           f"machine in {100 * share:.0f} % of the rows", status, by)
    if share < 0.75 and varies:
        others = [n for n in plant.numbers(family) if _same(*plant.rows(
            status, family.format(n=n))) > 0.93]
        hint = f"; it goes with number {others[0]}" if others else (
            "; it looks inverted" if share < 0.1 else "")
        plant.doubt(f"on and off in only {100 * share:.0f} % of the rows as the same machine's "
                    f"{units.symbol(points.point(by).unit)}{hint}", status)


def _same(state: np.ndarray, value: np.ndarray) -> float:
    known = np.isfinite(state) & np.isfinite(value)
    return float(np.mean((state > 0.5)[known] == is_on(value[known]))) if known.any() else 0.0


def _currents(plant: Plant) -> None:
    """A motor's current goes with its power."""
    for n in plant.numbers("chiller_{n}_amps"):
        if plant.has(f"chiller_{n}_power"):
            amps, power = plant.rows(f"chiller_{n}_amps", f"chiller_{n}_power")
            if _together(amps, power) > 0.95:
                plant.agree("current and power move together", f"chiller_{n}_amps",
                            f"chiller_{n}_power")


def _together(a: np.ndarray, b: np.ndarray) -> float:
    """How much two columns move together, -1 to 1; 0 where one of them does not move."""
    known = np.isfinite(a) & np.isfinite(b)
    if known.sum() < _FEW or not np.ptp(a[known]) or not np.ptp(b[known]):
        return 0.0
    return float(np.corrcoef(a[known], b[known])[0, 1])


def _chiller_water(plant: Plant) -> None:
    """A running chiller's water is the plant's."""
    for own, plants in (("chiller_{n}_chw_leaving_temp", "chw_supply_temp"),
                        ("chiller_{n}_cw_entering_temp", "cw_supply_temp"),
                        ("chiller_{n}_cw_leaving_temp", "cw_return_temp")):
        for n in plant.numbers(own):
            name = own.format(n=n)
            if not plant.has(plants) or (on := plant.running(n, name)) is None:
                continue
            mine, all_of_it = plant.rows(name, plants)
            away = median(np.abs(mine - all_of_it)[on])
            if away < 2.5:
                plant.agree(f"within {away:.1f} °F of {points.point(plants).meaning} while the "
                            "chiller runs", name, plants)
            elif away > 15.0:
                plant.doubt(f"{away:.0f} °F from {points.point(plants).meaning} while the chiller "
                            "runs", name)


def _economizer(plant: Plant) -> None:
    """Command, status, valve and flow of the exchanger go together."""
    active = "economizer_active"
    if not plant.has(active):
        return
    for other in ("economizer_command", "hx_valve", "hx_chw_flow", "hx_cw_flow"):
        if plant.has(other):
            state, value = plant.rows(active, other)
            if _same(state, value) > 0.85 and 0.01 < np.nanmean(state) < 0.99:
                plant.agree("goes with the exchanger's service", active, other)


# -- air, setpoints, power, refrigerant -----------------------------------------------------------

def _air(plant: Plant) -> None:
    """Wet bulb, dry bulb and humidity of the same air."""
    dry_name, wet_name, humid_name = "outdoor_dry_bulb", "outdoor_wet_bulb", "outdoor_humidity"
    if not plant.has(dry_name, wet_name):
        return
    dry, wet = plant.rows(dry_name, wet_name)
    if np.nanmean(wet > dry + 1.0) > 0.05:
        return plant.doubt("the wet bulb lies above the dry bulb, which cannot be",
                           wet_name, dry_name)
    if not plant.has(humid_name):
        if 0.0 < median(dry - wet) < 45.0:
            plant.agree("the wet bulb lies below the dry bulb", wet_name, dry_name)
        return
    dry, wet, humid = plant.rows(dry_name, wet_name, humid_name)
    known = np.flatnonzero(np.isfinite(dry + wet + humid) & (humid > 1.0) & (humid <= 100.0)
                           & (dry > -60.0) & (dry < 140.0))
    known = known[:: -(-len(known) // 500) or 1]
    try:
        away = median(np.abs(moist_air.wet_bulb(dry[known], humid[known], _air_pressure(plant))
                             - wet[known])) if len(known) else float("nan")
    except ImpossibleState:
        return
    if away < (1.5 if plant.knows_air else 3.0):
        plant.agree("dry bulb, wet bulb and humidity are of the same air", dry_name, wet_name,
                    humid_name)
    elif away > 6.0:
        plant.doubt(f"the wet bulb lies {away:.0f} °F from that of dry bulb and humidity: they are "
                    "not of the same air, or one sensor is off", wet_name, humid_name)


def _air_pressure(plant: Plant) -> float:
    """Pressure of the air at the site [psia]."""
    if plant.has("station_pressure") and not plant.knows_air:
        trended = median(plant.rows("station_pressure")[0])
        return trended if 8.0 < trended < 16.0 else plant.air
    return plant.air


def _setpoints(plant: Plant) -> None:
    for setpoint, water in (("chw_supply_setpoint", "chw_supply_temp"),
                            ("chw_reset_setpoint", "chw_supply_temp"),
                            ("cw_supply_setpoint", "cw_supply_temp")):
        if not plant.has(setpoint, water):
            continue
        away = median(np.abs(np.subtract(*plant.rows(setpoint, water))))
        if away < 6.0:
            plant.agree(f"the water stays within {away:.1f} °F of it", setpoint)
        elif away > 20.0:
            plant.doubt(f"the water lies {away:.0f} °F from it", setpoint)


def _powers(plant: Plant) -> None:
    """The plant draws more than its chillers, and not twenty times as much."""
    numbers = plant.numbers("chiller_{n}_power")
    if not numbers or not plant.has("plant_power"):
        return
    names = [f"chiller_{n}_power" for n in numbers]
    total, *parts = plant.rows("plant_power", *names)
    power = np.sum([np.nan_to_num(part) for part in parts], axis=0)
    ratio = median((total / power)[power > 0.2 * np.nanmax(power)])
    if 1.0 <= ratio <= 4.0:
        plant.agree("the plant draws what its chillers do, and more", "plant_power", *names)
    elif ratio < 0.9 or ratio > 20.0:
        plant.doubt(f"the plant's power is {ratio:.2g} times that of its chillers", "plant_power")


def _pressures(plant: Plant) -> None:
    """Gauge or absolute: by the saturation temperature beside the water's, where the plan states
    the refrigerant."""
    for side, water in (("evaporator", "chw_leaving"), ("condenser", "cw_leaving")):
        for n in plant.numbers(f"chiller_{{n}}_{side}_pressure"):
            name, temp = f"chiller_{n}_{side}_pressure", f"chiller_{n}_{water}_temp"
            fluid = str(plant.answers.get("plant", {}).get(f"chiller_{n}", {}).get(
                "refrigerant", ""))
            if not fluid or not plant.has(temp) or (on := plant.running(n, name)) is None:
                continue
            either = next((pair for pair in ((unit, units.gauge_of(unit)) for unit in (
                "psia", "kPa", "bar")) if plant.seen[name].unit in pair), ())
            fits = [unit for unit in either
                    if _from_saturation(plant, name, temp, unit, fluid, on) < 9.0]
            if len(fits) == 1:
                if not plant.readings[name].stated or fits[0] == plant.seen[name].unit:
                    plant.seen[name].unit = fits[0]
                    plant.agree(f"as {fits[0]} it is {fluid} beside the chiller's water", name)
                else:
                    plant.doubt(f"as {fits[0]}, not {plant.seen[name].unit}, it would be {fluid} "
                                "beside the chiller's water", name)


def _from_saturation(plant: Plant, name: str, temp: str, unit: str, fluid: str, on: np.ndarray
                     ) -> float:
    """Distance of the refrigerant from the water [degF], infinite where it cannot be."""
    water = plant.rows(name, temp)[1][on]
    absolute = units.scale(unit, "psia", name, plant.air)(plant.readings[name].column.values[on])
    known = np.isfinite(water + absolute) & (absolute > 0.5)
    if known.sum() < _FEW:
        return float("inf")
    try:
        return median(np.abs(refrigerant.saturation_temperature(fluid, absolute[known])
                             - water[known]))
    except (ImpossibleState, KeyError, ValueError):
        return float("inf")
