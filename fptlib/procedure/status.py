"""On or off, as the changeovers read it: proven, held over a short gap, without a flicker.

A status is held, never interpolated. A gap of up to half an hour between two equal states is
that state; a change that a gap of up to five minutes hides is put at the gap's end; a state
that shows for one minute only, between two equal ones, is a noisy sample where another signal
contradicts it, and chatter of the plant where none does. What a longer gap hides stays unknown.
(Common practice, no source.)
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.procedure.flags import stretches

HELD_MINUTES = 30.0
CHANGE_MINUTES = 5.0
FLICKER_MINUTES = 1.0
# Of its own highest draw, and of the highest of all: a heater in a standing chiller is neither.
OWN_SHARE = 0.03
LARGEST_SHARE = 0.01


def debounce(status: np.ndarray, minutes: float, others: Sequence[np.ndarray] = ()
             ) -> tuple[np.ndarray, int]:
    """A status (1.0, 0.0, NaN) in rows of ``minutes`` with its short gaps closed, and without
    the flickers that ``others``, statuses of the same equipment, contradict; and how many those
    were."""
    values, dropped = status.astype(float), 0
    for first, last in stretches(np.isnan(values)):
        if first == 0 or last == len(values) - 1:
            continue
        same = values[first - 1] == values[last + 1]
        longest = max(HELD_MINUTES if same else CHANGE_MINUTES, minutes)
        if (last - first + 1) * minutes <= longest:
            values[first : last + 1] = values[first - 1]
    edges = (np.flatnonzero(values[1:] != values[:-1]) + 1).tolist()
    for first, after in zip(edges[:-1], edges[1:], strict=True):
        between_equals = values[first - 1] == values[after]
        if (between_equals and (after - first) * minutes <= FLICKER_MINUTES
                and _contradicted(others, first, after)):
            values[first:after] = values[first - 1]
            dropped += 1
    return values, dropped


def _contradicted(others: Sequence[np.ndarray], first: int, after: int) -> bool:
    """Whether a status is known that did not change with a flicker, and none is that did."""
    around = [other[first - 1 : after + 1] for other in others]
    known = [each for each in around if not np.isnan(each).any()]
    return bool(known) and all(np.ptp(each) == 0.0 for each in known)


def running_by_signals(columns: Mapping[str, np.ndarray], n: int) -> np.ndarray | None:
    """Whether chiller ``n`` runs (1.0, 0.0, NaN): row by row its status, else its power, else
    its current; ``None`` where none of them has a value."""
    found: np.ndarray | None = None
    for proof in signals(columns, n):
        found = proof if found is None else np.where(np.isnan(found), proof, found)
    return found


def signals(columns: Mapping[str, np.ndarray], n: int) -> list[np.ndarray]:
    """What tells whether chiller ``n`` runs (1.0, 0.0, NaN): its status, power and current."""
    found = []
    for what in ("running", "power", "amps"):
        values = columns.get(f"chiller_{n}_{what}")
        if values is not None and not np.isnan(values).all():
            found.append(values if what == "running" else _drawing(columns, values, what))
    return found


def _drawing(columns: Mapping[str, np.ndarray], values: np.ndarray, what: str) -> np.ndarray:
    """1.0 where a chiller draws more than one that is off does."""
    of_all = [each for name, each in columns.items()
              if name.startswith("chiller_") and name.endswith(f"_{what}")]
    with warnings.catch_warnings():
        # A chiller whose column is one gap is allowed beside one that has values.
        warnings.simplefilter("ignore", RuntimeWarning)
        highest = float(np.nanmax([np.nanmax(each) for each in of_all]))
    off = max(OWN_SHARE * float(np.nanmax(values)), LARGEST_SHARE * highest)
    return np.where(np.isnan(values), np.nan, (values > off).astype(float))


def is_mean(statuses: Sequence[np.ndarray], drawn: Sequence[np.ndarray], apart: int) -> bool:
    """Whether the power of chillers, in samples so many rows ``apart``, is the mean over the
    interval that begins there: one that is off at the sample and starts before the next draws a
    part. At least half of three starts or more show it (common practice, no source)."""
    parts = []
    for status, power in zip(statuses, drawn, strict=True):
        for row in np.flatnonzero(np.diff(status) == 1.0):
            after = power[row + 1 : row + 2 * apart + 1]
            parts.append(OWN_SHARE < power[row] / max(np.max(after), 1e-9) < 0.9)
    return len(parts) >= 3 and 2 * sum(parts) >= len(parts)


def least_run(mean_power: np.ndarray, apart: int) -> np.ndarray:
    """The least share of each interval in which a chiller ran: its mean over the most that it drew
    in any of the two before and after; NaN beside a gap and at both ends."""
    most = sliding_window_view(np.pad(mean_power, 2 * apart, constant_values=np.nan),
                               4 * apart + 1).max(axis=1)
    return np.asarray(mean_power / np.where(most > 0.0, most, np.nan))


def flowing(values: np.ndarray) -> np.ndarray:
    """1.0 where a flow or a valve is more than a twentieth of its highest, 0.0 where not."""
    known = values[~np.isnan(values)]
    least = 0.05 * float(np.percentile(known, 99)) if len(known) else 0.0
    return np.where(np.isnan(values), np.nan, (values > least).astype(float))


def any_running(per_chiller: Sequence[np.ndarray]) -> np.ndarray:
    """1.0 where any chiller runs, 0.0 where all are known to be off, else NaN."""
    columns = np.array(per_chiller)
    highest = np.fmax.reduce(columns, axis=0, initial=np.nan)
    highest[np.isnan(columns).any(axis=0) & (highest < 0.5)] = np.nan
    return highest
