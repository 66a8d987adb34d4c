"""Scenarios of the second and third hand: their physics, truth, and what the checks say of them.

An ordinary run takes a few scenarios at one minute. ``FPTLIB_ALL_FAULTS=1`` takes them all at every
interval and compares the summary in the contributor guide.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pytest

from tests.hands import matrix
from tests.hands.expected import (
    KNOWN_FALSE,
    KNOWN_SILENT,
    MUST,
    NO_CHECK,
    allowed,
)
from tests.hands.judged import HAND_OF, INTERVALS, Judged, of_result, simulated
from tests.hands.second import Result
from tests.hands.second.model import ECONOMIZER
from tests.hands.second.physics import KW_PER_TON, WATER
from tests.hands.second.truth import stretches

pytestmark = pytest.mark.full

EVERYTHING = bool(os.environ.get("FPTLIB_ALL_FAULTS"))
FEW = {"second": ("sound_hill", "sound_desert", "sound_coast", "no_enable_delay",
                  "lift_valve_stuck", "setpoint_in_one_step", "left_at_three", "exchanger_fouled"),
       "third": ("sound_depot", "college_fouled")}


def names(hand: str) -> list[str]:
    """The scenarios of a hand that this run takes; none where its simulator is missing."""
    return [name for name, of in HAND_OF.items() if of == hand and (EVERYTHING or name in FEW[of])]


# What was judged so far; the summary needs it all once more.
JUDGED: dict[str, Judged] = {}


@dataclass
class Case:
    """One scenario, simulated once for all its tests."""

    name: str

    @cached_property
    def result(self) -> Result:
        return simulated(self.name)

    @cached_property
    def judged(self) -> Judged:
        JUDGED[self.name] = of_result(self.result, INTERVALS if EVERYTHING else INTERVALS[:1])
        return JUDGED[self.name]


@pytest.fixture(scope="module", params=names("second"))
def case(request: pytest.FixtureRequest) -> Case:
    """A scenario of the second hand."""
    return Case(request.param)


@pytest.fixture(scope="module", params=names("third"))
def other(request: pytest.FixtureRequest) -> Case:
    """A scenario of the third hand."""
    return Case(request.param)


def test_ci_has_the_simulator_of_the_third_hand() -> None:
    assert names("third") or "CI" not in os.environ, "install the extra 'simulator'"


# --- physics -------------------------------------------------------------------------------------

def test_chilled_water_balance_closes(case: Case) -> None:
    """Coil heat + the room's heat to standing evaporators = cooling made + change of storage."""
    s, p = case.result.states, case.result.scenario.plant
    n = range(1, p.chillers + 1)
    made = s["hx_tons"] + sum(s[f"tons_{i}"] for i in n)
    net = (s["served"] + s["room"] - made)[:-1].sum()
    tank, barrel = p.loop / 4, 0.8 * p.capacity
    stored = sum(s[k][-1] - s[k][0] for k in ("sup1", "sup2", "ret1", "ret2")) * tank
    # an evaporator's water is recorded at the minute's end: a minute on from the tanks'
    stored += barrel * sum(s[f"leaving_{i}"][-2] - s[f"leaving_{i}"][0] for i in n)
    first = made[0] + barrel * p.chillers * 12.0 / WATER  # what the first minute may have held
    assert abs(net - stored / WATER) < first


def test_condenser_water_balance_closes(case: Case) -> None:
    """Heat to the condenser water = heat the towers give off + change of sump and return."""
    s, p = case.result.states, case.result.scenario.plant
    n = range(1, p.chillers + 1)
    given = s["hx_tons"] + sum(s[f"tons_{i}"] + s[f"kw_{i}"] / KW_PER_TON for i in n)
    off = s["cw_total"] * (s["back"] - s["cold"]) / WATER
    tank = 1.15 * (p.chillers * p.cw_chiller + p.cw_exchanger)
    stored = p.sump * (s["sump"][-1] - s["sump"][0]) + tank * (s["back"][-1] - s["back"][0])
    assert abs((given - off)[:-1].sum() - stored / WATER) < 1e-6 * given.sum() + 1e-3


def test_branches_carry_the_plants_flow_and_mix_to_its_supply(case: Case) -> None:
    s, n = case.result.states, range(1, case.result.scenario.plant.chillers + 1)
    carried = s["through"] + sum(s[f"chw_{i}"] for i in n)
    assert np.allclose(carried, s["plant_flow"], rtol=1e-9)
    warm = s["through"] * s["entering"] - s["hx_tons"] * WATER
    mixed = (warm + sum(s[f"chw_{i}"] * s[f"leaving_{i}"] for i in n)) / s["plant_flow"]
    assert np.allclose(mixed, s["supply"], atol=1e-6)
    assert np.allclose(s["coil_flow"] + s["around"], s["plant_flow"])


def test_no_water_is_colder_than_what_cools_it(case: Case) -> None:
    s = case.result.states
    used, wetted = s["hx_tons"] > 1, s["cw_total"] > 1
    assert np.all(s["hx_out"][used] >= s["sump"][used] - 1e-6)
    assert np.all(s["hx_cw_out"][used] <= s["entering"][used] + 1e-6)
    assert np.all(s["cold"][wetted] >= np.minimum(s["wet"], s["back"])[wetted] - 0.2)


