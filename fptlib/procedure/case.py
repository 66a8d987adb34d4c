"""A case: everything one functional test rests on, and the quantities worked out from it.

Steps read a case and change nothing. Series are on the trends' own grid; a gap in a
point is a gap in what is worked out from it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np
import pandas as pd

from fptlib import points
from fptlib.job.schema import Approach, Instrument, Mark, Plant, Reading, Sensor, Sensors
from fptlib.limits import Limits
from fptlib.physics import atmosphere, moist_air, water
from fptlib.procedure import episodes, status
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.needs import POWER_PARTS, lacking, points_of
from fptlib.trends.grid import Grid, shown_step

_Found = TypeVar("_Found")
_Given = ParamSpec("_Given")


def once(work_out: Callable[Concatenate[Case, _Given], _Found]
         ) -> Callable[Concatenate[Case, _Given], _Found]:
    """Let what depends on a case, and a number or two, be worked out once: many events ask."""
    name = f"{work_out.__module__}.{work_out.__qualname__}"

    @wraps(work_out)
    def kept(case: Case, *given: _Given.args, **named: _Given.kwargs) -> _Found:
        key = (name, *given, *named.items())
        if key not in case.kept:
            case.kept[key] = work_out(case, *given, **named)
        return case.kept[key]

    return kept


@dataclass(frozen=True)
class Case:
    """One job's trends, plant, limits and field readings, ready to be judged.

    ``condition`` is ``natural``, ``simulated`` or ``forced``; ``wet_bulb_source`` is
    ``trended`` or ``calculated``; ``weather`` is a typical year, hourly, where the job
    has one.
    """

    trends: Grid
    plant: Plant
    limits: Limits = field(default_factory=Limits)
    sensors: Sensors = field(default_factory=Sensors)
    readings: Sequence[Reading] = ()
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    marks: Sequence[Mark] = ()
    condition: str = "natural"
    wet_bulb_source: str = "trended"
    weather: pd.DataFrame | None = None
    kept: dict[Any, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    # -- what there is ---------------------------------------------------------------

    @property
    def frame(self) -> pd.DataFrame:
        return self.trends.frame

    @property
    def minutes(self) -> float:
        """Length of one row in minutes."""
        return self.trends.minutes

    def seen_every(self, *needs: str) -> float:
        """How far apart what these needs rest on was sampled [min], a row at the least.

        What happened in between is not seen, however fine the grid is that another file asks
        for. Counted in whole rows, for stamps that wander a little sample no more rarely.
        """
        names = (name for need in needs for name in points_of(self, need))
        rarest = max((self.trends.intervals.get(name, 0.0) for name in names), default=0.0)
        return self.rows(rarest) * self.minutes

    def rows(self, minutes: float) -> int:
        """How many rows make up so many minutes, at least one."""
        return max(1, round(minutes / self.minutes))

    def values(self, series: str | pd.Series, rows: slice) -> np.ndarray:
        """A point, or a series on the trends' grid, from one moment to another, both included.

        On a uniform grid the rows can be counted: many times quicker than a look-up, and a
        year has hundreds of events.
        """
        whole = self._columns[series] if isinstance(series, str) else series.to_numpy()
        return whole[self._counted(rows)]

    def value(self, series: str | pd.Series, moment: pd.Timestamp) -> float:
        """The value in the row of a moment; NaN outside the trends."""
        found = self.values(series, slice(moment, moment))
        return float(found[0]) if len(found) else np.nan

    def times(self, rows: slice) -> pd.DatetimeIndex:
        """When the rows of ``values`` begin."""
        return self.frame.index[self._counted(rows)]

    @property
    def end(self) -> pd.Timestamp:
        """When the last row ends."""
        return self.frame.index[-1] + self.trends.step

    def within(self, stretches: Iterable[slice]) -> pd.Series:
        """Whether a row lies in any of these stretches, each from one moment to another."""
        flags = np.zeros(len(self.frame), dtype=bool)
        for stretch in stretches:
            flags[self._counted(stretch)] = True
        return pd.Series(flags, index=self.frame.index)

    def _counted(self, rows: slice) -> slice:
        begin, step = self._begin, self._step
        first = -((begin - rows.start.value) // step)
        last = (rows.stop.value - begin) // step
        return slice(max(first, 0), max(last + 1, 0))

    @cached_property
    def _columns(self) -> dict[str, np.ndarray]:
        return {str(name): self.frame[name].to_numpy() for name in self.frame.columns}

    @cached_property
    def _begin(self) -> int:
        """When the first row begins [ns]."""
        return self.frame.index[0].value

    @cached_property
    def _step(self) -> int:
        """Length of one row [ns]."""
        return pd.Timedelta(self.trends.step).value

    def has(self, *names: str) -> bool:
        """Whether these points are trended."""
        return self.trends.has(*names)

    @cached_property
    def chiller_numbers(self) -> list[int]:
        """Every chiller the job states or the trends show."""
        stated = {chiller.number for chiller in self.plant.chillers}
        seen = set(self.trends.numbers("chiller_{n}_running"))
        return sorted(stated | seen | set(self.trends.numbers("chiller_{n}_power")))

    @property
    def tower_numbers(self) -> list[int]:
        """Every tower cell the job states."""
        return list(range(1, self.plant.tower_cells + 1))

    @property
    def pump_numbers(self) -> list[int]:
        """Every pump that the job's equipment limit counts."""
        return list(range(1, self.plant.pumps + 1))

    def lacking(self, needs: Iterable[str]) -> list[str]:
        """The points that are missing for these needs, each once (see ``needs``)."""
        return list(dict.fromkeys(name for need in needs for name in lacking(self, need)))

    # -- status and episodes ---------------------------------------------------------

    @cached_property
    def commanded(self) -> pd.Series:
        """Economizer operation commanded, or the exchanger's status where that is all."""
        name = "economizer_command" if self.has("economizer_command") else "economizer_active"
        return status.held(self.frame[name], self.minutes)

    @cached_property
    def _running_by_number(self) -> dict[int, pd.Series]:
        series = {n: status.running(self.frame, n) for n in self.chiller_numbers}
        return {n: status.held(values, self.minutes)
                for n, values in series.items() if values is not None}

    def is_known(self, n: int) -> bool:
        """Whether it is known when chiller ``n`` runs."""
        return n in self._running_by_number

    def running(self, n: int) -> pd.Series:
        """1.0 where chiller ``n`` runs, 0.0 where it stands, NaN where unknown."""
        return self._running_by_number[n]

    @cached_property
    def chillers_on(self) -> pd.Series:
        """1.0 where any chiller runs, 0.0 where all stand, NaN where unknown."""
        return status.any_running(pd.DataFrame(self._running_by_number))

    @cached_property
    def changeovers(self) -> list[Changeover]:
        """Every changeover, by the rule of ``episodes``; empty where status is missing."""
        if self.lacking(["request", "chillers"]):
            return []
        return episodes.changeovers(self.commanded, self.chillers_on)

    @property
    def requests(self) -> list[Changeover]:
        """Changeovers whose request was seen."""
        return [c for c in self.changeovers if c.request is not None]

    @property
    def handovers(self) -> list[Changeover]:
        """Changeovers whose handover was seen."""
        return [c for c in self.changeovers if c.handover is not None]

    @property
    def exits(self) -> list[Changeover]:
        """Changeovers whose exit was seen."""
        return [c for c in self.changeovers if c.exit is not None]

    def recovered(self, changeover: Changeover) -> pd.Timestamp | None:
        """When the active setpoint was back at the reset setpoint."""
        return self._recoveries.get(changeover.number)

    @cached_property
    def _recoveries(self) -> dict[int, pd.Timestamp | None]:
        if self.lacking(["chw_supply_setpoint", "reset_setpoint"]):
            return {}
        active, reset = self.frame["chw_supply_setpoint"], self.reset_setpoint
        return {c.number: episodes.recovered(c, active, reset) for c in self.changeovers}

    @cached_property
    def chiller_mode(self) -> pd.Series:
        """Whether chillers carry the plant: one runs, and no economizer operation."""
        if self.lacking(["request"]):
            return self.chillers_on == 1.0
        return (self.chillers_on == 1.0) & (self.commanded == 0.0)

    @cached_property
    def changing(self) -> pd.Series:
        """Whether a row lies between a request and the end of its recovery.

        Behind a gap a pull-down has no request any more, but a chiller that runs under the
        command, or may do so.
        """
        if self.lacking(["request", "chillers"]):
            return self.within(())
        seen = self.within(slice(c.request, self.recovered(c) or c.ended) for c in self.requests)
        return seen | ((self.chillers_on == 1.0) & (self.commanded != 0.0))

    def settled_run(self, changeover: Changeover) -> slice:
        """The rows of a run in which the setpoint is back at the reset setpoint."""
        start = self.recovered(changeover) or changeover.handover
        return slice(start, changeover.ended)

    def cut_off(self, changeover: Changeover) -> str:
        """Why it is not known how a run went on; empty where it ended, or the trends did."""
        seen = changeover.complete or changeover.ended >= self.frame.index[-1]
        return "" if seen else "a gap hides how the run went on"

    # -- derived quantities ----------------------------------------------------------

    @cached_property
    def pressure(self) -> Any:
        """Station pressure [psia]: trended, or from the altitude."""
        if self.has("station_pressure"):
            standard = atmosphere.pressure_at(self.plant.altitude)
            return self.frame["station_pressure"].fillna(standard)
        return atmosphere.pressure_at(self.plant.altitude)

    @cached_property
    def calculated_wet_bulb(self) -> pd.Series:
        """Wet bulb [degF] from dry bulb, humidity and station pressure."""
        return moist_air.wet_bulb(
            self.frame["outdoor_dry_bulb"], self.frame["outdoor_humidity"], self.pressure
        )

    @cached_property
    def wet_bulb(self) -> pd.Series:
        """The wet bulb [degF] the checks use: the trended one unless the job says otherwise."""
        trended = self.has("outdoor_wet_bulb")
        if self.wet_bulb_source == "calculated" or not trended:
            return self.calculated_wet_bulb
        return self.frame["outdoor_wet_bulb"]

    @property
    def wet_bulb_point(self) -> str:
        """The sensor whose error the wet bulb carries."""
        trended = self.wet_bulb_source != "calculated" and self.has("outdoor_wet_bulb")
        return "outdoor_wet_bulb" if trended else "outdoor_humidity"

    @cached_property
    def reset_setpoint(self) -> pd.Series:
        """What the reset asks for [degF].

        The trended reset setpoint; without it the active setpoint, held at its value
        before the request while a changeover may have replaced it (common practice, no
        source: a reset moves little within an hour).
        """
        if self.has("chw_reset_setpoint"):
            return self.frame["chw_reset_setpoint"]
        active = self.frame["chw_supply_setpoint"].to_numpy(copy=True)
        for c in self.requests:
            self._hold_before(active, c)
        return pd.Series(active, index=self.frame.index)

    def _hold_before(self, active: np.ndarray, changeover: Changeover) -> None:
        rows = self._counted(slice(changeover.request, changeover.ended))
        held = active[rows.start - 1] if rows.start else np.nan
        after = self._counted(slice(changeover.pull_down_end, changeover.ended)).start + 1
        back = np.flatnonzero(active[after : rows.stop] >= held - episodes.BACK_WITHIN)
        stop = after + int(back[0]) + 1 if len(back) else rows.stop
        active[rows.start : stop] = held

    @cached_property
    def load(self) -> pd.Series:
        """Cooling load of the plant [tons], from flow and temperatures."""
        return water.load(
            self.frame["chw_flow"], self.frame["chw_return_temp"], self.frame["chw_supply_temp"]
        )

    @cached_property
    def power(self) -> pd.Series:
        """Power of the plant [kW]; the sum of its parts where the whole is not trended.

        The parts are all chillers, tower fans, chilled-water and condenser-water pumps:
        the same boundary before and after a changeover.
        """
        if self.has("plant_power"):
            return self.frame["plant_power"]
        chillers = [f"chiller_{n}_power" for n in self.chiller_numbers]
        return self.frame[[*chillers, *POWER_PARTS]].sum(axis=1, skipna=False)

    @cached_property
    def kw_per_ton(self) -> pd.Series:
        """Plant power over plant load [kW/ton]; a gap where there is hardly any load."""
        enough = self.load > 0.02 * self.load.quantile(0.95)
        return (self.power / self.load).where(enough)

    @once
    def water_lift(self, n: int) -> pd.Series:
        """Water lift of chiller ``n`` [degF] while it runs: leaving condenser water minus
        leaving chilled water (the plant's supply where the chiller's own is not trended)."""
        own = f"chiller_{n}_chw_leaving_temp"
        leaving = self.frame[own if self.has(own) else "chw_supply_temp"]
        lift = self.frame[f"chiller_{n}_cw_leaving_temp"] - leaving
        return lift.where(self.running(n) == 1.0)

    @cached_property
    def floor(self) -> float:
        """Lowest setpoint and supply allowed [degF]: the limit, or cut-out plus its distance."""
        cutouts = [c.cutout for c in self.plant.chillers if c.cutout is not None]
        above = [cutout + self.limits["lift.above_cutout"] for cutout in cutouts]
        return max([self.limits["lift.floor"], *above])

    @cached_property
    def tower_approach(self) -> Approach | None:
        """Tower approach [degF]: as the job states it, else as observed in the trends."""
        from fptlib.procedure import approaches

        return self.plant.tower_approach or approaches.tower(self)

    @cached_property
    def exchanger_approach(self) -> Approach | None:
        """Exchanger approach [degF]: as the job states it, else as observed in the trends."""
        from fptlib.procedure import approaches

        return self.plant.exchanger_approach or approaches.exchanger(self)

    @cached_property
    def needed_setpoint(self) -> pd.Series:
        """The lowest reset setpoint at which the enable condition holds [degF].

        Wet bulb + tower approach + tolerance + exchanger approach + tolerance.
        """
        assert self.tower_approach is not None and self.exchanger_approach is not None
        adders = (
            self.tower_approach.value + self.limits["enable.tower_tolerance"]
            + self.exchanger_approach.value + self.limits["enable.exchanger_tolerance"]
        )
        return self.wet_bulb + adders

    @cached_property
    def enable_margin(self) -> pd.Series:
        """Reset setpoint minus the needed one [degF]; the condition holds from zero up.

        Rounded, or the sums of tenths would part what is equal by a last binary digit.
        """
        return (self.reset_setpoint - self.needed_setpoint).round(6)

    @cached_property
    def waiting_for(self) -> str:
        """The weather to wait for, where it never allowed economizer operation; else empty."""
        needs = ["wet_bulb", "reset_setpoint", "request", "chillers"]
        if self.changeovers or self.lacking(needs):
            return ""
        if self.tower_approach is None or self.exchanger_approach is None:
            return ""
        if not self.enable_margin.notna().any() or (self.enable_margin >= 0.0).any():
            return ""
        needed = self.wet_bulb.min() + self.enable_margin.max()
        return ("it was never cold enough for economizer operation; repeat the test when the "
                f"wet bulb is at or below {needed:.0f} °F")

    @once
    def sensor(self, name: str) -> Sensor:
        """Errors of the sensor behind a point; the step in which its trend shows a temperature is
        read off the trend where the job states none."""
        stated = self.sensors[name]
        shown = not stated.resolution and points.point(name).unit == "degF" and self.has(name)
        return replace(stated, resolution=self._step_shown(name)) if shown else stated

    def _step_shown(self, name: str) -> float:
        # A setpoint takes few values by control; only many of them tell how it is shown.
        fewest = 8 if points.point(name).kind == points.SETPOINT else 4
        step = shown_step(self.frame[name].to_numpy(), fewest)
        return 0.0 if np.isnan(step) else step
