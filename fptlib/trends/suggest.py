"""Suggests a point map: by the words of the headers, their units, and how the data behave.

A suggestion is never used unasked: the technician confirms it, and ``map_doubts`` holds what
was confirmed against physics. Abbreviations are the trade's (CHWS, CWR, OAT, WB), nobody's
product's.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from fptlib import points, units
from fptlib.trends.columns import Column, columns_of

_LEAST = 0.45
_CHW = r"\b(chws?t?|chwrt?|chw|chilled|evap(orator)?|pchw\w*)\b"
_CW = r"\b(cws?t?|cwrt?|cw|cdw\w*|cond(enser)?|tower|ecwt|lcwt|cdlo|cdhi)\b"
_SUPPLY = r"\b(sup(ply)?|chwst?|chws|cws|cwst|lvg|leaving|out|lwt|cdws)\b"
_RETURN = r"\b(ret(urn)?|chwrt?|cwrt?|ent(ering)?|in|ewt|cdwr)\b"
_SP = r"\b(sp|set ?point|stpt|setpt|target)\b"
_HX = r"\b(hx|phx|phe|exch(anger)?|plate|wse)\b"
_STATUS = r"\b(st|sts|status|run|running|on|proof|prf|s)\b"
_COMMAND = r"\b(cmd|command|enable|en|request)\b"
_OUTDOOR = r"\b(oa\w*|oat|oad|outdoor|outside|ambient|amb|weather)\b"
_WET = r"\b(wb\w*|wet ?bulb)\b"
_HUMID = r"\b(rh|hum(idity)?|oah)\b"
_POWER = r"\b(kw|pow(er)?|watts?|w|demand)\b"
_CHILLER = r"\b(ch|chi|chlr|chiller|chil|chil?ler)\b"
_FLOW = r"\b(flow|gpm|flo|lps)\b"
_TOWER = r"\b(ct|tower|fan|clg ?twr|twr)\b"

# point, all of these, none of these. The first fit of the longest "all" wins; {n} takes the
# number in the header.
_RULES: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("outdoor_wet_bulb", (_WET,), (_SP,)),
    ("outdoor_humidity", (_HUMID,), (r"\b(space|room|zone|sp)\b",)),
    ("space_humidity", (_HUMID, r"\b(space|room|zone)\b"), ()),
    ("outdoor_dry_bulb", (_OUTDOOR,), (_HUMID, _WET, _FLOW)),
    ("outdoor_dry_bulb", (r"\b(temperature|db|dry ?bulb)\b",), (_CHW, _CW, _HX, _WET, _HUMID)),
    ("station_pressure", (r"\b(baro\w*|station|atmos\w*)\b",), ()),
    ("chw_supply_setpoint", (_CHW, _SP), (_CW, _RETURN, r"\b(reset|rst|diff|dp)\b")),
    ("chw_reset_setpoint", (_CHW, _SP, r"\b(reset|rst)\b"), ()),
    ("chw_supply_temp", (_CHW, _SUPPLY), (_SP, _FLOW, _POWER, _HX, r"\b(hx|dp|chi?l?e?r?)\b")),
    ("chw_return_temp", (_CHW, _RETURN), (_SP, _FLOW, _POWER, _HX, r"\b(hx|dp|chi?l?e?r?)\b")),
    ("chw_flow", (_CHW, _FLOW), (_CW, _HX, r"\b(chlr|chiller|decoupler|bypass)\b")),
    ("chw_flow", (r"^gpm$",), ()),
    ("decoupler_flow", (r"\b(decoupler|bypass)\b", _FLOW), (_CW,)),
    ("chw_diff_pressure", (r"\b(dp|diff\w*)\b", r"\b(chw|chilled|press\w*|dp)\b"), (_CW,)),
    ("cw_supply_setpoint", (_CW, _SP), (_CHW,)),
    ("cw_supply_temp", (_CW, r"\bcond(enser)?\b", r"\b(in|ent(ering)?|ewt)\b"),
     (_SP, _FLOW, _POWER, _HX, _CHW, r"\b(chi?l?e?r?)\b")),
    ("cw_return_temp", (_CW, r"\bcond(enser)?\b", r"\b(out|lvg|leaving|lwt)\b"),
     (_SP, _FLOW, _POWER, _HX, _CHW, r"\b(chi?l?e?r?)\b")),
    ("cw_supply_temp", (_CW, _SUPPLY), (_SP, _FLOW, _POWER, _HX, _CHW, r"\b(chi?l?e?r?)\b")),
    ("cw_supply_temp", (r"\b(from tower|sump|basin|cdlo)\b",), (_SP, _FLOW, _POWER)),
    ("cw_return_temp", (_CW, _RETURN), (_SP, _FLOW, _POWER, _HX, _CHW, r"\b(chi?l?e?r?)\b")),
    ("cw_return_temp", (r"\b(to tower|cdhi)\b",), (_SP, _FLOW, _POWER)),
    ("cw_flow", (_CW, _FLOW), (_CHW, _HX, _CHILLER)),
    ("hx_chw_entering_temp", (_HX, _CHW, _RETURN), (_FLOW, _SP)),
    ("hx_chw_leaving_temp", (_HX, _CHW, _SUPPLY), (_FLOW, _SP)),
    ("hx_cw_entering_temp", (_HX, _CW, r"\b(ent(ering)?|in|sup(ply)?|ewt)\b"), (_FLOW, _SP)),
    ("hx_cw_leaving_temp", (_HX, _CW, r"\b(lvg|leaving|out|ret(urn)?|lwt)\b"), (_FLOW, _SP)),
    ("hx_chw_flow", (_HX, _CHW, _FLOW), ()),
    ("hx_cw_flow", (_HX, _CW, _FLOW), ()),
    ("hx_valve", (_HX, r"\b(vlv|valve|pos\w*)\b"), ()),
    ("economizer_command", (r"\b(econ\w*|wse|free ?cool\w*|fc)\b", _COMMAND), ()),
    ("economizer_active", (r"\b(econ\w*|wse|free ?cool\w*|fc|hx|phx)\b",
                           r"\b(act\w*|st|sts|status|on|mode)\b"), (_COMMAND,)),
    ("chiller_{n}_running", (_CHILLER, _STATUS), (_POWER,)),
    ("chiller_{n}_running", (r"^(ch|chlr|chiller) \d+$",), ()),
    ("chiller_{n}_power", (_CHILLER, _POWER), (r"\b(pump|chip|per|load|flow)\b",)),
    ("chiller_{n}_amps", (_CHILLER, r"\b(amps?|rla|current)\b"), ()),
    ("chiller_{n}_cw_leaving_temp", (_CHILLER, _CW, r"\b(lvg|leaving|out|lcwt|lwt)\b"), (_FLOW,)),
    ("chiller_{n}_cw_entering_temp", (_CHILLER, _CW, r"\b(ent(ering)?|in|ecwt|ewt)\b"), (_FLOW,)),
    ("chiller_{n}_chw_leaving_temp", (_CHILLER, r"\b(lwt|lchwt|chwst?|leaving)\b"),
     (_CW, _FLOW, _SP)),
    ("chiller_{n}_evaporator_pressure", (r"\bevap\w*\b", r"\bpress\w*\b"), ()),
    ("chiller_{n}_condenser_pressure", (r"\bcond\w*\b", r"\bpress\w*\b"), ()),
    ("chiller_{n}_alarm", (_CHILLER, r"\b(alm|alarm|fault|trip)\b"), ()),
    ("tower_{n}_fan_speed", (_TOWER, r"\b(spd|speed|vfd|freq|ratio|pct|%)\b"), (_POWER,)),
    ("tower_{n}_fan_running", (_TOWER, _STATUS), (_POWER, r"\b(spd|speed)\b")),
    ("tower_fan_power", (_TOWER, _POWER), (r"\b\d\b", r"\bfan [a-h]\b")),
    ("chw_pump_power", (r"\b(chwp|chp|chw pump|chip)\b", _POWER), ()),
    ("chw_pump_power", (r"\bchw pump\b",), ()),
    ("cw_pump_power", (r"\b(cwp|cdp|cds|conp|cw pump)\b", _POWER), ()),
    ("cw_pump_power", (r"\bcw pump\b",), ()),
    ("plant_power", (r"\b(total|tot|plant)\b", _POWER), ()),
    ("plant_load", (r"^(tons?|rt|load|chw load|plant (load|tons?))$",), ()),
)
# Where a plant's values usually lie, in the glossary's unit; narrower than plausible.
_USUAL: dict[str, tuple[float, float]] = {
    "chw_supply_temp": (36.0, 62.0), "chw_return_temp": (40.0, 75.0),
    "chw_supply_setpoint": (36.0, 60.0), "chw_reset_setpoint": (36.0, 60.0),
    "cw_supply_temp": (38.0, 95.0), "cw_return_temp": (40.0, 110.0),
    "cw_supply_setpoint": (38.0, 90.0), "outdoor_dry_bulb": (0.0, 115.0),
    "outdoor_wet_bulb": (0.0, 85.0), "outdoor_humidity": (5.0, 100.0),
    "hx_chw_entering_temp": (40.0, 75.0), "hx_chw_leaving_temp": (36.0, 70.0),
    "hx_cw_entering_temp": (34.0, 95.0), "hx_cw_leaving_temp": (36.0, 110.0),
    "chw_flow": (5.0, 30_000.0), "cw_flow": (5.0, 40_000.0), "plant_load": (20.0, 20_000.0),
}


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A column for a point; ``confidence`` 0 to 1, ``why`` in a few words."""

    point: str
    file: str
    column: str
    unit: str
    why: str
    confidence: float