def test_simulated_exchanger_and_chillers_keep_their_balances(other: Case) -> None:
    """Both sides of each machine, and the exchanger's effectiveness by counterflow at its UA
    (Incropera, Fundamentals of Heat and Mass Transfer, table 11.4)."""
    s, p = other.result.states, other.result.scenario.plant
    used = s["hx_tons"] > 20
    warm, cold = (s[f"hx_{side}"][used] * 4.18 * 0.0630902 for side in ("chw", "cw"))
    low, ratio = np.minimum(warm, cold), np.minimum(warm, cold) / np.maximum(warm, cold)
    grown = np.exp(-p.ua * other.result.scenario.fault.ua / low * (1 - ratio))
    span = (s["hx_in"] - s["hx_cw_in"])[used] / 1.8
    carried = low * span * (1 - grown) / (1 - ratio * grown) / 3.516853
    assert np.allclose(carried, s["hx_tons"][used], rtol=0.02)
    for n in range(1, p.chillers + 1):
        on = s[f"tons_{n}"] > 20
        rejected = s[f"cw_{n}"] * (s[f"warm_{n}"] - s["sump"]) / WATER
        given = s[f"tons_{n}"] + s[f"kw_{n}"] / KW_PER_TON
        assert np.allclose(rejected[on], given[on], rtol=0.01)


def test_simulated_plant_is_one_of_a_mode(other: Case) -> None:
    s, n = other.result.states, range(1, other.result.scenario.plant.chillers + 1)
    chillers = sum(s[f"tons_{i}"] for i in n)
    assert not np.any((chillers > 1) & (s["hx_tons"] > 1))
    assert np.allclose((chillers + s["hx_tons"])[2:], s["met"][2:], rtol=0.02, atol=3)


# --- truth ---------------------------------------------------------------------------------------

def test_truth_is_what_the_scenario_was_built_for(case: Case) -> None:
    _is_built_for(case)


def test_truth_of_the_simulator_is_what_the_scenario_was_built_for(other: Case) -> None:
    _is_built_for(other)


def _is_built_for(case: Case) -> None:
    r = case.result
    kinds = {x.kind for x in r.truth}
    assert r.scenario.expected <= kinds <= r.scenario.expected | r.scenario.follows
    assert all(0 <= x.start < x.end <= len(r.frame) for x in r.truth)
    assert kinds <= set(MUST) | NO_CHECK


def test_sound_plants_have_healthy_margins(case: Case) -> None:
    r, s, p = case.result, case.result.states, case.result.scenario.plant
    if not r.scenario.sound:
        pytest.skip("this scenario has a fault in it")
    assert r.demand[0] < 0.98 * r.demand[1]  # no demand peak of the changeover's own
    assert s["served"].sum() == pytest.approx(s["asked"].sum(), rel=2e-3)  # no load lost
    economizer = s["mode"] == ECONOMIZER
    assert economizer.sum() > 8 * 60 or r.scenario.name == "sound_too_warm"
    for i in range(1, p.chillers + 1):
        on = (s[f"run_{i}"] > 10) & (s[f"tons_{i}"] > 0)
        lift = (s[f"warm_{i}"] - s[f"leaving_{i}"])[on]
        run_down = on & (s["mode"] == ECONOMIZER)
        kept = (s[f"warm_{i}"] - s[f"leaving_{i}"])[on & ~run_down]
        assert not on.any() or (lift.min() > p.minimum_lift + 0.5
                                and kept.min() > p.minimum_lift + 1.5)
        assert not stretches(economizer & (s[f"tons_{i}"] > 0), 8)  # run-down only
    rise = s["supply"][10:] - s["supply"][:-10]
    assert rise.max() < 3.0 and s["sump"].min() > 38.0


# --- what the checks say -------------------------------------------------------------------------

def test_the_checks_are_right(case: Case) -> None:
    _nothing_sound_fails(case)
    _what_must_fail_is_found_at_one_minute(case)


def test_the_checks_are_right_of_the_simulator(other: Case) -> None:
    _nothing_sound_fails(other)
    _what_must_fail_is_found_at_one_minute(other)


def _nothing_sound_fails(case: Case) -> None:
    false = {(case.name, id): (minutes, said.reason)
             for minutes, checks in case.judged.said.items() for id, said in checks.items()
             if said.verdict == "fail" and id not in allowed(case.judged.kinds)}
    assert not {where: what for where, what in false.items()
                if where not in KNOWN_FALSE}


def _what_must_fail_is_found_at_one_minute(case: Case) -> None:
    said = case.judged.said[1]
    silent = {kind: {id: (said[id].verdict, said[id].reason) for id in MUST[kind] if id in said}
              for kind in case.judged.scenario.expected & set(MUST)
              if not any(said[id].verdict == "fail" for id in MUST[kind] if id in said)}
    assert not {kind: what for kind, what in silent.items()
                if (case.name, kind) not in KNOWN_SILENT}


@pytest.mark.skipif(not EVERYTHING, reason="needs every run: set FPTLIB_ALL_FAULTS=1")
def test_summary_in_the_guide_is_true() -> None:
    rows = matrix.matrix(("first",))
    rows += [matrix.scenario_row(JUDGED[name]) for name in HAND_OF]
    assert matrix.GUIDE.read_text(encoding="utf-8") == matrix.guide_with(matrix.summary(rows))
