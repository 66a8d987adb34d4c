"""Demand over the utility's interval, in clock blocks or sliding."""

from __future__ import annotations

import pandas as pd


def interval_demand(power: pd.Series, minutes: float, window: str) -> pd.Series:
    """Mean power over each demand interval [kW], indexed by the interval's start.

    Args:
        power: power on a uniform index [kW]; an interval with a gap is a gap.
        minutes: length of the demand interval.
        window: ``clock`` for blocks aligned to the clock, ``sliding`` for every row.
    """
    step = power.index[1] - power.index[0]
    rows = max(1, round(pd.Timedelta(minutes=minutes) / step))
    if window == "sliding":
        mean = power.rolling(rows, min_periods=rows).mean()
        return mean.shift(1 - rows).dropna()
    blocks = power.resample(f"{round(minutes)}min")
    return blocks.mean().where(blocks.count() >= rows).dropna()
