"""Feasibility on paper, and the settings sheet of the drawn plant."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import pytest

from fptlib.job.schema import HEAD_PRESSURE, LiftProtection
from fptlib.physics import refrigerant
from fptlib.procedure.feasibility import (
    FEASIBLE,
    INFEASIBLE,
    UNKNOWN,
    Path,
    helps,
    path,
    verdict,
    water_lift_needed,
)
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.settings_sheet import WITHHELD, sheet
from fptlib.procedure.verdict import NotTested


def with_lift(**least: float | None) -> FunctionalTest:
    case = drawn.case()
    return replace(case, plant=replace(case.plant, chillers=tuple(
        replace(each, **least) for each in case.plant.chillers)))


def test_the_path_by_hand() -> None:
    """Reset 50, approach 2, margin 0.8: the exchanger takes over at 47.2 °F. A lift of 9 with 0.8
    to spare and 6 of condenser range asks for an offset of 3.8 and a setpoint of 43.4 °F."""
    found = Path(50.0, 47.2, 9.0, 0.8, 6.0, 40.5)
    assert (found.offset, found.lift, found.least_reset) == pytest.approx((3.8, 9.8, 50.0))
    assert found.feasible
    # At 16 °F the setpoint stops at 40.5: 47.2 + 6 - 40.5 = 12.7, so 4.1 more of reset.
    tight = replace(found, needed=16.0)
    assert (tight.lift, tight.least_reset) == pytest.approx((12.7, 54.1)) and not tight.feasible


def test_no_path_says_why_and_what_would_help() -> None:
    """The drawn sequence goes down to 40: 47.2 + 6 - 40 = 13.2 of 16.8, so 3.6 more of reset."""
    case = with_lift(minimum_water_lift=16.0)
    found = sheet(case, {})
    assert found.verdict == INFEASIBLE and "manufacturer asks for 16.0" in found.reason
    assert {each.recommended for each in found.lines} == {WITHHELD}
    assert found.path is not None
    said = " ".join(helps(case, found.path))
    for words in ("Head-pressure control", "A reset setpoint of 53.6 °F or more",
                  "A bypass at the chiller"):
        assert words in said, words


def test_head_pressure_control_opens_the_path() -> None:
    case = replace(with_lift(minimum_water_lift=16.0), sequence=replace(
        drawn.SEQUENCE, lift=LiftProtection(HEAD_PRESSURE)))
    found = sheet(case, {})
    assert found.verdict == FEASIBLE and "head-pressure control" in found.reason
    assert not any("temporary setpoint below" in each.name for each in found.lines)


def test_without_a_minimum_lift_nothing_is_known() -> None:
    found = sheet(with_lift(minimum_water_lift=None), {})
    assert found.verdict == UNKNOWN and "not stated in the plan" in found.reason
    assert {each.recommended for each in found.lines} == {WITHHELD}


def test_a_path_that_rests_on_what_was_not_seen_is_not_known() -> None:
    """A saturation lift without its pressures: the water lift stands for it and is smaller."""
    case = with_lift(minimum_water_lift=None, minimum_saturation_lift=16.0)
    found = sheet(case, {})
    assert found.verdict == UNKNOWN and "the pressures are not trended" in found.reason


def test_a_pressure_lift_is_turned_into_a_water_lift() -> None:
    """R-134a at 38 °F of lowest setpoint, evaporating at 36: psi to the condensing temperature that
    many psi above, from the saturation curve that section 3 of the check values holds."""
    low = float(refrigerant.saturation_pressure("R-134a", 36.0))
    least = float(refrigerant.saturation_pressure("R-134a", 52.0)) - low
    case = with_lift(minimum_water_lift=None, minimum_pressure_lift=least)
    assert water_lift_needed(case, 38.0) == pytest.approx(16.0, abs=1e-3)


def test_a_line_over_load_counts_at_the_load_beside_the_exchanger() -> None:
    """The exchanger takes 640 of 800 gpm at the most: 64 tons of 320 stay, a fifth of 320."""
    case = with_lift(minimum_water_lift=5.0, water_lift_full=15.0, capacity=320.0)
    needed = water_lift_needed(case, 38.0)
    share = float(case["hx_chw_flow"][case.requests[0].pull_down].max() / 800.0)
    assert needed == pytest.approx(5.0 + 10.0 * (1.0 - share), abs=0.1)


def test_the_offset_lies_between_what_lift_asks_and_what_the_floor_allows() -> None:
    """9 + 0.8 - 6 of condenser range, and 47.2 at the transition minus 40; the 8 °F of the limit
    would meet the lowest setpoint first, so the recommendation stays within its own range."""
    found = sheet(drawn.case(), {})
    assert found.verdict == FEASIBLE
    line = next(each for each in found.lines if each.name.startswith("offset of the temporary"))
    assert line.valid == "3.8 to 7.2 °F" and line.specified == "not stated; limit 8 °F"
    assert line.recommended == "7 °F"


def test_what_a_check_fails_in_the_replay_is_not_recommended() -> None:
    """When the last chiller stops, the water warms too quickly."""
    found = sheet(drawn.case(), {})
    assert [check.id for check in found.failed] == ["recovery.supply"]
    held = [each for each in found.lines if each.group in ("recovery", "")]
    assert {each.recommended for each in held} == {WITHHELD}
    # What all settings bring together is not said of settings that are not given.
    assert all("recovery.supply" in each.why for each in held)
    assert held[-1].name.startswith("all of them together")
    assert WITHHELD not in {each.recommended for each in found.lines if each.group == "enable"}


def test_a_verdict_of_a_path_has_its_words() -> None:
    case = drawn.case()
    assert verdict(case, path(case, 50.0, 0.8, 40.5))[0] == FEASIBLE
    assert verdict(case, "no reading")[0] == UNKNOWN


@pytest.mark.parametrize("left", [(), *((each,) for each in drawn.case().grid.columns)])
def test_a_sheet_without_points_says_what_it_lacks(left: tuple[str, ...]) -> None:
    """Whatever single point is trended, or none: never an error, never a setting made up."""
    case = drawn.case()
    columns = {name: case.grid.columns[name] for name in left}
    bare = replace(case, grid=replace(case.grid, columns=columns))
    with pytest.raises(NotTested):
        sheet(bare, {})
