"""Acceptance limits: the standard's defaults, a job's deviations, and their digest.

All defaults are common practice, no source. A job may deviate; the record then shows the
deviation, its reason and its author. The limits in force are frozen (hashed) before
trends are read, so a later change shows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field
from enum import StrEnum
from typing import Any

from fptlib.answer import Answer, Kind, Wrong, answer
from fptlib.errors import JobError

COMMON_PRACTICE = "common practice, no source"


class Rule(StrEnum):
    """How the uncertainty bears on the verdict.

    ``simple acceptance``: the sign of the margin decides.
    ``guarded acceptance``: pass only where the margin is at least the uncertainty.
    ``guarded rejection``: fail only where the limit is broken by the uncertainty.
    ``guarded both ways``: pass and fail both need that much; the standard.
    """

    SIMPLE = "simple acceptance"
    GUARDED_ACCEPTANCE = "guarded acceptance"
    GUARDED_REJECTION = "guarded rejection"
    GUARDED_BOTH = "guarded both ways"


# Two years in minutes: beyond any limit of the standard, and still a duration.
_LARGEST = 1_000_000.0


@dataclass(frozen=True, slots=True)
class Limit:
    """One acceptance limit of the standard procedure; none is negative unless ``low`` says so.

    ``since`` is the edition of the procedure that has it first.
    """

    name: str
    value: float | str
    unit: str
    meaning: str
    basis: str = COMMON_PRACTICE
    low: float = 0.0
    since: int = 1

    @property
    def short(self) -> str:
        """Its meaning, without what that adds in brackets."""
        return self.meaning.partition(" (")[0]

    @property
    def answer(self) -> Answer:
        """What a job's own value may be."""
        label = f"limit '{self.name}'"
        if isinstance(self.value, str):
            return Answer(self.name, label, Kind.CHOICE, choices=tuple(Rule))
        return Answer(self.name, label, Kind.NUMBER, self.unit, low=self.low, high=_LARGEST)


@dataclass(frozen=True, slots=True)
class Deviation:
    """A job's own value for a limit, with the reason and who decided it."""

    value: float | str = answer("Value", "In the limit's own unit, as listed below under “Limits "
                                "in force”: °F, min, %.", default=MISSING, required=True)
    reason: str = answer("Reason", required=True)
    author: str = answer("Author", required=True)
    date: str = answer("Date", kind=Kind.DATE)


# What advice divides by, or what has no length at zero.
_ABOVE_ZERO = 0.01

