"""Whatever is missing or broken in the trends, every check answers, and none invents."""

from __future__ import annotations

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Verdict

WHOLE = drawn.frame()
NAMES = list(WHOLE.columns)
rough = st.fixed_dictionaries({
    "drop": st.lists(st.sampled_from(NAMES), max_size=12, unique=True),
    "gaps": st.lists(st.tuples(st.sampled_from(NAMES), st.integers(0, 2879),
                               st.integers(1, 1500)), max_size=8),
    "flat": st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from([0.0, 1.0, -5.0, 95.0])),
                     max_size=3),
    "minutes": st.sampled_from([1, 5, 15, 60]),
    "from": st.integers(0, 2000),
    "rows": st.integers(1, 2880),
})


def roughen(how: dict) -> pd.DataFrame:
    table = WHOLE.copy()
    for name, value in how["flat"]:
        table[name] = value
    for name, start, length in how["gaps"]:
        table.iloc[start : start + length, table.columns.get_loc(name)] = np.nan
    table = table.drop(columns=how["drop"])
    return table.iloc[how["from"] : how["from"] + max(how["rows"], 2 * how["minutes"])]


@settings(max_examples=60, deadline=None, derandomize=True,
          suppress_health_check=[HealthCheck.too_slow])
@given(rough)
def test_every_check_answers(how: dict) -> None:
    table = roughen(how)
    case = drawn.case(table, minutes=how["minutes"])
    for check in all_checks(case):
        assert isinstance(check.verdict, Verdict)
        assert check.reason and check.meaning
        assert (check.verdict is Verdict.NOT_TESTED) or not check.missing
        for event in check.events:
            assert event.margin is None or np.isfinite(event.margin), (check.id, event)


def test_gap_over_the_request_leaves_the_condition_unjudged() -> None:
    table = drawn.frame()
    table.loc[drawn.at("02:40") : drawn.at("02:50"), "outdoor_wet_bulb"] = np.nan
    found = {check.id: check for check in all_checks(drawn.case(table))}
    assert found["enable.condition"].verdict is Verdict.NOT_TESTED
    assert found["enable.dwell"].verdict is Verdict.NOT_TESTED


@pytest.mark.parametrize("name", ["chw_supply_temp", "chw_supply_setpoint"])
def test_all_gaps_is_as_good_as_missing(name: str) -> None:
    table = drawn.frame()
    table[name] = np.nan
    gone = {c.id: c.verdict for c in all_checks(drawn.case(table))}
    without = {c.id: c.verdict for c in all_checks(drawn.case(table.drop(columns=name)))}
    assert gone == without
