"""Durations, rises, reversals and demand, against values worked out by hand."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fptlib.procedure.flags import Flags, Stretch
from fptlib.procedure.measures import (
    Demand,
    interval_demand,
    largest_rise,
    largest_step,
    lasting_low,
    median,
    reversals,
)
from fptlib.procedure.verdict import NotTested


def demand(values: list[float] | np.ndarray, minutes: float, window: str,
           past_midnight: float = 0.0) -> Demand:
    """Quarter-hour demand of rows of so many minutes, the first at midnight or later."""
    return interval_demand(np.asarray(values, dtype=float), minutes, 15.0, window, past_midnight)


@pytest.mark.parametrize(("window", "expected"), [
    # 400 kW, 900 kW for minutes 10 to 19: computed with plain arithmetic.
    ("clock", [566.667, 566.667]), ("sliding", [733.333]),
])
def test_demand_of_a_ten_minute_step(window: str, expected: list[float]) -> None:
    power = np.r_[np.full(10, 400.0), np.full(10, 900.0), np.full(10, 400.0)]
    found = demand(power, 1.0, window).power
    if window == "clock":
        assert found.round(3).tolist() == expected
    else:
        assert found.max() == pytest.approx(expected[0], abs=1e-3)


@pytest.mark.parametrize(("missing", "expected"), [(1, [100.0, 200.0]), (5, [100.0, 200.0]),
                                                   (6, [200.0])])
def test_demand_interval_with_more_than_a_third_missing_is_left_out(
    missing: int, expected: list[float]
) -> None:
    power = [100.0] * (15 - missing) + [np.nan] * missing + [200.0] * 15
    assert demand(power, 1.0, "clock").power.tolist() == expected


@pytest.mark.parametrize("window", ["clock", "sliding"])
def test_demand_of_rows_that_do_not_divide_the_interval(window: str) -> None:
    # Ten-minute rows: the quarter-hour from 00:15 holds half of one row and a whole one.
    found = demand([400.0, 400.0, 900.0, 400.0, 400.0, 400.0], 10.0, window)
    begins = (found.begins * 10.0).tolist()
    assert found.power[begins.index(15.0)] == pytest.approx((5 * 400 + 10 * 900) / 15)
    assert found.power.max() == pytest.approx((5 * 400 + 10 * 900) / 15)
    if window == "clock":
        assert begins == [0.0, 15.0, 30.0, 45.0]


def test_demand_of_rows_that_fit_no_interval_is_not_guessed() -> None:
    with pytest.raises(NotTested, match="do not fit into a demand interval of 15 min"):
        demand([400.0] * 100, 60.06 / 60.0, "clock")


def test_demand_blocks_keep_to_the_clock() -> None:
    """Rows from 00:20 on: the first block is what is left of the quarter-hour from 00:15."""
    found = demand(np.full(26, 400.0), 10.0, "clock", past_midnight=20.0)
    assert (20.0 + found.begins * 10.0).tolist()[:3] == [15.0, 30.0, 45.0]


def test_conditions_with_gaps_are_three_valued() -> None:
    above = Flags.above(np.array([3.0, np.nan, 1.0, 3.0, 3.0, np.nan]), 2.0)
    assert above.stretches() == [Stretch(0, 0), Stretch(3, 4)]
    assert above.stretches(maybe=True) == [Stretch(0, 1), Stretch(3, 5)]
    assert above.longest() == Stretch(3, 4) and above[1:].longest() == Stretch(3, 4)
    assert (~above).stretches() == [Stretch(2, 2)]
    on = Flags.on(np.array([1.0, 1.0, 1.0, 0.0, np.nan, 1.0]))
    assert (above & on).stretches(maybe=True) == [Stretch(0, 1), Stretch(4, 5)]


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


def test_of_a_row_longer_than_the_window_half_may_have_fallen_outside() -> None:
    """A step of 3 at either end of fifteen minutes: no ten minutes held both."""
    fine = np.r_[40.0, np.full(14, 43.0), 46.0]
    truth = largest_rise(fine, 10.0, 1.0)
    coarse = largest_rise(fine[[0, -1]], 10.0, 15.0)
    assert truth is not None and coarse is not None
    assert coarse.low == truth.low == 3.0


def test_reversals_count_swings_of_the_size() -> None:
    swing = np.array([50, 52, 50, np.nan, 52, 50, 50.5, 50.2, 53])
    assert reversals(swing, 1.0) == 4
    assert reversals(swing, 3.5) == 0
    assert reversals(np.linspace(40, 50, 50), 1.0) == 0


def test_share_leaves_gaps_out() -> None:
    found = Flags.on(np.array([1.0, 0.0, np.nan, 1.0]))
    assert found.share() == pytest.approx(200.0 / 3.0)
    assert found.share_in_gaps() == pytest.approx(50.0)
    assert np.isnan(Flags.on(np.array([np.nan])).share())


def test_median_and_largest_step_leave_gaps_out() -> None:
    values = np.array([1.0, np.nan, 5.0, 4.0, np.nan, 9.0])
    assert median(values) == 4.5 and largest_step(values) == 1.0
    nothing = np.full(3, np.nan)
    assert np.isnan(median(nothing)) and np.isnan(largest_step(nothing))


SHARED = Path(os.environ.get("FPTLIB_SHARED") or Path(__file__).parents[3] / "shared")


@pytest.mark.parametrize(("day", "energy", "block", "rolling"), [
    ("atlanta_eff_default", 128.1691, 12.56809, 14.16392),
    ("buffalo_eff_typshldr", 70.5709, 5.97189, 8.08855)])
def test_demand_of_two_measured_days(day: str, energy: float, block: float, rolling: float) -> None:
    """Chillers, pumps and fans of a public laboratory's day (DEM-26 and -27 of the check values,
    summed there without this library)."""
    file = SHARED / "real_trends" / f"laboratory_{day}.csv.gz"
    if not file.is_file():
        pytest.skip("the measured days are public but not ours to commit")
    names = [*(f"ch{n}_power" for n in (1, 2)), *(f"pump{n}_power" for n in (1, 2, 3, 4)),
             *(f"ahu{n}_fan_power" for n in (1, 2))]
    power = pd.read_csv(file, usecols=names).iloc[:1440].sum(axis=1).to_numpy() / 1000.0
    assert power.sum() / 60.0 == pytest.approx(energy, abs=5e-4)
    assert demand(power, 1.0, "clock").power.max() == pytest.approx(block, abs=5e-5)
    assert demand(power, 1.0, "sliding").power.max() == pytest.approx(rolling, abs=5e-5)
