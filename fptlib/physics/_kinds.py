"""Numbers, arrays or series in, the same kind out; impossible ones raise or go missing."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import is_dataclass
from functools import wraps
from typing import Any, TypeAlias

import numpy as np

from fptlib.physics.errors import ImpossibleState

Quantity: TypeAlias = Any
"""A float, a numpy array or a pandas Series. pandas itself is never imported here."""

Array: TypeAlias = np.ndarray


def any_kind(function: Callable[..., Any]) -> Callable[..., Any]:
    """Let a function written for float arrays also take and return floats and series.

    Numbers with an uncertainty (of the package ``uncertainties``) keep it, and their
    correlation, through the function.

    Text and fitted models pass through. Series must share one index, for silent alignment of
    two clocks would pair readings of different moments.
    """
    signature = inspect.signature(function)

    @wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        given = signature.bind(*args, **kwargs)
        if any(hasattr(value, "std_dev") for value in given.arguments.values()):
            return _propagate(wrapped, args, kwargs)
        index_of = _common_series(given.arguments)
        for name, value in given.arguments.items():
            given.arguments[name] = _as_floats(value)
        result = function(*given.args, **given.kwargs)
        if isinstance(result, tuple):
            return tuple(_as_given(part, index_of) for part in result)
        return _as_given(result, index_of)

    return wrapped


def refuse(
    impossible: Any,
    result: Any,
    message: str,
    error: type[ValueError] = ImpossibleState,
    **numbers: Any,
) -> Any:
    """Raise ``error`` for a single impossible state; make it missing in an array."""
    if np.ndim(impossible) == 0:
        if impossible:
            raise error(message.format(**numbers))
        return result
    return np.where(impossible, np.nan, result)


def not_negative(name: str, value: float) -> float:
    """The value, which a spread or an uncertainty must be.

    Raises:
        ImpossibleState: it is negative.
    """
    if value < 0.0:
        raise ImpossibleState(f"{name} {value} is negative")
    return value


def _propagate(function: Callable[..., Any], args: Any, kwargs: Any) -> Any:
    """Carry the uncertainty of ``uncertainties`` numbers through the function."""
    import uncertainties

    return uncertainties.wrap(function)(*args, **kwargs)


def _is_series(value: Any) -> bool:
    return hasattr(value, "index") and hasattr(value, "to_numpy")


def _common_series(arguments: dict[str, Any]) -> Any:
    series = [value for value in arguments.values() if _is_series(value)]
    for other in series[1:]:
        if not other.index.equals(series[0].index):
            raise ValueError("series with different indexes: align them first")
    return series[0] if series else None


def _as_floats(value: Any) -> Any:
    if value is None or isinstance(value, (str, bool)) or is_dataclass(value):
        return value
    if _is_series(value):
        return value.to_numpy(dtype=float, na_value=np.nan)
    return np.asarray(value, dtype=float)


def _as_given(result: Any, series: Any) -> Any:
    if series is not None and np.ndim(result) == 1:
        return type(series)(result, index=series.index)
    if np.ndim(result) == 0:
        return result.item() if hasattr(result, "item") else result
    return result
