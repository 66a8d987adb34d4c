"""Heat and power of the second plant's equipment.

°F, gpm, tons, kW, psia. One constant serves all water: 23.93 gpm·°F a ton (water of 50 °F;
within 0.5 % from 40 to 75 °F), so that the loops balance exactly.
"""

from __future__ import annotations

from math import exp, log

import numpy as np

WATER = 23.93
KW_PER_TON = 3.5168528

# Saturation pressures, psia, at 36, 60, 85 and 105 °F: three constants each by least squares.
_SATURATION = {
    "R-134a": (45.994, 72.105, 109.935, 149.653),
    "R-513A": (50.627, 77.849, 116.672, 156.947),
    "R-1233zd(E)": (7.749, 13.324, 22.092, 31.901),
}
_AT = np.array([36.0, 60.0, 85.0, 105.0]) + 459.67
_CURVE = {
    name: [float(c) for c in np.polyfit(1000 / _AT, np.log(p), 2)]
    for name, p in _SATURATION.items()
}


def refrigerant_pressure(name: str, t):
    """Saturation pressure, psia, at ``t`` °F (a number or an array)."""
    a, b, c = _CURVE[name]
    x = 1000 / (t + 459.67)
    return np.exp(a * x * x + b * x + c)


def chiller_power(tons: float, capacity: float, leaving: float, condenser_leaving: float) -> float:
    """kW of a compressor: Carnot between saturation temperatures, losses by load and fixed."""
    if tons <= 0:
        return 0.0
    part = tons / capacity
    cold = leaving - 2.0 * part - 0.5 + 459.67
    lift = max(condenser_leaving - leaving + 4.0 * part + 1.0, 4.0)
    efficiency = 0.64 - 0.22 * (1 - part) ** 2
    return KW_PER_TON * tons * lift / cold / efficiency + 0.045 * capacity


def counterflow(ntu: float, ratio: float) -> float:
    """Effectiveness of a counterflow exchanger."""
    if abs(1 - ratio) < 1e-6:
        return ntu / (1 + ntu)
    e = exp(-ntu * (1 - ratio))
    return (1 - e) / (1 - ratio * e)


def exchanger_ua(ua: float, warm: float, cold: float, warm_design: float, cold_design: float):
    """UA, tons/°F, at the flows; both films follow the flow's power 0.75."""
    return 2 * ua / ((warm / warm_design) ** -0.75 + (cold / cold_design) ** -0.75)


def exchanger_tons(ua: float, warm: float, cold: float, t_warm: float, t_cold: float) -> float:
    """Heat from the chilled water (``warm`` gpm at ``t_warm``) to the condenser water, tons."""
    small, large = (warm, cold) if warm < cold else (cold, warm)
    if small < 1.0:
        return 0.0
    capacity = small / WATER
    return counterflow(ua / capacity, small / large) * capacity * (t_warm - t_cold)


def exchanger_sized(tons: float, warm: float, cold: float, t_warm: float, approach: float):
    """Design UA, tons/°F: the exchanger leaves ``approach`` above the water it gets."""
    out = t_warm - tons * WATER / warm
    t_cold = out - approach
    ends = (approach, t_warm - (t_cold + tons * WATER / cold))
    alike = abs(ends[1] - ends[0]) < 1e-6
    mean = ends[0] if alike else (ends[1] - ends[0]) / log(ends[1] / ends[0])
    return tons / mean


def _saturated_enthalpy(t: float, pressure: float) -> float:
    c = (t - 32) / 1.8
    vapor = 0.0886125 * exp(17.625 * c / (243.04 + c))
    return 0.24 * t + 0.621945 * vapor / (pressure - vapor) * (1061 + 0.444 * t)


class Tower:
    """Counterflow cells, all wetted alike; effectiveness-NTU with saturation enthalpy as driver.

    Rated at 95/85/78 °F, water to air 1.2 by weight at sea level. KaV goes with water^0.4 and
    air^0.6. A stopped fan leaves 12 % of the air (natural draft); fans keep their volume, so
    thin air at altitude cools less.
    """

    _kav = 0.0

    def __init__(self, cells: int, water: float, pressure: float = 14.696) -> None:
        self.cells, self.water, self.pressure = cells, water, pressure
        self._last: dict[int, float] = {}
        if not Tower._kav:
            low, high = 0.5, 5.0
            for _ in range(40):
                Tower._kav = (low + high) / 2
                out = self._cell(0, 95.0, 78.0, 1.0, 1.0, 14.696, 60)
                low, high = (Tower._kav, high) if out > 85.0 else (low, Tower._kav)

    def _cell(self, group, t_in, wet, water, fan, pressure, turns):
        """Water leaving a cell at flow ``water`` and air ``fan`` (shares of design)."""
        air = max(fan, 0.12) * pressure / 14.696
        kav = Tower._kav * water**0.4 * air**0.6 * (1 + 0.003 * (78.0 - wet))
        gas = air / 1.2
        leave = self._last.get(group, (t_in + wet) / 2)
        inside = _saturated_enthalpy(wet, pressure)
        heat = 0.0
        for _ in range(turns):
            leave = max(leave, wet + 0.05)
            slope = (_saturated_enthalpy(leave, pressure) - inside) / (leave - wet)
            a, b = gas * slope, water
            small, large = (a, b) if a < b else (b, a)
            heat = counterflow(kav * slope / small, small / large) * small * (t_in - wet)
            leave = 0.5 * leave + 0.5 * (wet + heat / a)
        self._last[group] = leave
        return t_in - heat / water

    def leaving(self, t_in: float, wet: float, flow: float, speeds, turns: int = 3) -> float:
        """Mixed water of all cells, °F; ``speeds`` are the fans' shares of full speed."""
        if flow < 1.0:
            return t_in
        if abs(t_in - wet) < 0.1:
            return t_in
        share = flow / self.cells / (self.water / self.cells)
        groups: dict[float, float] = {}
        for s in speeds:
            if s not in groups:
                groups[s] = self._cell(len(groups), t_in, wet, share, s, self.pressure, turns)
        return sum(groups[s] for s in speeds) / self.cells


def tower_balance(tower: Tower, tons: float, wet: float, flow: float, speeds) -> float:
    """Water leaving the tower in steady state under a load, °F."""
    t_out = wet + 10.0
    for _ in range(60):
        t_out += 0.7 * (tower.leaving(t_out + tons * WATER / flow, wet, flow, speeds) - t_out)
    return t_out


def affinity(share: float) -> float:
    """Power of a fan or pump at a share of its speed, share of full power."""
    return 0.03 + 0.97 * share**2.8 if share > 0 else 0.0


__all__ = [name for name in dir() if not name.startswith("_") and name not in ("sqrt",)]
