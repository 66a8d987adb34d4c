"""What the checks measure, computed a second time from their definitions in plain loops.

Written beside the product, not from it: nothing here knows how a check finds its number. It
holds for trends without gaps at one minute, as the sample plants have them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import numpy as np
import psychrolib
import pytest

from fptlib.job.folder import Job
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import all_checks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_trends"
Found = dict[str, float]


@dataclass(frozen=True)
class Changeover:
    """Row numbers: command on, last chiller off, command off, first chiller on again."""

    name: str
    request: int
    handover: int
    off: int
    exit: int


class Sample:
    """A sample plant's trends as plain arrays, and what its checks say."""

    def __init__(self, name: str) -> None:
        case = assemble(Job(SAMPLES / name), keep=False)
        self.frame = case.grid.frame
        self.job: dict[str, Any] = tomllib.loads((SAMPLES / name / "job.toml").read_text("utf-8"))
        self.checks = {check.id: check for check in all_checks(case)}

    def __getitem__(self, point: str) -> np.ndarray:
        return self.frame[point].to_numpy(float)

    @cached_property
    def on(self) -> np.ndarray:
        return (self["chiller_1_running"] > 0) | (self["chiller_2_running"] > 0)

    @cached_property
    def commanded(self) -> list[tuple[str, int, int]]:
        """Every stretch with the command on: its name, first row, and the row after its last."""
        command = np.concatenate(([0.0], self["economizer_command"], [0.0]))
        first, after = np.flatnonzero(np.diff(command) > 0), np.flatnonzero(np.diff(command) < 0)
        return [(f"changeover {n}", int(a), int(b))
                for n, (a, b) in enumerate(zip(first, after, strict=True), 1)]

    @cached_property
    def runs(self) -> list[Changeover]:
        """Every commanded stretch in which the last chiller stopped."""
        found = []
        for name, request, off in self.commanded:
            stopped = [row for row in range(request, off) if not self.on[row]]
            if stopped:
                again = next(row for row in range(stopped[0], len(self.on)) if self.on[row])
                found.append(Changeover(name, request, stopped[0], off, again))
        return found

    @cached_property
    def needed(self) -> np.ndarray:
        """Wet bulb + tower approach + 1.5 + exchanger approach + 1.5 [degF]."""
        plant = self.job["plant"]
        return (self["outdoor_wet_bulb"] + plant["tower_approach"]["value"] + 1.5
                + plant["exchanger_approach"]["value"] + 1.5)


sample = cache(Sample)


def longest(flags: np.ndarray) -> int:
    most = count = 0
    for flag in flags:
        count = count + 1 if flag else 0
        most = max(most, count)
    return most


def kept(values: np.ndarray) -> float:
    """The lowest level at or below which three rows on end stayed."""
    return min(max(values[row : row + 3]) for row in range(len(values) - 2))


def condition(s: Sample) -> Iterator[tuple[str, float]]:
    for name, request, _ in s.commanded:
        yield name, s.needed[request]


def dwell(s: Sample) -> Iterator[tuple[str, float]]:
    for name, request, _ in s.commanded:
        row = request
        while s.needed[row - 1] <= s["chw_reset_setpoint"][row - 1] + 1e-9:
            row -= 1
        yield name, request - row


def stay(s: Sample) -> Iterator[tuple[str, float]]:
    for run in s.runs:
        yield run.name, run.off - run.handover


def fallback(s: Sample) -> Iterator[tuple[str, float]]:
    for run in s.runs:
        yield run.name, run.exit - run.handover


def minimum_lift(s: Sample) -> Iterator[tuple[str, float]]:
    ends = {run.name: run.handover for run in s.runs}
    for name, request, off in s.commanded:
        for n in (1, 2):
            rows = np.arange(request, ends.get(name, off))
            rows = rows[s[f"chiller_{n}_running"][rows] > 0]
            if len(rows) >= 3:
                lift = s[f"chiller_{n}_cw_leaving_temp"] - s[f"chiller_{n}_chw_leaving_temp"]
                yield f"{name}, chiller {n} water lift", kept(lift[rows])


def temporary_setpoint(s: Sample) -> Iterator[tuple[str, float]]:
    """How far the active setpoint stood above condenser water - 4.5, not below 38 degF: the
    warmest water of this minute and the two before."""
    ends = {run.name: run.handover for run in s.runs}
    for name, request, off in s.commanded:
        rows = np.arange(request, ends.get(name, off))
        water = s["cw_supply_temp"]
        warmest = np.max([water[rows], water[rows - 1], water[rows - 2]], axis=0)
        wanted = np.maximum(warmest - 4.5, 38.0)
        asked = (wanted < s["chw_reset_setpoint"][rows]) & s.on[rows]
        above = np.where(asked, s["chw_supply_setpoint"][rows] - wanted, -99.0)
        yield name, -kept(-above)


def floor(s: Sample) -> Iterator[tuple[str, float]]:
    ends = {run.name: run.handover for run in s.runs}
    for name, request, off in s.commanded:
        rows = slice(request, ends.get(name, off) + 1)
        yield f"{name}, active setpoint", kept(s["chw_supply_setpoint"][rows])
        yield f"{name}, supply", kept(s["chw_supply_temp"][rows])


