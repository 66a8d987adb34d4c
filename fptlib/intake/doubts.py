"""A point map that contradicts physics: swapped columns, wrong units, impossible flows.

Nothing here changes a value. Each finding is a remark; ``unusable`` says that a point must
not be used in any check, and the caller takes it out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from fptlib import points, units
from fptlib.intake import series
from fptlib.trends import Remark, Trends

# Btu/h of one gpm of water warmed by one degree F (8.33 lb/gal * 60 min/h * 1 Btu/lb F).
_BTU = 500.0
_TON = 12_000.0
_FEW = 20
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
# (colder, warmer) of the two while the plant carries a load.
_PAIRS = (
    ("chw_supply_temp", "chw_return_temp", "chillers"),
    ("cw_supply_temp", "cw_return_temp", "chillers"),
    ("hx_chw_leaving_temp", "hx_chw_entering_temp", "exchanger"),
    ("hx_cw_entering_temp", "hx_cw_leaving_temp", "exchanger"),
)
# Points that lie close together: the first within so many degF of the second.
_CLOSE = (
    ("chw_supply_setpoint", "chw_supply_temp", 15.0),
    ("chw_reset_setpoint", "chw_supply_temp", 20.0),
    ("chw_supply_temp", "chw_return_temp", 30.0),
    ("cw_supply_temp", "cw_return_temp", 30.0),
    ("outdoor_wet_bulb", "cw_supply_temp", 45.0),
    ("outdoor_dry_bulb", "outdoor_wet_bulb", 55.0),
)


def map_doubts(trends: Trends) -> list[Remark]:
    """What in the trends contradicts physics, most likely because of the point map."""
    looks: tuple[Callable[[Trends], Iterator[Remark]], ...] = (
        _swapped, _far_apart, _wet_above_dry, _shares, _flow_against_load, _load_by_power,
        _condenser_balance, _idle_but_on, _parts_of_power, _frozen, _unit_jumps,
    )
    return [remark for look in looks for remark in look(trends)]


def _doubt(trends: Trends, point: str, text: str) -> Remark:
    return Remark("doubt", text, _file(trends, point), point)


def _file(trends: Trends, point: str) -> str:
    return trends.sources.get(point, "").split(": ")[0]


def _loaded(trends: Trends, what: str) -> np.ndarray:
    """Rows in which the chillers, or the exchanger, carry the plant, as far as trended."""
    frame = trends.frame
    on = np.zeros(len(frame), dtype=bool)
    if what == "exchanger":
        if trends.has("economizer_active"):
            return frame["economizer_active"].to_numpy() == 1.0
        return ~on
    running = [f"chiller_{n}_running" for n in trends.numbers("chiller_{n}_running")]
    if not running:
        return ~on
    for name in running:
        on |= frame[name].to_numpy() == 1.0
    return on


def _swapped(trends: Trends) -> Iterator[Remark]:
    for cold, warm, what in _PAIRS:
        if not trends.has(cold, warm):
            continue
        rows = _loaded(trends, what)
        difference = (trends.frame[warm] - trends.frame[cold]).to_numpy()[rows]
        difference = difference[~np.isnan(difference)]
        if len(difference) >= _FEW and np.median(difference) < -0.5:
            share = 100.0 * float(np.mean(difference < 0))
            yield _doubt(trends, cold, (
                f"{warm} is below {cold} in {share:.0f} % of the rows under load, median "
                f"{np.median(difference):.1f} degF; the two columns may be swapped in the map"))


def _far_apart(trends: Trends) -> Iterator[Remark]:
    for one, other, band in _CLOSE:
        if not trends.has(one, other):
            continue
        a, b = trends.frame[one].to_numpy(), trends.frame[other].to_numpy()
        away = _median(np.abs(a - b))
        if not away > band:
            continue
        for name, x, y in ((one, a, b), (other, b, a)):
            if hint := _as_celsius(x, y, away):
                yield _doubt(trends, name, (
                    f"{one} and {other} lie {away:.0f} degF apart; {hint}: mend the unit of {name} "
                    "in the map"))
                break
        else:
            yield _doubt(trends, one, (
                f"{one} and {other} lie {away:.0f} degF apart (median), more than {band:g}; look "
                "at both columns and units in the map"))


def _as_celsius(values: np.ndarray, others: np.ndarray, away: float) -> str:
    """The reading of ``values`` as the other temperature scale, if that mends the distance."""
    celsius = units.scale("degC", "degF", "")
    for converted, text in (
        (celsius(values), "read as degF it looks like degC"),
        (celsius.back(values), "read as degC it looks like degF"),
    ):
        if _median(np.abs(converted - others)) < 0.4 * away:
            return text
    return ""


def _median(values: np.ndarray) -> float:
    there = values[~np.isnan(values)]
    return float(np.median(there)) if len(there) >= _FEW else float("nan")


def _wet_above_dry(trends: Trends) -> Iterator[Remark]:
    if not trends.has("outdoor_dry_bulb", "outdoor_wet_bulb"):
        return
    above = (trends.frame["outdoor_wet_bulb"] - trends.frame["outdoor_dry_bulb"]).to_numpy()
    above = above[~np.isnan(above)]
    if len(above) >= _FEW and np.mean(above > 1.0) > 0.05:
        yield _doubt(trends, "outdoor_wet_bulb", (
            f"the wet bulb lies above the dry bulb in {100 * np.mean(above > 1.0):.0f} % of the "
            "rows, which cannot be: swapped columns, a wrong unit, or a failed sensor"))


def _shares(trends: Trends) -> Iterator[Remark]:
    for name in trends.frame.columns:
        if points.point(str(name)).unit not in ("%RH", "%") or not trends.has(str(name)):
            continue
        high = float(trends.frame[name].max())
        if 0.0 < high <= 1.05:
            yield _doubt(trends, str(name), (
                f"the highest value is {high:.2f} %; the file may give a share of 0 to 1: state "
                'unit = "fraction"'))


def _heat(trends: Trends, flow: str, cold: str, warm: str) -> np.ndarray:
    """Tons by flow and temperature difference."""
    frame = trends.frame
    return (_BTU * frame[flow] * (frame[warm] - frame[cold]) / _TON).to_numpy()


def _chiller_power(trends: Trends) -> np.ndarray | None:
    names = [f"chiller_{n}_power" for n in trends.numbers("chiller_{n}_power")]
    if not names:
        return None
    return trends.frame[names].sum(axis=1, min_count=len(names)).to_numpy()


def _kw_per_ton(power: np.ndarray | None, tons: np.ndarray) -> float:
    if power is None:
        return float("nan")
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (tons > 0.02) & (power > 0.1 * np.nanmax(np.append(power, 0.0)))
        return _median((power / tons)[kept])


def _usual(ratio: float) -> bool:
    return _KW_PER_TON[0] <= ratio <= _KW_PER_TON[1]


def _factor(ratio: float) -> str:
    if ratio <= 0:
        return ""
    high = max(ratio, 1.0 / ratio)
    near = min(_FACTORS, key=lambda f: abs(np.log(high / f)))
    return f" (about {near:g}: {_FACTORS[near]})" if abs(np.log(high / near)) < 0.12 else ""


def _flow_against_load(trends: Trends) -> Iterator[Remark]:
    if not trends.has("chw_flow", "chw_supply_temp", "chw_return_temp", "plant_load"):
        return
    load = trends.frame["plant_load"].to_numpy()
    heat = _heat(trends, "chw_flow", "chw_supply_temp", "chw_return_temp")
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (load > 0.1 * np.nanmax(load)) & (heat > 0)
        ratio = _median((load / heat)[kept])
    if not ratio == ratio or 0.8 <= ratio <= 1.25:
        return
    how = f"{ratio:.3g} times" if ratio >= 1 else f"1/{1 / ratio:.3g} of"
    text = f"plant_load is {how} the load by flow and temperatures (500 gpm dT){_factor(ratio)}"
    if 1 / 3 < ratio < 3:
        yield _doubt(trends, "chw_flow", f"{text}; look at the units of flow and load in the map")
        return
    power = _chiller_power(trends)
    wrong = _culprit(_usual(_kw_per_ton(power, load)), _usual(_kw_per_ton(power, heat)))
    for name in wrong:
        yield Remark("unusable", (
            f"{text}; {name} is not used in any check: mend its unit or scaling"),
            _file(trends, name), name)


def _culprit(load_fits: bool, heat_fits: bool) -> tuple[str, ...]:
    """Which of the two contradicts the chillers' power; without a witness the flow."""
    return ("plant_load",) if heat_fits and not load_fits else ("chw_flow",)


