"""Every fault of the library does in the trends what it says, and the sound plants have none.

One plain assertion each, on the frame; what the package's checks make of it is tested in
``tests/faults``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import library
import pandas as pd
import plant_measures as measure
import pytest
from library import FAULTS, INTERVALS
from plants import PLANTS, SOUND

from sample_trends.generator import Result, at_interval, simulate

pytestmark = pytest.mark.full

MINUTE = measure.MINUTE
HOUR = pd.Timedelta(hours=1)
# The issue's list, word for word.
LIST = """short dwell, no margin, no lift protection, no floor, temporary setpoint not released,
stepwise return, too slow return, oscillating recovery, demand peak, flat reset,
tower chases wet bulb, over-cooled tower, fan cycling, fouled exchanger,
leaking isolation valve, chiller left on, late exit, early exit, uneconomic stay,
equipment count exceeded, chatter, missed hours, wet-bulb bias, stuck wet bulb,
supply sensor bias, clock offset between files, low-lift trip, alarm text, marginal lift,
flow meter off by a factor, decoupler reverse flow, override left in place"""

_RESULTS: dict[str, Result] = {}


def result_of(name: str) -> Result:
    if name not in _RESULTS:
        entry = library.fault(name)
        _RESULTS[name] = entry.finish(simulate(library.faulty(entry, SOUND)))
    return _RESULTS[name]


@pytest.fixture(scope="module")
def sound() -> Result:
    return simulate(SOUND)


def _held(r: Result) -> list[float]:
    holds = measure.condition(r) >= 0.0
    return [measure.held_before(holds, event.time) for event in r.events("request")]


def _margins(r: Result) -> list[float]:
    return [float(measure.condition(r)[event.time]) for event in r.events("request")]


def _run_frames(r: Result) -> list[pd.DataFrame]:
    return [r.frame[start : end - MINUTE] for start, end in measure.runs(r)]


def _returns(r: Result) -> list[pd.Timedelta]:
    back = [event.time for event in r.events("recovered")]
    return [b - h.time for h, b in zip(r.events("handover"), back, strict=True)]


def _setpoint_off(r: Result) -> float:
    """How far the active setpoint stood above what lift protection asks for."""
    worst = []
    for start, end in measure.attempts(r):
        frame = r.frame[start : end - MINUTE]
        follow = (frame["cw_supply_temp"] - r.scenario.sequence.offset).clip(lower=38.0)
        wanted = pd.concat([frame["chw_reset_setpoint"], follow], axis=1).min(axis=1)
        worst.append(float((frame["chw_supply_setpoint"] - wanted).max()))
    return max(worst)


def _tower_off(r: Result) -> float:
    """Share of the runs with the tower setpoint off by more than a degree."""
    frame = pd.concat(_run_frames(r))
    wanted = frame["chw_supply_setpoint"] - r.scenario.sequence.exchanger_approach
    return measure.share((frame["cw_supply_setpoint"] - wanted).abs() > 1.0)


def _overcooled(r: Result) -> float:
    """Share of the runs with water two degrees too cold and fans above their minimum."""
    frame = pd.concat(_run_frames(r))
    wanted = frame["chw_supply_setpoint"] - r.scenario.sequence.exchanger_approach
    cold = frame["cw_supply_temp"] < wanted - 2.0
    return measure.share(cold & (frame["tower_1_fan_speed"] > 30.0))


def _ua(r: Result) -> float:
    """Conductance of the exchanger in steady hours, gpm times degF per degF."""
    frame = r.frame[r.frame["hx_valve"].rolling(120).min() == 100]
    heat = frame["hx_chw_flow"] * (frame["hx_chw_entering_temp"] - frame["hx_chw_leaving_temp"])
    warm = frame["hx_chw_entering_temp"] - frame["hx_cw_leaving_temp"]
    cold = frame["hx_chw_leaving_temp"] - frame["hx_cw_entering_temp"]
    return float((heat / (0.5 * (warm + cold))).median())


def _supply_off(r: Result) -> float:
    """Median of supply above setpoint in the runs, an hour and a half after the handover."""
    frames = [frame[frame.index[0] + 1.5 * HOUR :] for frame in _run_frames(r)]
    frame = pd.concat(frames)
    return float((frame["chw_supply_temp"] - frame["chw_supply_setpoint"]).median())


def _warm_before_exit(r: Result) -> list[float]:
    above = r.frame["chw_supply_temp"] > r.frame["chw_reset_setpoint"] + 1.5
    return [measure.held_before(above, end - MINUTE) for _, end in measure.runs(r)]


def _peak(r: Result) -> tuple[float, float]:
    """Highest 15-minute block in the pull-downs, and outside of every changeover."""
    blocks = measure.blocks(r.frame)
    inside = pd.Series(False, index=blocks.index)
    for start, end in measure.attempts(r):
        inside |= (blocks.index > start - 15 * MINUTE) & (blocks.index < end + HOUR)
    return float(blocks[inside].max()), float(blocks[~inside].max())


def _kw_per_ton(frame: pd.DataFrame) -> pd.Series:
    return frame["plant_power"] / frame["plant_load"]


def _alarms(r: Result) -> float:
    return float(r.frame.filter(regex=r"chiller_\d_alarm").sum().sum())


def _wet_bulb_error(r: Result) -> pd.Series:
    return r.frame["outdoor_wet_bulb"] - r.actual["outdoor_wet_bulb"]


def _full_speed(r: Result) -> int:
    cells = measure.numbered(r.frame, "tower_", "_fan_speed")
    run = (r.frame[cells] >= 95.0).all(axis=1) & (measure.chillers_on(r.frame) == 0)
    return measure.longest(run)


EFFECTS: dict[str, Callable[[Result, Result], bool]] = {
    "short dwell": lambda r, s: max(_held(r)) < 25 < min(_held(s)),
    "no margin": lambda r, s: min(_margins(r)) < -1.0 and min(_margins(s)) > 1.0,
    "no lift protection": lambda r, s: _setpoint_off(r) > 5.0 and _setpoint_off(s) <= 0.05
    and min(measure.minutes_below(r, r.scenario.design.minimum_lift)) > 5,
    "no floor": lambda r, s: r.frame["chw_supply_setpoint"].min() < 37.5,
    "temporary setpoint not released": lambda r, s: all(
        r.frame["chw_supply_setpoint"][h.time + 40 * MINUTE]
        <= r.frame["chw_supply_setpoint"][h.time - MINUTE] + 0.01
        for h in r.events("handover")
    ),
    "stepwise return": lambda r, s: max(_returns(r)) < 2 * MINUTE,
    "too slow return": lambda r, s: min(_returns(r)) > 2.5 * HOUR,
    "oscillating recovery": lambda r, s: all(
        measure.reversals(r.frame["chw_supply_temp"][h.time : h.time + 2 * HOUR], 1.0) > 2
        for h in r.events("handover")
    ),
    "demand peak": lambda r, s: _peak(r)[0] > 1.1 * _peak(r)[1] and _peak(s)[0] < _peak(s)[1],
    "flat reset": lambda r, s: r.frame["chw_reset_setpoint"].nunique() == 1,
    "tower chases wet bulb": lambda r, s: _tower_off(r) > 50.0 and _tower_off(s) < 1.0,
    "over-cooled tower": lambda r, s: _overcooled(r) > 20.0 and _overcooled(s) < 1.0,
    "fan cycling": lambda r, s: measure.fan_starts(r.frame) > 7,
    "fouled exchanger": lambda r, s: _ua(r) < 0.6 * _ua(s),
    "leaking isolation valve": lambda r, s: _supply_off(r) > 1.6 and all(
        (frame["chw_supply_temp"] - frame["hx_chw_leaving_temp"]).median() > 1.5
        for frame in _run_frames(r)
    ),
    "chiller left on": lambda r, s: not r.events("handover") and measure.longest(
        (measure.chillers_on(r.frame) > 0) & (r.frame["economizer_active"] == 1)
    ) > 120,
    "late exit": lambda r, s: min(_warm_before_exit(r)) > 60,
    "early exit": lambda r, s: max(_warm_before_exit(r)) < 15 and all(
        end - start < 3 * HOUR for start, end in measure.runs(r)
    ),
    "uneconomic stay": lambda r, s: all(
        _kw_per_ton(r.frame[end - HOUR : end - 5 * MINUTE]).median()
        > _kw_per_ton(r.frame[end + 2 * HOUR : end + 3 * HOUR]).median() + 0.1
        for _, end in measure.runs(r)
    ),
    "equipment count exceeded": lambda r, s: _full_speed(r) > 35
    and len(measure.numbered(r.frame, "tower_", "_fan_speed"))
    > r.scenario.design.equipment_limit,
    "chatter": lambda r, s: min(e - h for h, e in measure.runs(r)) < 100 * MINUTE
    and len(r.events("request")) > 4 * len(s.events("request")),
    "missed hours": lambda r, s: measure.missed(r) > 240 > measure.missed(s),
    "wet-bulb bias": lambda r, s: abs(_wet_bulb_error(r).median() + 3.0) < 0.1,
    "stuck wet bulb": lambda r, s: measure.longest(
        r.frame["outdoor_wet_bulb"].diff() == 0.0
    ) > 500,
    "supply sensor bias": lambda r, s: abs(
        (r.frame["chw_supply_temp"] - r.actual["chw_supply_temp"]).median() + 1.6
    ) < 0.1,
    "clock offset between files": lambda r, s: bool(
        r.frame["chiller_1_running"].iloc[20:].to_numpy().tolist()
        == r.actual["chiller_1_running"].iloc[:-20].to_numpy().tolist()
    ),
    "low-lift trip": lambda r, s: len(r.events("trip")) > 2 and _alarms(r) > 0,
    "alarm text": lambda r, s: _alarms(r) == 10.0
    and library.fault("alarm text").alarms(r)[0].text == "LOW OIL TEMPERATURE HOLD",
    "marginal lift": lambda r, s: all(n <= 2 for n in measure.minutes_below(
        r, r.scenario.design.minimum_lift)) and any(n > 2 for n in measure.minutes_below(
        r, r.scenario.design.minimum_lift + 0.15)),
    "flow meter off by a factor": lambda r, s: abs(
        (r.frame["chw_flow"] / r.actual["chw_flow"]).median() - 1.4
    ) < 0.02,
    "decoupler reverse flow": lambda r, s: r.frame["decoupler_flow"].max() < 0.0
    and _supply_off(r) > 1.6,
    "override left in place": lambda r, s: _overcooled(r) > 50.0 and all(
        (frame["tower_1_fan_speed"].iloc[2:-3] == 70.0).all() for frame in _run_frames(r)
    ),
}


def test_the_library_is_the_issues_list():
    wanted = [name.strip() for name in LIST.replace("\n", " ").split(",")]
    assert [entry.name for entry in FAULTS] == wanted
    assert len({entry.name for entry in FAULTS}) >= 30
    assert set(EFFECTS) == {entry.name for entry in FAULTS}


@pytest.mark.parametrize("entry", FAULTS, ids=lambda entry: entry.name)
def test_fault_does_what_it_says(entry, sound):
    assert EFFECTS[entry.name](result_of(entry.name), sound), entry.meaning
    assert entry.meaning.endswith(".")
    assert entry.fails or entry.indeterminate
    assert not set(entry.fails) & set(entry.may_fail)


def test_effects_are_not_there_in_the_sound_plant(sound):
    # A handful of measures only make sense beside their own fault.
    own = {"clock offset between files", "alarm text", "marginal lift", "equipment count exceeded"}
    shown = [name for name, effect in EFFECTS.items() if name not in own and effect(sound, sound)]
    assert not shown


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: plant.name)
def test_sound_plants_change_over_cleanly(plant):
    result = simulate(plant)
    assert len(measure.runs(result)) == 4
    assert not result.events("trip") and not result.events("abandoned")
    least = plant.design.minimum_lift + 1.0
    assert max(measure.minutes_below(result, least)) == 0
    assert measure.missed(result) < 130 and min(_held(result)) > 40


def test_seeds_differ_and_days_only_add(sound):
    other = simulate(replace(SOUND, seed=SOUND.seed + 1))
    assert not other.frame["chw_supply_temp"].equals(sound.frame["chw_supply_temp"])
    assert len(other.events("request")) == len(sound.events("request"))


@pytest.mark.parametrize("minutes", INTERVALS)
def test_longer_intervals_sample_all_but_power(minutes, sound):
    thin = at_interval(sound.frame, minutes)
    assert len(thin) == len(sound.frame) // minutes
    stamp = thin.index[40]
    for name in ("chw_supply_temp", "chiller_1_running", "chw_supply_setpoint"):
        assert thin[name][stamp] == sound.frame[name][stamp]
    stretch = sound.frame["plant_power"][stamp : stamp + (minutes - 1) * MINUTE]
    assert thin["plant_power"][stamp] == pytest.approx(stretch.mean(), abs=0.06)


@pytest.mark.parametrize("minutes", INTERVALS)
def test_no_alarm_falls_between_two_rows(minutes):
    assert _alarms(replace(result_of("alarm text"), frame=at_interval(
        result_of("alarm text").frame, minutes))) >= 1.0
