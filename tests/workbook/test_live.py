"""The live test without widgets: what may be marked when, countdowns, spot readings."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import small_plant

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.limits import Limits
from fptlib.workbook import live
from fptlib.workbook.live import CONDITION, END, HANDOVER, PAUSE, REQUEST, RESUME, START

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
    (END, (START, END)),
])
def test_a_mark_that_cannot_be_is_refused_with_a_sentence(what, names):
    with pytest.raises(FormError):
        live.allowed(what, marks(*names))


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
