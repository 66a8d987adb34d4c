"""Lines of the settings sheet on power and freezing weather: what they say, and when they say
nothing. The drawn plant draws 245 kW on chillers and 65 kW on the exchanger by construction."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pytest

from fptlib.job.schema import ENERGY, Charge, Tariff
from fptlib.procedure import power_models, savings, settings_sheet, sheet_lines
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.replay import Replay, replayed
from fptlib.procedure.sequence import CHILLERS, ECONOMIZER, Controller, Seen, Settings
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Verdict

SETTINGS = Settings(7.0, 2.0)


def cost(test: FunctionalTest) -> sheet_lines.Line:
    return sheet_lines.on_cost(test, "–")


def all_day(test: FunctionalTest, mode: int, condenser: float = 48.0) -> Replay:
    found = replayed(test, SETTINGS)
    return replace(found, mode=np.full(len(test), mode),
                   condenser=np.full(len(test), condenser))


def test_the_comparative_exit_is_the_chillers_line() -> None:
    """245 kW at the drawn 320 tons: 0.77 kW/ton."""
    found = cost(drawn.case())
    assert "0.7" in found.recommended and "kW/ton at 3" in found.recommended
    assert found.recommended.endswith("for 30 min") and "nowhere that was seen" in found.why


@pytest.mark.parametrize("name", ["chw_flow", "plant_power", "outdoor_wet_bulb"])
def test_without_power_load_or_weather_it_is_not_known(name: str) -> None:
    table = drawn.frame().drop(columns=[name])
    if name == "plant_power":
        table = table.drop(columns=["tower_fan_power"])
    if name == "outdoor_wet_bulb":
        table = table.drop(columns=["outdoor_humidity"])
    found = cost(drawn.case(table))
    assert found.recommended == sheet_lines.UNKNOWN and found.why.startswith("not trended: ")


def test_an_exchanger_that_draws_more_is_named_and_the_replay_leaves_by_that_line() -> None:
    """400 kW on the exchanger where chillers draw 245 at every load: a sequence that compares does
    not enable, one that does not stays on and fails the check."""
    table = drawn.frame()
    table.loc[table["economizer_active"] == 1.0, "plant_power"] = 400.0
    test = drawn.case(table)
    assert "from " in cost(test).why and "°F wet bulb on" in cost(test).why
    reset = test.reset_setpoint
    stays, leaves = (replayed(test, replace(SETTINGS, cost_delay=delay)) for delay in (None, 30.0))
    assert (stays.mode == ECONOMIZER).any() and not (leaves.mode == ECONOMIZER).any()
    judged = [judge(settings_sheet.as_if(test, each, reset), "exit.comparative").verdict
              for each in (stays, leaves)]
    assert judged == [Verdict.FAIL, Verdict.NOT_TESTED]
    found = settings_sheet.sheet(test, {})
    assert found.settings is not None and found.settings.cost_delay == 30.0
    assert "exit.comparative" not in [check.id for check in found.failed]


def test_a_controller_leaves_once_the_exchanger_was_dearer_for_the_delay() -> None:
    """Minimum run time 60 min, dearer from minute 90 on: it leaves at minute 120 and stays off."""
    control = Controller(replace(SETTINGS, cost_delay=30.0, run_time=60.0), ECONOMIZER)
    modes = []
    for minute in range(240):
        control.step(Seen(30.0, 50.0, 45.0, 47.0, dearer=minute >= 90), 1.0)
        modes.append(control.mode)
    assert modes.index(CHILLERS) == 120 and set(modes[120:]) == {CHILLERS}


def drawing(more: float) -> FunctionalTest:
    """The drawn plant with so many kW more from its enable until the last chiller stops."""
    table = drawn.frame()
    pulling = (table.index >= drawn.REQUEST) & (table.index < drawn.HANDOVER)
    table.loc[pulling, "plant_power"] += more
    return drawn.case(table)


def minimum(test: FunctionalTest) -> tuple[float, sheet_lines.Line]:
    settings = settings_sheet.recommended(test, {}, 0.0, 0.0)
    lines = settings_sheet.sheet(test, {}).lines
    return settings.run_time, next(each for each in lines if each.name == "minimum run time")


def test_a_run_must_pay_for_its_changeover() -> None:
    """60 kW more for 40 min are 40 kWh; the exchanger saves 245 - 65 = 180 kW: 13 min, well within
    the limit of 120. 900 kW more are 600 kWh: 200 min, which the recommendation holds."""
    longest, said = sheet_lines.break_even(drawing(60.0))
    assert "draws 40 ±" in said and "saves 180 ±" in said and "pays from 13 ±" in said
    assert "last one stops (one seen)" in said
    assert 13.3 <= longest < 20.0
    run_time, line = minimum(drawing(60.0))
    assert run_time == 120.0 and said in line.why and line.valid == "120 min to a day"


def test_a_break_even_beyond_the_limit_says_so_and_one_beyond_a_day_recommends_nothing_by_it():
    """600 kWh over 180 kW are 200 min and more than the limit of 120 asks for; 7 MWh are 39 h."""
    dear, line = minimum(drawing(900.0))
    assert 200.0 <= dear < 240.0 and line.valid == f"{dear:.0f} min to a day"
    assert f"the limit of 120 min passes runs that do not pay: state {dear:.0f} min" in line.why
    never, line = minimum(drawing(10_500.0))
    assert never == 120.0 and line.valid == "120 min to a day"
    assert "no minimum run time makes a changeover pay" in line.why


def test_a_run_lasts_until_a_stopped_chiller_may_start_again() -> None:
    """Anti-recycle 150 min and 200 from start to start: 150 min on the exchanger, 50 off it."""
    test = drawn.case()
    chillers = tuple(replace(each, anti_recycle=150.0, start_to_start=200.0)
                     for each in test.plant.chillers)
    slow = replace(test, plant=replace(test.plant, chillers=chillers))
    found = settings_sheet.recommended(slow, {}, 0.0, 0.0)
    assert (found.run_time, found.off_time) == (150.0, 50.0)


def test_where_power_or_pull_down_was_not_seen_the_break_even_is_not_known() -> None:
    table = drawn.frame().drop(columns=["plant_power", "tower_fan_power"])
    assert sheet_lines.break_even(drawn.case(table)) == (
        0.0, "break-even run length not known: not trended: " + power_models.problem(
            drawn.case(table)).partition(": ")[2])
    late = drawn.frame()[lambda each: each.index >= drawn.HANDOVER]
    length, why = sheet_lines.break_even(drawn.case(late))
    assert length == 0.0 and "no pull-down was seen through" in why


def enables(test: FunctionalTest, low: float, high: float) -> sheet_lines.Line:
    return sheet_lines.enable_line(test, SETTINGS, np.linspace(low, high, len(test)))


def test_the_enable_wet_bulb_is_not_known_where_the_towers_were_not_seen() -> None:
    """The drawn towers were seen at 34 to 37 °F wet bulb and 320 tons."""
    found = enables(drawn.case(), 40.0, 70.0)
    assert found.recommended.startswith(
        "not known at a reset setpoint of 40.0 (below 34 °F wet bulb, where the towers were not")
    assert found.recommended.endswith("(above 37 °F wet bulb, where the towers were not seen)")
    bare = enables(drawn.case(drawn.frame().drop(columns=["chw_flow"])), 44.0, 50.0)
    assert bare.recommended == sheet_lines.UNKNOWN and "approach curve of the exchanger" in bare.why


def test_fewer_tons_are_taken_as_the_least_that_was_seen_and_more_are_not_known() -> None:
    """The drawn load before the transition is that of the run; half of it asks for as much
    approach, one and a half is beyond the curve."""
    def loaded(share: float) -> sheet_lines.Line:
        table = drawn.frame()
        table.loc[table.index < drawn.HANDOVER, "chw_flow"] *= share
        return enables(drawn.case(table), 46.0, 60.0)

    whole, half, none, more = (loaded(share) for share in (1.0, 0.5, 0.0, 1.5))
    assert none.recommended == whole.recommended and "changes over at 0)" in none.why
    assert half.recommended == whole.recommended and "changes over at 16" in half.why
    assert more.recommended == sheet_lines.UNKNOWN and "more than the approach curves" in more.why


def test_fans_in_freezing_weather_follow_the_condenser_water() -> None:
    """36 °F and the sensor's 0.2 °F (k = 2 of a rectangle and of steps of 0.1): 36.5 °F."""
    table = drawn.frame()
    test = drawn.case(table)
    assert sheet_lines.fans_in_frost(test, None).why == "no freezing weather in these trends"
    table["outdoor_dry_bulb"] -= 12.0
    cold = drawn.case(table)
    found = sheet_lines.fans_in_frost(cold, all_day(cold, ECONOMIZER))
    assert found.recommended.startswith("above 30 % only with condenser water at or above 36.5 °F")
    assert found.found == "observed 45 to 60 %"
    too_cold = sheet_lines.fans_in_frost(cold, all_day(cold, ECONOMIZER, 36.0))
    assert too_cold.recommended == sheet_lines.WITHHELD and "goes down to 36.0 °F" in too_cold.why
    bare = drawn.case(table.drop(columns=["tower_1_fan_speed"]))
    assert sheet_lines.fans_in_frost(bare, None).why == "not trended: tower_1_fan_speed"


