"""Durations, rises, reversals and demand, against values worked out by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fptlib.procedure.catalogue import Untested
from fptlib.procedure.demand import interval_demand
from fptlib.procedure.durations import (
    all_stretches,
    largest_rise,
    lasting_low,
    longest,
    reversals,
)
from fptlib.procedure.known import largest_step, median, share

START = pd.Timestamp("2026-01-10", tz="America/Denver")


def series(values: list[float] | np.ndarray, minutes: int = 1) -> pd.Series:
    index = pd.date_range(START, periods=len(values), freq=f"{minutes}min")
    return pd.Series(np.asarray(values, dtype=float), index=index)


@pytest.mark.parametrize(("window", "expected"), [
    # 400 kW, 900 kW for minutes 10 to 19: computed with plain arithmetic.
    ("clock", [566.667, 566.667]), ("sliding", [733.333]),
])
def test_demand_of_a_ten_minute_step(window: str, expected: list[float]) -> None:
    power = series(np.r_[np.full(10, 400.0), np.full(10, 900.0), np.full(10, 400.0)])
    found = interval_demand(power, 15.0, window)
    if window == "clock":
        assert found.round(3).tolist() == expected
    else:
        assert found.max() == pytest.approx(expected[0], abs=1e-3)


@pytest.mark.parametrize(("missing", "expected"), [(1, [100.0, 200.0]), (5, [100.0, 200.0]),
                                                   (6, [200.0])])
def test_demand_interval_with_more_than_a_third_missing_is_left_out(
    missing: int, expected: list[float]
) -> None:
    power = series([100.0] * (15 - missing) + [np.nan] * missing + [200.0] * 15)
    assert interval_demand(power, 15.0, "clock").tolist() == expected


@pytest.mark.parametrize("window", ["clock", "sliding"])
def test_demand_of_rows_that_do_not_divide_the_interval(window: str) -> None:
    # Ten-minute rows: the quarter-hour from 00:15 holds half of one row and a whole one.
    found = interval_demand(series([400.0, 400.0, 900.0, 400.0, 400.0, 400.0], 10), 15.0, window)
    assert found[START + pd.Timedelta("15min")] == pytest.approx((5 * 400 + 10 * 900) / 15)
    assert found.max() == pytest.approx((5 * 400 + 10 * 900) / 15)
    if window == "clock":
        assert list(found.index) == list(pd.date_range(START, periods=4, freq="15min"))


def test_demand_of_rows_that_fit_no_interval_is_not_guessed() -> None:
    odd = series([400.0] * 100)
    odd.index = pd.date_range(START, periods=100, freq="60060ms")
    with pytest.raises(Untested, match="do not fit into a demand interval of 15 min"):
        interval_demand(odd, 15.0, "clock")


@pytest.mark.parametrize("day", ["2025-11-02", "2026-03-08"])
def test_demand_blocks_keep_to_the_clock_when_it_changes(day: str) -> None:
    index = pd.date_range(day, periods=26 * 6, freq="10min", tz="America/Denver")
    found = interval_demand(pd.Series(400.0, index), 15.0, "clock")
    assert list(found.index) == list(pd.date_range(index[0], periods=26 * 4, freq="15min"))


def test_stretches_and_the_longest() -> None:
    flags = series([0, 1, 1, 0, 1, 1, 1, 0]) == 1.0
    found = all_stretches(flags.to_numpy(), flags.index, 1.0)
    assert [(s.start.minute, s.end.minute, s.minutes) for s in found] == [(1, 2, 2.0),
                                                                         (4, 6, 3.0)]
    assert longest(flags.to_numpy(), flags.index, 1.0) == found[1]
    assert longest(np.zeros(8, dtype=bool), flags.index, 1.0) is None


def test_dip_shorter_than_the_window_does_not_count() -> None:
    values = np.array([12.0, 12, 5, 5, 12, 8, 8, 8, 12])
    assert lasting_low(values, 3) == (8.0, 5)
    assert lasting_low(values[:2], 3) is None
    assert lasting_low(np.full(5, np.nan), 3) is None


def test_largest_rise_at_one_minute_is_exact() -> None:
    ramp = np.r_[np.full(5, 40.0), 40.0 + 0.15 * np.arange(60)]
    rise = largest_rise(ramp, 10.0, 1.0)
    assert rise is not None and rise.low == rise.high == pytest.approx(1.5)


@pytest.mark.parametrize("minutes", [2, 3, 5, 15, 30])
@pytest.mark.parametrize("seed", range(5))
def test_rise_of_coarse_rows_brackets_the_true_one(minutes: int, seed: int) -> None:
    steps = np.random.default_rng(seed).uniform(0.0, 0.4, 600)
    fine = 40.0 + np.cumsum(steps)
    truth = largest_rise(fine, 10.0, 1.0)
    coarse = largest_rise(fine[::minutes], 10.0, float(minutes))
    assert truth is not None and coarse is not None
    assert coarse.low <= truth.low + 1e-9
    assert coarse.high >= truth.low - 1e-9


def test_reversals_count_swings_of_the_size() -> None:
    swing = np.array([50, 52, 50, np.nan, 52, 50, 50.5, 50.2, 53])
    assert reversals(swing, 1.0) == 4
    assert reversals(swing, 3.5) == 0
    assert reversals(np.linspace(40, 50, 50), 1.0) == 0


def test_share_leaves_gaps_out() -> None:
    values = np.array([1.0, 0.0, np.nan, 1.0])
    assert share(values == 1.0, ~np.isnan(values)) == pytest.approx(200.0 / 3.0)
    assert np.isnan(share(np.array([True]), np.array([False])))


def test_median_and_largest_step_leave_gaps_out() -> None:
    values = np.array([1.0, np.nan, 5.0, 4.0, np.nan, 9.0])
    assert median(values) == 4.5 and largest_step(values) == 1.0
    nothing = np.full(3, np.nan)
    assert np.isnan(median(nothing)) and np.isnan(largest_step(nothing))
