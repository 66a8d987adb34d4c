"""What every function of the room takes and gives, and how it refuses the impossible."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fptlib.physics.errors import ImpossibleState

Array: TypeAlias = NDArray[np.float64]
"""Floats; a result of scalars alone is a numpy float, which is a float too."""

Quantity: TypeAlias = float | Array
Flags: TypeAlias = NDArray[np.bool_]


def floats(*quantities: Quantity) -> tuple[Array, ...]:
    """Each quantity as floats of numpy, which divide by zero without an error."""
    return tuple(np.asarray(quantity, dtype=float)[()] for quantity in quantities)


BLOCK = 16_384  # rows whose work arrays stay in the processor's cache: half the time over a year


def in_blocks(solve: Callable[..., Array], *states: Array) -> Array:
    """What ``solve`` gives for rows, of which it may give several arrays, solved block by block."""
    together = np.broadcast_arrays(*states)
    rows = [np.atleast_1d(state).reshape(-1) for state in together]
    parts = [solve(*(np.ascontiguousarray(each[start : start + BLOCK]) for each in rows))
             for start in range(0, max(rows[0].size, 1), BLOCK)]
    found = np.concatenate(parts, axis=-1)
    return found.reshape(found.shape[:-1] + together[0].shape)


def refuse(
    impossible: bool | Flags,
    result: Quantity,
    message: str,
    error: type[ValueError] = ImpossibleState,
    /,
    **numbers: object,
) -> Array:
    """Raise ``error`` for a single impossible state; make it NaN among the rows of an array.

    ``message`` is filled with ``numbers``, and only where it is raised.
    """
    if np.ndim(impossible) == 0:
        if impossible:
            raise error(message.format(**numbers))
        return np.asarray(result, dtype=float)[()]
    return np.where(impossible, np.nan, result)


def outside(values: Quantity, low: float, high: float) -> Array:
    """How far values lie outside a range."""
    return np.maximum(low - values, 0.0) + np.maximum(values - high, 0.0)
