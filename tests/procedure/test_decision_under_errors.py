"""Drawn sensor errors: the decision rule keeps what it promises.

A plant that breaks a limit by a hair is drawn with random sensor errors within their stated
accuracy; guarded acceptance may pass it in at most 2.5 % of the draws (ILAC-G8:09/2019, as
known from secondary sources), simple acceptance in about half.
"""

from __future__ import annotations

import dataclasses

import drawn_plant as drawn
import numpy as np
import pytest
from grids import grid_of

from fptlib.job.schema import Approach, Plant, Sensor, Sensors
from fptlib.limits import Deviation, Limits
from fptlib.procedure import approaches, enable, instruments, lift, lift_range
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Verdict

pytestmark = pytest.mark.full

DRAWS = 800
ACCURACY = 0.5
HAIR = 1e-3
SENSORS = Sensors(dict.fromkeys(
    ["outdoor_wet_bulb", "cw_supply_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
     "chw_supply_temp", "chiller_1_chw_leaving_temp", "chiller_1_cw_leaving_temp"],
    Sensor(ACCURACY)))
WINDOW = drawn.frame().loc[drawn.at("01:30") : drawn.at("03:40")]


def limits(rule: str) -> Limits:
    """Without tolerances, which would hold the sensors' uncertainty (``Finding.reserve``)."""
    values = {"decision.rule": rule, "enable.tower_tolerance": 0.0,
              "enable.exchanger_tolerance": 0.0}
    return Limits({name: Deviation(value, "test", "test", "") for name, value in values.items()})


def passed(outcomes: list[Verdict]) -> float:
    return outcomes.count(Verdict.PASS) / len(outcomes)


def case_with(errors: dict[str, float], rule: str, **changes: object) -> FunctionalTest:
    table = WINDOW.copy()
    for name, error in errors.items():
        table[name] += error
    case = drawn.case(WINDOW, limits=limits(rule), sensors=SENSORS, **changes)
    return dataclasses.replace(case, grid=grid_of(table, case.grid.step))


def lift_outcomes(rule: str, seed: int) -> list[Verdict]:
    """Chiller 1 truly a hair below its minimum lift; both its sensors err on their own."""
    chosen = np.random.default_rng(seed)
    sound = drawn.case(WINDOW)
    truth = lift_range.minimum(sound).measured
    assert truth is not None
    one = dataclasses.replace(drawn.PLANT.chillers[0], minimum_water_lift=truth + HAIR)
    plant = dataclasses.replace(drawn.PLANT, chillers=(one, drawn.PLANT.chillers[1]))
    outcomes = []
    for _ in range(DRAWS):
        errors = dict(zip(("chiller_1_cw_leaving_temp", "chiller_1_chw_leaving_temp"),
                          chosen.uniform(-ACCURACY, ACCURACY, 2), strict=True))
        outcomes.append(lift_range.minimum(case_with(errors, rule, plant=plant)).verdict)
    assert Verdict.NOT_TESTED not in outcomes
    return outcomes


@pytest.mark.parametrize(("rule", "low", "high"), [
    ("guarded acceptance", 0.0, 0.025),
    ("guarded both ways", 0.0, 0.025),
    ("simple acceptance", 0.45, 0.55),
])
def test_wrong_passes_of_the_lift(rule: str, low: float, high: float) -> None:
    assert low <= passed(lift_outcomes(rule, seed=1)) <= high


def test_marginal_lift_is_mostly_indeterminate() -> None:
    outcomes = lift_outcomes("guarded both ways", seed=2)
    assert outcomes.count(Verdict.INDETERMINATE) / DRAWS >= 0.95


@pytest.mark.parametrize(("entering", "kept"), [("cw_supply_temp", 1), ("hx_cw_entering_temp", 3)])
def test_observed_approaches_cancel_the_sensors_they_share(entering: str, kept: int) -> None:
    """Errors of the sensors that observed the approaches leave those that do not enter twice:
    the exchanger's leaving sensor and, where it has one of its own, both condenser waters."""
    chosen = np.random.default_rng(3)
    adders = approaches.needed_setpoint(drawn.case(WINDOW)) - WINDOW["outdoor_wet_bulb"]
    assert adders.iloc[0] == pytest.approx(7.0 + 2.0 + 3.0)  # the limits' own tolerances
    setpoint = WINDOW["outdoor_wet_bulb"][drawn.REQUEST] + 9.0 - HAIR
    rows = []
    for _ in range(300):
        errors, plant = observed_with(chosen, entering)
        case = case_with(errors, "guarded acceptance", plant=plant)
        case.grid.columns["chw_reset_setpoint"] = np.full(len(case), setpoint)
        if entering == "cw_supply_temp":
            del case.grid.columns["hx_cw_entering_temp"]
        rows.append((enable.condition(case), lift.chiller_on(case)))
    for row, *others in zip(*rows, strict=True):
        margins = [row.margin, *(other.margin for other in others)]
        assert np.std(margins) == pytest.approx(ACCURACY * np.sqrt(kept / 3.0), rel=0.1)
        assert row.uncertainty == pytest.approx(2.0 * ACCURACY * np.sqrt(kept / 3.0), rel=0.01)
    # One sensor's error never exceeds the guard; of three a fortieth at most is promised, and
    # three hundred draws scatter by a hundredth about it.
    outcomes = [condition.verdict for condition, _ in rows]
    assert passed(outcomes) <= (0.0 if kept == 1 else 0.045)


def observed_with(chosen: np.random.Generator, entering: str) -> tuple[dict[str, float], Plant]:
    """Errors of the sensors, and the approaches that sensors with these errors show."""
    air, water, leaving, own = chosen.uniform(-ACCURACY, ACCURACY, 4)
    errors = {"outdoor_wet_bulb": air, "cw_supply_temp": water, "hx_chw_leaving_temp": leaving,
              "hx_cw_entering_temp": own}
    return errors, dataclasses.replace(
        drawn.PLANT, tower_approach=Approach(7.0 + water - air, "observed", "drawn"),
        exchanger_approach=Approach(2.0 + leaving - errors[entering], "observed", "drawn"))


def test_design_approaches_cancel_nothing() -> None:
    plant = dataclasses.replace(drawn.PLANT, tower_approach=Approach(7.0, "design"),
                                exchanger_approach=Approach(2.0, "design"))
    row = enable.condition(case_with({}, "guarded acceptance", plant=plant))
    # And are known no better than published tower models agree (1.8 degF, check values V3.2).
    design = np.hypot(1.8, 1.0)
    assert row.uncertainty == pytest.approx(np.hypot(2.0 * ACCURACY / np.sqrt(3.0), design),
                                            rel=0.01)
    sensors = Sensors({**SENSORS.stated, "outdoor_wet_bulb": Sensor(1.1)})
    wide = dataclasses.replace(case_with({}, "guarded acceptance", plant=plant), sensors=sensors)
    assert enable.condition(wide).uncertainty == pytest.approx(
        np.hypot(2.2 / np.sqrt(3.0), design), rel=0.01)


def test_a_sensor_said_to_be_absurdly_bad_decides_nothing() -> None:
    sensors = Sensors({**SENSORS.stated, "outdoor_dry_bulb": Sensor(1000.0)})
    case = dataclasses.replace(drawn.case(), sensors=sensors, wet_bulb_source="calculated")
    found = instruments.wet_bulb(case)
    assert found.verdict is Verdict.NOT_TESTED
    assert found.reason.startswith("the sensors, as accurate as stated, cannot decide it")
