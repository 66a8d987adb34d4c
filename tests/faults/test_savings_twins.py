"""Savings against the same plant run without its economizer.

The same weather and load on chillers alone is the truth that a job never has. Few plants here,
every day; ``python tests/faults/measure_savings.py`` measures all of the library's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from measure_savings import Tally, Twin, of_hand, of_sample, twin

from fptlib.portfolio.screening import hours
from fptlib.procedure import enable, peaks, power_models, savings
from fptlib.procedure.steps import judge
from sample_trends.generator import Scenario
from sample_trends.generator.samples import BEFORE

DAYS = 5
PLANTS = (Scenario(name="sound", days=DAYS), replace(BEFORE, days=DAYS, seed=5))


@pytest.fixture(scope="module", params=PLANTS, ids=lambda each: each.name)
def pair(request: pytest.FixtureRequest) -> Twin:
    return twin(request.param)


def test_what_the_economizer_brought_lies_within_its_uncertainty(pair: Twin) -> None:
    found = savings.gained(pair.test)
    assert found.kwh is not None and found.uncertainty is not None
    assert abs(found.kwh - pair.saved) <= found.uncertainty
    assert found.kwh == pytest.approx(pair.saved, rel=0.08)
    assert found.uncertainty < 0.25 * found.kwh


def test_the_peak_without_the_economizer_is_that_of_the_twin(pair: Twin) -> None:
    """Within what the model is known to and 1 % of the meter; the plant before its correction sets
    a peak after its exits that its twin does not have."""
    found = peaks.of_record(pair.test)
    assert found is not None
    assert abs(found.without - pair.peak) <= found.uncertainty + 0.01 * pair.peak


def test_a_night_is_not_compared_with_a_day(pair: Twin) -> None:
    """Median on chillers minus median on the exchanger promises half as much again."""
    test = pair.test
    alone = (test.chillers_on == 0.0) & (test.commanded == 1.0)
    naive = np.nanmedian(test.power[test.chiller_mode]) - np.nanmedian(test.power[alone])
    like_for_like = savings.gained(test).kw
    assert like_for_like is not None and naive > 1.2 * like_for_like


def test_record_and_screening_state_the_same_lost_hours(pair: Twin) -> None:
    test = pair.test
    found, screened = savings.lost(test, enable.lost_rows(test)), hours(test)
    assert screened.lost == round(found.hours, 2)
    assert found.kwh is not None and screened.kwh == round(found.kwh)
    check = judge(test, "enable.missed")
    if check.verdict == "fail":
        assert str(found) in check.adjust


def test_far_from_what_was_seen_nothing_is_predicted(pair: Twin) -> None:
    found = power_models.models(pair.test)
    assert found is not None
    (low, least), (high, most) = found.chillers.seen
    load = np.array([0.5 * low, 1.5 * high, low, high])
    assert np.isnan(found.chillers.predict(load, np.full(4, least))).tolist() == [
        True, True, False, False]
    lift = np.array([least - 6.0, most + 6.0, least])
    assert np.isnan(found.chillers.predict(np.full(3, low), lift)).tolist() == [True, True, False]


@pytest.mark.full
@pytest.mark.parametrize("hand", ["sample", "second", "third"])
def test_stated_savings_hold_for_nineteen_twins_of_twenty_and_lean_to_no_side(hand: str) -> None:
    """Every sound plant of a hand against itself on chillers alone: at most one outside its
    uncertainty, which is one in twenty over all hands, and a mean miss below 5 %."""
    if hand == "third":
        pytest.importorskip("pyenergyplus")
    tally = Tally()
    for _, pair in of_sample(DAYS) if hand == "sample" else of_hand(hand):
        tally.add(pair)
    assert len(tally.inside) >= 4
    assert sum(tally.inside) >= len(tally.inside) - (hand == "second")
    assert abs(tally.bias) < 0.05
