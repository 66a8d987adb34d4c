"""What a job has trended: its points row by row, and what of them a check's needs lack.

A point's rows are unknown where its sensor was frozen or overridden; a quantity that can come
from several points is missing where none of its ways is whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property, wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np

from fptlib import points
from fptlib.job.schema import (
    DRIVERS,
    Abort,
    Instrument,
    Mark,
    Override,
    Plant,
    Reading,
    Sensor,
    Sensors,
    Tariff,
)
from fptlib.job.schema import Sequence as AsSpecified
from fptlib.limits import Limits
from fptlib.procedure.flags import stretches
from fptlib.procedure.frozen import frozen_rows
from fptlib.procedure.status import signals
from fptlib.procedure.verdict import NotTrended
from fptlib.trends.grid import Grid, increment, shown_step

_Found = TypeVar("_Found")
_Given = ParamSpec("_Given")
_Test = TypeVar("_Test", bound="Trended")
Ways = Sequence[tuple[str, ...]]

# Where no point has a value for so long, the trends are of other days (common practice, no source).
UNRECORDED_MINUTES = 1440.0
# The drivers by which a valve can hold a reset down: its own position, or the pressure it draws on.
BY_VALVES = ("chw_valve_position", "chw_diff_pressure")
POWER_PARTS = ("tower_fan_power", "chw_pump_power", "cw_pump_power")

# What one of several exchangers is judged by, beside the waters that enter all of them.
OWN_EXCHANGER = ("chw_flow", "cw_flow", "chw_leaving_temp", "cw_leaving_temp")

# Quantities that can come from several points, and from which.
ALTERNATIVES: dict[str, tuple[tuple[str, ...], ...]] = {
    "request": (("economizer_command",), ("economizer_active",)),
    "wet_bulb": (("outdoor_wet_bulb",), ("outdoor_dry_bulb", "outdoor_humidity")),
    "reset_setpoint": (("chw_reset_setpoint",), ("chw_supply_setpoint",)),
    "load": (("chw_flow", "chw_supply_temp", "chw_return_temp"),),
    "exchanger_flows": (("hx_chw_flow", "hx_cw_flow"),),
    "exchanger_opens": (("hx_cw_flow",), ("hx_valve",), ("economizer_active",)),
    "exchanger_pressure_drop": (("hx_chw_pressure_drop", "hx_chw_flow"),
                                ("hx_cw_pressure_drop", "hx_cw_flow")),
}


def cached(calculate: Callable[Concatenate[_Test, _Given], _Found]
           ) -> Callable[Concatenate[_Test, _Given], _Found]:
    """Calculate what depends on a test, and a number or two, only once: many events ask."""
    name = f"{calculate.__module__}.{calculate.__qualname__}"

    def kept(test: _Test, /, *given: _Given.args, **named: _Given.kwargs) -> _Found:
        key = (name, *given, *named.items())
        if key not in test.kept:
            test.kept[key] = calculate(test, *given, **named)
        found: _Found = test.kept[key]
        return found

    return wraps(calculate)(kept)


@dataclass(frozen=True)
class Trended:
    """One job's trends with its plant, limits and field readings: points by row, and needs.

    ``condition`` is ``natural``, ``simulated`` or ``forced``; ``wet_bulb_source`` is
    ``trended`` or ``calculated``; ``weather`` is a typical year, hour by hour, by point, where
    the job has one.
    """

    grid: Grid
    plant: Plant
    limits: Limits = field(default_factory=Limits)
    sensors: Sensors = field(default_factory=Sensors)
    readings: Sequence[Reading] = ()
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    marks: Sequence[Mark] = ()
    sequence: AsSpecified = AsSpecified()
    tariff: Tariff = Tariff()
    aborts: Sequence[Abort] = ()
    overrides: Sequence[Override] = ()
    condition: str = "natural"
    wet_bulb_source: str = "trended"
    weather: Mapping[str, np.ndarray] | None = None
    kept: dict[Any, Any] = field(default_factory=dict, init=False, repr=False, compare=False)
    flickers: dict[str, int] = field(default_factory=dict, init=False, repr=False, compare=False)

    # -- rows and points ---------------------------------------------------------------

    def __getitem__(self, point: str) -> np.ndarray:
        """A point's values, one a row; NaN is a gap, or where a sensor stood still (``frozen``) or
        was overridden.

        Raises:
            NotTested: nobody trended it; whatever asks for it is not tested, and breaks nowhere.
        """
        if point in self._columns:
            return self._columns[point]
        if point not in self.grid.columns:
            raise NotTrended(points.point(point).name)
        return self.grid.columns[point]

    @cached_property
    def frozen(self) -> dict[str, np.ndarray]:
        """The rows in which a sensor stood still while what it measures moved, by point."""
        return frozen_rows(self.grid, self.limits["instruments.stuck"])

    @cached_property
    def _columns(self) -> dict[str, np.ndarray]:
        """The columns in which rows are unknown: the sensor was frozen, or overridden."""
        unknown = dict(self.frozen)
        for override, rows in self.overridden:
            name = override.point
            if override.sensor is not None and name in self.grid.columns:
                unknown[name] = unknown.get(name, False) | self.within([rows])
        return {name: np.where(rows, np.nan, self.grid.columns[name])
                for name, rows in unknown.items()}

    @cached_property
    def _readings(self) -> Mapping[str, np.ndarray]:
        """Every column as ``[]`` gives it."""
        return {**self.grid.columns, **self._columns}

    @cached_property
    def unrecorded(self) -> np.ndarray:
        """The days between two stretches of trends: nothing is said of them, where a shorter gap
        may hide what counts."""
        silent = np.ones(len(self), dtype=bool)
        for column in self.grid.columns.values():
            silent &= np.isnan(column)
        return self.within(slice(first, last + 1) for first, last in stretches(silent)
                           if last - first + 1 > self.rows(UNRECORDED_MINUTES))

    @cached_property
    def overridden(self) -> list[tuple[Override, slice]]:
        """Every override that was placed, with its rows: one whose placing has no time was so from
        the first row, one that was not released to the last. One without either is planned."""
        return [(each, self.window(
            0 if each.placed is None else self.grid.row(each.placed),
            len(self) if each.released is None else self.grid.row(each.released) + 1))
            for each in self.overrides if each.placed or each.released]

    def overridden_in(self, rows: slice) -> list[Override]:
        """The overrides that were in place in any of these rows."""
        return [each for each, there in self.overridden
                if there.start < rows.stop and rows.start < there.stop]

    def stood_still(self, *needs: str) -> str:
        """Which sensors behind these needs stood still, and for how long, as the end of a
        sentence; empty where none did."""
        names = dict.fromkeys(name for need in needs for name in self.points_of(need))
        return "".join(
            f"; {points.point(name).meaning} stood still for "
            f"{self.frozen[name].sum() * self.minutes / 60.0:.0f} h and is unknown there"
            for name in names if name in self.frozen)

    @cached_property
    def doubts(self) -> dict[str, str]:
        """What the reading found wrong with a point and nobody has answered, by point."""
        said: dict[str, str] = {}
        for remark in self.grid.remarks:
            if remark.severity == "doubt" and remark.point:
                said.setdefault(remark.point, remark.text)
        return said

    def __len__(self) -> int:
        return len(self.grid)

    @cached_property
    def minutes(self) -> float:
        """Length of one row in minutes."""
        return self.grid.minutes

    def rows(self, minutes: float) -> int:
        """How many rows make up so many minutes, at least one."""
        return max(1, round(minutes / self.minutes))

    def time(self, row: float) -> datetime:
        """When a row begins, in the site's time."""
        return self.grid.time(row)

    def window(self, first: float, stop: float) -> slice:
        """The whole rows from ``first`` up to, but without, ``stop``, as far as the trends go."""
        return slice(min(max(math.ceil(first), 0), len(self)),
                     min(max(math.floor(stop), 0), len(self)))

    def within(self, stretches: Iterable[slice]) -> np.ndarray:
        """Whether a row lies in any of these stretches."""
        flags = np.zeros(len(self), dtype=bool)
        for stretch in stretches:
            flags[stretch] = True
        return flags

    def has(self, *names: str) -> bool:
        """Whether these points are trended."""
        return self.grid.has(*names)

    @cached
    def sample_interval(self, *needs: str) -> float:
        """How far apart what these needs rest on was sampled [min], a row at the least.

        What happened in between is not seen, however fine the grid is that another file asks
        for. Counted in whole rows, for stamps that wander a little sample no more rarely.
        """
        names = (name for need in needs for name in self.points_of(need))
        rarest = max((self.grid.intervals.get(name, 0.0) for name in names), default=0.0)
        return self.rows(rarest) * self.minutes

    @property
    def timing_tolerance(self) -> float:
        """By how much a timer may miss its setting [min]: the controller counts between rows.

        Longer rows do not widen it, or they would pass what finer ones fail.
        """
        return self.limits["timing.tolerance"]

    # -- what a check needs ------------------------------------------------------------

    @cached_property
    def chiller_numbers(self) -> list[int]:
        """Every chiller the job states or the trends show."""
        stated = {chiller.number for chiller in self.plant.chillers}
        seen = {n for what in ("running", "power")
                for n in self.grid.numbers(f"chiller_{{n}}_{what}")}
        return sorted(stated | seen)

    @property
    def tower_numbers(self) -> list[int]:
        """Every tower cell the job states, or the trends show where it states none."""
        seen = {n for what in ("speed", "running")
                for n in self.grid.numbers(f"tower_{{n}}_fan_{what}")}
        return list(range(1, self.plant.tower_cells + 1)) or sorted(seen)

    @property
    def pump_numbers(self) -> list[int]:
        """Every pump that the job's equipment limit counts."""
        return list(range(1, self.plant.pumps + 1))

    def missing(self, *needs: str) -> list[str]:
        """The points that are missing for these needs, each once.

        A need is a point's name, a numbered family (``chiller_{n}_alarm`` means every one), or
        a quantity that can come from several points, as ``ways`` names them.
        """
        return list(dict.fromkeys(name for need in needs for name in self._missing(need)))

    @cached
    def _missing(self, need: str) -> list[str]:
        if need == "chillers":
            return [f"chiller_{n}_running" for n in self.chiller_numbers or [1]
                    if not self.is_known(n)]
        return [name for part in self.ways(need)
                for name in min((self.grid.missing(way) for way in part), key=bool)]

    def points_of(self, need: str) -> list[str]:
        """Every trended point that a need can be met from."""
        return [name for part in self.ways(need) for way in part for name in way
                if name in self.grid.columns]

    def in_use(self, need: str) -> list[str]:
        """The trended points that a need is met from on this job."""
        if need == "wet_bulb":
            trended = self.wet_bulb_point == "outdoor_wet_bulb"
            return ["outdoor_wet_bulb"] if trended else ["outdoor_dry_bulb", "outdoor_humidity"]
        if need == "power" and self.has("plant_power"):
            return ["plant_power"]
        names = self.points_of(need)
        if need == "chiller_leaving_water" and self.has(*self.of_chillers("chw_leaving_temp")):
            names.remove("chw_supply_temp")
        return names

    def ways(self, need: str) -> Sequence[Ways]:
        """What a need is met from: each of its parts, in one of the part's ways; where none of
        them is whole the first is what is missing, and an empty one is always whole."""
        of = self.of_chillers
        if need in ALTERNATIVES:
            return [ALTERNATIVES[need]]
        if need == "chillers":
            return [[(name,) for name in self.signals_of(n)] for n in self.chiller_numbers]
        if need == "chiller_lift":
            return [list(self.lift_points(n).values()) for n in self.chiller_numbers or [1]]
        if need == "power":
            return [[(*of("power"), *POWER_PARTS), ("plant_power",)]]
        if need == "demand":
            return [[("service_power",)]] if self.has("service_power") else self.ways("power")
        if need == "reset_driver":
            return self.ways(self.reset_driver)
        if need == "chiller_leaving_water":
            return [[("chw_supply_temp",), of("chw_leaving_temp")]]
        return self._where_trended(need)

    def _where_trended(self, need: str) -> Sequence[Ways]:
        """The ways of what counts only where it is trended, or where the plan states it; any other
        need is a point or a family."""
        cold, of = self.plant.cold, self.of_chillers
        if need == "evaporator_pressures":
            return [[(), of("evaporator_pressure")]]
        if need == "chiller_entering_water":
            return [[(), (*of("cw_entering_temp"), "cw_supply_temp")]]
        if need == "chiller_flows":
            return [[(), *((*of(f"{side}_flow"), f"{side}_flow", f"hx_{side}_flow")
                           for side in ("chw", "cw"))]]
        if need == "each_sump":
            return [[(), *((name,) for name in self._family("sump_{n}_temp"))]]
        if need == "each_exchanger":
            return [[(), *(tuple(f"hx_{n}_{what}" for what in OWN_EXCHANGER)
                           for n in range(1, self.plant.exchangers + 1))]]
        if need == "towers_bypass":
            return [[(), ("tower_bypass_valve",)]]
        if need == "basin_heating":
            stated = cold.basin_heater is not None
            return [[("basin_temp", "basin_heater_running")]] if stated else []
        if need == "humid_space":
            stated = cold.space_humidity is not None or self.has("space_humidity")
            return [[("space_humidity",)]] if stated else []
        if need == "reset_valves":
            stated = self.reset_driver in BY_VALVES
            return [[self._family("ahu_{n}_cooling_valve")]] if stated else []
        if need == "chiller_draw":
            return [[(self.draw(n)[0],)] for n in self.chiller_numbers
                    if (chiller := self.plant.chiller(n)).loading_rate or chiller.current_limit]
        return [[self._family(need)]]

    def of_chillers(self, what: str) -> tuple[str, ...]:
        """This point of every chiller."""
        return tuple(f"chiller_{n}_{what}" for n in self.chiller_numbers)

    def _family(self, need: str) -> tuple[str, ...]:
        """The point, or those of a numbered family; every plant has a first chiller and tower
        cell, though no pump that its equipment limit counts."""
        if "{n}" not in need:
            return (need,)
        numbers = {
            "pump": self.pump_numbers, "ahu": list(range(1, self.plant.air_handlers + 1)),
            "tower": self.tower_numbers or [1], "sump": list(range(1, self.plant.sumps + 1)),
            "hx": list(range(1, self.plant.exchangers + 1)),
        }.get(need.partition("_")[0], self.chiller_numbers or [1])
        return tuple(need.format(n=n) for n in numbers)

    def signals_of(self, n: int) -> list[str]:
        """The points that show whether chiller ``n`` runs."""
        return [f"chiller_{n}_{what}" for what in ("running", "power", "amps")]

    @cached
    def is_known(self, n: int) -> bool:
        """Whether it is known when chiller ``n`` runs."""
        return bool(signals(self._readings, n))

    def draw(self, n: int) -> tuple[str, float | None]:
        """The point that shows how much chiller ``n`` draws, and its rated value where the plan
        states it: its current, or its power where that is trended or rated alone."""
        chiller = self.plant.chiller(n)
        ways = [(f"chiller_{n}_amps", chiller.rated_amps),
                (f"chiller_{n}_power", chiller.rated_power)]
        rated = [way for way in ways if way[1]] or ways
        return next((way for way in rated if self.has(way[0])), rated[0])

    @property
    def wet_bulb_point(self) -> str:
        """The sensor whose error the wet bulb carries."""
        trended = self.wet_bulb_source != "calculated" and self.has("outdoor_wet_bulb")
        return "outdoor_wet_bulb" if trended else "outdoor_humidity"

    @property
    def reset_driver(self) -> str:
        """What drives the setpoint's reset, as specified: a point, or ``load`` where the plant's
        own meter is not trended."""
        name = DRIVERS[self.sequence.reset.driver]
        return "plant_load" if name == "load" and self.has("plant_load") else name

    def water_lift_points(self, n: int) -> tuple[str, str]:
        """The two points that the water lift of chiller ``n`` is the difference of."""
        own = f"chiller_{n}_chw_leaving_temp"
        return f"chiller_{n}_cw_leaving_temp", own if self.has(own) else "chw_supply_temp"

    def lift_points(self, n: int) -> dict[str, tuple[str, str]]:
        """The two points, condenser side first, behind each kind of lift that the manufacturer
        states for chiller ``n``; the water lift where none is stated.

        Where the saturation lift is stated and its pressures are not trended, the water lift
        stands for it: it is smaller by both approaches of the chiller.
        """
        chiller, water_points = self.plant.chiller(n), self.water_lift_points(n)
        pressures = (f"chiller_{n}_condenser_pressure", f"chiller_{n}_evaporator_pressure")
        stated = {
            "water": (chiller.minimum_water_lift, water_points),
            "saturation": (chiller.minimum_saturation_lift,
                           pressures if self.has(*pressures) else water_points),
            "pressure": (chiller.minimum_pressure_lift, pressures)}
        return {kind: found for kind, (least, found) in stated.items() if least is not None} or {
            "water": water_points}

    def logged_on_change(self, name: str) -> bool:
        """Whether the file logs a point when it changes, and not at an interval."""
        return self.grid.intervals.get(name) == 0.0

    @cached
    def sensor(self, name: str) -> Sensor:
        """Errors of the sensor behind a point; the step in which its trend shows a temperature, or
        how far it may be from a value logged on change, is read off the trend where the job states
        none."""
        stated, entry = self.sensors[name], points.point(name)
        if stated.resolution or entry.unit != "degF" or not self.has(name):
            return stated
        if self.logged_on_change(name) and entry.kind != points.SETPOINT:
            # What is shown stands until the reading has left it, either way.
            step = 2.0 * increment(self[name])
        else:
            # A setpoint takes few values by control; only many of them tell how it is shown.
            step = shown_step(self[name], fewest=8 if entry.kind == points.SETPOINT else 4)
        return replace(stated, resolution=0.0 if np.isnan(step) else step)
