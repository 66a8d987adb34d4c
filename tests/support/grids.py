"""Grids made of tables, for tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from fptlib.trends.grid import Grid


def grid_of(frame: pd.DataFrame, step: timedelta, **rest: Any) -> Grid:
    """A grid of a table whose index is uniform and carries the site's time zone."""
    return Grid(start=frame.index[0].to_pydatetime(), **_of_frame(frame, step), **rest)


def grid_with(grid: Grid, frame: pd.DataFrame, step: timedelta | None = None) -> Grid:
    """The same grid with other values, and another length of row where one is given."""
    return replace(grid, start=frame.index[0].to_pydatetime(),
                   **_of_frame(frame, step or grid.step))


def _of_frame(frame: pd.DataFrame, step: timedelta) -> dict[str, Any]:
    columns = {str(name): frame[name].to_numpy(dtype=np.float64) for name in frame.columns}
    return {"columns": columns, "rows": len(frame),
            "step": timedelta(seconds=step.total_seconds())}
