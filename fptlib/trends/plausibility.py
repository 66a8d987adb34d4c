"""Values that contradict physics: swapped columns, wrong units, impossible flows, frozen sensors.

Most of it comes of a wrong point map. Nothing here changes a value. Each finding is a remark;
``unusable`` says that a point must not be used in any check, and the caller takes it out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from fptlib import points, units
from fptlib.physics.water import BTU_PER_GPM, BTU_PER_TON_HOUR
from fptlib.trends.grid import Grid, Remark

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
_CHW = ("chw_flow", "chw_supply_temp", "chw_return_temp")
_CW = ("cw_flow", "cw_supply_temp", "cw_return_temp")
# A drive does not run at so few per cent; a valve may be so little open, but what reaches just 10
# is likely to be volts. Common practice, no source.
_LEAST_VOLTS, _MOST_VOLTS = 9.5, 10.05
# Rows that show what is usual, and the fewest that show anything.
_ROWS, _FEW = 100_000, 20
# Tons of one gpm of water warmed by one degree F. Half of glycol carries 12 % less: nothing beside
# a wrong unit, which is all that is looked for here.
_TONS = BTU_PER_GPM / BTU_PER_TON_HOUR
_KW_OF_TON = 3.517
# A plant's chillers alone use so many kW per ton, whatever their make and load.
_LEAST_KW_PER_TON, _MOST_KW_PER_TON = 0.15, 3.0
_FACTORS = {
    60.0: "a value per hour read as one per minute, or per minute as per second",
    15.85: "L/s read as gpm",
    4.403: "m3/h read as gpm",
    3.517: "kW and tons",
    12.0: "tons and MBtu/h",
    1000.0: "W and kW",
}
# Another unit moves a value by this share of it, or of the level where it is small.
_LEAST_JUMP, _LEAST_LEVEL = 0.3, 10.0
# So many of the largest jumps are looked at, and so many rows on either side of them.
_LOOKED_AT, _NEAR, _FAR = 5, 3, 10
# So many rows show how far a value usually moves from one to the next.
_ENOUGH = 2000
# So much a valve or a drive moves where it throttles a flow [%].
_THROTTLED = 10.0
# So much of a record at a level makes it one that the plant has.
_SEEN_BEFORE = 0.02
# A measured value that does not move for so long is looked at. The weather never stands
# still for six hours; water held at its setpoint may, for less than a day.
_WEATHER_HOURS, _WATER_HOURS = 6.0, 24.0
_STUCK_ROWS = 12


def map_doubts(grid: Grid) -> list[Remark]:
    """What on the grid contradicts physics, most likely because of the point map."""
    usual: tuple[Callable[[Grid], Iterator[Remark]], ...] = (
        _swapped, _far_apart, _wet_above_dry, _shares, _flow_against_load, _load_by_power,
        _condenser_balance, _idle_but_on, _parts_of_power,
    )
    # What is usual in a year is as usual in every fifth minute of it.
    every = -(-len(grid) // _ROWS) or 1
    thinned = replace(grid, columns={n: v[::every] for n, v in grid.columns.items()})
    with np.errstate(invalid="ignore", divide="ignore"):
        found = [remark for look in usual for remark in look(thinned)]
    return [*found, *_frozen(grid), *_unit_jumps(grid)]


def without_unusable(grid: Grid, remarks: Sequence[Remark]) -> Grid:
    """The grid without the points that no check may use."""
    gone = {remark.point for remark in remarks if remark.severity == "unusable"}
    left = {name: values for name, values in grid.columns.items() if name not in gone}
    return replace(grid, columns=left, rows=len(grid))


def _remark(grid: Grid, point: str, text: str, severity: str = "doubt") -> Remark:
    file = grid.file_of(point)
    return Remark(severity, text, file.name if file else "", point)


def _median(values: np.ndarray) -> float:
    """The median of what is there; NaN of a few values only."""
    there = values[~np.isnan(values)]
    return float(np.median(there)) if len(there) >= _FEW else float("nan")


# -- temperatures and shares ----------------------------------------------------------------------

def _swapped(grid: Grid) -> Iterator[Remark]:
    for cold, warm, what in _PAIRS:
        if not grid.has(cold, warm):
            continue
        difference = (grid.columns[warm] - grid.columns[cold])[_loaded(grid, what)]
        difference = difference[~np.isnan(difference)]
        if _median(difference) < -0.5:
            yield _remark(grid, cold, (
                f"{warm} is below {cold} in {100.0 * np.mean(difference < 0):.0f} % of the rows "
                f"under load, median {np.median(difference):.1f} °F; the two columns may be "
                "swapped in the map"))


def _loaded(grid: Grid, what: str) -> np.ndarray:
    """Rows in which the chillers, or the exchanger, carry the plant, as far as trended."""
    names = [f"chiller_{n}_running" for n in grid.numbers("chiller_{n}_running")]
    if what == "exchanger":
        names = ["economizer_active"] if grid.has("economizer_active") else []
    if not names:
        return np.ones(len(grid), dtype=bool)
    return np.any([grid.columns[name] == 1.0 for name in names], axis=0)


def _far_apart(grid: Grid) -> Iterator[Remark]:
    for one, other, band in _CLOSE:
        if not grid.has(one, other):
            continue
        a, b = grid.columns[one], grid.columns[other]
        away = _median(np.abs(a - b))
        if not away > band:
            continue
        for name, x, y in ((one, a, b), (other, b, a)):
            if hint := _as_celsius(x, y, away):
                yield _remark(grid, name, (
                    f"{one} and {other} lie {away:.0f} °F apart; {hint}: correct the unit of "
                    f"{name} in the map"))
                break
        else:
            yield _remark(grid, one, (
                f"{one} and {other} lie {away:.0f} °F apart (median), more than {band:g}; look "
                "at both columns and units in the map"))


def _as_celsius(values: np.ndarray, others: np.ndarray, away: float) -> str:
    """The reading of ``values`` as the other temperature scale, if that explains the distance."""
    celsius = units.scale("degC", "degF", "")
    for converted, text in ((celsius(values), "read as °F it looks like °C"),
                            (celsius.back(values), "read as °C it looks like °F")):
        if _median(np.abs(converted - others)) < 0.4 * away:
            return text
    return ""


def _wet_above_dry(grid: Grid) -> Iterator[Remark]:
    if grid.has("outdoor_dry_bulb", "outdoor_wet_bulb"):
        above = grid.columns["outdoor_wet_bulb"] - grid.columns["outdoor_dry_bulb"]
        above = above[~np.isnan(above)]
        if len(above) >= _FEW and np.mean(above > 1.0) > 0.05:
            yield _remark(grid, "outdoor_wet_bulb", (
                f"the wet bulb lies above the dry bulb in {100 * np.mean(above > 1.0):.0f} % of "
                "the rows, which cannot be: swapped columns, a wrong unit, or a failed sensor"))


def _shares(grid: Grid) -> Iterator[Remark]:
    for name, values in grid.columns.items():
        if points.point(name).unit in ("%RH", "%") and grid.has(name):
            if 0.0 < (high := float(np.nanmax(values))) <= 1.05:
                yield _remark(grid, name, (
                    f"the highest value is {high:.2f} %; the file may give a share of 0 to 1: "
                    'state unit = "fraction"'))
            elif (1.05 if name.endswith("fan_speed") else _LEAST_VOLTS) < high <= _MOST_VOLTS:
                yield _remark(grid, name, (
                    f"the highest value is {high:.3g} %; the file may give the volts of its "
                    "signal: export it in per cent"))


# -- loads, flows and powers ----------------------------------------------------------------------

def _tons(grid: Grid, flow: str, cold: str, warm: str) -> np.ndarray:
    """Heat by flow and temperature difference [tons]."""
    return _TONS * grid.columns[flow] * (grid.columns[warm] - grid.columns[cold])


def _chiller_power(grid: Grid) -> np.ndarray | None:
    """Power of all chillers [kW], None where none is trended."""
    names = [f"chiller_{n}_power" for n in grid.numbers("chiller_{n}_power")]
    return np.sum([grid.columns[name] for name in names], axis=0) if names else None


def _kw_per_ton(power: np.ndarray | None, tons: np.ndarray) -> float:
    if power is None:
        return float("nan")
    kept = (tons > 0.02) & (power > 0.1 * np.nanmax(np.append(power, 0.0)))
    return _median((power / tons)[kept])


def _is_usual(kw_per_ton: float) -> bool:
    return _LEAST_KW_PER_TON <= kw_per_ton <= _MOST_KW_PER_TON


def _factor(ratio: float) -> str:
    """The mistake that a ratio of two loads looks like."""
    high = max(ratio, 1.0 / ratio) if ratio > 0 else np.nan
    near = min(_FACTORS, key=lambda factor: abs(np.log(high / factor)))
    return f" (about {near:g}: {_FACTORS[near]})" if abs(np.log(high / near)) < 0.12 else ""


def _flow_against_load(grid: Grid) -> Iterator[Remark]:
    if not grid.has(*_CHW, "plant_load"):
        return
    load, heat = grid.columns["plant_load"], _tons(grid, *_CHW)
    ratio = _median((load / heat)[(load > 0.1 * np.nanmax(load)) & (heat > 0)])
    if np.isnan(ratio) or 0.8 <= ratio <= 1.25:
        return
    how = f"{ratio:.3g} times" if ratio >= 1 else f"1/{1 / ratio:.3g} of"
    text = f"plant_load is {how} the load by flow and temperatures (500 gpm dT){_factor(ratio)}"
    if 1 / 3 < ratio < 3:
        yield _remark(grid, "chw_flow",
                      f"{text}; look at the units of flow and load in the map")
        return
    # The one that contradicts the chillers' power is wrong; without a witness the flow.
    power = _chiller_power(grid)
    load_is_wrong = _is_usual(_kw_per_ton(power, heat)) and not _is_usual(_kw_per_ton(power, load))
    wrong = "plant_load" if load_is_wrong else "chw_flow"
    yield _remark(grid, wrong, (
        f"{text}; {wrong} is not used in any check: correct its unit or scaling"), "unusable")


def _load_by_power(grid: Grid) -> Iterator[Remark]:
    power = _chiller_power(grid)
    if power is None or grid.has("plant_load") or not grid.has(*_CHW):
        return
    ratio = _kw_per_ton(power, _tons(grid, *_CHW))
    if not np.isnan(ratio) and not _is_usual(ratio):
        yield _remark(grid, "chw_flow", (
            f"the chillers use {ratio:.3g} kW per ton of the load by flow and temperatures, where "
            f"{_LEAST_KW_PER_TON:g} to {_MOST_KW_PER_TON:g} can be; look at the units of flow, "
            "temperatures and power in the map"))


def _condenser_balance(grid: Grid) -> Iterator[Remark]:
    power = _chiller_power(grid)
    if power is None or not grid.has(*_CHW, *_CW):
        return
    load, rejected = _tons(grid, *_CHW), _tons(grid, *_CW)
    kept = (load > 0.2 * np.nanmax(load)) & (power > 0)
    ratio = _median((rejected / (load + power / _KW_OF_TON))[kept])
    if not np.isnan(ratio) and not 0.6 <= ratio <= 1.6:
        yield _remark(grid, "cw_flow", (
            f"the heat rejected is {ratio:.3g} times load and power together{_factor(ratio)}; "
            "look at the units of the condenser-water flow and temperatures in the map"))


def _idle_but_on(grid: Grid) -> Iterator[Remark]:
    for n in grid.numbers("chiller_{n}_running"):
        status, name = f"chiller_{n}_running", f"chiller_{n}_power"
        if not grid.has(status, name):
            continue
        power, on = grid.columns[name], grid.columns[status]
        least = 0.05 * np.nanmax(power)
        idle = float(np.mean(power[on == 1.0] < least)) if (on == 1.0).any() else 0.0
        busy = float(np.mean(power[on == 0.0] > 4 * least)) if (on == 0.0).any() else 0.0
        if seen := " and ".join(
                f"draws {what} in {100 * share:.0f} % of the rows in which it is {state}"
                for what, share, state in (("no power", idle, "on"), ("power", busy, "off"))
                if share > 0.2):
            yield _remark(grid, status, f"chiller {n} {seen}; the status may be inverted, a "
                                        "command, or another chiller's")


def _parts_of_power(grid: Grid) -> Iterator[Remark]:
    power = _chiller_power(grid)
    if power is None or not grid.has("plant_power"):
        return
    ratio = _median((grid.columns["plant_power"] / power)[power > 1.0])
    if not np.isnan(ratio) and not 0.95 <= ratio <= 20.0:
        yield _remark(grid, "plant_power", (
            f"the plant's power is {ratio:.3g} times that of its chillers{_factor(ratio)}; look at "
            "the units of power in the map"))


# -- frozen sensors and changes of unit -----------------------------------------------------------

def _dense(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows that hold a value, and the values."""
    gap = np.isnan(values)
    if not gap.any():
        return np.arange(len(values)), values
    there = np.flatnonzero(~gap)
    return there, values[there]


