"""The quality report: of every point what it covers and how it behaves, as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fptlib import points
from fptlib.trends.align import stretches
from fptlib.trends.grid import Grid, shown_step
from fptlib.trends.plausibility import may_be_stuck, stuck, stuck_hours

if TYPE_CHECKING:
    import pandas as pd

# A spike or step is at least so many noise widths and sensor accuracies high.
_NOISES, _ACCURACIES = 8.0, 6.0


def quality(grid: Grid, used_by: Mapping[str, Sequence[str]] | None = None) -> pd.DataFrame:
    """One row per point.

    Args:
        grid: as read.
        used_by: check id to the points it needs; fills the column ``costs``.

    Returns:
        Index ``point``; columns ``unit``; ``coverage`` [% of the rows]; ``gaps`` (count);
        ``gap_hours``; ``longest_gap`` [h] and ``longest_gap_from``; ``stuck_hours`` (in
        stretches without a change over six hours, of water a day);
        ``spikes`` and ``steps`` (counts); ``noise`` and ``resolution`` [the point's unit];
        ``clock_drift`` [s/day of its file's stamps]; ``costs`` (checks that lose time).
    """
    import pandas as pd

    rows = []
    for name, values in grid.columns.items():
        missing, hours = stretches(np.isnan(values)), grid.minutes / 60.0
        begin, end = max(missing, key=lambda s: s[1] - s[0], default=(0, 0))
        file = grid.file_of(name)
        lost = [check for check, needed in (used_by or {}).items() if missing and name in needed]
        rows.append({
            "point": name, "unit": points.point(name).unit,
            "coverage": 100.0 * float(np.mean(~np.isnan(values))),
            "gaps": len(missing), "gap_hours": sum(e - b for b, e in missing) * hours,
            "longest_gap": (end - begin) * hours,
            "longest_gap_from": pd.Timestamp(grid.time(begin)) if missing else pd.NaT,
            **_behaviour(values, points.point(name), grid.minutes),
            "clock_drift": file.drift if file else 0.0, "costs": ", ".join(lost),
        })
    return pd.DataFrame(rows).set_index("point")


def gaps(grid: Grid, name: str) -> pd.DataFrame:
    """The gaps of one point: ``begin``, ``end`` (time of the first row after) and ``hours``."""
    import pandas as pd

    return pd.DataFrame(
        [(pd.Timestamp(grid.time(begin)), pd.Timestamp(grid.time(end)),
          (end - begin) * grid.minutes / 60.0)
         for begin, end in stretches(np.isnan(grid.columns[name]))],
        columns=["begin", "end", "hours"])


def _behaviour(values: np.ndarray, point: points.Point, minutes: float) -> dict[str, object]:
    if point.kind != points.MEASURED:
        return {"stuck_hours": 0.0, "spikes": 0, "steps": 0, "noise": np.nan, "resolution": np.nan}
    noise, there = _noise(values), values[~np.isnan(values)]
    # Equipment may stand for most of the record, so not the median.
    usual = float(np.percentile(np.abs(there), 90)) if point.relative and len(there) else 1.0
    least = max(_ACCURACIES * point.accuracy * usual, np.nan_to_num(_NOISES * noise), 1e-9)
    found = stuck(values, minutes, stuck_hours(point)) if may_be_stuck(point) else []
    return {"stuck_hours": sum(end - begin for begin, end in found) * minutes / 60.0,
            "spikes": _spikes(values, least), "steps": _steps(values, least),
            "noise": noise, "resolution": shown_step(values)}


def _noise(values: np.ndarray) -> float:
    """Standard deviation of the fast part, from second differences (robust); NaN if short."""
    second = np.diff(values, 2)
    second = second[~np.isnan(second)]
    if len(second) < 8:
        return float("nan")
    # 1.4826 turns a median deviation into a standard deviation, sqrt 6 second differences
    # of white noise into the noise itself.
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


def _spikes(values: np.ndarray, least: float) -> int:
    """How many rows stand out from both neighbours, which agree, by more than ``least``."""
    up, down = values[1:-1] - values[:-2], values[1:-1] - values[2:]
    out = np.minimum(np.abs(up), np.abs(down))
    agree = (np.abs(up - down) < 0.5 * out) & (np.sign(up) == np.sign(down))
    return int(np.count_nonzero((out > least) & agree))


def _steps(values: np.ndarray, least: float, rows: int = 10) -> int:
    """In how many rows the level becomes another by more than ``least`` and stays so."""
    after = np.flatnonzero(np.abs(np.diff(values)) > least) + 1
    inside = after[(after >= rows) & (after <= len(values) - rows)]
    if not len(inside):
        return 0
    windows = np.lib.stride_tricks.sliding_window_view(values, rows)
    # The (lower) median of each window; gaps sort to its end and shift it a little.
    low, high = (np.sort(windows[at], axis=1)[:, (rows - 1) // 2] for at in (inside - rows, inside))
    return int(np.count_nonzero(np.abs(high - low) > 0.8 * least))
