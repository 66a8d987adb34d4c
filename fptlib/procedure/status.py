"""On or off, as the episodes read it: proven, held over a short gap, without a flicker.

A status is held, never interpolated. A gap of up to half an hour between two equal states is
that state; a change that a gap of up to five minutes hides is put at the gap's end; a state
that shows for one minute only, between two equal ones, is a noisy sample. What a longer gap
hides stays unknown. (Common practice, no source.)
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.procedure.known import stretches

HELD_MINUTES = 30.0
CHANGE_MINUTES = 5.0
FLICKER_MINUTES = 1.0
# Of its own highest draw, and of the highest of all: a heater in a standing chiller is neither.
OWN_SHARE = 0.03
LARGEST_SHARE = 0.01


def held(status: pd.Series, minutes: float) -> pd.Series:
    """A status (1.0, 0.0, NaN) in rows of ``minutes``, with its short gaps and flickers closed."""
    values = status.to_numpy(dtype=float, copy=True)
    for first, last in stretches(np.isnan(values)):
        if 0 < first and last < len(values) - 1:
            _hold(values, first, last, minutes)
    for first, last in _states(values):
        _leave_out(values, first, last, minutes)
    return pd.Series(values, index=status.index)


def _hold(values: np.ndarray, first: int, last: int, minutes: float) -> None:
    same = values[first - 1] == values[last + 1]
    longest = max(HELD_MINUTES if same else CHANGE_MINUTES, minutes)
    if (last - first + 1) * minutes <= longest:
        values[first : last + 1] = values[first - 1]


def _states(values: np.ndarray) -> list[tuple[int, int]]:
    """First and last row of each state but the first and the last one."""
    edges = np.flatnonzero(values[1:] != values[:-1]) + 1
    return [(int(a), int(b) - 1) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def _leave_out(values: np.ndarray, first: int, last: int, minutes: float) -> None:
    between_equals = values[first - 1] == values[last + 1]
    if between_equals and (last - first + 1) * minutes <= FLICKER_MINUTES:
        values[first : last + 1] = values[first - 1]


def running(frame: pd.DataFrame, n: int) -> pd.Series | None:
    """Whether chiller ``n`` runs (1.0, 0.0, NaN): row by row its status, else its power, else
    its current; ``None`` where none of them has a value."""
    proofs = [frame[f"chiller_{n}_running"]] if f"chiller_{n}_running" in frame else []
    proofs += [_drawing(frame, f"chiller_{n}_{what}", what) for what in ("power", "amps")
               if f"chiller_{n}_{what}" in frame]
    known = [proof for proof in proofs if proof.notna().any()]
    if not known:
        return None
    found = known[0]
    for proof in known[1:]:
        found = found.fillna(proof)
    return found


def _drawing(frame: pd.DataFrame, name: str, what: str) -> pd.Series:
    """1.0 where a chiller draws more than a standing one does."""
    values = frame[name]
    standing = max(OWN_SHARE * values.max(), LARGEST_SHARE * _highest(frame, what))
    return (values > standing).astype(float).where(values.notna())


def _highest(frame: pd.DataFrame, what: str) -> float:
    """The highest power or current of any chiller."""
    of_chillers = [name for name in map(str, frame.columns)
                   if name.startswith("chiller_") and name.endswith(f"_{what}")]
    return float(frame[of_chillers].max().max())


def any_running(per_chiller: pd.DataFrame) -> pd.Series:
    """1.0 where any chiller runs, 0.0 where all are known to stand, else NaN."""
    columns = per_chiller.to_numpy().T
    highest = np.fmax.reduce(columns, axis=0, initial=np.nan)
    highest[np.isnan(columns).any(axis=0) & (highest < 0.5)] = np.nan
    return pd.Series(highest, index=per_chiller.index)
