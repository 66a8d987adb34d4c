"""The reset setpoint where it is not trended: what the active setpoint says of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.measures import window_highest

# The setpoint is back, or lowered, within a quarter of a degree.
BACK_WITHIN = 0.25
# How long a reset setpoint that is not trended is taken to stay, and how long the active one must
# rest to be taken for it again (common practice, no source).
STALE_MINUTES = 120.0
REST_MINUTES = 30.0


def estimated(active: np.ndarray, changeovers: Sequence[Changeover], minutes: float,
              pull_down: float | None) -> np.ndarray:
    """The active setpoint [degF], held at its value before the enable while a changeover may have
    replaced it, and for ``STALE_MINUTES`` at the most (a reset moves little within two hours).

    From where the active setpoint is back at that value, or has come to rest after its return, it
    is the reset setpoint again; in between nothing is known. Where the enable command is not
    trended either, an active setpoint that fell before the status may be the temporary one already:
    from its fall on nothing is known.

    Args:
        active: the active setpoint, row by row.
        changeovers: those of the record.
        minutes: of a row.
        pull_down: the longest [min], where the enable command is not trended; else ``None``.
    """
    reset = active.copy()
    for changeover in changeovers:
        request, stop = changeover.request, changeover.last + 1
        if request is None:
            continue
        held = active[request.row - 1] if request.row else np.nan
        first = request.row if pull_down is None else _before_fall(
            active, request.row, round(pull_down / minutes))
        held = held if first == request.row else np.nan
        after = request.end + 1
        back = np.flatnonzero(active[after:stop] >= held - BACK_WITHIN)
        rest = _at_rest(active[after:stop], max(round(REST_MINUTES / minutes), 1))
        ends = [int(back[0]) + 1] if len(back) else []
        until = min([*ends, *rest, stop - after]) + after
        reset[first:until] = held
        reset[min(request.row + round(STALE_MINUTES / minutes), until) : until] = np.nan
    return reset


def _before_fall(active: np.ndarray, row: int, longest: int) -> int:
    """The row after the last one at which the active setpoint stood as high as in the ``longest``
    pull-down before ``row``: where its fall begins; ``row`` where it has not fallen."""
    begin = max(row - longest, 0)
    before = active[begin:row]
    if np.isnan(before).all() or np.nanmax(before) - before[-1] <= BACK_WITHIN:
        return row
    return begin + int(np.flatnonzero(before >= np.nanmax(before) - BACK_WITHIN)[-1]) + 1


def _at_rest(active: np.ndarray, rows: int) -> list[int]:
    """The first row from which a setpoint that has risen again rests for so many rows."""
    if len(active) < rows:
        return []
    level = window_highest(active, rows) + window_highest(-active, rows) <= BACK_WITHIN
    risen = active[: len(level)] >= np.fmin.accumulate(active)[: len(level)] + 1.0
    return np.flatnonzero(level & risen)[:1].tolist()
