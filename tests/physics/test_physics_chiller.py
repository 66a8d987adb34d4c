"""Gordon-Ng against a published parameter set and synthetic trends.

Form from memory (Gordon, Ng and Chua; ASHRAE); canonical numbers computed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fptlib.physics import chiller
from fptlib.physics.errors import ImpossibleState, OutsideObserved, TooFewSamples

KW_PER_TON = 3.5168528
PUBLISHED = 1.18090, -254.56150, 6.73480e-4  # a public course repository's equipment models
SYNTHETIC = 0.25, 40.0, 0.003


def fahrenheit(kelvin):
    return 1.8 * kelvin - 459.67


def published_power(share, condenser):
    return chiller.power(share * 10_551.0 / KW_PER_TON, fahrenheit(280.0), fahrenheit(condenser),
                         *PUBLISHED)


# Nominal load 10 551 kW, 280 K chilled water, 303 K condenser water
@pytest.mark.parametrize("share, kilowatts, cop, per_ton", [
    (1.00, 1509.669, 6.989, 0.5032), (0.75, 1159.609, 6.824, 0.5154),
    (0.50, 847.948, 6.221, 0.5653), (0.25, 573.951, 4.596, 0.7652),
])
def test_published_parameter_set(share, kilowatts, cop, per_ton):
    found = published_power(share, 303.0)
    assert found == pytest.approx(kilowatts, abs=1e-3)
    assert share * 10_551.0 / found == pytest.approx(cop, abs=6e-4)
    assert found / (share * 10_551.0 / KW_PER_TON) == pytest.approx(per_ton, abs=6e-5)


def test_the_trap_of_the_published_file():
    """The file codes a1/Te and +a3 Q, giving 563.7 kW (.188 kW/ton): plausible and wrong."""
    heat, cold, warm = 10_551.0, 280.0, 303.0
    a1, a2, a3 = PUBLISHED
    trapped = (heat + a1 / cold + a2 * (1 - cold / warm)) * warm / (cold + a3 * heat) - heat
    assert trapped == pytest.approx(563.7, abs=0.1)
    assert published_power(1.0, 303.0) == pytest.approx(1509.669, abs=1e-3)


@pytest.mark.parametrize("condenser, per_ton", [
    (303, 0.5653), (296, 0.4749), (290, 0.3975), (286, 0.3459),
])
def test_published_set_at_half_load(condenser, per_ton):
    found = published_power(0.5, condenser) / (0.5 * 10_551.0 / KW_PER_TON)
    assert found == pytest.approx(per_ton, abs=6e-5)


def trends(count=60, seed=0, noise=0.0):
    """500 to 2000 kW, 40 to 48 degF, 60 to 85 degF."""
    random = np.random.default_rng(seed)
    tons = random.uniform(500.0, 2000.0, count) / KW_PER_TON
    chilled, condenser = random.uniform(40.0, 48.0, count), random.uniform(60.0, 85.0, count)
    kilowatts = chiller.power(tons, chilled, condenser, *SYNTHETIC)
    return tons, chilled, condenser, kilowatts * (1.0 + noise * random.normal(size=count))


def test_noise_free_fit_returns_the_coefficients():
    model = chiller.fit(*trends())
    assert model.coefficients == pytest.approx(SYNTHETIC, rel=1e-6)
    assert model.cv_rmse < 1e-6


def test_noisy_fit_predicts_though_the_leak_is_not_identifiable():
    """3 percent noise on power: CV-RMSE about 3.17 percent; test predictions, not a2."""
    model = chiller.fit(*trends(noise=0.03))
    assert 2.2 < model.cv_rmse < 4.0
    assert model.coefficients[0] == pytest.approx(SYNTHETIC[0], rel=0.15)
    tons, chilled, condenser, _ = trends(200, seed=5)
    true = chiller.power(tons, chilled, condenser, *SYNTHETIC)
    inside = chiller.was_observed(model, tons, chilled, condenser)
    middle, low, high = chiller.predict(model, tons, chilled, condenser)
    assert inside.sum() > 60
    assert np.abs(middle / true - 1.0)[inside].max() < 0.04
    assert np.all((low < true) & (true < high) | ~inside)
    assert np.array_equal(np.isnan(middle), ~inside)


def test_interval_covers_new_readings():
    model = chiller.fit(*trends(300, noise=0.03))
    tons, chilled, condenser, kilowatts = trends(2000, seed=9, noise=0.03)
    middle, low, high = chiller.predict(model, tons, chilled, condenser)
    seen = np.isfinite(middle)
    covered = ((low < kilowatts) & (kilowatts < high))[seen].mean()
    assert covered == pytest.approx(0.95, abs=0.03)


def test_repeated_samples_do_not_narrow_the_interval():
    state = trends(40, noise=0.03)
    minutes = [np.repeat(column, 30) for column in state]
    once, often = chiller.fit(*state), chiller.fit(*minutes, least_samples=10.0)
    assert often.effective_count < 60.0
    widths = [np.subtract(*chiller.predict(m, 300.0, 44.0, 72.0)[2:0:-1]) for m in (once, often)]
    assert widths[1] > 0.9 * widths[0]


def test_refuses_outside_what_was_seen():
    model = chiller.fit(*trends())
    with pytest.raises(OutsideObserved, match="50"):
        chiller.predict(model, 300.0, 44.0, 50.0)
    assert not chiller.was_observed(model, 300.0, 38.0, 70.0)
    assert not chiller.was_observed(model, np.nan, 44.0, 70.0)
    assert all(np.isnan(part) for part in chiller.predict(model, np.nan, 44.0, 70.0))


def test_hull_is_that_of_the_points():
    """Against scipy's exact hull: all inside is seen, little outside is."""
    from scipy.spatial import Delaunay

    state = trends(150)
    model = chiller.fit(*state)
    random = np.random.default_rng(2)
    where = np.stack([random.uniform(100, 600, 4000), random.uniform(39, 49, 4000),
                      random.uniform(58, 87, 4000)])
    scaled = (np.stack(state[:3]).T - model.centre) / model.scale
    exact = Delaunay(scaled).find_simplex((where.T - model.centre) / model.scale) >= 0
    found = chiller.was_observed(model, *where)
    assert np.all(found[exact])
    assert (found & ~exact).sum() < 0.06 * exact.sum()


