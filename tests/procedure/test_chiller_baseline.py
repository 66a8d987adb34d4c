"""The regression of chiller mode against a line that is known by construction."""

from __future__ import annotations

import numpy as np

from fptlib.physics.chiller_power import Baseline

SCATTER = 5.0


def power(load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
    """The invented plant [kW]."""
    return 20.0 + 0.3 * load + 2e-4 * load**2 + 0.8 * wet_bulb


def trained(chosen: np.random.Generator, wet_bulbs: tuple[float, float]) -> Baseline:
    load, air = chosen.uniform(200.0, 400.0, 300), chosen.uniform(*wet_bulbs, 300)
    return Baseline.fitted(load, air, power(load, air) + chosen.normal(0.0, SCATTER, 300))


def test_one_more_quarter_hour_lies_within_the_uncertainty_nineteen_times_of_twenty() -> None:
    chosen, inside = np.random.default_rng(1), []
    for _ in range(60):
        mode = trained(chosen, (36.0, 60.0))
        load, air = chosen.uniform(220.0, 380.0, 50), chosen.uniform(38.0, 58.0, 50)
        drawn = power(load, air) + chosen.normal(0.0, SCATTER, 50)
        miss = np.abs(drawn / load - mode.predict(load, air))
        inside.extend((miss <= mode.uncertainty(load, air))[~np.isnan(miss)])
    assert len(inside) > 2000
    assert 0.93 <= np.mean(inside) <= 0.97


def test_uncertainty_grows_away_from_the_training_and_then_nothing_is_said() -> None:
    mode = trained(np.random.default_rng(2), (40.0, 42.0))
    load, air = np.array([300.0, 385.0, 300.0, 300.0, 180.0]), np.array([41, 41.8, 43.5, 30, 39.2])
    assert np.isfinite(mode.predict(load, air)).tolist() == [True, True, False, False, False]
    middle, corner = mode.uncertainty(load[:2], air[:2]) * load[:2]
    assert corner > middle > 2.0 * SCATTER * 0.8


def test_a_point_near_the_training_but_beyond_its_leverage_is_refused() -> None:
    """Load and wet bulb that went up together say nothing of one that goes against it."""
    load = np.linspace(280.0, 320.0, 60)
    air = 40.0 + (load - 280.0) / 40.0
    mode = Baseline.fitted(load, air, power(load, air) + np.sin(np.arange(60.0)))
    against = np.array([282.0]), np.array([40.9])
    assert mode.seen(*against).all()
    assert np.isnan(mode.predict(*against)).all()
