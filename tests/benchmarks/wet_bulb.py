"""Time a year of minutes of wet bulb against psychrolib's own loop, side by side.

    python tests/benchmarks/wet_bulb.py [--small]

psychrolib's loop runs over a sample of the rows at its default tolerance, and its time is
scaled to all of them. Both are timed in turn, five times; medians and their ratio count.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import psychrolib

from fptlib.physics import moist_air

YEAR = 525_600
SAMPLE = 8_000
ROUNDS = 5


def weather(rows: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Dry bulb, humidity and pressure of an invented year, seasons and days in it."""
    random = np.random.default_rng(0)
    day = np.arange(rows) * 365.0 / rows
    dry_bulb = 55.0 - 25.0 * np.cos(day * 2 * np.pi / 365) - 10.0 * np.cos(day * 2 * np.pi)
    humidity = 55.0 + 20.0 * np.cos(day * 2 * np.pi) + random.normal(0.0, 8.0, rows)
    return (
        dry_bulb + random.normal(0.0, 4.0, rows),
        np.clip(humidity, 5.0, 100.0),
        12.1 + random.normal(0.0, 0.1, rows),
    )


def seconds(task: Callable[[], object]) -> float:
    begin = time.perf_counter()
    task()
    return time.perf_counter() - begin


def loop(state: tuple[np.ndarray, np.ndarray, np.ndarray]) -> list[float]:
    return [
        psychrolib.GetTWetBulbFromRelHum(d, h / 100.0, p) for d, h, p in zip(*state, strict=True)
    ]


def largest_difference(state: tuple[np.ndarray, np.ndarray, np.ndarray]) -> tuple[float, int]:
    """degC outside the band, and the rows flagged inside it."""
    psychrolib.PSYCHROLIB_TOLERANCE = 1e-10
    difference = np.abs(moist_air.wet_bulb(*state) - np.array(loop(state))) / 1.8
    flagged = ~np.isnan(moist_air.wet_bulb_branches(*state)).any(axis=0)
    return float(difference[~flagged].max()), int(flagged.sum())


def main(rows: int) -> None:
    psychrolib.SetUnitSystem(psychrolib.IP)
    state = weather(rows)
    picked = np.random.default_rng(1).choice(rows, min(SAMPLE, rows), replace=False)
    sample = tuple(column[picked] for column in state)
    moist_air.wet_bulb(*state)
    times = [
        (
            seconds(lambda: moist_air.wet_bulb(*state)),
            seconds(lambda: moist_air.wet_bulb_branches(*state)),
            seconds(lambda: loop(sample)) * rows / len(picked),
        )
        for _ in range(ROUNDS)
    ]
    ours, branches, theirs = (statistics.median(column) for column in zip(*times, strict=True))
    print(f"rows                       {rows:>12,}")
    print(f"wet_bulb              [s]  {ours:>12.4f}")
    print(f"wet_bulb_branches     [s]  {branches:>12.4f}")
    print(f"psychrolib's loop     [s]  {theirs:>12.2f}")
    print(f"ratio to wet_bulb          {theirs / ours:>12.0f}")
    difference, flagged = largest_difference(sample)
    print(f"largest difference [degC]  {difference:>12.1e}  outside the band, tightened")
    print(f"flagged in the band        {flagged:>12}  of {len(picked):,} sampled")


if __name__ == "__main__":
    main(20_000 if "--small" in sys.argv else YEAR)
