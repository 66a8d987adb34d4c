"""Trends at a longer interval, as a building system would have stored them."""

from __future__ import annotations

import pandas as pd


def at_interval(frame: pd.DataFrame, minutes: int) -> pd.DataFrame:
    """The trends at every so many minutes; a row stands for the stretch that begins there.

    Status, temperatures, flows and setpoints are sampled at the stamp. Power is what a meter
    stores, the mean over the stretch; an alarm is kept until the row is stored, so that none
    falls between two rows.
    """
    sampled = frame.iloc[::minutes].copy()
    for name in frame.columns:
        stretches = frame[name].resample(f"{minutes}min", origin="start")
        if name.endswith("_power"):
            sampled[name] = stretches.mean().round(1)
        elif name.endswith("_alarm"):
            sampled[name] = stretches.max()
    return sampled