def may_be_stuck(point: points.Point) -> bool:
    """Whether a point is of a kind that never stands still for hours."""
    return point.kind == points.MEASURED and point.unit in ("degF", "%RH")


def stuck_hours(point: points.Point) -> float:
    """How long without a change makes a point suspicious [h]."""
    return _WEATHER_HOURS if point.name.startswith(("outdoor", "space")) else _WATER_HOURS


def stuck(values: np.ndarray, minutes: float, hours: float) -> list[tuple[int, int]]:
    """Stretches longer than ``hours`` without a change of the value, whatever gaps lie inside."""
    there, dense = _dense(values)
    # A long stretch holds two looked-at rows; where no two agree there is none.
    few = dense[:: _STUCK_ROWS // 2]
    if not (few[1:] == few[:-1]).any():
        return []
    begins = np.append(0, np.flatnonzero(dense[1:] != dense[:-1]) + 1)
    ends = np.append(begins[1:], len(dense))
    first, after = there[begins], there[ends - 1] + 1
    long = (ends - begins >= _STUCK_ROWS) & (after - first >= hours * 60.0 / minutes)
    return list(zip(first[long].tolist(), after[long].tolist(), strict=True))


def frozen_text(time: Callable[[int], datetime], values: np.ndarray, minutes: float,
                point: points.Point) -> str:
    """What to say of a point that stands still; ``""`` where it does not."""
    hours = stuck_hours(point)
    if not (found := stuck(values, minutes, hours)):
        return ""
    begin, end = max(found, key=lambda stretch: stretch[1] - stretch[0])
    between = time(end - 1).astimezone(UTC) - time(begin).astimezone(UTC)
    more = f"; {len(found)} such stretches over {hours:g} h" if len(found) > 1 else ""
    return (f"the value stands at {values[begin]:.4g} {units.symbol(point.unit)} for "
            f"{between.total_seconds() / 3600.0 + minutes / 60.0:,.0f} h on end, from "
            f"{time(begin):%Y-%m-%d %H:%M}{more}: a frozen sensor or a lost connection")


def _frozen(grid: Grid) -> Iterator[Remark]:
    for name, values in grid.columns.items():
        point = points.point(name)
        if may_be_stuck(point):
            if text := frozen_text(grid.time, values, grid.minutes, point):
                yield _remark(grid, name, text)


def _unit_jumps(grid: Grid) -> Iterator[Remark]:
    for name, values in grid.columns.items():
        point = points.point(name)
        if point.kind != points.MEASURED or point.unit not in ("degF", "gpm", "psia", "psi"):
            continue
        there, dense = _dense(values)
        if len(dense) < 2 * _FEW:
            continue
        jumps = np.abs(np.diff(dense))
        large = np.flatnonzero(jumps >= _LEAST_JUMP * _LEAST_LEVEL)
        large = large[jumps[large] >= _LEAST_JUMP * np.abs(dense[large])]
        if not len(large):
            continue
        usual = float(np.median(jumps[:: len(jumps) // _ENOUGH + 1]))
        file = re.search(r"\[(.+)\]$", grid.sources.get(name, ""))
        if len(large) > _LOOKED_AT:
            large = large[np.argpartition(jumps[large], -_LOOKED_AT)[-_LOOKED_AT:]]
        for at in large + 1:
            was_is = _units_of_jump(dense, int(at), usual, point, file[1] if file else "")
            if was_is and not (point.unit == "gpm" and _switched(grid, int(there[at]))):
                since = grid.time(there[at])
                yield _remark(grid, name, (
                    f"from {since:%Y-%m-%d %H:%M} on the values look like {was_is[1]} where they "
                    f'were {was_is[0]} before; if so, state unit = "{was_is[0]}" and unit_changes '
                    f'= [["{since:%Y-%m-%dT%H:%M}", "{was_is[1]}"]] under [points.{name}]'))
                break


def _switched(grid: Grid, row: int) -> bool:
    """Whether equipment starts, stops or is throttled beside a row: then a flow jumps by itself."""
    for name, values in grid.columns.items():
        near = values[max(row - _NEAR, 0) : row + _NEAR + 1]
        near = near[~np.isnan(near)]
        moved = float(np.ptp(near)) if len(near) else 0.0
        if points.point(name).kind == points.STATUS and moved or (
                points.point(name).unit == "%" and moved > _THROTTLED):
            return True
    return False


def _units_of_jump(values: np.ndarray, at: int, usual: float, point: points.Point, stated: str
                   ) -> tuple[str, str] | None:
    """The units before and after a jump that another unit explains; None where none does.

    Right beside the jump the quantity goes on as it was, and about so for ten rows more.
    """
    def levels(rows: int) -> tuple[float, float]:
        before, after = values[max(at - rows, 0) : at], values[at : at + rows]
        return float(np.median(before)), float(np.median(after))

    one, other, own = float(values[at - 1]), float(values[at]), stated or point.unit
    close = max(2.0 if point.unit == "degF" else 0.05 * abs(one), 5.0 * usual)
    for unit in (u for u in units.choices(point.unit) if own in (u, point.unit) != u):
        scale = units.scale(unit, point.unit, "")
        # What was read as another unit than it is in became another quantity.
        for meant, pair in ((scale, (point.unit, unit)), (scale.back, (unit, point.unit))):
            if pair[0] == unit != own or abs(meant(other) - one) > 3.0 * close:
                continue
            if all(abs(meant(after) - before) < width for (before, after), width in (
                    (levels(_NEAR), close), (levels(_FAR), 3.0 * close))) and (
                    point.unit == "degF" or not _was_there_too(values, at, *levels(_NEAR))):
                return pair
    return None


def _was_there_too(values: np.ndarray, at: int, before: float, after: float) -> bool:
    """Whether the new level of a jump is found before it, or the old one after it: a flow that
    falls to a quarter with the equipment has done so before, or comes back."""
    def share(part: np.ndarray, level: float) -> float:
        return float(np.mean(np.abs(part - level) < 0.3 * abs(level)))

    return max(share(values[:at], after), share(values[at:], before)) > _SEEN_BEFORE
