"""Starts, the times between them, and stops under load on the drawn plant.

Three free starts and then 20 min from start to start are the restart inhibit of two centrifugal
chillers' control manuals (reference tables, third set, V1.4f); starts a day are common practice,
no source.
"""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import at

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.measures import Starts, busiest
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict

MINUTE = pd.Timedelta(minutes=1)
NIGHT = at("02:50", 1)


def case(table: pd.DataFrame, minutes: int = 1, **chiller: object) -> FunctionalTest:
    """Both chillers with other design data."""
    chillers = tuple(replace(one, **chiller) for one in drawn.PLANT.chillers)
    return drawn.case(table, minutes, plant=replace(drawn.PLANT, chillers=chillers))


def stopped(table: pd.DataFrame, n: int, start: pd.Timestamp, minutes: int) -> pd.DataFrame:
    table.loc[start : start + (minutes - 1) * MINUTE,
              [f"chiller_{n}_running", f"chiller_{n}_power"]] = 0.0
    return table


def short_cycling(off: int = 5) -> pd.DataFrame:
    """Both chillers start eight times in 100 minutes, one after the other."""
    table = drawn.frame()
    table.loc[at("02:00", 1) :, ["chiller_2_running", "chiller_2_power"]] = [1.0, 180.0]
    for k in range(8):
        for n in (1, 2):
            stopped(table, n, NIGHT + (13 * k + n) * MINUTE, off)
    return table


@pytest.mark.parametrize(("minutes", "most"), [(1, 5.0), (5, 5.0)])
def test_both_chillers_short_cycling_are_found(minutes: int, most: float) -> None:
    """Eight starts in 100 minutes are five in an hour."""
    found = judge(case(short_cycling(), minutes), "lift.starts")
    assert found.verdict is Verdict.FAIL, found.reason
    failed = [event for event in found.events if event.verdict is Verdict.FAIL]
    assert {event.subject for event in failed} == {
        "chiller 1, starts per hour", "chiller 2, starts per hour"}
    assert all(event.measured == pytest.approx(most, abs=1.0) for event in failed)
    assert all(NIGHT - 60 * MINUTE <= event.start <= NIGHT + 100 * MINUTE for event in failed)
    # Rows of five minutes cannot show more than six starts in an hour.
    assert judge(case(short_cycling(), minutes, starts_per_hour=6.0), "lift.starts").verdict is (
        Verdict.PASS if minutes == 1 else Verdict.NOT_TESTED)


def test_rows_of_a_quarter_hour_cannot_show_short_cycles() -> None:
    """Neither passed nor failed, and the drawn plant's long runs neither."""
    for table in (short_cycling(), drawn.frame()):
        found = judge(case(table, 15), "lift.starts")
        assert found.verdict is Verdict.NOT_TESTED
        hour = next(e for e in found.events if e.subject == "chiller 1, starts per hour")
        assert hour.verdict is Verdict.NOT_TESTED and "cannot show" in hour.text
    # What a whole day shows is judged: thirteen starts, after that of the exit the evening before.
    table = drawn.frame()
    for k in range(13):
        stopped(table, 1, at("00:00", 1) + k * 90 * MINUTE, 30)
    day = judge(case(table, 15), "lift.starts")
    assert day.verdict is Verdict.FAIL and day.measured == 14.0 and day.unit == "per day"


@pytest.mark.parametrize("minutes", [1, 5])
def test_a_restart_before_the_panels_timer_is_found(minutes: int) -> None:
    table = stopped(drawn.frame(), 1, at("05:00", 1), 10)
    found = judge(case(table, minutes, anti_recycle=20.0), "lift.starts")
    assert found.verdict is Verdict.FAIL and found.measured == pytest.approx(10.0)
    failed = next(e for e in found.events if e.verdict is Verdict.FAIL)
    assert failed.start == at("05:00", 1) and failed.subject == "chiller 1 from stop to start"
    exact = judge(case(stopped(drawn.frame(), 1, at("05:00", 1), 20), minutes, anti_recycle=20.0),
                  "lift.starts")
    assert exact.verdict is not Verdict.FAIL


