"""What a chiller draws on the drawn plant: its ramp after a start, its current or demand limit;
and the most lift it may have.

Soft loading from 40 % in 10 to 30 min and demand limits of 40 to 100 % are common practice, no
source; surge belongs to high lift at low load (reference tables, third set, V1.4j).
"""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import EXIT, HANDOVER, REQUEST, at

from fptlib.job.schema import LiftProtection, Plant, Sensor, Sensors, Sequence
from fptlib.limits import Limits
from fptlib.procedure import script
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Check, Verdict

MINUTE = pd.Timedelta(minutes=1)
RATED, STEP = 200.0, 3.0
DRAW = Sensors({**drawn.SENSORS, "chiller_1_amps": Sensor(0.01, relative=True)})


def case(table: pd.DataFrame, minutes: int = 1, sequence: Sequence | None = None,
         **chiller: object) -> FunctionalTest:
    chillers = (replace(drawn.PLANT.chillers[0], **chiller), drawn.PLANT.chillers[1])
    return drawn.case(table, minutes, plant=replace(drawn.PLANT, chillers=chillers), sensors=DRAW,
                      **({} if sequence is None else {"sequence": sequence}))


def ramped(rate: float, start: float = 40.0) -> pd.DataFrame:
    """Chiller 1 takes over at the exit and loads from ``start`` by so many per cent a minute, up to
    90 %."""
    table = drawn.frame()
    since = (table.index - EXIT) / MINUTE
    ramp = np.where(since >= 0, np.minimum(start + rate * since, 90.0), 60.0)
    table["chiller_1_amps"] = RATED * ramp / 100.0 * table["chiller_1_running"]
    return table


def failed_at(found: Check, moment: pd.Timestamp, minutes: int) -> None:
    assert found.verdict is Verdict.FAIL, found.reason
    first = next(event for event in found.events if event.verdict is Verdict.FAIL)
    assert abs(first.start - moment) <= minutes * MINUTE, first.start


@pytest.mark.parametrize("minutes", [1, 5, 15])
@pytest.mark.parametrize(("actual", "allowed"), [(3.0, 3.0), (2.0, 3.0), (10.0, 10.0)])
def test_a_chiller_on_its_ramp_never_fails(actual: float, allowed: float, minutes: int) -> None:
    found = judge(case(ramped(actual), minutes, rated_amps=RATED, loading_rate=allowed),
                  "lift.loading")
    assert found.verdict is not Verdict.FAIL, found.reason
    if minutes == 1:
        assert found.verdict is Verdict.PASS, found.reason


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_chiller_that_loads_at_once_is_found(minutes: int) -> None:
    """90 % at its start, where 40 % and 1 % a minute are allowed: an hour of ramp."""
    found = judge(case(ramped(50.0), minutes, rated_amps=RATED, loading_rate=1.0), "lift.loading")
    failed_at(found, EXIT + MINUTE, minutes)
    # 90 % at most 5 min after the start is more than 65; after 15 min it may be full load.
    quick = judge(case(ramped(50.0), minutes, rated_amps=RATED, loading_rate=5.0), "lift.loading")
    assert quick.verdict is (Verdict.INDETERMINATE if minutes == 15 else Verdict.FAIL)
    assert quick.measured == pytest.approx(90.0)


def test_the_current_of_a_motor_that_comes_up_to_speed_is_no_load() -> None:
    table = ramped(3.0)
    table.loc[EXIT, "chiller_1_amps"] = 3.0 * RATED
    found = judge(case(table, rated_amps=RATED, loading_rate=3.0), "lift.loading")
    assert found.verdict is Verdict.PASS, found.reason