def _load_by_power(trends: Trends) -> Iterator[Remark]:
    power = _chiller_power(trends)
    needed = ("chw_flow", "chw_supply_temp", "chw_return_temp")
    if power is None or trends.has("plant_load") or not trends.has(*needed):
        return
    ratio = _kw_per_ton(power, _heat(trends, *needed))
    if ratio == ratio and not _usual(ratio):
        yield _doubt(trends, "chw_flow", (
            f"the chillers use {ratio:.3g} kW per ton of the load by flow and temperatures, where "
            f"{_KW_PER_TON[0]:g} to {_KW_PER_TON[1]:g} can be; look at the units of flow, "
            "temperatures and power in the map"))


def _condenser_balance(trends: Trends) -> Iterator[Remark]:
    needed = ("chw_flow", "chw_supply_temp", "chw_return_temp", "cw_flow", "cw_supply_temp",
              "cw_return_temp")
    power = _chiller_power(trends)
    if power is None or not trends.has(*needed):
        return
    load = _heat(trends, *needed[:3])
    rejected = _heat(trends, *needed[3:])
    with np.errstate(invalid="ignore", divide="ignore"):
        kept = (load > 0.2 * np.nanmax(load)) & (power > 0)
        ratio = _median((rejected / (load + power / 3.517))[kept])
    if ratio == ratio and not 0.6 <= ratio <= 1.6:
        yield _doubt(trends, "cw_flow", (
            f"the heat rejected is {ratio:.3g} times load and power together{_factor(ratio)}; "
            "look at the units of the condenser-water flow and temperatures in the map"))