STANDARD: tuple[Limit, ...] = (
    Limit("decision.rule", Rule.GUARDED_BOTH.value, "", "how uncertainty bears on a verdict",
          "JCGM 106:2012 and ILAC-G8:09/2019, as known from secondary sources"),
    Limit("instruments.temperature", 1.0, "degF", "trend against field reading, temperature"),
    Limit("instruments.flow", 5.0, "%", "trend against field reading, flow"),
    Limit("instruments.wet_bulb", 1.5, "degF", "trended against calculated wet bulb, median"),
    Limit("instruments.stuck", 6.0, "h", "longest time the wet bulb may show one value"),
    Limit("reset.range", 2.0, "degF", "least range over which the setpoint moves"),
    Limit("reset.outdoor_span", 15.0, "degF", "outdoor span needed to judge the reset"),
    Limit("enable.tower_tolerance", 1.5, "degF", "tower approach tolerance"),
    Limit("enable.exchanger_tolerance", 1.5, "degF", "exchanger approach tolerance"),
    Limit("enable.dwell", 30.0, "min",
          "enable delay: how long the condition must hold before the enable"),
    Limit("enable.stay", 120.0, "min", "minimum run time"),
    Limit("enable.rest", 30.0, "min", "minimum off time"),
    Limit("enable.attempts", 2.0, "per day", "changeovers per day"),
    Limit("enable.missed", 120.0, "min", "longest stretch missed beyond the enable delay"),
    Limit("lift.short_dip", 2.0, "min", "longest time below the minimum lift"),
    Limit("lift.offset", 8.0, "degF",
          "offset of the temporary setpoint below condenser water (the sequence's own value)"),
    Limit("lift.lowest_setpoint", 38.0, "degF",
          "lowest temporary setpoint (the sequence's own value, not below the floor)"),
    Limit("lift.setpoint_band", 1.0, "degF", "band of the temporary setpoint"),
    Limit("lift.floor", 38.0, "degF", "lowest active setpoint and supply"),
    Limit("lift.above_cutout", 4.0, "degF", "floor above the chiller's low-temperature cutout"),
    Limit("lift.release", 5.0, "min", "temporary setpoint ends after the last chiller stops"),
    Limit("handover.band", 2.0, "degF", "supply above the reset setpoint after the transition"),
    Limit("handover.time", 10.0, "min", "supply above that band after the transition, at most"),
    Limit("handover.window", 60.0, "min", "time after the transition that is judged"),
    Limit("recovery.rate", 2.0, "degF", "largest rise of the active setpoint in ten minutes",
          low=_ABOVE_ZERO),
    Limit("recovery.shortest", 20.0, "min", "minimum ramp time"),
    Limit("recovery.longest", 120.0, "min", "maximum ramp time"),
    Limit("recovery.overshoot", 1.5, "degF", "supply above the reset setpoint"),
    Limit("recovery.reversals", 2.0, "count", "most reversals of the supply"),
    Limit("recovery.reversal_size", 1.0, "degF", "a reversal counts from this size"),
    Limit("recovery.demand_interval", 15.0, "min", "the utility's demand interval",
          low=_ABOVE_ZERO),
    Limit("running.tower_band", 1.0, "degF", "band of the condenser-water setpoint"),
    Limit("running.tower_offset", 0.0, "degF",
          "condenser-water setpoint below the active setpoint minus the exchanger approach, by so "
          "much (the sequence's own value)", low=-_LARGEST),
    Limit("running.share", 90.0, "%", "share of the run within a band"),
    Limit("running.overcooling", 2.0, "degF", "condenser water colder than needed"),
    Limit("running.fan_minimum", 30.0, "%", "fans count as at minimum below this speed"),
    Limit("running.fan_starts", 6.0, "per hour", "most fan starts per cell in any hour",
          low=_ABOVE_ZERO),
    Limit("running.supply_band", 1.5, "degF", "supply around the active setpoint"),
    Limit("running.conductance", 80.0, "%", "exchanger UA against design"),
    Limit("exit.band", 1.5, "degF", "supply above setpoint"),
    Limit("exit.delay", 15.0, "min", "exit delay"),
    Limit("exit.grace", 5.0, "min", "and the plant leaves within"),
    Limit("exit.fans_at_maximum", 95.0, "%", "towers count as at maximum above this speed"),
    Limit("exit.equipment_delay", 30.0, "min", "equipment count exceeded for at most"),
    Limit("exit.comparative_delay", 30.0, "min", "economizer more expensive than "
          "chillers for at most"),
    Limit("transition.entering", 0.05, "kW/ton", "largest rise entering economizer mode"),
    Limit("transition.leaving", 0.05, "kW/ton", "largest fall leaving economizer mode"),
    Limit("conditions.load_low", 50.0, "%", "least load, share of the economizer's design load"),
    Limit("conditions.turnovers", 3.0, "count", "loop turnovers before a verdict on the supply"),
    Limit("timing.tolerance", 2.0, "min", "largest error of a timer of the sequence",
          since=2),
    Limit("recovery.watch", 120.0, "min", "supply watched after the setpoint is back", since=2),
    Limit("recovery.demand_tolerance", 5.0, "%", "a changeover may exceed the ordinary peak by so "
          "much", since=2),
    Limit("recovery.supply_rate", 3.0, "degF", "largest rise of the supply in ten minutes at the "
          "transition", low=_ABOVE_ZERO, since=2),
    Limit("recovery.settling", 30.0, "min", "supply settles after the setpoint is back", since=2),
    Limit("recovery.supply_band", 1.5, "degF", "supply around the active setpoint once settled",
          since=2),
    Limit("running.tracking", 1.5, "degF", "condenser water around its setpoint while fans are "
          "between their limits", since=2),
    Limit("lift.start_allowance", 5.0, "min", "time for a chiller that has just started to "
          "build its lift", since=2),
    Limit("lift.above_evaporating", 1.0, "degF", "evaporating temperature above its cutout, or "
          "above 32 °F where none is stated", since=2),
    Limit("reset.band", 1.0, "degF", "setpoint around the specified line of its reset", since=2),
    Limit("reset.lag", 60.0, "min", "the setpoint may lag its driver by so long", since=2),
    Limit("reset.share", 90.0, "%", "share of the rows outside changeovers within that band",
          since=2),
    Limit("lift.pull_down", 180.0, "min", "longest pull-down", since=2),
    Limit("lift.starts", 3.0, "per hour", "most starts of a chiller in any hour, unless the "
          "manufacturer's are stated", "centrifugal chiller control manuals: three free starts, "
          "then 20 min from start to start", low=_ABOVE_ZERO, since=2),
    Limit("instruments.humidity", 5.0, "%RH", "trend against field reading, relative humidity",
          since=2),
    Limit("instruments.heat_balance", 10.0, "%", "both sides of the exchanger may differ by so "
          "much", since=2),
    Limit("load.least", 25.0, "%", "load is judged from this share of the exchanger's design load",
          since=2),
    Limit("load.delta_t", 75.0, "%", "chilled-water temperature difference against design",
          since=2),
    Limit("lift.starts_day", 12.0, "per day", "most starts of a chiller in any 24 hours, unless "
          "the manufacturer's are stated", low=_ABOVE_ZERO, since=2),
    Limit("lift.trip_band", 3.0, "degF", "supply above the active setpoint after a chiller's stop, "
          "by which it was under load", since=2),
    Limit("cold.water", 36.0, "degF", "minimum condenser water, unless the tower manufacturer's is "
          "stated", "36 to 40 °F in one tower manufacturer's manual, 36.5 to 41 °F in another, one "
          "of them at the least load, the other near the largest: the firm chooses", since=2),
    Limit("cold.exchanger", 34.0, "degF", "lowest water in an exchanger without chilled-water "
          "flow, and in a basin", since=2),
    Limit("cold.short_dip", 5.0, "min", "longest time below the minimum", since=2),
    Limit("cold.fans", 10.0, "min", "fans above minimum speed with condenser water below its "
          "minimum", since=2),
    Limit("cold.air", 35.0, "degF", "freezing weather: outdoor dry bulb at or below this",
          "35 to 40 °F in a published cold-weather procedure", low=-_LARGEST, since=2),
    Limit("cold.heater_band", 3.0, "degF", "basin heater around its setpoint", since=2),
    Limit("cold.heater_time", 30.0, "min", "basin heater off with cold water, or on with warm, for "
          "at most", since=2),
    Limit("cold.humidity", 60.0, "%RH", "highest humidity of the critical space, unless the plan "
          "states it", since=2),
    Limit("cold.humid_for", 30.0, "min", "longest time above it", since=2),
    Limit("load.cold", 45.0, "degF", "cold weather: outdoor dry bulb at or below this", since=2),
    Limit("load.base", 110.0, "%", "base load at night in cold weather against the expected one",
          since=2),
    Limit("load.peak", 100.0, "%", "load in cold weather against the exchanger's design load",
          since=2),
    Limit("load.rise", 5.0, "%", "the load may rise by so much for every 10 °F colder", since=2),
    Limit("load.idle_flow", 40.0, "%", "flow with hardly any load against the exchanger's design "
          "flow", since=2),
    Limit("load.valves", 50.0, "%", "least position of the most open chilled-water valve",
          since=2),
    Limit("load.reverse_flow", 5.0, "%", "flow counts as backward through the decoupler from this "
          "share of the plant's flow", since=2),
    Limit("load.reverse", 5.0, "%", "share of the time with reverse flow through the decoupler",
          since=2),
    Limit("load.heating", 0.25, "tons/ton", "cooling load that goes with a ton of heating load",
          since=2),
    Limit("load.fouling", 5.0, "%/30 days", "loss of exchanger UA, of the design UA", since=2),
    Limit("load.pressure_drop", 150.0, "%", "exchanger pressure drop against design", since=2),
    Limit("load.air_cold", 10.0, "%", "share of the time with an air handler's chilled-water "
          "valve open while outdoor air could cool alone", since=2),
    Limit("load.air_valve", 10.0, "%", "an air handler's valve counts as open above", since=2),
    Limit("load.air_mixed", 5.4, "degF", "tolerance of mixed against outdoor or discharge air",
          "two published rule sets for air handlers, from memory", since=2),
    Limit("load.air_difference", 10.0, "degF", "least difference of outdoor and return air to "
          "judge a damper", "two published rule sets for air handlers, from memory", since=2),
    Limit("load.fan_rise", 3.0, "degF", "heat of an air handler's fan; 2.3 to 4.2 °F on measured "
          "days", since=2),
    Limit("load.too_warm", 30.0, "min", "supply too warm in economizer mode for at most, all "
          "together", since=2),
    Limit("load.asks", 95.0, "%", "an air handler's chilled-water valve asks for colder water from "
          "this position", "ASHRAE Guideline 36, 5.16.16, as a public simulation library of it has "
          "it", since=2),
    Limit("load.asks_share", 70.0, "%", "share of the time in which one valve, or two, hold the "
          "reset down", "ASHRAE Guideline 36, rogue zones, from memory", since=2),
    Limit("load.asks_hours", 40.0, "h", "time for which a valve must hold the reset down to count",
          "ASHRAE Guideline 36, rogue zones, from memory", since=2),
    Limit("lift.loading_start", 40.0, "%", "load, of rated current or power, from which a chiller "
          "that has started ramps up", since=2),
    Limit("lift.limited", 15.0, "min", "chiller at its current or demand limit with the supply "
          "above the active setpoint for at most", since=2),
    Limit("lift.limited_band", 2.0, "%", "a chiller counts as at its limit from so much below it",
          since=2),
)