def test_power_stands_for_current_and_what_is_not_stated_is_said() -> None:
    table = ramped(50.0).drop(columns="chiller_1_amps")
    power = {"rated_power": RATED, "loading_rate": 1.0}
    assert judge(case(table, **power), "lift.loading").verdict is Verdict.FAIL
    for stated, said in (({}, "ramp of no chiller"), ({"loading_rate": 1.0}, "neither rated"),
                         ({"rated_amps": RATED, "loading_rate": 1.0}, "chiller_1_amps")):
        found = judge(case(table, **stated), "lift.loading")
        assert found.verdict is Verdict.NOT_TESTED and said in found.reason, found.reason
    gap = ramped(3.0)
    gap.loc[EXIT + 2 * MINUTE : EXIT + 8 * MINUTE, "chiller_1_amps"] = np.nan
    hidden = judge(case(gap, rated_amps=RATED, loading_rate=3.0), "lift.loading")
    assert hidden.verdict is Verdict.NOT_TESTED, hidden.reason


def limited(begin: pd.Timestamp, end: pd.Timestamp, share: float = 59.5) -> pd.DataFrame:
    """Chiller 1 at a share of its rated current, and the supply 3 °F above its setpoint, from
    ``begin`` to ``end``."""
    table = drawn.frame()
    table["chiller_1_amps"] = RATED * 0.45 * table["chiller_1_running"]
    table.loc[begin:end, "chiller_1_amps"] = RATED * share / 100.0
    table.loc[begin:end, "chw_supply_temp"] = table["chw_supply_setpoint"] + 3.0
    return table


LIMITED = {"rated_amps": RATED, "current_limit": 60.0}


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_chiller_held_at_its_limit_with_warm_water_is_found(minutes: int) -> None:
    begin, end = at("20:20"), at("21:04")
    failed_at(judge(case(limited(begin, end), minutes, **LIMITED), "lift.current_limit"), begin,
              minutes)
    for table in (limited(begin, end, 50.0), drawn.frame()):
        table["chiller_1_amps"] = table.get("chiller_1_amps", 0.0)
        sound = judge(case(table, minutes, **LIMITED), "lift.current_limit")
        assert sound.verdict is Verdict.PASS, sound.reason
    # On a warm day outside changeovers it is the plant's capacity, not the sequence.
    later = judge(case(limited(at("10:00", 1), at("12:00", 1)), minutes, **LIMITED),
                  "lift.current_limit")
    assert later.verdict is Verdict.PASS, later.reason


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_a_demand_limit_that_slows_a_quick_pull_down_is_not_accused(minutes: int) -> None:
    """The temporary setpoint runs ahead of a chiller at its limit, and the water stays as cold as
    the reset asks for; water that is warmer than that is the limit's doing."""
    table = limited(REQUEST, HANDOVER - MINUTE)
    led = table["chw_supply_setpoint"][REQUEST : HANDOVER - MINUTE]
    table.loc[REQUEST : HANDOVER - MINUTE, "chw_supply_temp"] = np.minimum(led + 3.0, 50.0)
    found = judge(case(table, minutes, **LIMITED), "lift.current_limit")
    assert found.verdict is Verdict.INDETERMINATE, found.reason
    if minutes == 1:
        assert "as a demand limit is meant to" in found.reason
    table.loc[REQUEST : HANDOVER - MINUTE, "chw_supply_temp"] = 52.5
    assert judge(case(table, minutes, **LIMITED), "lift.current_limit").verdict is Verdict.FAIL


def test_a_limit_that_nobody_stated_is_not_tested() -> None:
    found = judge(case(limited(at("20:20"), at("21:00"))), "lift.current_limit")
    assert found.verdict is Verdict.NOT_TESTED and "no chiller is stated" in found.reason


@pytest.mark.parametrize("minutes", [1, 5, 15])
def test_more_lift_than_the_manufacturer_allows_is_found(minutes: int) -> None:
    """Drawn: condenser water leaves at 71 °F by day, chilled water at 45 or 50 °F: 26 °F at most;
    half an hour at 35 on the second day."""
    table = drawn.frame()
    sound = judge(case(table, minutes, maximum_water_lift=30.0), "lift.maximum")
    # The drawn setpoint jumps by 5 °F: rare samples leave open what lay between.
    assert sound.verdict is (Verdict.PASS if minutes == 1 else Verdict.INDETERMINATE), sound.reason
    table.loc[at("09:00", 1) : at("09:44", 1), "chiller_1_cw_leaving_temp"] = 80.0
    failed_at(judge(case(table, minutes, maximum_water_lift=30.0), "lift.maximum"),
              at("09:00", 1), minutes)
    assert judge(case(table, minutes), "lift.maximum").verdict is Verdict.NOT_APPLICABLE