def test_start_to_start_counts_from_the_earlier_start() -> None:
    table = stopped(stopped(drawn.frame(), 1, at("05:00", 1), 5), 1, at("05:13", 1), 5)
    found = judge(case(table, start_to_start=20.0), "lift.starts")
    assert found.verdict is Verdict.FAIL and found.measured == 13.0
    assert judge(case(table, start_to_start=10.0), "lift.starts").verdict is Verdict.PASS


def tripped(minutes: int = 20) -> pd.DataFrame:
    """Chiller 1 stops alone for a while with no alarm, and the water warms by 0.3 °F a minute."""
    table = stopped(drawn.frame(), 1, at("05:00", 1), minutes)
    rows = slice(at("05:00", 1), at("05:00", 1) + (minutes - 1) * MINUTE)
    table.loc[rows, "chw_supply_temp"] += 0.3 * np.arange(minutes)
    return table


@pytest.mark.parametrize(("minutes", "verdict"), [
    (1, Verdict.FAIL), (5, Verdict.FAIL), (15, Verdict.FAIL)])
def test_a_stop_under_load_is_found_without_any_alarm(minutes: int, verdict: Verdict) -> None:
    found = judge(case(tripped(), minutes), "lift.trips")
    assert found.verdict is verdict, found.reason
    failed = next(e for e in found.events if e.verdict is Verdict.FAIL)
    assert failed.subject == "chiller 1"
    assert abs(failed.start - at("05:00", 1)) <= minutes * MINUTE


def test_a_chiller_that_stops_for_want_of_load_did_not_trip() -> None:
    """It had pulled its water below the setpoint, as a chiller at light load does."""
    table = tripped()
    table.loc[at("04:50", 1) : at("04:59", 1), "chw_supply_temp"] -= 3.0
    assert judge(case(table), "lift.trips").verdict is Verdict.PASS
    gap = tripped()
    gap.loc[at("04:50", 1) : at("05:30", 1), "chw_supply_temp"] = np.nan
    assert judge(case(gap), "lift.trips").verdict is Verdict.NOT_TESTED


def test_a_gap_of_the_status_may_hide_a_trip() -> None:
    """Running before and off after: the stop lies in the gap, however short."""
    table = tripped()
    table.loc[at("04:57", 1) : at("05:02", 1), ["chiller_1_running", "chiller_1_power"]] = np.nan
    assert judge(case(table), "lift.trips").verdict is Verdict.NOT_TESTED


def test_days_that_no_trend_covers_hide_nothing() -> None:
    """Two weeks of one winter, a month apart in one file."""
    table = drawn.frame()
    later = table.set_axis(table.index + pd.Timedelta(days=30))
    both = case(pd.concat([table, later]).asfreq("1min"))
    assert both.unrecorded.sum() > 20 * 1440
    for id in ("lift.starts", "lift.trips", "cold.condenser_water"):
        assert judge(both, id).verdict is judge(case(table), id).verdict, id


def test_a_chiller_that_another_relieves_did_not_trip() -> None:
    table = tripped()
    table.loc[at("04:55", 1) :, ["chiller_2_running", "chiller_2_power"]] = [1.0, 180.0]
    assert judge(case(table), "lift.trips").verdict is Verdict.PASS


def test_starts_are_counted_in_any_window() -> None:
    """Two starts three rows apart, and what a gap of three rows may hide beside them."""
    status = np.array([0, 1, 0, 0, 1, 1, np.nan, np.nan, np.nan, 1.0])
    assert busiest(status, 3) == Starts(1, 1, 2)
    assert busiest(status, 5) == Starts(2, 4, 3)
    assert busiest(status, 100).most == 2
