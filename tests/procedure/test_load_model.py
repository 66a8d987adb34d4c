"""The load model against the load that the generator of the sample gives in other weather."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest

from fptlib.job.folder import Job
from fptlib.procedure import load_model
from fptlib.procedure.assemble import assemble
from sample_trends.generator import simulate
from sample_trends.generator.samples import SOUND

COLUMNS = ["outdoor_dry_bulb", "plant_load", "economizer_command"]
SAMPLES = ("sound", "before")
MONDAY = np.datetime64("2026-01-12T00", "h")


@pytest.mark.parametrize("sample", SAMPLES)
def test_other_weather_lies_within_the_uncertainty(sample: str) -> None:
    """The same building in other weeks; k = 2, so nineteen hours of twenty."""
    model = load_model.fit(assemble(Job(f"sample_trends/{sample}"), keep=False))
    assert model is not None and model.driver == "outdoor_dry_bulb"
    for seed, weather in ((7, "changing"), (8, "hovering")):
        actual = other_week(seed, weather)
        dry = actual["outdoor_dry_bulb"].to_numpy()
        hours = actual.index.tz_localize(None).to_numpy().astype("M8[h]")
        miss = model.predict(dry, hours) - actual["plant_load"].to_numpy()
        # A changeover takes heat out of the loop, or puts it back.
        calm = actual["economizer_command"].rolling(5, center=True).mean().isin([0.0, 1.0])
        known = ~np.isnan(miss) & calm.to_numpy()
        assert known.mean() > 0.5
        # Flow and temperatures of the meter that it was fitted to: 2 % (the sample's own plan).
        reach = np.hypot(model.uncertainty(dry, hours), 0.02 * actual["plant_load"].to_numpy())
        assert np.mean((np.abs(miss) <= reach)[known]) >= 0.93
        assert abs(miss[known].sum()) < 0.005 * actual["plant_load"].to_numpy()[known].sum()


@cache
def other_week(seed: int, weather: str) -> pd.DataFrame:
    """Hourly means of a week without sensor errors."""
    scenario = replace(SOUND, seed=seed, weather=weather, days=7)
    return simulate(scenario).actual[COLUMNS].resample("h").mean()


def test_weather_that_was_not_seen_gives_no_load() -> None:
    model = load_model.fit(assemble(Job("sample_trends/sound"), keep=False))
    assert model is not None
    low, high = model.seen
    hours = np.repeat(MONDAY, 4)
    found = model.predict(np.array([low - 5.0, low, high, high + 5.0]), hours)
    assert np.isnan(found).tolist() == [True, False, False, True]


def test_working_days_and_weekends_part_where_the_building_does() -> None:
    hours = np.datetime64("2026-01-05T00", "h") + np.arange(28 * 24)
    weekend = (np.arange(28 * 24) // 24) % 7 >= 5
    clock = np.arange(28 * 24) % 24
    chosen = np.random.default_rng(4)
    x = 45.0 + 8.0 * np.sin(clock / 24.0 * 6.28) + chosen.normal(0.0, 3.0, len(hours))
    open_ = ~weekend & (clock >= 7) & (clock < 18)
    load = 100.0 + 60.0 * open_ + 2.0 * np.maximum(x - 45.0, 0.0)
    model = load_model.fitted_to("wet_bulb", hours, x, load + chosen.normal(0.0, 2.0, len(x)))
    assert model is not None and (model.levels, model.fit.form) == ("week", "3PC")
    assert model.fit.changes[0] == pytest.approx(45.0, abs=1.0)
    saturday, monday = (np.array([np.datetime64(day, "h")])
                        for day in ("2026-02-07T12", "2026-02-09T12"))
    at = np.array([40.0])
    assert model.predict(at, monday) - model.predict(at, saturday) == pytest.approx(60.0, abs=3.0)
    assert "n - p" in str(model)


def test_without_a_flow_there_is_no_load() -> None:
    assert load_model.fit(drawn.case(drawn.frame().drop(columns="chw_flow"))) is None


@pytest.mark.parametrize("rise", [0.0, 4.0])
def test_colder_weather_than_was_seen_has_a_load_at_most(rise: float) -> None:
    """Invented: a load level in the cold, or one that rises by 4 tons a degree below 30 °F, seen
    down to 20 °F; ten degrees colder it is not more than what is said, and beyond nothing is."""
    chance = np.random.default_rng(3)
    hours = MONDAY + np.arange(400)
    seen = 20.0 + 45.0 * chance.random(400)

    def tons(air: np.ndarray) -> np.ndarray:
        return 220.0 + rise * np.maximum(30.0 - air, 0.0) + 3.0 * np.maximum(air - 45.0, 0.0)

    model = load_model.fitted_to(
        "outdoor_dry_bulb", hours, seen, tons(seen) + 3.0 * chance.standard_normal(400))
    assert model is not None
    cold = np.array([18.0, 14.0, 11.0])
    most = model.at_most(cold, hours[:3])
    assert (tons(cold) <= most).all() and (most <= tons(cold) + 15.0).all()
    assert np.isnan(model.at_most(np.array([5.0, 70.0]), hours[:2])).all()
    assert model.at_most(seen, hours) == pytest.approx(model.predict(seen, hours))
