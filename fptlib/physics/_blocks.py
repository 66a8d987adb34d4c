"""Many rows worked out in blocks whose work arrays stay in the processor's cache."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from fptlib.physics._kinds import Array

_ROWS = 16_384


def in_blocks(solve: Callable[..., tuple[Array, ...]], *states: Array) -> list[Array]:
    """Results of ``solve`` for all rows; a state may be one number for all of them."""
    states = tuple(np.broadcast_arrays(*states))
    rows = [np.atleast_1d(state).reshape(-1) for state in states]
    results: list[Array] = []
    for start in range(0, max(rows[0].size, 1), _ROWS):
        part = slice(start, start + _ROWS)
        solved = solve(*(np.ascontiguousarray(row[part]) for row in rows))
        results = results or [np.empty(rows[0].shape, each.dtype) for each in solved]
        for result, each in zip(results, solved, strict=True):
            result[part] = each
    return [result.reshape(states[0].shape) for result in results]
