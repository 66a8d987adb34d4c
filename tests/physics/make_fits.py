"""Make ``fits.py`` from CoolProp: python tests/physics/make_fits.py

CoolProp takes more than a second to import, so the library carries Chebyshev
interpolants of its curves instead. Only this script and the tests need CoolProp.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev

import fptlib.physics

FLUIDS = {
    "R-134a": "R134a",
    "R-513A": "R513A.mix",
    "R-1234ze(E)": "R1234ze(E)",
    "R-1233zd(E)": "R1233zd(E)",
    "R-123": "R123",
    "R-22": "R22",
    "R-1234yf": "R1234yf",
    # Not among CoolProp's predefined blends: mass 0.747 and 0.253 as mole fractions, with
    # estimated interaction terms; an azeotrope, so that the bubble point stands for both.
    "R-514A": "HEOS::R1336mzz(Z)[0.63566]&R1130(E)[0.36434]",
}
BLENDS = ("R-513A",)  # whose dew point is not its bubble point
GLYCOLS = {"propylene": "MPG", "ethylene": "MEG"}
LOOP_PRESSURE = 0.5e6  # Pa, about 58 psig
REFRIGERANT_RANGE = (-45.0, 150.0)  # degF
WATER_RANGE = (32.02, 140.0)  # degF, above the triple point
GLYCOL_RANGE = (34.0, 140.0)  # degF
PERCENT_RANGE = (10.0, 50.0)  # mass percent
LB_PER_FT3 = 0.45359237 / 0.3048**3  # kg/m3
BTU_PER_LB_F = 4186.8  # J/kg K
PSI = 6894.757293168  # Pa


def kelvin(fahrenheit: Any) -> Any:
    return (fahrenheit + 459.67) / 1.8


def nodes(low: float, high: float, degree: int) -> np.ndarray:
    """The Chebyshev points of an interval."""
    return (low + high) / 2 + (high - low) / 2 * chebyshev.chebpts1(degree + 1)


def interpolate(
    function: Callable[[float], float], low: float, high: float, degree: int
) -> list[float]:
    return chebyshev_of(np.array([function(point) for point in nodes(low, high, degree)]))


def chebyshev_of(values: np.ndarray) -> list[float]:
    """Coefficients of the interpolant through values at the Chebyshev points.

    Rounded to ten decimals, so that every machine writes the same file.
    """
    count = len(values)
    basis = chebyshev.chebvander(chebyshev.chebpts1(count), count - 1)
    weights = np.full(count, 2.0 / count)
    weights[0] /= 2.0
    return [round(float(c), 10) + 0.0 for c in weights * (basis.T @ values)]


def saturation_fit(fluid: str, quality: int = 0) -> list[float]:
    """ln of bubble (quality 0) or dew pressure [psia] against 1/T [1/degR]."""
    from CoolProp.CoolProp import PropsSI

    low, high = (1.0 / (t + 459.67) for t in reversed(REFRIGERANT_RANGE))
    return interpolate(
        lambda x: float(np.log(PropsSI("P", "T", 1.0 / x / 1.8, "Q", quality, fluid) / PSI)),
        low, high, 10,
    )


def water_fit(quantity: str, unit: float) -> list[float]:
    from CoolProp.CoolProp import PropsSI

    return interpolate(
        lambda t: PropsSI(quantity, "T", kelvin(t), "P", LOOP_PRESSURE, "Water") / unit,
        *WATER_RANGE, 8,
    )


def glycol_fit(fluid: str, quantity: str, unit: float) -> list[list[float]]:
    """Rows by powers of temperature, columns by powers of mass percent."""
    from CoolProp.CoolProp import PropsSI

    def across(percent: float) -> list[float]:
        mixture = f"INCOMP::{fluid}-{percent:.12f}%"
        return interpolate(
            lambda t: PropsSI(quantity, "T", kelvin(t), "P", LOOP_PRESSURE, mixture) / unit,
            *GLYCOL_RANGE, 4,
        )

    by_percent = np.array([across(percent) for percent in nodes(*PERCENT_RANGE, 5)])
    return [chebyshev_of(values) for values in by_percent.T]


def freezing_fit(fluid: str) -> list[float]:
    from CoolProp.CoolProp import PropsSI

    def freezing(percent: float) -> float:
        mixture = f"INCOMP::{fluid}-{percent:.12f}%"
        return PropsSI("T_FREEZE", "T", 290.0, "P", LOOP_PRESSURE, mixture) * 1.8 - 459.67

    return interpolate(freezing, *PERCENT_RANGE, 5)


def fits() -> dict[str, Any]:
    return {
        "REFRIGERANT_RANGE": REFRIGERANT_RANGE,
        "SATURATION": {name: saturation_fit(fluid) for name, fluid in FLUIDS.items()},
        "DEW": {name: saturation_fit(FLUIDS[name], quality=1) for name in BLENDS},
        "WATER_RANGE": WATER_RANGE,
        "WATER_DENSITY": water_fit("D", LB_PER_FT3),
        "WATER_HEAT_CAPACITY": water_fit("C", BTU_PER_LB_F),
        "GLYCOL_RANGE": GLYCOL_RANGE,
        "PERCENT_RANGE": PERCENT_RANGE,
        "GLYCOL_DENSITY": {k: glycol_fit(f, "D", LB_PER_FT3) for k, f in GLYCOLS.items()},
        "GLYCOL_HEAT_CAPACITY": {k: glycol_fit(f, "C", BTU_PER_LB_F) for k, f in GLYCOLS.items()},
        "GLYCOL_FREEZING": {k: freezing_fit(f) for k, f in GLYCOLS.items()},
    }


def text(values: dict[str, Any]) -> str:
    from CoolProp import __version__

    lines = [
        f'"""Chebyshev fits of CoolProp {__version__}, made by tests/physics/make_fits.py. '
        "Do not edit.",
        "",
        "Refrigerants: ln of bubble or dew pressure [psia] over 1/T [1/degR].",
        "Water and glycol at 0.5 MPa: density [lb/ft3], heat capacity [Btu/lb.degF],",
        "freezing point [degF].",
        '"""',
        "",
    ]
    for name, value in values.items():
        lines += [f"{name} = {_literal(value, '')}"]
    return "\n".join(lines) + "\n"


def _literal(value: Any, indent: str) -> str:
    """Tables a line an entry, numbers as many as fit on a line."""
    deeper = indent + "    "
    if isinstance(value, dict):
        inner = [f'{deeper}"{k}": {_literal(v, deeper)},' for k, v in value.items()]
        return "\n".join(["{", *inner, indent + "}"])
    if isinstance(value[0], list):
        inner = [f"{deeper}{_literal(row, deeper)}," for row in value]
        return "\n".join(["(", *inner, indent + ")"])
    numbers = ", ".join(repr(float(each)) for each in value)
    if len(numbers) <= 80:
        return f"({numbers})"
    inner = textwrap.wrap(numbers, 96, initial_indent=deeper, subsequent_indent=deeper)
    return "\n".join(["(", *inner, indent + ")"])


if __name__ == "__main__":
    target = Path(fptlib.physics.__path__[0]) / "fits.py"
    target.write_text(text(fits()), encoding="utf-8")