def suggest_map(folder: Path, answers: Mapping[str, Any]) -> list[Suggestion]:
    """The likely point map of the files in ``folder``, best first of each point only.

    Args:
        folder: the job's ``trends/``.
        answers: the job's answers; ``[files]`` and ``[site]`` are used where stated.

    Raises:
        IntakeError: no file in the folder can be read.
    """
    columns = columns_of(Path(folder), answers)
    found = [s for column in columns for s in _of_column(column)]
    chosen = _one_each(found)
    return _by_behaviour(chosen, {(c.file, c.name): c for c in columns})


def words_of(header: str) -> str:
    """A header as lower-case words: ``CHWS-T1`` is ``chws t 1``."""
    text = re.sub(r"[\[({][^\])}]*[\])}]", " ", header)
    text = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])", " ", text)
    text = re.sub(r"[^A-Za-z0-9%]+", " ", text).lower()
    return " ".join(text.split())


def _of_column(column: Column) -> Iterator[Suggestion]:
    words = words_of(column.name)
    for name, needed, without in _RULES:
        if any(re.search(pattern, words) for pattern in without):
            continue
        hits = [re.search(pattern, words) for pattern in needed]
        if all(hits):
            point = points.point(name.replace("{n}", _number(words)))
            if scored := _scored(point, column, len(needed)):
                yield scored


