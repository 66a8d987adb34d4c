"""Truth and trends tell the same story, and the samples show what their README says."""

from __future__ import annotations

import pandas as pd
import plant_measures as measure
import pytest

from sample_trends.generator.run import simulate
from sample_trends.generator.samples import BEFORE, SOUND

MINUTE = measure.MINUTE
HOUR = pd.Timedelta(hours=1)


@pytest.fixture(scope="module")
def sound():
    return simulate(SOUND)


@pytest.fixture(scope="module")
def before():
    return simulate(BEFORE)


@pytest.fixture(params=["sound", "before"])
def either(request):
    return request.getfixturevalue(request.param)


def test_truth_is_in_the_trends(either):
    frame = either.frame
    on = measure.chillers_on(frame)
    for event in either.truth:
        row, before = frame.loc[event.time], event.time - MINUTE
        if event.kind == "request":
            assert row["economizer_command"] == 1 and frame["economizer_command"][before] == 0
        if event.kind == "handover":
            assert on[event.time] == 0 and on[before] > 0 and row["economizer_active"] == 1
        if event.kind == "exit":
            assert on[event.time] > 0 and on[before] == 0
        if event.kind == "recovered":
            assert row["chw_supply_setpoint"] == row["chw_reset_setpoint"]
        if event.kind == "trip":
            assert row[f"{event.detail.replace(' ', '_')}_alarm"] == 1


def test_every_start_and_stop_is_in_the_truth(either):
    frame = either.frame
    command = frame["economizer_command"].diff()
    assert list(frame.index[command > 0]) == [e.time for e in either.events("request")]
    idle = (measure.chillers_on(frame) == 0).astype(int).diff()
    # After a trip no chiller runs either, until the fail-safe starts another.
    tripped = {event.time + wait * MINUTE for event in either.events("trip") for wait in range(9)}
    handovers = {event.time for event in either.events("handover")}
    exits = {event.time for event in either.events("exit")}
    assert set(frame.index[idle > 0]) - tripped == handovers
    assert set(frame.index[idle < 0]) - tripped == exits


def test_the_same_scenario_gives_the_same_result(sound):
    again = simulate(SOUND)
    pd.testing.assert_frame_equal(sound.frame, again.frame)
    assert sound.truth == again.truth


def test_sensors_stay_within_their_stated_accuracy(sound):
    for name in ("chw_supply_temp", "cw_supply_temp", "hx_chw_leaving_temp", "outdoor_wet_bulb"):
        assert ((sound.frame[name] - sound.actual[name]).abs() < 0.2).all()


def test_sound_plant_goes_over_and_back_eight_times(sound):
    assert len(measure.runs(sound)) == 8
    assert not sound.events("trip") and not sound.events("abandoned")
    assert all(4 * HOUR < end - start for start, end in measure.runs(sound))
    assert all(30 * MINUTE < h - r < 150 * MINUTE for r, h in measure.attempts(sound))


def test_sound_plant_requests_with_margin(sound):
    margin = measure.condition(sound)
    for request, _ in measure.attempts(sound):
        assert margin[request] > 1.5
        assert measure.held_before(margin >= 0.0, request) > 40
    assert measure.missed(sound) < 120
    days = [request.date() for request, _ in measure.attempts(sound)]
    assert len(set(days)) == len(days)


def test_sound_plant_keeps_its_lift(sound):
    lift = measure.lift(sound.frame)
    for request, handover in measure.attempts(sound):
        rows = slice(request, handover - MINUTE)
        assert lift[rows].min() > SOUND.design.minimum_lift + 1.5
        frame = sound.frame[rows]
        follow = frame["cw_supply_temp"] - 4.5
        wanted = pd.concat([frame["chw_reset_setpoint"], follow], axis=1).min(axis=1)
        assert (frame["chw_supply_setpoint"] <= wanted.clip(lower=38.0)).all()
        assert frame["chw_supply_setpoint"].min() > 39.0
        assert frame["chw_supply_temp"].min() > 39.0


def test_sound_plant_recovers_smoothly(sound):
    recovered = [event.time for event in sound.events("recovered")]
    for (start, _), back in zip(measure.runs(sound), recovered, strict=True):
        setpoint = sound.frame["chw_supply_setpoint"][start - MINUTE : back]
        assert measure.rise_in(setpoint, 10) < 1.8
        assert 30 * MINUTE < back - start < 90 * MINUTE
        after = sound.frame[start : back + HOUR]
        assert (after["chw_supply_temp"] - after["chw_reset_setpoint"]).max() < 0.5
        assert measure.reversals(after["chw_supply_temp"], 1.0) == 0


def test_sound_plant_sets_no_peak_by_changing_over(sound):
    blocks = measure.blocks(sound.frame)
    first = blocks[: measure.attempts(sound)[0][0]].max()
    for request, handover in measure.attempts(sound):
        assert blocks[request:handover].max() < 0.95 * first


def test_sound_plant_runs_on_its_setpoint(sound):
    recovered = [event.time for event in sound.events("recovered")]
    for (start, end), back in zip(measure.runs(sound), recovered, strict=True):
        frame = sound.frame[start : end - MINUTE]
        wanted = frame["chw_supply_setpoint"] - SOUND.sequence.exchanger_approach
        assert measure.share((frame["cw_supply_setpoint"] - wanted).abs() < 0.05) > 99.5
        slow = frame["tower_1_fan_speed"] <= 30.0
        assert measure.share((frame["cw_supply_temp"] > wanted - 2.0) | slow) > 99.0
        settled = frame[back:]
        off = (settled["chw_supply_temp"] - settled["chw_supply_setpoint"]).abs()
        assert measure.share(off <= 1.5) > 94.0
    assert measure.fan_starts(sound.frame) <= 2


def test_sound_plant_leaves_in_time(sound):
    supply, reset = sound.frame["chw_supply_temp"], sound.frame["chw_reset_setpoint"]
    for _, end in measure.runs(sound):
        held = measure.held_before(supply - reset > 1.5, end - MINUTE)
        assert 17 <= held <= 19


def test_before_correction_the_setpoint_never_moves(before):
    frame = before.frame
    assert frame["chw_reset_setpoint"].nunique() == 1
    assert frame["outdoor_dry_bulb"].max() - frame["outdoor_dry_bulb"].min() > 40.0


def test_before_correction_every_pull_down_loses_lift(before):
    assert len(before.events("trip")) == 2
    assert all(n >= 3 for n in measure.minutes_below(before, BEFORE.design.minimum_lift - 0.5))


def test_before_correction_the_return_is_one_step(before):
    setpoint = before.frame["chw_supply_setpoint"]
    for start, _ in measure.runs(before):
        assert setpoint[start] - setpoint[start - MINUTE] == pytest.approx(3.0)


def test_before_correction_the_exit_is_late(before):
    above = before.frame["chw_supply_temp"] > before.frame["chw_reset_setpoint"] + 1.5
    for _, end in measure.runs(before):
        assert measure.held_before(above, end - MINUTE) > 100