def test_the_effect_is_that_of_the_one_function() -> None:
    case = replace(drawn.case(), tariff=Tariff(currency="USD", charges=(
        Charge(name="all", kind=ENERGY, price=0.1),)))
    found = sheet_lines.effect(case, all_day(case, ECONOMIZER), case.reset_setpoint)
    assert found.recommended == f"adds {savings.lost(case, case.chiller_mode)}"
    assert "USD" in found.recommended
    none = sheet_lines.effect(case, all_day(case, CHILLERS), case.reset_setpoint)
    alone = (case.commanded == 1.0) & (case.chillers_on == 0.0)
    assert none.recommended == f"adds 0 h; takes away {savings.brought(case, alone)}"
    assert f"takes away {alone.sum() / 60.0:.1f} h, " in none.recommended


def test_the_condenser_water_on_chillers_is_that_of_guideline_36() -> None:
    """Section 6.2 of the check values: minimum lift 15, 95 °F return at design, 42 °F lowest."""
    test = drawn.case()
    chillers = tuple(replace(each, minimum_water_lift=15.0) for each in test.plant.chillers)
    test = replace(test, plant=replace(test.plant, chillers=chillers, cw_return_design=95.0))
    found = sheet_lines.water_on_chillers(test, np.full(len(test), 42.0), 40.0)
    assert found.recommended.startswith("53.0 at 100%, 32.1 at 50%, 21.6 at 25%, 15.0 at 0%")
    assert found.found.startswith("observed ") and "on chillers alone" in found.valid
    bare = sheet_lines.water_on_chillers(drawn.case(), np.full(len(test), 42.0), 40.0)
    assert bare.recommended == sheet_lines.UNKNOWN and "no design condenser-water" in bare.why


def test_the_enable_wet_bulb_stands_beside_that_of_guideline_36() -> None:
    """Tower 7, exchanger 2 and a degree to spare: 10 °F below the setpoint."""
    assert "without tuning and with the approaches as stated: 36.0 °F at 46.0" in enables(
        drawn.case(), 46.0, 60.0).why