def _number(words: str) -> str:
    numbers = re.findall(r"(?<![\d.])([1-9]\d?)(?!\d)", words)
    if numbers:
        return str(numbers[0])
    letter = re.search(r"\b(?:fan|chiller|ch) ([a-h])\b", words)
    return str(ord(letter[1]) - ord("a") + 1) if letter else "1"


def _scored(point: points.Point, column: Column, hits: int) -> Suggestion | None:
    wordy = point.kind in (points.STATUS, points.ALARM)
    if wordy != column.binary:
        return None
    why, score = [f"the header '{column.name}'"], 0.35 + 0.1 * hits
    unit, known = point.unit, wordy
    if not wordy:
        unit, known = _unit(point, column)
        if not unit:
            return None
    if known:
        score += 0.15
        why.append("on and off" if wordy else f"its unit {column.unit or unit}")
    if not wordy and (share := _fit(point, unit, column.values)) is not None:
        score += 0.3 * (share - 0.4)
        why.append(f"{100 * share:.0f} % of its values where this point usually lies as {unit}")
    return Suggestion(point.name, column.file, column.name, unit, "; ".join(why),
                      round(min(max(score, 0.0), 1.0), 2))


def _unit(point: points.Point, column: Column) -> tuple[str, bool]:
    """The unit that the header states, else the one in which the values fit best."""
    if column.unit:
        return units.alias(column.unit, point.unit), True
    tail = words_of(column.name).split()
    if tail and len(tail[-1]) > 1 and (own := units.alias(tail[-1], point.unit)):
        # "Tons" may only name the quantity: the values must fit.
        if own not in ("%", "%RH") and (_fit(point, own, column.values) or 0.0) > 0.1:
            return own, True
    fits = [(share, -at, unit) for at, unit in enumerate(units.choices(point.unit))
            if (share := _fit(point, unit, column.values)) is not None]
    return (max(fits)[2] if fits else point.unit), False


