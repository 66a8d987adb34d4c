"""Loads, flows and powers that contradict one another: wrong units, wrong scaling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fptlib.trends.grid import Grid, Remark

FEW = 20
# Btu/h of one gpm of water warmed by one degree F (8.33 lb/gal * 60 min/h * 1 Btu/lb F).
_BTU = 500.0
_TON = 12_000.0
# A plant's chillers alone use so many kW per ton, whatever their make and load.
_KW_PER_TON = (0.15, 3.0)
_FACTORS = {
    60.0: "a value per hour read as one per minute, or per minute as per second",
    15.85: "L/s read as gpm",
    4.403: "m3/h read as gpm",
    3.517: "kW and tons",
    12.0: "tons and MBtu/h",
    1000.0: "W and kW",
}


def doubt(trends: Grid, point: str, text: str) -> Remark:
    """A remark on one point."""
    return Remark("doubt", text, file_of(trends, point), point)


def file_of(trends: Grid, point: str) -> str:
    """The name of the file that a point was read from."""
    file = trends.file_of(point)
    return file.name if file else ""


def median(values: np.ndarray) -> float:
    """The median of what is there; NaN of a few values only."""
    there = values[~np.isnan(values)]
    return float(np.median(there)) if len(there) >= FEW else float("nan")


def _heat(trends: Grid, flow: str, cold: str, warm: str) -> np.ndarray:
    """Tons by flow and temperature difference."""
    at = trends.columns
    return _BTU * at[flow] * (at[warm] - at[cold]) / _TON


def _chiller_power(trends: Grid) -> np.ndarray | None:
    names = [f"chiller_{n}_power" for n in trends.numbers("chiller_{n}_power")]
    if not names:
        return None
    return np.sum([trends.columns[name] for name in names], axis=0)


def _kw_per_ton(power: np.ndarray | None, tons: np.ndarray) -> float:
    if power is None:
        return float("nan")
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (tons > 0.02) & (power > 0.1 * np.nanmax(np.append(power, 0.0)))
        return median((power / tons)[kept])


def _usual(ratio: float) -> bool:
    return _KW_PER_TON[0] <= ratio <= _KW_PER_TON[1]


def _factor(ratio: float) -> str:
    if ratio <= 0:
        return ""
    high = max(ratio, 1.0 / ratio)
    near = min(_FACTORS, key=lambda f: abs(np.log(high / f)))
    return f" (about {near:g}: {_FACTORS[near]})" if abs(np.log(high / near)) < 0.12 else ""


def flow_against_load(trends: Grid) -> Iterator[Remark]:
    if not trends.has("chw_flow", "chw_supply_temp", "chw_return_temp", "plant_load"):
        return
    load = trends.columns["plant_load"]
    heat = _heat(trends, "chw_flow", "chw_supply_temp", "chw_return_temp")
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (load > 0.1 * np.nanmax(load)) & (heat > 0)
        ratio = median((load / heat)[kept])
    if not ratio == ratio or 0.8 <= ratio <= 1.25:
        return
    how = f"{ratio:.3g} times" if ratio >= 1 else f"1/{1 / ratio:.3g} of"
    text = f"plant_load is {how} the load by flow and temperatures (500 gpm dT){_factor(ratio)}"
    if 1 / 3 < ratio < 3:
        yield doubt(trends, "chw_flow", f"{text}; look at the units of flow and load in the map")
        return
    power = _chiller_power(trends)
    wrong = _culprit(_usual(_kw_per_ton(power, load)), _usual(_kw_per_ton(power, heat)))
    for name in wrong:
        yield Remark("unusable", (
            f"{text}; {name} is not used in any check: mend its unit or scaling"),
            file_of(trends, name), name)


def _culprit(load_fits: bool, heat_fits: bool) -> tuple[str, ...]:
    """Which of the two contradicts the chillers' power; without a witness the flow."""
    return ("plant_load",) if heat_fits and not load_fits else ("chw_flow",)


def load_by_power(trends: Grid) -> Iterator[Remark]:
    power = _chiller_power(trends)
    needed = ("chw_flow", "chw_supply_temp", "chw_return_temp")
    if power is None or trends.has("plant_load") or not trends.has(*needed):
        return
    ratio = _kw_per_ton(power, _heat(trends, *needed))
    if ratio == ratio and not _usual(ratio):
        yield doubt(trends, "chw_flow", (
            f"the chillers use {ratio:.3g} kW per ton of the load by flow and temperatures, where "
            f"{_KW_PER_TON[0]:g} to {_KW_PER_TON[1]:g} can be; look at the units of flow, "
            "temperatures and power in the map"))


def condenser_balance(trends: Grid) -> Iterator[Remark]:
    needed = ("chw_flow", "chw_supply_temp", "chw_return_temp", "cw_flow", "cw_supply_temp",
              "cw_return_temp")
    power = _chiller_power(trends)
    if power is None or not trends.has(*needed):
        return
    load = _heat(trends, *needed[:3])
    rejected = _heat(trends, *needed[3:])
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (load > 0.2 * np.nanmax(load)) & (power > 0)
        ratio = median((rejected / (load + power / 3.517))[kept])
    if ratio == ratio and not 0.6 <= ratio <= 1.6:
        yield doubt(trends, "cw_flow", (
            f"the heat rejected is {ratio:.3g} times load and power together{_factor(ratio)}; "
            "look at the units of the condenser-water flow and temperatures in the map"))


def parts_of_power(trends: Grid) -> Iterator[Remark]:
    power = _chiller_power(trends)
    if power is None or not trends.has("plant_power"):
        return
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = median((trends.columns["plant_power"] / power)[power > 1.0])
    if ratio == ratio and not 0.95 <= ratio <= 20.0:
        yield doubt(trends, "plant_power", (
            f"the plant's power is {ratio:.3g} times that of its chillers{_factor(ratio)}; look at "
            "the units of power in the map"))
