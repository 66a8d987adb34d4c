"""A check that could never fail, or that compared next to nothing, is no pass."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import pytest
from drawn_plant import EXIT, RECOVERED, at

from fptlib.procedure import exit as leaving
from fptlib.procedure.verdict import Verdict


@pytest.mark.parametrize(("limit", "pumps", "verdict"), [
    (1, 0, Verdict.PASS), (2, 0, Verdict.NOT_TESTED), (4, 0, Verdict.NOT_TESTED),
])
def test_an_equipment_limit_above_what_is_installed_tests_nothing(
        limit: int, pumps: int, verdict: Verdict) -> None:
    found = leaving.equipment(drawn.case(plant=replace(
        drawn.PLANT, equipment_limit=limit, pumps=pumps)))
    assert found.verdict is verdict
    assert ("can never be exceeded" in found.reason) == (verdict is Verdict.NOT_TESTED)


def compared_from(clock: str) -> tuple[Verdict, str]:
    """The drawn day with weather as chillers saw it only in the last part of the run."""
    table = drawn.frame()
    drawn.still_air(table, slice(RECOVERED, EXIT), 28.0)
    drawn.still_air(table, slice(at(clock), EXIT), 42.0)
    found = leaving.comparative(drawn.case(table))
    return found.verdict, found.reason


def test_a_run_of_which_next_to_nothing_was_compared_does_not_pass() -> None:
    verdict, reason = compared_from("19:30")
    assert verdict is Verdict.DEFERRED
    assert "less than 10 %" in reason
    assert compared_from("12:00")[0] is Verdict.PASS


def test_beyond_what_was_compared_it_must_be_below_all_that_chillers_ever_drew() -> None:
    table = drawn.frame()
    drawn.still_air(table, slice(RECOVERED, EXIT), 28.0)
    drawn.still_air(table, slice(at("12:00"), EXIT), 42.0)
    # 320 tons for 260 kW: more per ton than the chillers' 245 kW, where they were never seen.
    table.loc[at("06:00") : at("09:00"), "plant_power"] = 260.0
    assert leaving.comparative(drawn.case(table)).verdict is Verdict.NOT_TESTED
