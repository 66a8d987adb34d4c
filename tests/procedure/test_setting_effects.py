"""What one setting changed alone brings in the replayed record. The drawn plant draws 245 kW on
chillers and 65 kW on the exchanger, so an hour on the exchanger is worth 180 kWh."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import drawn_plant as drawn
import numpy as np
import pytest
from humid_air import humidity_from_wet_bulb

from fptlib.limits import standard
from fptlib.physics import atmosphere
from fptlib.procedure import setting_effects, settings_sheet, year, year_replayed
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.replay import replayed, specified
from fptlib.procedure.reset import setpoint_of_year
from fptlib.procedure.sequence import ECONOMIZER
from fptlib.procedure.sheet_lines import WITHHELD, Line

TEST = drawn.case()


def effect(name: str, stated: Mapping[str, Mapping[str, Any]], test: FunctionalTest = TEST,
           **changed: float) -> str:
    """What is said of a line when the recommendation is as specified but for what is changed."""
    line = Line("enable", standard(name).short, "–", "–", "so much", "–", "–")
    settings = replace(specified(test, {}), **changed)
    return setting_effects.with_effects(
        test, stated, settings, test.reset_setpoint, [line])[0].effect


def test_a_longer_delay_loses_its_minutes_at_180_kwh_an_hour() -> None:
    """A delay of 90 min in place of the 30 programmed: one enable, an hour later, so an hour less
    on the exchanger; hours are those of two replays counted here."""
    stated = {"enable.dwell": {"programmed": 30.0, "specified": 60.0}}
    said = effect("enable.dwell", stated, delay=90.0)
    early, late = (replayed(TEST, replace(specified(TEST, {}), delay=delay)) for delay in (30, 90))
    lost = ((early.mode == ECONOMIZER) & (late.mode != ECONOMIZER)).sum() / 60.0
    assert lost > 0.2
    assert said.startswith(
        f"against the value programmed: on the exchanger it loses {lost:.1f} h, ")
    kwh = float(re.findall(r"h, ([0-9,]+) ±", said)[0].replace(",", ""))
    assert kwh == pytest.approx(180.0 * lost, rel=0.1)
    assert "chiller starts as before" in said and "highest demand as before. In a typical" in said


def test_the_same_value_is_none_against_what_it_was_compared_with() -> None:
    assert effect("enable.dwell", {"enable.dwell": {"specified": 45.0}}, delay=45.0) == (
        "none against the value specified: it is the same")
    assert effect("enable.dwell", {}) == "none against the limit: it is the same"


def test_without_power_there_are_hours_and_no_kwh() -> None:
    table = drawn.frame().drop(columns=["plant_power", "tower_fan_power"])
    said = effect("enable.dwell", {}, drawn.case(table), delay=90.0)
    assert "kWh not known: not trended: " in said and "; demand not known. In a" in said


def test_what_the_replay_does_not_carry_is_not_known_and_what_is_withheld_says_nothing() -> None:
    assert effect("running.tower_offset", {}) == setting_effects.ALONE
    line = Line("enable", standard("enable.dwell").short, "–", "–", WITHHELD, "–", "–")
    settings = replace(specified(TEST, {}), delay=90.0)
    assert setting_effects.with_effects(
        TEST, {}, settings, TEST.reset_setpoint, [line])[0].effect == "–"


@cache
def with_a_year() -> FunctionalTest:
    """365 equal days, wet bulb 32 °F before dawn and 44 in the afternoon."""
    air = 38.0 - 6.0 * np.cos(2.0 * np.pi * (np.arange(8760) % 24 - 4.0) / 24.0)
    dry = 2.0 * air - 26.0
    pressure = atmosphere.pressure_at(drawn.PLANT.altitude)
    return replace(TEST, weather={
        "outdoor_dry_bulb": dry, "outdoor_humidity": humidity_from_wet_bulb(dry, air, pressure),
        "station_pressure": np.full(8760, float(pressure))})


def test_a_longer_delay_loses_an_hour_of_each_night_of_a_typical_year() -> None:
    """One enable a night, so 365 times 60 min, and 180 kWh for each hour of known load."""
    said = effect("enable.dwell", {}, with_a_year(), delay=90.0)
    assert ". In a typical year it loses 365 h, " in said
    assert said.endswith("chiller starts 365 in place of 365")
    lost = re.search(
        r"loses 365 h, ([0-9,]+) ± ([0-9,]+) kWh(?: in the ([0-9,.]+) h compared)?", said)
    assert lost is not None
    kwh, known_to, hours = (float((each or "365").replace(",", "")) for each in lost.groups())
    assert kwh == pytest.approx(180.0 * hours, rel=0.05) and 0.0 < known_to < 0.2 * kwh


def test_the_hours_of_a_replayed_year_are_those_of_its_condition() -> None:
    """Counted apart: from the delay and the pull-down after the condition begins to hold, until the
    water that towers and exchanger make is above the band for the exit delay."""
    test = with_a_year()
    settings = specified(test, {})
    on = year_replayed.on_exchanger(test, settings, None)
    nights = on[: 364 * 96].reshape(364, 96)
    assert (nights[1:] == nights[1]).all()
    tower, plate = year.approaches_of_year(test)
    air, setpoint = year.weather_wet_bulb(test), setpoint_of_year(test)
    able = air + np.nan_to_num(tower, nan=7.0) + np.nan_to_num(plate, nan=2.0) <= (
        setpoint + settings.band)
    holds = air + settings.needed <= setpoint
    assert holds.mean() * 24.0 - 3.0 < on.mean() * 24.0 < able.mean() * 24.0 + 1.0


def test_what_a_typical_year_does_not_show_is_not_known() -> None:
    said = effect("exit.delay", {}, with_a_year(), exit_delay=17.0)
    assert said.endswith("it is replayed in quarter-hours, and this timer moves within them")
    assert effect("exit.delay", {}, exit_delay=17.0).endswith("the job has no weather file")
    bare = replace(drawn.case(drawn.frame().drop(columns=["outdoor_dry_bulb"])),
                   weather=with_a_year().weather)
    assert effect("enable.dwell", {}, bare, delay=90.0).endswith("the trends show no reset line")


def test_a_fixed_wet_bulb_is_compared_with_the_line() -> None:
    """A fixed 20 °F never lets the drawn plant enable; the line does for every hour of its run."""
    cold = replace(TEST, sequence=replace(TEST.sequence, enable=replace(
        TEST.sequence.enable, wet_bulb=20.0)))
    line = Line("enable", "highest outdoor wet bulb at which the economizer may be enabled", "–",
                "–", "so much", "–", "–")
    said = setting_effects.with_effects(
        cold, {}, specified(TEST, {}), cold.reset_setpoint, [line])[0].effect
    hours = float((replayed(TEST, specified(TEST, {})).mode == ECONOMIZER).sum()) / 60.0
    assert hours > 10.0 and said.startswith(
        f"against the fixed wet bulb: on the exchanger it gains {hours:.1f} h")
    assert "chiller starts +1" in said


def test_every_line_of_the_sheet_has_an_effect_or_says_why_not() -> None:
    lines = settings_sheet.sheet(TEST, {}).lines
    assert all(each.effect for each in lines)
    assert any(each.effect.startswith("against the limit: ") for each in lines)
    assert np.mean([each.effect == setting_effects.ALONE for each in lines]) < 0.5