def _idle_but_on(trends: Trends) -> Iterator[Remark]:
    for n in trends.numbers("chiller_{n}_running"):
        status, name = f"chiller_{n}_running", f"chiller_{n}_power"
        if not trends.has(status, name):
            continue
        power, on = trends.frame[name].to_numpy(), trends.frame[status].to_numpy()
        least = 0.05 * np.nanmax(power)
        idle = float(np.mean(power[on == 1.0] < least)) if (on == 1.0).any() else 0.0
        busy = float(np.mean(power[on == 0.0] > 4 * least)) if (on == 0.0).any() else 0.0
        if idle > 0.2 or busy > 0.2:
            yield _doubt(trends, status, (
                f"chiller {n} draws no power in {100 * idle:.0f} % of the rows in which it is on "
                f"and draws power in {100 * busy:.0f} % in which it is off; the status may be "
                "inverted, a command, or another chiller's"))


def _parts_of_power(trends: Trends) -> Iterator[Remark]:
    power = _chiller_power(trends)
    if power is None or not trends.has("plant_power"):
        return
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = _median((trends.frame["plant_power"].to_numpy() / power)[power > 1.0])
    if ratio == ratio and not 0.95 <= ratio <= 20.0:
        yield _doubt(trends, "plant_power", (
            f"the plant's power is {ratio:.3g} times that of its chillers{_factor(ratio)}; look at "
            "the units of power in the map"))


def _frozen(trends: Trends) -> Iterator[Remark]:
    for name in (str(column) for column in trends.frame.columns):
        point, values = points.point(name), trends.frame[name].to_numpy()
        if series.may_be_stuck(point):
            text = series.frozen_text(trends.frame.index, values, trends.minutes, point)
            if text:
                yield _doubt(trends, name, text)


def _unit_jumps(trends: Trends) -> Iterator[Remark]:
    for name in trends.frame.columns:
        point = points.point(str(name))
        if point.kind == points.MEASURED and point.unit in ("degF", "gpm", "psia", "psi"):
            yield from _jumps(trends, str(name), point)


def _jumps(trends: Trends, name: str, point: points.Point) -> Iterator[Remark]:
    values = trends.frame[name].to_numpy()
    there = np.flatnonzero(~np.isnan(values))
    if len(there) < 2 * _FEW:
        return
    dense = values[there]
    for at in _largest_jumps(dense):
        before, after = dense[max(at - 10, 0) : at], dense[at : at + 10]
        if unit := _conversion(float(np.median(before)), float(np.median(after)), point):
            yield _doubt(trends, name, (
                f"from {series.local(trends.frame.index, int(there[at]))} on the values look like "
                f"{unit} where they were {point.unit} before; if so, state unit_changes under "
                f"[points.{name}]"))
            return


def _largest_jumps(values: np.ndarray) -> np.ndarray:
    jumps = np.abs(np.diff(values))
    order = np.argsort(jumps)[::-1][:5]
    return np.sort(order[jumps[order] > 0]) + 1


def _conversion(before: float, after: float, point: points.Point) -> str:
    """The unit in which ``after`` would be the same quantity as ``before``."""
    if abs(after - before) < 0.3 * max(abs(before), 10.0):
        return ""
    for unit in units.choices(point.unit):
        if unit == point.unit:
            continue
        meant = units.scale(unit, point.unit, "")(after)
        close = 2.0 if point.unit == "degF" else 0.05 * abs(before)
        if abs(meant - before) < close:
            return unit
    return ""


def without_unusable(frame: pd.DataFrame, remarks: list[Remark]) -> pd.DataFrame:
    """The frame without the points that no check may use."""
    gone = {remark.point for remark in remarks if remark.severity == "unusable"}
    return frame.drop(columns=[name for name in frame.columns if name in gone])
