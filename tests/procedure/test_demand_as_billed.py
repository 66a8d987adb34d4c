"""Demand as a utility bills it: blocks, tolerance, on-peak hours, service meter.

The two peaks are those of the reference values for demand windows: 400 kW, and 900 kW in minutes
10 to 19: blocks by the clock 566.67, rolling quarter-hours 733.33 kW.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import time

import drawn_plant as drawn
import pandas as pd
import pytest

from fptlib.procedure import recovery
from fptlib.procedure.verdict import Check, Verdict


def judged(table: pd.DataFrame, **plant: object) -> Check:
    return recovery.demand(drawn.case(table, plant=replace(drawn.PLANT, **plant)))


@pytest.mark.parametrize(("window", "peak"), [("clock", 566.67), ("sliding", 733.33)])
def test_the_changeovers_peak_is_the_one_that_is_billed(window: str, peak: float) -> None:
    table = drawn.frame()
    table["plant_power"] = 400.0
    table.loc[drawn.at("03:10") : drawn.at("03:19"), "plant_power"] = 900.0
    found = judged(table, demand_window=window)
    assert found.verdict is Verdict.FAIL
    assert found.measured == pytest.approx(peak, abs=0.005)


@pytest.mark.parametrize(("share", "verdict"), [
    (1.004, Verdict.PASS), (1.04, Verdict.PASS), (1.06, Verdict.FAIL)])
def test_a_peak_within_the_tolerance_is_none(share: float, verdict: Verdict) -> None:
    table = drawn.frame()
    ordinary = judged(table).events[0].quantities["highest outside changeovers, kW"]
    table.loc[drawn.at("03:00") : drawn.at("03:14"), "plant_power"] = share * float(ordinary)
    assert judged(table).verdict is verdict


def test_a_block_that_ended_before_the_enable_is_not_the_changeovers() -> None:
    """The enable is at 02:45: the block from 02:30 to 02:45 is ordinary operation."""
    table = drawn.frame()
    table.loc[drawn.at("02:30") : drawn.at("02:44"), "plant_power"] = 900.0
    assert judged(table).verdict is Verdict.PASS


def test_only_on_peak_hours_are_billed() -> None:
    """The drawn Saturday: the enable at 02:45, the exit at 20:16."""
    table = drawn.frame()
    table.loc[drawn.at("03:00") : drawn.at("03:29"), "plant_power"] = 900.0
    day = {"on_peak_from": time(14), "on_peak_to": time(22), "on_peak_days": "every day"}
    found = judged(table, **day)
    assert found.verdict is Verdict.PASS
    assert found.events[0].verdict is Verdict.NOT_APPLICABLE
    assert "outside the utility's on-peak hours" in found.events[0].text
    night = {**day, "on_peak_from": time(22), "on_peak_to": time(6)}
    assert judged(table, **night).verdict is Verdict.FAIL
    weekend = judged(table, **{**night, "on_peak_days": "weekdays"})
    assert weekend.verdict is Verdict.NOT_TESTED
    one_end = judged(table, on_peak_from=time(14))
    assert one_end.verdict is Verdict.NOT_TESTED and "one end only" in one_end.reason


def test_the_service_meter_counts_where_it_is_trended() -> None:
    """The building's own peak at noon hides what the plant does at night."""
    table = drawn.frame()
    table.loc[drawn.at("03:00") : drawn.at("03:29"), "plant_power"] = 600.0
    assert judged(table).verdict is Verdict.FAIL
    table["service_power"] = table["plant_power"] + 500.0
    table.loc[drawn.at("12:00") : drawn.at("13:00"), "service_power"] = 1500.0
    assert judged(table).verdict is Verdict.PASS


def test_an_overshoot_two_hours_after_a_step_is_seen() -> None:
    """The setpoint jumped back at once; the supply overshoots 112 minutes later."""
    table = drawn.frame()
    table.loc[drawn.RELEASE : drawn.EXIT - pd.Timedelta(minutes=1), "chw_supply_setpoint"] = 50.0
    table.loc[drawn.at("05:19") : drawn.at("05:30"), "chw_supply_temp"] = 54.0
    found = recovery.stable(drawn.case(table))
    assert found.verdict is Verdict.FAIL
    assert found.events[0].start == drawn.at("05:19")


def test_rows_as_long_as_a_window_that_slides_cannot_pass_what_lies_between_them() -> None:
    """A peak from 03:07 to 03:22 is whole in its own quarter hour and halved in those of
    the clock; of quarter-hour rows only the clock's own blocks are known."""
    table = drawn.frame()
    table["plant_power"] = 400.0
    table.loc[drawn.at("03:07") : drawn.at("03:21"), "plant_power"] = 432.0
    mean = table.assign(plant_power=table["plant_power"].resample("15min").transform("mean"))
    said = {(window, minutes): recovery.demand(drawn.case(
        rows, minutes, plant=replace(drawn.PLANT, demand_window=window))).verdict
        for window in ("clock", "sliding") for minutes, rows in ((1, table), (15, mean))}
    assert said["sliding", 1] is Verdict.FAIL
    assert said["clock", 1] is said["clock", 15] is Verdict.PASS
    assert said["sliding", 15] not in (Verdict.PASS, Verdict.FAIL)
