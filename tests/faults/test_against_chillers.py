"""What chillers would have drawn, against the same plant run without its economizer.

The same weather and load on chillers alone is the truth that a job never has: the regression
must foretell it within its own uncertainty, or say that it cannot.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pandas as pd
import pytest
from faulty_case import Run
from plants import BLIND, PLANTS

from fptlib.procedure.chiller_baseline import AgainstChillers, against_chillers
from fptlib.procedure.verdict import Verdict
from sample_trends.generator import simulate

pytestmark = pytest.mark.full

RUNS = [Run(fault, plant.name) for fault in ("", "uneconomic stay")
        for plant in (PLANTS[0], BLIND[0])]
MINUTE, HOUR = pd.Timedelta(minutes=1), pd.Timedelta(hours=1)


@pytest.fixture(scope="module", params=RUNS, ids=lambda r: f"{r.fault or 'sound'}, {r.plant}")
def run(request: pytest.FixtureRequest) -> Run:
    return request.param


@cache
def on_chillers(run: Run) -> pd.Series:
    """kW/ton of the same plant, weather and load when no request ever comes."""
    scenario = run.result.scenario
    never = replace(scenario.sequence, dwell=10**7)
    actual = simulate(replace(scenario, sequence=never)).actual
    return actual["plant_power"] / actual["plant_load"]


def hours(run: Run) -> list[tuple[pd.Timestamp, AgainstChillers]]:
    """Every whole hour of the week in which no chiller runs, against chillers."""
    case, actual = run.case(), run.result.actual
    on = actual.filter(regex=r"chiller_\d_running").sum(axis=1).resample("h").max()
    return [(hour, against_chillers(case, slice(first, first + 60)))
            for hour in on.index[on == 0.0] if (first := case.grid.row(hour)) is not None]


def test_chillers_are_foretold_within_the_uncertainty() -> None:
    """Expanded uncertainty is k = 2: nineteen of twenty hours."""
    missed = []
    for run in RUNS:
        judged = [(hour, found) for hour, found in hours(run) if not found.problem]
        assert len(judged) >= 4
        for hour, found in judged:
            truth = on_chillers(run)[hour : hour + HOUR - MINUTE].mean()
            missed.append(abs(found.expected - truth) > found.uncertainty)
    assert sum(missed) <= 0.05 * len(missed)


def test_nothing_is_extrapolated_into_nights_no_chiller_saw(run: Run) -> None:
    frame = run.result.frame
    alone = frame["economizer_command"] == 0.0
    coldest = frame["outdoor_wet_bulb"][alone].min()
    for _, found in hours(run):
        # One degree is how near the training must lie.
        assert found.problem or found.wet_bulb >= coldest - 1.0
    assert any("nothing is extrapolated" in found.problem for _, found in hours(run))


def test_leaving_is_judged_against_chillers_and_shows_both(run: Run) -> None:
    check = run.checks(1)["transition.leaving"]
    assert check.events
    assert check.verdict is (Verdict.FAIL if run.fault else Verdict.PASS)
    for event, moment in zip(check.events, run.result.events("exit"), strict=True):
        before = slice(moment.time - HOUR, moment.time - 2 * MINUTE)
        actual = run.result.actual[before]
        drawn = (actual["plant_power"] / actual["plant_load"]).mean()
        truth = on_chillers(run)[before].mean() - drawn
        assert event.name.endswith("against chillers")
        assert abs(event.measured - truth) <= event.uncertainty + 0.01
        assert "chillers would draw" in event.text and "as measured" in event.text


def test_entering_at_night_says_why_it_is_not_normalised(run: Run) -> None:
    check = run.checks(1)["transition.entering"]
    assert check.events
    for against, raw in zip(check.events[::2], check.events[1::2], strict=True):
        assert against.verdict is Verdict.NOT_TESTED
        assert "nothing is extrapolated" in against.text
        assert raw.verdict is Verdict.PASS and raw.name.endswith("before and after")
