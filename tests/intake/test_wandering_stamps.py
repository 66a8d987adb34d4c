"""Stamps that wander about even steps lose no sample, and invent none."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends

START = pd.Timestamp("2026-01-10")


def stamps(
    rows: int, minutes: int, wander: float, seed: int, phase: float = 0.0
) -> pd.DatetimeIndex:
    """Even steps, each moved by up to ``wander`` of a step; whole seconds, as files have them."""
    off = np.random.default_rng(seed).uniform(-wander, wander, rows) + phase
    seconds = np.round(60 * minutes * (np.arange(rows) + 1 + off)).astype(int)
    return START + pd.to_timedelta(seconds, unit="s")


def read(folder: str | Path, files: dict[str, pd.Series], form: str = "",
         step: float | None = None) -> pd.DataFrame:
    """One file for each point; a long one where the form says so."""
    for name, samples in files.items():
        table = pd.DataFrame({"Time": samples.index, "Point": name, "Value": samples.to_numpy()})
        wide = table[["Time", "Value"]].set_axis(["Time", name], axis=1)
        (table if form == "long" else wide).to_csv(
            Path(folder) / f"{name}.csv", index=False, date_format="%Y-%m-%d %H:%M:%S")
    site = {"time_zone": "America/Denver"} | ({"step_minutes": step} if step else {})
    return read_trends(Path(folder), PointMap.from_answers({
        "site": site, "files": {f"{name}.csv": {"form": form} if form else {} for name in files},
        "points": {name: {"file": f"{name}.csv", "column": name, "unit": "degF"}
                   for name in files}})).frame


@settings(max_examples=60, deadline=None)
@given(form=st.sampled_from(["", "long"]), minutes=st.sampled_from([1, 5, 15]),
       wander=st.floats(0.0, 0.2), phase=st.floats(0.0, 1.0), seed=st.integers(0, 10**6),
       missing=st.sets(st.integers(1, 58), max_size=5))
def test_no_sample_is_lost_and_a_missing_line_stays_a_gap(
    form: str, minutes: int, wander: float, phase: float, seed: int, missing: set[int]
) -> None:
    values = pd.Series(40.0 + np.arange(60) / 10, stamps(60, minutes, wander, seed, phase))
    left = values.drop(values.index[sorted(missing)])
    with tempfile.TemporaryDirectory() as folder:
        found = read(folder, {"chw_supply_temp": left}, form)["chw_supply_temp"]
    expected = values.where(values.isin(left)).to_numpy()
    np.testing.assert_array_equal(found.to_numpy(), expected)


@settings(max_examples=40, deadline=None)
@given(form=st.sampled_from(["", "long"]), seed=st.integers(0, 10**6))
def test_stamps_off_by_nearly_half_a_step_keep_to_their_marks(form: str, seed: int) -> None:
    values = pd.Series(40.0 + np.arange(200) / 10, stamps(200, 5, 0.45, seed))
    with tempfile.TemporaryDirectory() as folder:
        found = read(folder, {"chw_supply_temp": values}, form, 5.0)["chw_supply_temp"]
    assert found.to_numpy().tolist() == values.tolist()
    assert found.index[0].tz_localize(None) == START + pd.Timedelta("5min")


@settings(max_examples=40, deadline=None)
@given(form=st.sampled_from(["", "long"]), phase=st.floats(0.0, 1.0), seed=st.integers(0, 10**6))
def test_a_wandering_file_has_no_gaps_on_a_finer_grid(form: str, phase: float, seed: int) -> None:
    coarse = pd.Series(40.0 + np.arange(60) / 10, stamps(60, 5, 0.2, seed, phase))
    fine = pd.Series(30.0 + np.arange(320) % 7, stamps(320, 1, 0.0, seed))
    left = coarse.drop(coarse.index[30])
    with tempfile.TemporaryDirectory() as folder:
        files = {"chw_supply_temp": left, "outdoor_wet_bulb": fine}
        found = read(folder, files, form)["chw_supply_temp"]
    inside = found[found.first_valid_index() : found[found == coarse.iloc[-1]].index[0]]
    assert inside.dropna().unique().tolist() == left.tolist()
    gap = inside[inside.isna()].index.tz_localize(None)
    # A missing line leaves its five rows, more or less by the wandering of its neighbours.
    assert 2 <= len(gap) <= 8 and coarse.index[29] < gap[0] and gap[-1] < coarse.index[31]


@pytest.mark.parametrize("second", [0, 20, 150, 299])
def test_exact_stamps_stand_in_their_own_stretch(second: int, tmp_path: Path) -> None:
    values = pd.Series(40.0 + np.arange(30) / 10, stamps(30, 5, 0.0, 0))
    values.index += pd.Timedelta(seconds=second)
    found = read(tmp_path, {"chw_supply_temp": values})["chw_supply_temp"]
    assert found.tolist() == values.tolist()
    # A second early is on time, a second late too.
    assert found.index[0].tz_localize(None) == (values.index[0] + pd.Timedelta("5s")).floor("5min")
