"""A second trend of the same quantity: how far the clocks and the values are apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.trends.clock_offset import clock_offset
from fptlib.trends.forms import PointSource
from fptlib.trends.notes import Notes
from fptlib.trends.series import frozen_text, stuck, stuck_hours


def compare(source: PointSource, first: pd.Series, second: pd.Series, notes: Notes) -> None:
    """Say how two trends of one quantity differ.

    Args:
        source: the point, with its second trend.
        first, second: samples in the point's unit at their own times.
        notes: what is found goes there.
    """
    other, name = source.second.file if source.second else "", source.name
    for file, samples, which in ((source.file, first, "first"), (other, second, "second")):
        index, values = pd.DatetimeIndex(samples.index), samples.to_numpy()
        if frozen := frozen_text(index.__getitem__, values, _minutes(samples), source.point):
            notes.doubt(f"in the {which} trend {frozen}", file, name)
    hours = stuck_hours(source.point)
    found = clock_offset(_moving(first, hours), _moving(second, hours))
    if found is None or not found.sharp:
        notes.doubt(f"the second trend in '{other}' does not follow this one; their clocks cannot "
                    "be compared", source.file, name)
        return
    near = abs(found.seconds) <= 60.0 * min(_minutes(first), _minutes(second))
    (notes.note if near else notes.doubt)(
        f"the clock of '{other}' is about {found.seconds / 60.0:+.1f} min against that of "
        f"'{source.file}', and its values {found.difference:+.2g} {source.point.unit} (median); "
        "state clock_offset_s if the clocks differ", source.file, name)


def _minutes(samples: pd.Series) -> float:
    steps = np.diff(pd.DatetimeIndex(samples.index).as_unit("ns").asi8)
    return float(np.median(steps)) / 60e9 if len(steps) else 1.0


def _moving(samples: pd.Series, hours: float) -> pd.Series:
    """A trend without the stretches in which it stands still."""
    values = samples.to_numpy().copy()
    for stretch in stuck(values, _minutes(samples), hours):
        values[stretch.begin : stretch.end] = np.nan
    return pd.Series(values, samples.index)
