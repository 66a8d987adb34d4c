"""Suggests a point map: by the words of the headers, their units, and how the data behave.

A suggestion is never used unasked: the technician confirms it, and ``map_doubts`` holds what
was confirmed against physics. Abbreviations are the trade's (CHWS, CWR, OAT, WB), nobody's
product's.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from fptlib import points, units
from fptlib.errors import IntakeError
from fptlib.trends.cells import BAD, OFF, ON, cell, tidy
from fptlib.trends.clock import Clock
from fptlib.trends.grid import Notes
from fptlib.trends.long import POINT_HEADERS, VALUE_HEADERS, long_columns
from fptlib.trends.mapping import FileForm, forms_of
from fptlib.trends.samples import open_table
from fptlib.trends.table import NUMBER, TEXT, Table, coded, numbers, texts

# So much of a file shows what its columns hold.
_BATCHES = 12
_WORDS = {word for word in ON | OFF if not word[0].isdigit()}
# A suggestion of less confidence is none.
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
    ("service_power", (r"\b(utility|service|main|billing)\b", _POWER), ()),
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


@dataclass(frozen=True)
class Column:
    """A column, or a name in a long file: ``unit`` as the file writes it; values as found.

    ``words`` is true where the cells are words for on and off.
    """

    file: str
    name: str
    unit: str
    values: np.ndarray
    words: bool = False

    @property
    def binary(self) -> bool:
        """Whether it holds only on and off."""
        there = self.values[~np.isnan(self.values)]
        return self.words or (len(there) > 0 and bool(np.isin(there, (0.0, 1.0)).all()))


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
    found = [suggestion for column in columns for suggestion in _of_column(column)]
    chosen: dict[str, Suggestion] = {}
    taken: set[tuple[str, str]] = set()
    for one in sorted(found, key=lambda s: -s.confidence):
        at = (one.file, one.column)
        if one.confidence >= _LEAST and one.point not in chosen and at not in taken:
            chosen[one.point] = one
            taken.add(at)
    return _by_behaviour({name: chosen[name] for name in sorted(chosen)},
                         {(column.file, column.name): column for column in columns})


# -- what the files hold --------------------------------------------------------------------------

def columns_of(folder: Path, answers: Mapping[str, Any]) -> list[Column]:
    """Every column of every file in ``folder`` that can be read; time columns left out.

    Raises:
        IntakeError: no file can be read.
    """
    found: list[Column] = []
    faults: list[str] = []
    names = sorted(p.name for p in folder.iterdir() if p.is_file() and p.name[0] != ".")
    for name, form in forms_of(answers, [n for n in names if not n.lower().endswith(".epw")]):
        try:
            found += _of_file(folder / name, form)
        except IntakeError as error:
            faults.append(str(error))
    if not found:
        raise IntakeError(faults[0] if faults else "trends/ holds no trend file; put one there")
    return found


def _of_file(path: Path, form: FileForm) -> list[Column]:
    table = open_table(path, form)
    times = Clock(table, form, Notes()).columns
    names = [name for name in dict.fromkeys(table.names) if name and name not in times]
    heads = {name.lower() for name in names}
    seems_long = len(names) <= 5 and heads & set(POINT_HEADERS) and heads & set(VALUE_HEADERS)
    if form.form == "long" or not form.form and (
            form.point_column or form.value_column or seems_long):
        return list(_of_long(table, form, times))
    batches = list(islice(table.batches(dict.fromkeys(names, NUMBER)), _BATCHES))
    return [_column(table, name, table.unit_of(name), [b.columns[name] for b in batches])
            for name in names if table.names.count(name) == 1]


def _of_long(table: Table, form: FileForm, times: Sequence[str]) -> Iterator[Column]:
    point, value, *_ = long_columns(table, form, times)
    batches = list(islice(table.batches({point: TEXT, value: TEXT}), _BATCHES))
    if batches:
        cells = pa.concat_arrays([texts(batch.columns[value]) for batch in batches])
        at, names = coded(pa.concat_arrays([texts(batch.columns[point]) for batch in batches]))
        for name in dict.fromkeys(map(tidy, names)):
            mine = np.isin(at, [index for index, each in enumerate(names) if tidy(each) == name])
            yield _column(table, name, "", [cells.filter(pa.array(mine))])


def _column(table: Table, name: str, unit: str, parts: Sequence[pa.Array]) -> Column:
    values, words = [np.empty(0)], 0
    for part in parts:
        if (plain := numbers(part)) is not None:
            values.append(plain)
            continue
        at, found = coded(part)
        read = [_number(text.strip(), table.decimal) for text in found]
        values.append(np.array([*read, np.nan])[at])
        wordy = [text.strip().lower() in _WORDS for text in found]
        words += int(np.count_nonzero(np.array([*wordy, False])[at]))
    whole = np.concatenate(values)
    return Column(table.name, name, unit, whole, words > 0.5 * max(len(whole), 1))


def _number(text: str, decimal: str) -> float:
    low = text.lower()
    if low in ON or low in OFF:
        return float(low in ON)
    read = cell(text, decimal, BAD)
    return read.value if read else float("nan")


# -- which column is which point ------------------------------------------------------------------

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
        if all(re.search(pattern, words) for pattern in needed):
            point = points.point(name.replace("{n}", _equipment_number(words)))
            if scored := _scored(point, column, len(needed)):
                yield scored


def _equipment_number(words: str) -> str:
    if hit := re.search(r"(?<![\d.])([1-9]\d?)(?!\d)", words):
        return hit[1]
    letter = re.search(r"\b(?:fan|chiller|ch) ([a-h])\b", words)
    return str(ord(letter[1]) - ord("a") + 1) if letter else "1"


def _scored(point: points.Point, column: Column, hits: int) -> Suggestion | None:
    wordy = point.kind in (points.STATUS, points.ALARM)
    if wordy != column.binary:
        return None
    why, score = [f"the header '{column.name}'"], 0.35 + 0.1 * hits
    unit, known = (point.unit, True) if wordy else _unit(point, column)
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
    if unit != "fraction" and point.unit in ("%", "%RH") and there.max() <= 1.05:
        return 0.0
    low, high = _USUAL.get(point.name, (point.low, point.high))
    meant = units.scale(unit, point.unit, point.name)(there)
    return float(np.mean((meant >= low) & (meant <= high)))


# -- how the chosen columns behave together -------------------------------------------------------

def _by_behaviour(chosen: dict[str, Suggestion], columns: Mapping[tuple[str, str], Column]
                  ) -> list[Suggestion]:
    """Supply and return put the right way round, the flow's unit by the heat balance."""
    balance = ("chw_supply_temp", "chw_return_temp", "chw_flow", "plant_load")
    pairs = (("chw_supply_temp", "chw_return_temp"), ("cw_supply_temp", "cw_return_temp"))
    values = {}
    for name in {*balance, *pairs[1]} & set(chosen):
        scale = units.scale(chosen[name].unit, points.point(name).unit, name)
        column = columns[(chosen[name].file, chosen[name].column)]
        values[name] = np.asarray(scale(column.values))
    for cold, warm in pairs:
        if cold in chosen and warm in chosen and (
                np.nanmedian(values[cold]) > np.nanmedian(values[warm]) + 0.5):
            why = ("; but its values are the warmer of the two, so supply and return are turned "
                   "round")
            one, other = chosen[cold], chosen[warm]
            chosen[cold] = replace(other, point=cold, why=other.why + why, confidence=0.5)
            chosen[warm] = replace(one, point=warm, why=one.why + why, confidence=0.5)
    if all(name in chosen for name in balance) and len({len(values[n]) for n in balance}) == 1:
        chosen["chw_flow"] = _with_flow_unit(chosen["chw_flow"], *(values[n] for n in balance))
    return list(chosen.values())


def _with_flow_unit(one: Suggestion, supply: np.ndarray, back: np.ndarray, flow: np.ndarray,
                    load: np.ndarray) -> Suggestion:
    """The flow in the unit in which it carries the trended load."""
    raw = units.scale(one.unit, "gpm", "").back(flow)
    with np.errstate(invalid="ignore", divide="ignore"):
        tons = 500.0 * (back - supply) * raw / 12_000.0
        kept = (load > 0.1 * np.nanmax(load)) & (tons > 0)
        if kept.sum() < 20:
            return one
        wanted = float(np.median((load / tons)[kept]))
    factors = {unit: units.scale(unit, "gpm", "").factor for unit in units.choices("gpm")}
    near = min(factors, key=lambda unit: abs(np.log(factors[unit] / wanted)))
    if abs(np.log(factors[near] / wanted)) < 0.12:
        return replace(one, unit=near, confidence=max(one.confidence, 0.9), why=(
            f"{one.why}; in {near} flow and temperatures carry the trended load"))
    return replace(one, confidence=min(one.confidence, 0.4), why=(
        f"{one.why}; but in no unit do flow and temperatures carry the trended load "
        f"(factor {wanted / factors[one.unit]:.3g})"))
