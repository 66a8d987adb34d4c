"""The quality report: of every point what it covers and how it behaves, as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from fptlib import points
from fptlib.trends import series
from fptlib.trends.grid import Grid, shown_step

# A spike or step is at least so many noise widths and sensor accuracies high.
_NOISES, _ACCURACIES = 8.0, 6.0


def quality(trends: Grid, used_by: Mapping[str, Sequence[str]] | None = None) -> pd.DataFrame:
    """One row per point.

    Args:
        trends: as read.
        used_by: check id to the points it needs; fills the column ``costs``.

    Returns:
        Index ``point``; columns ``unit``; ``coverage`` [% of the rows]; ``gaps`` (count);
        ``gap_hours``; ``longest_gap`` [h] and ``longest_gap_from``; ``stuck_hours`` (in
        stretches without a change over six hours, of water a day);
        ``spikes`` and ``steps`` (counts); ``noise`` and ``resolution`` [the point's unit];
        ``clock_drift`` [s/day of its file's stamps]; ``costs`` (checks that lose time).
    """
    rows = [_row(trends, name, used_by or {}) for name in trends.columns]
    return pd.DataFrame(rows).set_index("point")


def gaps(trends: Grid, name: str) -> pd.DataFrame:
    """The gaps of one point: ``begin``, ``end`` (time of the first row after) and ``hours``."""
    missing = series.stretches(np.isnan(trends.columns[name]))
    return pd.DataFrame(
        {
            "begin": [pd.Timestamp(trends.time(s.begin)) for s in missing],
            "end": [pd.Timestamp(trends.time(s.end)) for s in missing],
            "hours": [s.length * trends.minutes / 60.0 for s in missing],
        }
    )


def _row(trends: Grid, name: str, used_by: Mapping[str, Sequence[str]]) -> dict[str, object]:
    values = trends.columns[name]
    point, missing = points.point(name), series.stretches(np.isnan(values))
    longest = max(missing, key=lambda s: s.length, default=None)
    hours, file = trends.minutes / 60.0, trends.file_of(name)
    lost = [check for check, needed in used_by.items() if name in needed] if missing else []
    return {
        "point": name,
        "unit": point.unit,
        "coverage": 100.0 * float(np.mean(~np.isnan(values))),
        "gaps": len(missing),
        "gap_hours": sum(s.length for s in missing) * hours,
        "longest_gap": longest.length * hours if longest else 0.0,
        "longest_gap_from": pd.Timestamp(trends.time(longest.begin)) if longest else pd.NaT,
        **_behaviour(values, point, trends.minutes),
        "clock_drift": file.drift if file else 0.0,
        "costs": ", ".join(lost),
    }


def _behaviour(values: np.ndarray, point: points.Point, minutes: float) -> dict[str, object]:
    if point.kind != points.MEASURED:
        nothing = float("nan")
        return {"stuck_hours": 0.0, "spikes": 0, "steps": 0, "noise": nothing,
                "resolution": nothing}
    noise, fine = series.noise(values), shown_step(values)
    least = _least(values, point, noise)
    hours = series.stuck_hours(point)
    stuck = series.stuck(values, minutes, hours) if series.may_be_stuck(point) else []
    return {
        "stuck_hours": sum(s.length for s in stuck) * minutes / 60.0,
        "spikes": int(series.spikes(values, least).sum()),
        "steps": len(series.steps(values, least)),
        "noise": noise,
        "resolution": fine,
    }


def _least(values: np.ndarray, point: points.Point, noise: float) -> float:
    """How high a spike or step must be to count."""
    there = values[~np.isnan(values)]
    # Equipment may stand for most of the record, so not the median.
    usual = float(np.percentile(np.abs(there), 90)) if point.relative and len(there) else 1.0
    return max(_ACCURACIES * point.accuracy * usual, _NOISES * noise if noise == noise else 0.0,
               1e-9)
