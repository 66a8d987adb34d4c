"""A functional test: everything one rests on, and the quantities calculated from it.

Checks read it and change nothing. Quantities are arrays on the trends' grid; a gap in a
point is a gap in what is calculated from it.
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
from fptlib.physics import atmosphere, moist_air, water
from fptlib.procedure import changeovers as finding
from fptlib.procedure.changeovers import Changeover, Exit, Request, Run
from fptlib.procedure.flags import stretches
from fptlib.procedure.frozen import frozen_rows
from fptlib.procedure.reset_setpoint import BACK_WITHIN, STALE_MINUTES, estimated
from fptlib.procedure.status import (
    any_running,
    debounce,
    flowing,
    running_by_signals,
    signals,
)
from fptlib.trends.grid import Grid, shown_step

_Found = TypeVar("_Found")
_Given = ParamSpec("_Given")

# Where no point has a value for so long, the trends are of other days (common practice, no source).
UNRECORDED_MINUTES = 1440.0
# The drivers by which a valve can hold a reset down: its own position, or the pressure it draws on.
BY_VALVES = ("chw_valve_position", "chw_diff_pressure")
POWER_PARTS = ("tower_fan_power", "chw_pump_power", "cw_pump_power")

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


def cached(calculate: Callable[Concatenate[FunctionalTest, _Given], _Found]
           ) -> Callable[Concatenate[FunctionalTest, _Given], _Found]:
    """Calculate what depends on a test, and a number or two, only once: many events ask."""
    name = f"{calculate.__module__}.{calculate.__qualname__}"

    def kept(test: FunctionalTest, /, *given: _Given.args, **named: _Given.kwargs) -> _Found:
        key = (name, *given, *named.items())
        if key not in test.kept:
            test.kept[key] = calculate(test, *given, **named)
        found: _Found = test.kept[key]
        return found

    return wraps(calculate)(kept)


@dataclass(frozen=True)
class FunctionalTest:
    """One job's trends, plant, limits and field readings, ready to be judged.

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
        was overridden."""
        return self._columns[point] if point in self._columns else self.grid.columns[point]

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

    def natural(self, changeover: Changeover) -> str:
        """What a changeover was: ``natural``, ``induced`` (a setpoint, a command or equipment was
        overridden), or ``overridden`` (a sensor was; its reading is unknown there)."""
        kinds = {each.sensor is None for each in self.overridden_in(
            slice(changeover.first, changeover.last + 1))}
        return "induced" if True in kinds else "overridden" if kinds else "natural"

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

    @property
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
        """Every tower cell the job states."""
        return list(range(1, self.plant.tower_cells + 1))

    @property
    def pump_numbers(self) -> list[int]:
        """Every pump that the job's equipment limit counts."""
        return list(range(1, self.plant.pumps + 1))

    def missing(self, *needs: str) -> list[str]:
        """The points that are missing for these needs, each once.

        A need is a point's name, a numbered family (``chiller_{n}_alarm`` means every one), or
        a quantity that can come from several points: those of ``ALTERNATIVES``, ``chillers``,
        ``power``, ``demand``, ``chiller_leaving_water``, ``chiller_lift``,
        ``reset_driver``; ``evaporator_pressures``, ``chiller_flows`` and
        ``chiller_entering_water`` count where they are trended, ``basin_heating``,
        ``humid_space`` and ``reset_valves`` where the plan states them.
        """
        return list(dict.fromkeys(name for need in needs for name in self._missing(need)))

    def _missing(self, need: str) -> list[str]:
        if need in ALTERNATIVES:
            lacks = [self.grid.missing(names) for names in ALTERNATIVES[need]]
            return min(lacks, key=bool)
        if need == "chillers":
            unknown = [n for n in self.chiller_numbers if not self.is_known(n)]
            return [f"chiller_{n}_running" for n in unknown or (
                [] if self.chiller_numbers else [1])]
        if need == "power":
            return [] if self.has("plant_power") else self.grid.missing(
                [*self._of_chillers("power"), *POWER_PARTS])
        if need == "demand":
            return [] if self.has("service_power") else self._missing("power")
        if need == "chiller_leaving_water":
            own = self.grid.missing(self._of_chillers("chw_leaving_temp"))
            return self.grid.missing(["chw_supply_temp"]) if own else []
        if need in self._if_stated:
            return self.grid.missing(self._if_stated[need])
        if need in ("evaporator_pressures", "chiller_flows", "chiller_entering_water"):
            return []
        if need == "reset_driver":
            return self._missing(self.reset_driver)
        if need == "chiller_lift":
            return [name for n in self.chiller_numbers or [1] for name in min(
                (self.grid.missing(way) for way in self.lift_points(n).values()), key=bool)]
        return self.grid.missing(self._family(need))

    def points_of(self, need: str) -> list[str]:
        """Every trended point that a need can be met from."""
        if need == "chillers":
            names = [name for n in self.chiller_numbers for name in self.signals_of(n)]
        elif need == "power":
            names = ["plant_power", *self._of_chillers("power"), *POWER_PARTS]
        elif need == "demand":
            names = ["service_power"] if self.has("service_power") else self.points_of("power")
        elif need == "chiller_leaving_water":
            names = [*self._of_chillers("chw_leaving_temp"), "chw_supply_temp"]
        elif need == "evaporator_pressures":
            names = self._of_chillers("evaporator_pressure")
        elif need in self._if_stated:
            names = list(self._if_stated[need])
        elif need == "chiller_flows":
            names = [name for side in ("chw", "cw") for name in (
                *self._of_chillers(f"{side}_flow"), f"{side}_flow", f"hx_{side}_flow")]
        elif need == "chiller_entering_water":
            names = [*self._of_chillers("cw_entering_temp"), "cw_supply_temp"]
        elif need == "reset_driver":
            names = self.points_of(self.reset_driver)
        elif need == "chiller_lift":
            names = [name for n in self.chiller_numbers
                     for way in self.lift_points(n).values() for name in way]
        elif need in ALTERNATIVES:
            names = [name for way in ALTERNATIVES[need] for name in way]
        else:
            names = self._family(need)
        return [name for name in names if name in self.grid.columns]

    def in_use(self, need: str) -> list[str]:
        """The trended points that a need is met from on this job."""
        if need == "wet_bulb":
            trended = self.wet_bulb_point == "outdoor_wet_bulb"
            return ["outdoor_wet_bulb"] if trended else ["outdoor_dry_bulb", "outdoor_humidity"]
        if need == "power" and self.has("plant_power"):
            return ["plant_power"]
        names = self.points_of(need)
        if need == "chiller_leaving_water" and self.has(*self._of_chillers("chw_leaving_temp")):
            names.remove("chw_supply_temp")
        return names

    @cached_property
    def _if_stated(self) -> dict[str, tuple[str, ...]]:
        """What is needed only where the plan states what it belongs to: equipment, limit, reset."""
        cold = self.plant.cold
        return {
            "basin_heating": ("basin_temp", "basin_heater_running")
            if cold.basin_heater is not None else (),
            "humid_space": ("space_humidity",) if cold.space_humidity is not None
            or self.has("space_humidity") else (),
            "reset_valves": tuple(self._family("ahu_{n}_cooling_valve"))
            if self.reset_driver in BY_VALVES else ()}

    def signals_of(self, n: int) -> list[str]:
        """The points that show whether chiller ``n`` runs."""
        return [f"chiller_{n}_{what}" for what in ("running", "power", "amps")]

    def _of_chillers(self, what: str) -> list[str]:
        return [f"chiller_{n}_{what}" for n in self.chiller_numbers]

    def _family(self, need: str) -> list[str]:
        """The point, or those of a numbered family; every plant has a first chiller and tower
        cell, though no pump that its equipment limit counts."""
        if "{n}" not in need:
            return [need]
        if need.startswith("pump"):
            return [need.format(n=n) for n in self.pump_numbers]
        if need.startswith("ahu"):
            return [need.format(n=n) for n in range(1, self.plant.air_handlers + 1)]
        numbers = self.tower_numbers if need.startswith("tower") else self.chiller_numbers
        return [need.format(n=n) for n in numbers or [1]]

    @cached
    def sensor(self, name: str) -> Sensor:
        """Errors of the sensor behind a point; the step in which its trend shows a temperature is
        read off the trend where the job states none."""
        stated, entry = self.sensors[name], points.point(name)
        if stated.resolution or entry.unit != "degF" or not self.has(name):
            return stated
        # A setpoint takes few values by control; only many of them tell how it is shown.
        step = shown_step(self[name], fewest=8 if entry.kind == points.SETPOINT else 4)
        return replace(stated, resolution=0.0 if np.isnan(step) else step)

    # -- status and changeovers ----------------------------------------------------------

    @cached_property
    def commanded(self) -> np.ndarray:
        """Economizer operation commanded (1.0, 0.0, NaN), or the exchanger's status where that
        is all."""
        name = "economizer_command" if self.has("economizer_command") else "economizer_active"
        others = [*self._exchanger_signs, *(sign for n in self.chiller_numbers
                                            for sign in signals(self._readings, n))]
        values, self.flickers[name] = debounce(self[name], self.minutes, others)
        return values

    @cached_property
    def _running_by_number(self) -> dict[int, np.ndarray]:
        found = {}
        for n in self.chiller_numbers:
            if (status := running_by_signals(self._readings, n)) is not None:
                others = signals(self._readings, n)[1:]
                found[n], self.flickers[f"chiller_{n}_running"] = debounce(
                    status, self.minutes, others)
        return found

    @cached_property
    def _exchanger_signs(self) -> list[np.ndarray]:
        """What tells whether the exchanger carries load (1.0, 0.0, NaN)."""
        flows = [flowing(self[name]) for name in ("hx_chw_flow", "hx_cw_flow", "hx_valve")
                 if self.has(name)]
        return [*([self["economizer_active"]] if self.has("economizer_active") else []), *flows]

    @cached_property
    def exchanger_on(self) -> np.ndarray:
        """Whether any sign of the exchanger that is trended says that it carries load."""
        return np.any([sign == 1.0 for sign in self._exchanger_signs], axis=0) if (
            self._exchanger_signs) else np.zeros(len(self), dtype=bool)

    @cached_property
    def exchanger_off(self) -> np.ndarray:
        """Whether every sign of the exchanger that is trended says that it carries nothing."""
        if not self._exchanger_signs:
            return np.zeros(len(self), dtype=bool)
        return np.asarray(np.max(self._exchanger_signs, axis=0) == 0.0)

    def is_known(self, n: int) -> bool:
        """Whether it is known when chiller ``n`` runs."""
        return n in self._running_by_number

    def running(self, n: int) -> np.ndarray:
        """1.0 where chiller ``n`` runs, 0.0 where it is off, NaN where unknown."""
        return self._running_by_number[n]

    @cached_property
    def chillers_on(self) -> np.ndarray:
        """1.0 where any chiller runs, 0.0 where all are off, NaN where unknown."""
        return any_running(list(self._running_by_number.values()))

    @cached_property
    def changeovers(self) -> list[Changeover]:
        """Every changeover, by the rule of ``changeovers``; empty where status is missing."""
        if self.missing("request", "chillers"):
            return []
        return finding.changeovers(self.commanded, self.chillers_on, self.minutes,
                                   self.exchanger_off)

    @cached_property
    def requests(self) -> list[Request]:
        """The economizer enables that were seen."""
        return [c.request for c in self.changeovers if c.request is not None]

    @cached_property
    def runs(self) -> list[Run]:
        """The runs whose transition was seen."""
        return [c.run for c in self.changeovers if c.run is not None]

    @cached_property
    def exits(self) -> list[Exit]:
        """The exits of those runs."""
        return [c.exit for c in self.changeovers if c.exit is not None]

    @cached
    def recovered(self, run: Run) -> int | None:
        """The first row of a run in which the active setpoint is back within a quarter of a
        degree of the reset setpoint."""
        if self.missing("chw_supply_setpoint", "reset_setpoint"):
            return None
        active, reset = self["chw_supply_setpoint"][run.rows], self.reset_setpoint[run.rows]
        back = active >= reset - BACK_WITHIN
        return run.first + int(back.argmax()) if back.any() else None

    def settled(self, run: Run) -> slice:
        """The rows of a run in which the setpoint is back at the reset setpoint."""
        start = self.recovered(run)
        return slice(run.first if start is None else start, run.last + 1)

    def cut_off(self, run: Run) -> str:
        """Why it is not known how a run went on; empty where it ended, or the trends did."""
        seen = run.complete or run.last >= len(self) - 1
        return "" if seen else "a gap hides how the run went on"

    @cached_property
    def chiller_mode(self) -> np.ndarray:
        """Whether chillers carry the plant: one runs, and no economizer operation."""
        if self.missing("request"):
            return self.chillers_on == 1.0
        return (self.chillers_on == 1.0) & (self.commanded == 0.0)

    @cached_property
    def changing(self) -> np.ndarray:
        """Whether a row lies between an enable and the end of its recovery.

        Behind a gap a pull-down has no enable any more, but a chiller that runs under the
        command, or may do so. Where the setpoint is not trended, a recovery is taken to last as
        long as it may.
        """
        if self.missing("request", "chillers"):
            return self.within(())
        unseen = self.missing("chw_supply_setpoint", "reset_setpoint")

        def end(c: Changeover) -> int:
            if c.run is None:
                return c.last
            if unseen:
                return min(c.run.first + self.rows(self.limits["recovery.longest"]), c.last)
            return c.last if (back := self.recovered(c.run)) is None else back

        seen = self.within(slice(c.enabled, end(c) + 1)
                           for c in self.changeovers if c.enabled is not None)
        return seen | ((self.chillers_on == 1.0) & (self.commanded != 0.0))

    # -- calculated quantities -----------------------------------------------------------

    @cached_property
    def pressure(self) -> np.ndarray | float:
        """Station pressure [psia]: trended, or from the altitude."""
        standard = float(atmosphere.pressure_at(self.plant.altitude))
        if not self.has("station_pressure"):
            return standard
        trended = self["station_pressure"]
        return np.where(np.isnan(trended), standard, trended)

    @cached_property
    def calculated_wet_bulb(self) -> np.ndarray:
        """Wet bulb [degF] from dry bulb, humidity and station pressure."""
        return np.asarray(moist_air.wet_bulb(
            self["outdoor_dry_bulb"], self["outdoor_humidity"], self.pressure))

    @property
    def wet_bulb_point(self) -> str:
        """The sensor whose error the wet bulb carries."""
        trended = self.wet_bulb_source != "calculated" and self.has("outdoor_wet_bulb")
        return "outdoor_wet_bulb" if trended else "outdoor_humidity"

    @cached_property
    def wet_bulb(self) -> np.ndarray:
        """The wet bulb [degF] the checks use: the trended one unless the job says otherwise."""
        trended = self.wet_bulb_point == "outdoor_wet_bulb"
        return self["outdoor_wet_bulb"] if trended else self.calculated_wet_bulb

    @cached_property
    def reset_setpoint(self) -> np.ndarray:
        """What the reset asks for [degF]: trended, else ``reset_setpoint.estimated``."""
        if self.has("chw_reset_setpoint"):
            return self["chw_reset_setpoint"]
        command = self.has("economizer_command")
        return estimated(self["chw_supply_setpoint"], self.changeovers, self.minutes,
                         None if command else self.limits["lift.pull_down"])

    @property
    def assumptions(self) -> dict[str, str]:
        """What stands for a need that is not trended, by need: no assumption in silence."""
        if self.has("chw_reset_setpoint"):
            return {}
        said = ("the reset setpoint is not trended: the active setpoint before the enable is taken "
                f"for it, for {STALE_MINUTES:.0f} min at the most")
        if not self.has("economizer_command"):
            said += (", and not where it had fallen before the economizer's status came on, for "
                     "the enable command is not trended either: it may be the temporary one")
        return {"reset_setpoint": said}

    @cached_property
    def load(self) -> np.ndarray:
        """Cooling load of the plant [tons], from flow and temperatures."""
        return np.asarray(water.load(
            self["chw_flow"], self["chw_return_temp"], self["chw_supply_temp"]))

    @cached_property
    def power(self) -> np.ndarray:
        """Power of the plant [kW]; the sum of its parts where the whole is not trended.

        The parts are all chillers, tower fans, chilled-water and condenser-water pumps:
        the same boundary before and after a changeover.
        """
        if self.has("plant_power"):
            return self["plant_power"]
        parts = [*self._of_chillers("power"), *POWER_PARTS]
        return np.sum([self[name] for name in parts], axis=0)

    @property
    def demand(self) -> np.ndarray:
        """Power that the utility bills [kW]: at the service meter, else that of the plant."""
        return self["service_power"] if self.has("service_power") else self.power

    @cached_property
    def kw_per_ton(self) -> np.ndarray:
        """Plant power over plant load [kW/ton]; a gap where there is hardly any load."""
        known = self.load[~np.isnan(self.load)]
        if not len(known):
            return np.full(len(self), np.nan)
        least = 0.02 * float(np.quantile(known, 0.95))
        enough = self.load > least
        return np.where(enough, self.power / np.where(enough, self.load, 1.0), np.nan)

    @cached
    def water_lift(self, n: int) -> np.ndarray:
        """Water lift of chiller ``n`` [degF] while it runs: leaving condenser water minus
        leaving chilled water (the plant's supply where the chiller's own is not trended)."""
        condenser, evaporator = self.water_lift_points(n)
        return np.where(self.running(n) == 1.0, self[condenser] - self[evaporator], np.nan)

    def water_lift_points(self, n: int) -> tuple[str, str]:
        """The two points that the water lift of chiller ``n`` is the difference of."""
        own = f"chiller_{n}_chw_leaving_temp"
        return f"chiller_{n}_cw_leaving_temp", own if self.has(own) else "chw_supply_temp"

    @property
    def reset_driver(self) -> str:
        """What drives the setpoint's reset, as specified: a point, or ``load`` where the plant's
        own meter is not trended."""
        name = DRIVERS[self.sequence.reset.driver]
        return "plant_load" if name == "load" and self.has("plant_load") else name

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

    @cached
    def since_start(self, n: int) -> np.ndarray:
        """How long ago chiller ``n`` was seen to start [min]; infinite before the first start."""
        started = np.diff(self.running(n), prepend=np.nan) == 1.0
        rows = np.arange(len(self), dtype=float)
        return (rows - np.maximum.accumulate(np.where(started, rows, -np.inf))) * self.minutes

    @cached_property
    def floor(self) -> float:
        """Lowest setpoint and supply allowed [degF]: the limit, or cutout plus its distance."""
        cutouts = [c.cutout for c in self.plant.chillers if c.cutout is not None]
        above = [cutout + self.limits["lift.above_cutout"] for cutout in cutouts]
        return max([self.limits["lift.floor"], *above])

    def light_load(self, rows: slice) -> str:
        """Why the load in these rows proves no capacity; empty where it does or is not known."""
        if self.missing("load") or not self.plant.exchanger.load:
            return ""
        known = self.load[rows][~np.isnan(self.load[rows])]
        least = self.limits["conditions.load_low"] / 100.0 * self.plant.exchanger.load
        if not len(known) or (tons := float(np.median(known))) >= least:
            return ""
        return f"the load was {tons:.0f} tons; repeat the test at {least:.0f} tons or more"
