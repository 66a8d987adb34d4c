"""Trends at a longer interval, as a building system would have stored them."""

from __future__ import annotations

import pandas as pd


def at_interval(frame: pd.DataFrame, minutes: int) -> pd.DataFrame:
    """The trends at every so many minutes; a row stands for the stretch that begins there.

    Status, alarms, temperatures, flows and setpoints are sampled at the stamp. Power is
    what a meter stores: the mean over the stretch.
    """
    sampled = frame.iloc[::minutes].copy()
    for name in frame.columns:
        if name.endswith("_power"):
            means = frame[name].resample(f"{minutes}min", origin="start").mean()
            sampled[name] = means.round(1)
    return sampled
