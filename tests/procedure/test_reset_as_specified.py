"""The reset as specified: its driver, its line, its level stretches; on the drawn plant."""

from __future__ import annotations

from collections.abc import Callable

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.job.schema import Reset, Sequence
from fptlib.procedure.steps import judge
from fptlib.procedure.verdict import Check, Verdict

NONE = Reset()
LINE = Reset("outdoor air", 30.0, 52.0, 60.0, 44.0)


def judged(table: pd.DataFrame, reset: Reset = NONE, minutes: int = 1) -> Check:
    return judge(drawn.case(table, minutes, sequence=Sequence(reset=reset)), "reset.active")


def following(reset: Reset, driver: str, values: np.ndarray) -> pd.DataFrame:
    """The drawn plant with its setpoint on a line over a driver."""
    table = drawn.frame()
    table[driver] = values
    low, at_low, high, at_high = reset.line
    ends = sorted([(low, at_low), (high, at_high)])
    setpoint = np.interp(values, [x for x, _ in ends], [y for _, y in ends])
    table["chw_reset_setpoint"] = setpoint
    # In the changeover the temporary setpoint is as drawn, below the line or on it.
    changing = (table.index >= drawn.REQUEST) & (table.index < drawn.RECOVERED)
    table["chw_supply_setpoint"] = np.where(
        changing, np.minimum(setpoint, table["chw_supply_setpoint"]), setpoint)
    return table


def outdoors(low: float, high: float) -> np.ndarray:
    return low + (high - low) * (1.0 + np.sin(np.arange(2880) / 100.0)) / 2.0


@pytest.mark.parametrize("minutes", [1, 5, 15])
@pytest.mark.parametrize(("reset", "driver", "span"), [
    (LINE, "outdoor_dry_bulb", (40.0, 80.0)),
    (Reset("valve position", 60.0, 52.0, 95.0, 44.0), "chw_valve_position", (30.0, 100.0)),
    (Reset("differential pressure", 5.0, 52.0, 15.0, 44.0), "chw_diff_pressure", (4.0, 18.0)),
    (Reset("load", 100.0, 50.0, 600.0, 44.0), "plant_load", (50.0, 500.0))])
def test_a_setpoint_on_its_line_passes_with_its_level_stretches(
    reset: Reset, driver: str, span: tuple[float, float], minutes: int
) -> None:
    found = judged(following(reset, driver, outdoors(*span)), reset, minutes)
    assert found.verdict is Verdict.PASS, found.reason


@pytest.mark.parametrize("bend", [
    lambda f: 47.0, lambda f: f["chw_supply_setpoint"] + 3.0], ids=["fixed", "off"])
def test_a_setpoint_off_its_line_fails(bend: Callable[[pd.DataFrame], object]) -> None:
    table = following(LINE, "outdoor_dry_bulb", outdoors(25.0, 65.0))
    table["chw_supply_setpoint"] = bend(table)
    assert judged(table, LINE).verdict is Verdict.FAIL


def test_on_a_level_stretch_alone_nothing_is_proven() -> None:
    found = judged(following(LINE, "outdoor_dry_bulb", outdoors(10.0, 29.0)), LINE)
    assert found.verdict is Verdict.DEFERRED and "its line moved by only 0.0 °F" in found.reason


def test_without_a_line_a_level_stretch_is_no_missing_reset() -> None:
    """Between 10 and 29 °F outdoors the setpoint is level, as it should be."""
    level = judged(following(LINE, "outdoor_dry_bulb", outdoors(10.0, 29.0)))
    assert level.verdict is Verdict.INDETERMINATE and "state its line" in level.reason
    table = following(LINE, "outdoor_dry_bulb", outdoors(25.0, 65.0))
    assert judged(table).verdict is Verdict.PASS
    table["chw_supply_setpoint"] = 47.0
    assert judged(table).verdict is Verdict.FAIL


def test_a_reset_by_valves_needs_its_line_and_its_point() -> None:
    table = drawn.frame()
    by_valve = judged(table, Reset("valve position"))
    assert by_valve.verdict is Verdict.NOT_TESTED and "chw_valve_position" in by_valve.missing
    table["chw_valve_position"] = 80.0
    assert "is not stated" in judged(table, Reset("valve position")).reason


@pytest.mark.parametrize(("stated", "said"), [
    ({"driver_low": 30.0}, "the line of the reset is not whole"),
    ({"driver_low": 30.0, "setpoint_low": 50.0, "driver_high": 30.0, "setpoint_high": 44.0},
     "both ends of the line are at 30")])
def test_half_a_line_is_refused(stated: dict[str, float], said: str) -> None:
    with pytest.raises(JobError, match=said):
        answers.sequence({"sequence": {"reset": stated}})