def _fit(point: points.Point, unit: str, values: np.ndarray) -> float | None:
    """Share of the values that lie where the point usually lies."""
    there = values[~np.isnan(values)]
    if not len(there) or unit not in units.choices(point.unit):
        return None
    low, high = _USUAL.get(point.name, (point.low, point.high))
    meant = units.scale(unit, point.unit, point.name)(there)
    if unit != "fraction" and point.unit in ("%", "%RH") and there.max() <= 1.05:
        return 0.0
    return float(np.mean((meant >= low) & (meant <= high)))


def _one_each(found: Sequence[Suggestion]) -> list[Suggestion]:
    """Best first, each point and each column once."""
    chosen: list[Suggestion] = []
    points_taken: set[str] = set()
    columns_taken: set[tuple[str, str]] = set()
    for one in sorted(found, key=lambda s: -s.confidence):
        at = (one.file, one.column)
        if one.confidence >= _LEAST and one.point not in points_taken and at not in columns_taken:
            chosen.append(one)
            points_taken.add(one.point)
            columns_taken.add(at)
    return sorted(chosen, key=lambda s: s.point)


def _by_behaviour(
    chosen: list[Suggestion], columns: Mapping[tuple[str, str], Column]
) -> list[Suggestion]:
    """Supply and return put the right way round, the flow's unit by the heat balance."""
    by_point = {s.point: s for s in chosen}

    def values(name: str) -> np.ndarray | None:
        if name not in by_point:
            return None
        one, point = by_point[name], points.point(name)
        scale = units.scale(one.unit, point.unit, name)
        return np.asarray(scale(columns[(one.file, one.column)].values))

    for cold, warm in (("chw_supply_temp", "chw_return_temp"),
                       ("cw_supply_temp", "cw_return_temp")):
        _turn_round(by_point, cold, warm, values(cold), values(warm))
    supply, back, flow = (values(n) for n in ("chw_supply_temp", "chw_return_temp", "chw_flow"))
    load = values("plant_load")
    if all(v is not None and load is not None and len(v) == len(load)
           for v in (supply, back, flow)):
        _flow_unit(by_point, supply, back, flow, load)
    return list(by_point.values())


def _turn_round(by_point: dict[str, Suggestion], cold: str, warm: str,
                a: np.ndarray | None, b: np.ndarray | None) -> None:
    if a is None or b is None or not np.nanmedian(a) > np.nanmedian(b) + 0.5:
        return
    one, other = by_point[cold], by_point[warm]
    why = "; but its values are the warmer of the two, so supply and return are turned round"
    by_point[cold] = replace(other, point=cold, why=other.why + why, confidence=0.5)
    by_point[warm] = replace(one, point=warm, why=one.why + why, confidence=0.5)


def _flow_unit(by_point: dict[str, Suggestion], supply: Any, back: Any, flow: Any,
               load: Any) -> None:
    one = by_point["chw_flow"]
    raw = units.scale(one.unit, "gpm", "").back(flow)
    with np.errstate(invalid="ignore", divide="ignore"):
        tons = 500.0 * (back - supply) * raw / 12_000.0
        kept = (load > 0.1 * np.nanmax(load)) & (tons > 0)
        if kept.sum() < 20:
            return
        wanted = float(np.median((load / tons)[kept]))
    near = min(units.choices("gpm"),
               key=lambda u: abs(np.log(units.scale(u, "gpm", "").factor / wanted)))
    factor = units.scale(near, "gpm", "").factor
    if abs(np.log(factor / wanted)) < 0.12:
        by_point["chw_flow"] = replace(
            one, unit=near, confidence=max(one.confidence, 0.9),
            why=f"{one.why}; in {near} flow and temperatures carry the trended load")
    else:
        by_point["chw_flow"] = replace(
            one, confidence=min(one.confidence, 0.4),
            why=f"{one.why}; but in no unit do flow and temperatures carry the trended load "
                f"(factor {wanted / units.scale(one.unit, 'gpm', '').factor:.3g})")
