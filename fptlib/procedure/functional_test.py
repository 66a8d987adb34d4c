"""A functional test: everything one rests on, and the quantities calculated from it.

Checks read it and change nothing. Quantities are arrays on the trends' grid; a gap in a
point is a gap in what is calculated from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fptlib.physics import atmosphere, moist_air, water
from fptlib.procedure import changeovers as finding
from fptlib.procedure.changeovers import Changeover, Exit, Request, Run
from fptlib.procedure.measures import median
from fptlib.procedure.reset_setpoint import BACK_WITHIN, STALE_MINUTES, estimated
from fptlib.procedure.status import (
    any_running,
    debounce,
    flowing,
    running_by_signals,
    signals,
)
from fptlib.procedure.trended import POWER_PARTS, Trended, cached

# What a check is written with.
__all__ = ["STEADY_MINUTES", "FunctionalTest", "cached"]
# So much of a run must be steady for it to be judged (common practice, no source).
STEADY_MINUTES = 60.0


@dataclass(frozen=True)
class FunctionalTest(Trended):
    """What a job has trended, ready to be judged: status, changeovers and quantities."""

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

    def natural(self, changeover: Changeover) -> str:
        """What a changeover was: ``natural``, ``induced`` (a setpoint, a command or equipment was
        overridden), or ``overridden`` (a sensor was; its reading is unknown there)."""
        kinds = {each.sensor is None for each in self.overridden_in(
            slice(changeover.first, changeover.last + 1))}
        return "induced" if True in kinds else "overridden" if kinds else "natural"

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

    def steady(self, run: Run) -> slice | None:
        """The rows of a run after recovery and the loop's turnovers, the delay before the exit left
        out; ``None`` where too little is left to be judged."""
        first, last = float(self.settled(run).start), float(run.last)
        flow = 0.0 if self.missing("chw_flow") else median(self["chw_flow"][run.rows])
        if self.plant.loop_volume and flow > 0.0:
            minutes = self.limits["conditions.turnovers"] * (self.plant.loop_volume / flow)
            first = max(first, run.first + round(float(minutes)) / self.minutes)
        if run.exit is not None:
            delay = self.limits["exit.delay"] + self.limits["exit.grace"]
            last = run.exit - delay / self.minutes - 1
        if (last - first) * self.minutes < STEADY_MINUTES:
            return None
        return self.window(round(first), last + 1)

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

    @cached_property
    def above_reset(self) -> np.ndarray:
        """Chilled-water supply above what the reset asks for [degF]."""
        return self["chw_supply_temp"] - self.reset_setpoint

    @cached_property
    def above_active(self) -> np.ndarray:
        """Chilled-water supply above the active setpoint [degF]."""
        return self["chw_supply_temp"] - self["chw_supply_setpoint"]

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
            self["chw_flow"], self["chw_return_temp"], self["chw_supply_temp"],
            *self.plant.fluid("chw")))

    @cached_property
    def power(self) -> np.ndarray:
        """Power of the plant [kW]; the sum of its parts where the whole is not trended.

        The parts are all chillers, tower fans, chilled-water and condenser-water pumps:
        the same boundary before and after a changeover.
        """
        if self.has("plant_power"):
            return self["plant_power"]
        parts = [*self.of_chillers("power"), *POWER_PARTS]
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
        return max([self.plant.above_freezing(self.limits["lift.floor"], "chw"), *above])

    def light_load(self, rows: slice) -> str:
        """Why the load in these rows proves no capacity; empty where it does or is not known."""
        if self.missing("load") or not self.plant.exchanger.load:
            return ""
        known = self.load[rows][~np.isnan(self.load[rows])]
        least = self.limits["conditions.load_low"] / 100.0 * self.plant.exchanger.load
        if not len(known) or (tons := float(np.median(known))) >= least:
            return ""
        return f"the load was {tons:.0f} tons; repeat the test at {least:.0f} tons or more"
