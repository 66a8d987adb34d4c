"""Demand over the utility's interval, in clock blocks or sliding."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from fptlib.procedure.catalogue import Untested

MOST_PARTS = 60
# Of an interval: with so much known its mean stands, with less it is a gap (common practice, no
# source).
LEAST_KNOWN = 2.0 / 3.0


def interval_demand(power: pd.Series, minutes: float, window: str) -> pd.Series:
    """Mean power over each demand interval [kW], indexed by the interval's start.

    A row that lies in two intervals counts in each for its share.

    Args:
        power: power on a uniform index [kW]; of an interval with a short gap the rest counts,
            one with more than a third unknown is left out.
        minutes: length of the demand interval.
        window: ``clock`` for blocks aligned to the clock, ``sliding`` for every row.

    Raises:
        Untested: rows and interval have no common measure worth the name.
    """
    interval = pd.Timedelta(minutes=minutes)
    power, step = _in_parts(power, interval)
    rows = interval // step
    least = math.ceil(LEAST_KNOWN * rows)
    if window == "sliding":
        mean = power.rolling(rows, min_periods=least).mean()
        return mean.shift(1 - rows).dropna()
    blocks = power.resample(interval)
    return blocks.mean().where(blocks.count() >= least).dropna()


def _in_parts(power: pd.Series, interval: pd.Timedelta) -> tuple[pd.Series, pd.Timedelta]:
    """Each row cut into equal parts of which the interval holds a whole number."""
    step = power.index[1] - power.index[0]
    part = pd.Timedelta(math.gcd(step.value, interval.value))
    parts = step // part
    if parts > MOST_PARTS:
        raise Untested(f"rows of {step.total_seconds() / 60.0:g} min do not fit into a demand "
                       f"interval of {interval.total_seconds() / 60.0:g} min")
    index = pd.date_range(power.index[0], periods=len(power) * parts, freq=part)
    return pd.Series(np.repeat(power.to_numpy(), parts), index), part