def excursion(s: Sample) -> Iterator[tuple[str, float]]:
    for run in s.runs:
        hour = slice(run.handover, run.handover + 60)
        yield run.name, longest(s["chw_supply_temp"][hour] - s["chw_reset_setpoint"][hour] > 2.0)


def return_rate(s: Sample) -> Iterator[tuple[str, float]]:
    """From the last row of the pull-down until the setpoint is back within a quarter degree."""
    active, reset = s["chw_supply_setpoint"], s["chw_reset_setpoint"]
    for run in s.runs:
        back = next(r for r in range(run.handover, run.off) if active[r] >= reset[r] - 0.25)
        path = active[run.handover - 1 : back + 1]
        yield run.name, max(path[b] - path[a] for b in range(len(path))
                            for a in range(max(0, b - 10), b + 1))


def busiest_hour(s: Sample) -> Iterator[tuple[str, float]]:
    for run in s.runs:
        for n in (1, 2):
            fan = s[f"tower_{n}_fan_running"][run.handover : run.off]
            starts = np.flatnonzero((fan[:-1] == 0) & (fan[1:] == 1)) + 1
            most = max((int(((starts >= a) & (starts < a + 60)).sum()) for a in starts), default=0)
            yield f"{run.name}, cell {n}", most


def warm_stay(s: Sample) -> Iterator[tuple[str, float]]:
    active, reset = s["chw_supply_setpoint"], s["chw_reset_setpoint"]
    for run in s.runs:
        back = next(r for r in range(run.handover, run.off) if active[r] >= reset[r] - 0.25)
        yield run.name, longest((s["chw_supply_temp"] - reset)[back : run.off] > 1.5)


def demand_in(s: Sample) -> Iterator[tuple[str, float]]:
    """Quarter-hours by the clock; the trends begin on one. From the one of the request on to an
    hour after the setpoint is back, or after the request was given up."""
    active, reset, power = s["chw_supply_setpoint"], s["chw_reset_setpoint"], s["plant_power"]
    quarters = power[: len(power) // 15 * 15].reshape(-1, 15).mean(axis=1)
    ends = {run.name: run for run in s.runs}
    for name, request, off in s.commanded:
        end = off + 60
        if name in ends:
            end = next(r for r in range(ends[name].handover, off)
                       if active[r] >= reset[r] - 0.25) + 60
        yield name, quarters[request // 15 : end // 15 + 1].max()


SECOND: dict[str, Callable[[Sample], Iterator[tuple[str, float]]]] = {
    "enable.condition": condition, "enable.dwell": dwell, "enable.stay": stay,
    "handover.fallback": fallback, "handover.excursion": excursion,
    "lift.minimum": minimum_lift, "lift.setpoint": temporary_setpoint, "lift.floor": floor,
    "recovery.rate": return_rate, "recovery.demand": demand_in,
    "running.fan_cycling": busiest_hour, "exit.supply": warm_stay,
}


@pytest.mark.parametrize("name", ["sound", "before"])
@pytest.mark.parametrize("id", list(SECOND))
def test_measured_values_of_every_event(id: str, name: str) -> None:
    events = {event.name: event.measured for event in sample(name).checks[id].events
              if event.measured is not None and not event.name.endswith(", exit")}
    found = dict(SECOND[id](sample(name)))
    assert len(events) >= 8 and events == pytest.approx(found, abs=1e-6)


@pytest.mark.parametrize("name", ["sound", "before"])
def test_wet_bulb_against_psychrolib(name: str) -> None:
    """Every half hour is enough for a median that is known to a few hundredths."""
    psychrolib.SetUnitSystem(psychrolib.IP)
    s = sample(name)
    rows = range(0, len(s.frame), 30)
    names = ("outdoor_dry_bulb", "outdoor_humidity", "station_pressure")
    dry, humidity, pressure = (s[point] for point in names)
    apart = [abs(s["outdoor_wet_bulb"][row] - psychrolib.GetTWetBulbFromRelHum(
        dry[row], humidity[row] / 100.0, pressure[row])) for row in rows]
    assert s.checks["instruments.wet_bulb"].measured == pytest.approx(np.median(apart), abs=0.02)


@pytest.mark.parametrize("name", ["sound", "before"])
def test_kw_per_ton_before_and_after_the_request(name: str) -> None:
    """Load by the rule of 500 btu/h per gpm and degF, which is within 1 % of the properties."""
    s = sample(name)
    tons = s["chw_flow"] * (s["chw_return_temp"] - s["chw_supply_temp"]) / 24.0
    ratio = s["plant_power"] / tons
    active, reset = s["chw_supply_setpoint"], s["chw_reset_setpoint"]
    events = {e.name: e for e in s.checks["transition.entering"].events if e.measured is not None}
    for run in s.runs:
        event = events.get(f"{run.name}, before and after")
        if event is None:
            continue
        back = next(r for r in range(run.handover, run.off) if active[r] >= reset[r] - 0.25)
        change = (ratio[back + 30 : back + 90].mean()
                  - ratio[run.request - 60 : run.request].mean())
        assert event.measured == pytest.approx(change, rel=0.02)
    assert any(name.endswith("before and after") for name in events)
