"""The live test without widgets: what may be marked when, countdowns, spot readings."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest
import small_plant

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.job.schema import Abort, Chiller, Plant, Reading
from fptlib.limits import Limits
from fptlib.workbook import live
from fptlib.workbook.live import ABORT, CONDITION, END, HANDOVER, PAUSE, REQUEST, RESUME, START
from fptlib.workbook.live_readings import Now, codes, meaning, read_next, watched

T0 = datetime(2026, 1, 10, 20, 0, tzinfo=UTC)


def marks(*names):
    return [{"time": (T0 + timedelta(minutes=n)).isoformat(), "what": name, "by": ""}
            for n, name in enumerate(names)]


@pytest.mark.parametrize(("names", "now"), [
    ((), "not started"), ((START,), "running"), ((START, PAUSE), "paused"),
    ((START, PAUSE, RESUME, REQUEST), "running"), ((START, END), "ended"),
    ((START, END, START), "running"),
])
def test_the_last_word_decides_whether_it_runs(names, now):
    assert live.state(marks(*names)) == now


@pytest.mark.parametrize(("what", "names"), [
    (REQUEST, ()), (REQUEST, (START, PAUSE)), (PAUSE, ()), (RESUME, (START,)), (START, (START,)),
    (END, (START, END)), (HANDOVER, (START,)), (HANDOVER, (START, REQUEST, HANDOVER)),
    ("setpoint back at reset", (START, REQUEST)), (REQUEST, (START, ABORT)), (ABORT, (START, END)),
])
def test_a_mark_that_cannot_be_is_refused_with_a_sentence(what, names):
    with pytest.raises(FormError):
        live.allowed(what, marks(*names))


def test_after_an_abort_the_chillers_start_can_still_be_marked_once():
    live.allowed(live.CHILLER_ON, marks(START, REQUEST, ABORT))
    with pytest.raises(FormError):
        live.allowed(live.CHILLER_ON, marks(START, REQUEST, ABORT, live.CHILLER_ON))
    with pytest.raises(FormError, match="cannot come before"):
        live.allowed(live.CHILLER_ON, marks(START, REQUEST))


def test_marks_are_kept_in_the_job_in_their_order(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "job"))
    for n, what in enumerate((START, REQUEST, HANDOVER)):
        live.add_mark(job, what, "A", T0 + timedelta(minutes=n))
    assert [mark["what"] for mark in job.get("marks")] == [START, REQUEST, HANDOVER]


def test_dwell_counts_down_until_the_request():
    counted, = live.countdowns(marks(START, CONDITION), Limits())
    assert counted.text(T0 + timedelta(minutes=11)) == (
        "Enable delay: 0:20:00 left of 30 min")
    assert counted.text(T0 + timedelta(minutes=33)) == (
        "Enable delay: 30 min reached, 0:02:00 over")
    assert not live.countdowns(marks(START, CONDITION, REQUEST), Limits())


def test_return_times_count_from_the_handover():
    names = [c.what for c in live.countdowns(marks(START, HANDOVER), Limits())]
    assert names == ["Ramp not done before", "Ramp done by"]
    over = marks(START, HANDOVER, "setpoint back at reset")
    assert not live.countdowns(over, Limits())


def test_no_countdown_goes_on_when_the_test_has_ended():
    assert live.countdowns(marks(START, CONDITION, PAUSE), Limits())
    assert not live.countdowns(marks(START, CONDITION, END), Limits())


def test_a_new_test_starts_from_nothing():
    assert not live.countdowns(marks(START, CONDITION, END, START), Limits())


def test_a_spot_reading_is_two_letters_a_space_and_a_number():
    assert live.spot("cs 44.2") == ("chw_supply_temp", "44.2", "")
    assert live.spot("cs 6.8 °C") == ("chw_supply_temp", "6.8", "degC")
    assert live.spot("CF 46.2 l/s") == ("chw_flow", "46.2", "L/s")
    assert live.spot(" WB 31 ") == ("outdoor_wet_bulb", "31", "")


@pytest.mark.parametrize("typed", ["zz 44", "cs", "cs ", "", "44.2", "cs 44 gpm", "cs 44 2"])
def test_a_spot_reading_that_is_none_gets_a_sentence(typed):
    with pytest.raises(FormError):
        live.spot(typed)


def test_a_second_enable_begins_a_new_attempt():
    live.allowed(REQUEST, marks(START, REQUEST, HANDOVER))
    live.allowed(HANDOVER, marks(START, REQUEST, HANDOVER, REQUEST))


def test_the_last_mark_of_this_test_is_undone_and_no_other(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "job"))
    for n, what in enumerate((START, REQUEST)):
        live.add_mark(job, what, "A", T0 + timedelta(minutes=n))
    assert live.undo(job) == REQUEST and live.undo(job) == START
    with pytest.raises(FormError, match="nothing to undo"):
        live.undo(job)


def reading(minute, point, value):
    return Reading(T0 + timedelta(minutes=minute), point, value, "T1", "A")


def now(minute, *readings):
    return Now(readings, T0 + timedelta(minutes=minute))


PLANT = Plant(4200.0, "America/Denver", (Chiller(1, minimum_water_lift=8.0), Chiller(2)), 1)


def test_what_readings_mean():
    here = now(12, reading(2, "chw_supply_setpoint", 40.0), reading(9, "cw_supply_temp", 45.0),
               reading(10, "chiller_2_cw_leaving_temp", 51.0), reading(10, "chw_supply_temp", 41.0),
               reading(11, "outdoor_wet_bulb", 38.5), reading(12, "chw_supply_setpoint", 43.0))
    assert meaning(here, PLANT, Limits()) == [
        "lift of chiller 2 = 10.0 °F", "tower approach = 6.5 °F",
        "active setpoint rises 3.0 °F in 10 min, at most 2: TOO FAST"]


def test_what_was_read_long_ago_means_nothing():
    old = now(40, reading(2, "cw_supply_temp", 45.0), reading(2, "outdoor_wet_bulb", 38.0))
    assert meaning(old, PLANT, Limits()) == []


@pytest.mark.parametrize(("minute", "values", "met", "words"), [
    (12, ((0, 55.0), (6, 55.5)), True, "12 of 10 min"),
    (8, ((0, 55.0), (6, 55.5)), False, "8 of 10 min"),
    (12, ((0, 55.0), (5, 52.0), (8, 55.0)), False, "4 of 10 min"),
    (12, ((0, 55.0), (8, 52.0)), False, "2.0 °F; stop above 4 °F"),
    (30, ((0, 55.0), (6, 55.5)), None, "not read in the last 10 min"),
])
def test_an_abort_condition_is_evaluated_from_spot_readings(minute, values, met, words):
    condition = Abort("Too warm", "supply_above_reset", "above", 4.0, "degF difference", 10.0)
    readings = [each for at, value in values for each in (
        reading(at, "chw_reset_setpoint", 50.0), reading(at, "chw_supply_temp", value))]
    found, = watched(now(minute, *readings), [condition], PLANT)
    assert found.met is met and words in found.said


def test_an_alarm_is_marked_and_ice_is_watched_by_eye():
    trip, ice = watched(now(5), [Abort("Trip", "chiller_alarm"), Abort("Ice", "at the plant")],
                        PLANT, T0)
    assert trip.met and trip.said == "marked at 20:00"
    assert ice.met is None and ice.said == "watch it at the plant"


def test_what_to_read_next_is_what_was_read_longest_ago():
    here = now(9, reading(8, "cw_supply_temp", 45.0))
    assert read_next(here, ["cw_supply_temp", "chiller_3_cw_leaving_temp"], T0) == (
        "Read next: condenser water leaving chiller 3 (k3) by 20:05 (late)")


def test_there_are_codes_for_every_chiller():
    assert live.spot("k4 51", codes(4)) == ("chiller_4_cw_leaving_temp", "51", "")
    with pytest.raises(FormError):
        live.spot("k4 51", codes(3))


def test_a_clock_that_fails_says_that_nothing_is_watched(tmp_path, monkeypatch):
    job = Job(small_plant.write_job(tmp_path / "job"))
    live.add_mark(job, START, "A", T0)
    monkeypatch.setattr(live, "_TICK_SECONDS", 0.02)
    panel = live.LivePanel(job)
    monkeypatch.setattr(live, "clock_markup", lambda *_: 1 / 0)
    until = time.monotonic() + 60.0
    while "not watched" not in panel.watch.value and time.monotonic() < until:
        time.sleep(0.02)
    assert "abort conditions are not watched" in panel.watch.value
