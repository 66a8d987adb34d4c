"""Saturation pressure of the refrigerants, by a three-term fit of ln p over 1/T.

The fits go through round figures of saturation pressure at 36, 60 and 95 degF and hold
within about half a percent from 30 to 105 degF, which is enough for invented trends.
"""

from __future__ import annotations

import math

import numpy as np

_TEMPERATURES = (36.0, 60.0, 95.0)
_PRESSURES = {
    "R-134a": (45.99, 72.11, 128.65),
    "R-513A": (50.63, 77.85, 135.69),
    "R-1233zd(E)": (7.749, 13.324, 26.648),
}


def _fit(pressures: tuple[float, ...]) -> tuple[float, float, float]:
    rankine = np.array(_TEMPERATURES) + 459.67
    terms = np.column_stack([np.ones(3), 1.0 / rankine, np.log(rankine)])
    return tuple(float(x) for x in np.linalg.solve(terms, np.log(np.array(pressures))))


_TERMS = {name: _fit(pressures) for name, pressures in _PRESSURES.items()}


def saturation_pressure(refrigerant: str, temperature: float) -> float:
    """Saturation pressure [psia] at ``temperature`` degF."""
    first, second, third = _TERMS[refrigerant]
    rankine = temperature + 459.67
    return math.exp(first + second / rankine + third * math.log(rankine))