def test_a_maximum_that_is_a_line_is_lower_at_low_load() -> None:
    """320 tons are 80 % of 400: 20 and 40 °F of lift at no and full load allow 36 there, and 24 at
    80 tons."""
    table = drawn.frame()
    line = {"maximum_water_lift": 20.0, "maximum_lift_full": 40.0, "capacity": 400.0}

    def found(frame: pd.DataFrame) -> Check:
        chillers = tuple(replace(one, capacity=400.0) for one in drawn.PLANT.chillers)
        return judge(drawn.case(frame, plant=replace(drawn.PLANT, chillers=(
            replace(chillers[0], **line), chillers[1]))), "lift.maximum")

    assert found(table).verdict is Verdict.PASS
    table.loc[at("09:00", 1) : at("09:30", 1), "chw_flow"] = 200.0
    low = found(table)
    assert low.verdict is Verdict.FAIL and low.limit == pytest.approx(24.0, abs=0.1), low.reason
    assert found(table.drop(columns="chw_flow")).verdict is Verdict.NOT_TESTED


def test_common_practice_stands_for_a_minimum_that_is_not_stated_and_accuses_nobody() -> None:
    """The drawn lift goes down to 12.5 °F: enough for magnetic bearings (5 to 12), open for the
    others; a manufacturer's number counts before either."""
    for kind, verdict in (("centrifugal, magnetic bearings", Verdict.PASS),
                          ("centrifugal, medium-pressure refrigerant", Verdict.INDETERMINATE),
                          ("screw", Verdict.INDETERMINATE)):
        chillers = tuple(replace(one, minimum_water_lift=None, compressor=kind)
                         for one in drawn.PLANT.chillers)
        found = judge(drawn.case(plant=replace(drawn.PLANT, chillers=chillers)), "lift.minimum")
        assert found.verdict is verdict, found.reason
        assert all("common practice, no source" in event.text for event in found.events)
        stated = tuple(replace(one, minimum_water_lift=9.0) for one in chillers)
        found = judge(drawn.case(plant=replace(drawn.PLANT, chillers=stated)), "lift.minimum")
        assert found.verdict is Verdict.PASS and "common practice" not in found.reason
        free = judge(drawn.case(plant=replace(drawn.PLANT, chillers=chillers), sequence=Sequence(
            lift=LiftProtection("none needed"))), "lift.minimum")
        assert free.verdict is Verdict.NOT_APPLICABLE


def test_an_inverted_lift_that_the_manufacturer_allows_is_judged() -> None:
    """Water that leaves the condenser 4 °F colder than the evaporator: -5 is allowed, 0 is not."""
    table = drawn.frame()
    table.loc[REQUEST : HANDOVER - MINUTE, "chiller_1_chw_leaving_temp"] = (
        table["chiller_1_cw_leaving_temp"] + 4.0)
    for least, verdict in ((-5.0, Verdict.PASS), (0.0, Verdict.FAIL)):
        found = judge(case(table, minimum_water_lift=least), "lift.minimum")
        assert found.verdict is verdict, found.reason


def test_the_script_reads_ramp_and_limit_at_the_panel() -> None:
    """What trends of five minutes leave open is read there, and nothing is changed for it."""
    def step(plant: Plant) -> str:
        rows = script.script(plant, drawn.SEQUENCE, Limits(), (), "", "")
        return next(row["action"] + " " + row["expected"] for row in rows
                    if row["checks"] == "lift.loading, lift.current_limit")

    stated = replace(drawn.PLANT, chillers=(
        replace(drawn.PLANT.chillers[0], tag="CH-1", loading_rate=5.0, current_limit=80.0),))
    assert "Ramp: CH-1 5 % a minute. Limit: CH-1 80 %" in step(stated)
    assert "not stated yet" in step(drawn.PLANT) and "change none" in step(drawn.PLANT)