_STANDARD = {limit.name: limit for limit in STANDARD}


@dataclass(frozen=True)
class Limits:
    """The limits in force on a job."""

    deviations: Mapping[str, Deviation] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, deviation in self.deviations.items():
            _check(name, deviation)

    def __getitem__(self, name: str) -> float:
        """The value in force, a number in the limit's unit."""
        value = self.value(name)
        if isinstance(value, str):
            raise JobError(f"limit '{name}' is the word '{value}', not a number")
        return value

    def value(self, name: str) -> float | str:
        """The value in force, number or word."""
        return self.deviations[name].value if name in self.deviations else standard(name).value

    def basis(self, *names: str) -> str:
        """Where these limits come from, for the check's row."""
        return "; ".join(dict.fromkeys(self._basis(name) for name in names))

    def _basis(self, name: str) -> str:
        if name not in self.deviations:
            return standard(name).basis
        deviation = self.deviations[name]
        return f"this job's own value: {deviation.reason} ({deviation.author})"

    @property
    def rule(self) -> Rule:
        """The decision rule in force."""
        return Rule(str(self.value("decision.rule")))

    def in_force(self) -> dict[str, float | str]:
        """Every limit by name."""
        return {name: self.value(name) for name in _STANDARD}

    def digest(self) -> str:
        """SHA-256 over the limits in force; the same limits give the same digest.

        A limit that a later edition added counts only where the job deviates from it, so that
        limits frozen under the first edition still stand.
        """
        counted = {name: value for name, value in self.in_force().items()
                   if _STANDARD[name].since == 1 or name in self.deviations}
        text = json.dumps(counted, sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode()).hexdigest()


def standard(name: str) -> Limit:
    """The standard's limit of that name.

    Raises:
        JobError: there is no limit of that name.
    """
    if name not in _STANDARD:
        raise JobError(f"there is no limit '{name}'; the limits are: {', '.join(_STANDARD)}")
    return _STANDARD[name]


def own(name: str, row: Any) -> Deviation:
    """A job's or a firm's own value for a limit, as its file or its form states it.

    Raises:
        JobError: there is no such limit, or the row lacks what it must have.
    """
    standard(name)
    if not isinstance(row, Mapping) or "value" not in row:
        raise JobError(f"limit '{name}' is {row!r}; it must be a table with value, reason, author "
                       "and date")
    said = (str(row.get(key, "")) for key in ("reason", "author", "date"))
    found = Deviation(row["value"], *said)
    _check(name, found)
    return found


def _check(name: str, deviation: Deviation) -> None:
    item = standard(name).answer
    try:
        item.take(deviation.value)
    except Wrong as wrong:
        raise JobError(f"{item.label} ({standard(name).meaning}): {wrong}") from None
    if not deviation.reason.strip() or not deviation.author.strip():
        raise JobError(f"{item.label} deviates from the standard: give a reason and an author")