def test_kinds_agree():
    model = chiller.fit(*trends())
    tons = pd.Series([300.0, 350.0], index=[2, 4])
    middle, low, high = chiller.predict(model, tons, 44.0, 70.0)
    assert list(middle.index) == [2, 4]
    assert middle.iloc[0] == pytest.approx(chiller.predict(model, 300.0, 44.0, 70.0)[0])
    assert np.all(low <= middle) and np.all(middle <= high)


def test_what_cannot_be_fitted():
    tons, chilled, condenser, kilowatts = trends()
    with pytest.raises(ImpossibleState, match="1 of 60"):
        chiller.fit(np.where(np.arange(60) == 3, 0.0, tons), chilled, condenser, kilowatts)
    with pytest.raises(TooFewSamples):
        chiller.fit(tons[:3], chilled[:3], condenser[:3], kilowatts[:3])
    with pytest.raises(TooFewSamples, match="20 are needed"):
        chiller.fit(tons[:15], chilled[:15], condenser[:15], kilowatts[:15])
    with pytest.raises(TooFewSamples, match="alike"):
        chiller.fit(*(np.full(60, value) for value in (300.0, 44.0, 70.0, 150.0)))
    with pytest.raises(ImpossibleState, match="-5"):
        chiller.power(-5.0, 44.0, 70.0, *SYNTHETIC)
    gappy = np.where(np.arange(60) % 7 == 0, np.nan, tons)
    assert chiller.fit(gappy, chilled, condenser, kilowatts).coefficients == pytest.approx(
        SYNTHETIC, rel=1e-6)
