"""What five- and fifteen-minute rows do show: water and air move in straight lines between them."""

from __future__ import annotations

import drawn_plant as drawn
import pandas as pd
import pytest
from drawn_plant import WARM, at

from fptlib.job.schema import Instrument, Reading
from fptlib.procedure import enable, instruments
from fptlib.procedure import exit as leaving
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Verdict


def test_a_sound_exit_is_seen_at_five_minutes() -> None:
    """The water is above the band for 16 minutes, 20 are allowed; four rows of five show it."""
    assert leaving.supply(drawn.case(minutes=5)).verdict is Verdict.PASS
    table = drawn.frame()
    table.loc[at("19:30") : WARM, "chw_supply_temp"] = 52.0
    assert leaving.supply(drawn.case(table, minutes=5)).verdict is Verdict.FAIL


@pytest.mark.parametrize(("third", "verdict"), [
    (False, Verdict.PASS), (True, Verdict.INDETERMINATE)])
def test_a_request_in_the_row_after_midnight_is_at_most_one_too_many(
        third: bool, verdict: Verdict) -> None:
    table = drawn.frame()
    for clock in ("00:00", "05:00", *(["10:00"] if third else [])):
        begin = at(clock, 1)
        table.loc[begin : begin + pd.Timedelta("1h"), "economizer_command"] = 1.0
    found = enable.rest(drawn.case(table, minutes=15))
    event = next(each for each in found.events if each.subject == "attempts on 2026-01-11")
    assert event.verdict is verdict


def dry_bulb(bias: float) -> FunctionalTest:
    """Read at seven minutes past, while the air warms by three degrees an hour."""
    table = drawn.frame()
    truth = float(table.at[at("21:07"), "outdoor_dry_bulb"])
    tool = Instrument("T1", serial="0001", accuracy=0.1, accuracy_unit="degF",
                      calibrated=pd.Timestamp("2025-12-01", tz=drawn.ZONE),
                      due=pd.Timestamp("2026-12-01", tz=drawn.ZONE))
    return drawn.case(table, minutes=15, instruments={"T1": tool}, readings=[
        Reading(at("21:07"), "outdoor_dry_bulb", truth + bias, "T1", "technician")])


def test_a_reading_is_held_against_the_line_between_two_samples() -> None:
    assert instruments.agreement(dry_bulb(0.0)).verdict is Verdict.PASS
    assert instruments.agreement(dry_bulb(2.0)).verdict is Verdict.FAIL


def test_advice_names_a_delay_that_such_rows_can_prove() -> None:
    table = drawn.frame()
    table.loc[at("02:35"), "outdoor_wet_bulb"] = 40.0
    found = enable.dwell(drawn.case(table, minutes=5))
    assert found.verdict is Verdict.FAIL
    assert "30 min (rows of 5 min prove it from 36 min on" in found.adjust
