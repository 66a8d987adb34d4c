"""The glossary: every point a parallel-exchanger plant trends, named once.

A point's name is used verbatim as column, argument, form field and record key.
Equipment that comes in numbers is written with ``{n}`` and counts from 1, so
``chiller_{n}_power`` stands for ``chiller_1_power``, ``chiller_2_power`` and on.

Plausible ranges and default accuracies are common practice, no source. They only
guard against a wrong map or unit; a job states the accuracy of its own sensors.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache

MEASURED = "measured"
SETPOINT = "setpoint"
STATUS = "status"
ALARM = "alarm"


class UnknownPoint(KeyError):
    """A name that is not in the glossary."""

    def __str__(self) -> str:
        return self.args[0]


@dataclass(frozen=True, slots=True)
class Point:
    """One quantity of the plant.

    ``accuracy`` is the half-width of the default sensor accuracy, in the point's
    unit, or as a share of the reading where ``relative`` is true.
    """

    name: str
    unit: str
    meaning: str
    low: float
    high: float
    accuracy: float
    kind: str = MEASURED
    relative: bool = False

    @property
    def numbered(self) -> bool:
        """Whether there is one for each chiller, cell or pump."""
        return "{n}" in self.name

    def number(self, n: int) -> Point:
        """The point of one numbered piece of equipment."""
        return replace(
            self, name=self.name.format(n=n), meaning=self.meaning.format(n=n)
        )


def _temperature(name: str, meaning: str, low: float, high: float) -> Point:
    return Point(name, "degF", meaning, low, high, 0.5)


def _setpoint(name: str, meaning: str, low: float, high: float) -> Point:
    return Point(name, "degF", meaning, low, high, 0.0, SETPOINT)


def _flow(name: str, meaning: str) -> Point:
    return Point(name, "gpm", meaning, 0.0, 60_000.0, 0.02, relative=True)


def _power(name: str, meaning: str) -> Point:
    return Point(name, "kW", meaning, 0.0, 50_000.0, 0.015, relative=True)


def _status(name: str, meaning: str) -> Point:
    return Point(name, "on/off", meaning, 0.0, 1.0, 0.0, STATUS)


GLOSSARY: tuple[Point, ...] = (
    _temperature("outdoor_dry_bulb", "outdoor air dry bulb", -60.0, 130.0),
    Point("outdoor_humidity", "%RH", "outdoor relative humidity", 0.0, 105.0, 3.0),
    _temperature("outdoor_wet_bulb", "outdoor air wet bulb", -60.0, 95.0),
    Point("station_pressure", "psia", "barometric pressure at the site", 8.0, 16.0, 0.05),
    _temperature("chw_supply_temp", "chilled water leaving the plant", 30.0, 90.0),
    _setpoint(
        "chw_supply_setpoint", "active chilled-water setpoint, what the controller holds now",
        30.0, 75.0,
    ),
    _setpoint(
        "chw_reset_setpoint", "reset setpoint, what the plant's normal reset asks for",
        30.0, 75.0,
    ),
    _temperature("chw_return_temp", "chilled water returning to the plant", 32.0, 100.0),
    _flow("chw_flow", "chilled-water flow of the plant"),
    Point("chw_valve_position", "%", "position of the most open chilled-water valve, as the reset "
          "reads it", 0.0, 100.0, 2.0),
    Point("chw_diff_pressure", "psi", "chilled-water differential pressure", -5.0, 150.0, 0.25),
    Point("decoupler_flow", "gpm", "flow through the decoupler, positive from supply to return",
          -60_000.0, 60_000.0, 0.02, relative=True),
    _temperature("cw_supply_temp", "condenser water leaving the towers or the sump", 30.0, 110.0),
    _setpoint("cw_supply_setpoint", "condenser-water setpoint of the towers", 30.0, 100.0),
    _temperature("cw_return_temp", "condenser water returning to the towers", 30.0, 130.0),
    _flow("cw_flow", "condenser-water flow of the plant"),
    _temperature("hx_chw_entering_temp", "chilled water entering the exchanger", 30.0, 100.0),
    _temperature("hx_chw_leaving_temp", "chilled water leaving the exchanger", 30.0, 100.0),
    _temperature("hx_cw_entering_temp", "condenser water entering the exchanger", 30.0, 110.0),
    _temperature("hx_cw_leaving_temp", "condenser water leaving the exchanger", 30.0, 120.0),
    _flow("hx_chw_flow", "chilled-water flow through the exchanger"),
    _flow("hx_cw_flow", "condenser-water flow through the exchanger"),
    _temperature("hx_{n}_chw_leaving_temp", "chilled water leaving exchanger {n} of several", 30.0,
                 100.0),
    _temperature("hx_{n}_cw_leaving_temp", "condenser water leaving exchanger {n} of several", 30.0,
                 120.0),
    _flow("hx_{n}_chw_flow", "chilled-water flow through exchanger {n} of several"),
    _flow("hx_{n}_cw_flow", "condenser-water flow through exchanger {n} of several"),
    Point("hx_chw_pressure_drop", "psi", "chilled-water pressure drop of the exchanger", -5.0,
          100.0, 0.25),
    Point("hx_cw_pressure_drop", "psi", "condenser-water pressure drop of the exchanger", -5.0,
          100.0, 0.25),
    Point("hx_valve", "%", "position of the exchanger's isolation valve", 0.0, 100.0, 2.0),
    _status("economizer_command", "economizer operation commanded"),
    _status("economizer_active", "exchanger in service"),
    _status("chiller_{n}_running", "chiller {n} running, proven by current"),
    _power("chiller_{n}_power", "power of chiller {n}"),
    Point("chiller_{n}_amps", "A", "motor current of chiller {n}", 0.0, 5_000.0, 0.02,
          relative=True),
    _temperature("chiller_{n}_chw_leaving_temp", "chilled water leaving chiller {n}", 30.0, 100.0),
    _temperature(
        "chiller_{n}_cw_entering_temp", "condenser water entering chiller {n}", 30.0, 120.0
    ),
    _temperature(
        "chiller_{n}_cw_leaving_temp", "condenser water leaving chiller {n}", 30.0, 130.0
    ),
    _flow("chiller_{n}_chw_flow", "chilled-water flow through the evaporator of chiller {n}"),
    _flow("chiller_{n}_cw_flow", "condenser-water flow through the condenser of chiller {n}"),
    Point("chiller_{n}_evaporator_pressure", "psia",
          "refrigerant pressure in the evaporator of chiller {n}", 1.0, 150.0, 0.5),
    Point("chiller_{n}_condenser_pressure", "psia",
          "refrigerant pressure in the condenser of chiller {n}", 2.0, 450.0, 0.5),
    Point("chiller_{n}_alarm", "alarm", "chiller {n} trip, hold or alarm", 0.0, 1.0, 0.0,
          ALARM),
    _status("tower_{n}_fan_running", "fan of tower cell {n} running"),
    Point("tower_{n}_fan_speed", "%", "fan speed of tower cell {n}", 0.0, 105.0, 1.0),
    Point("tower_bypass_valve", "%", "towers' bypass to the basin, 100 % with all water through it",
          0.0, 100.0, 2.0),
    _temperature("sump_{n}_temp", "water leaving sump {n} of several", 30.0, 110.0),
    _temperature("basin_temp", "water in the tower basin, by a sensor of its own", 30.0, 110.0),
    _status("basin_heater_running", "basin heater running"),
    _status("pump_{n}_running", "pump {n} running, of those that the equipment limit counts"),
    _status("ahu_{n}_fan_running", "supply fan of air handler {n} running"),
    _temperature("ahu_{n}_return_temp", "return air of air handler {n}", 20.0, 120.0),
    _temperature("ahu_{n}_mixed_temp", "mixed air of air handler {n}", -20.0, 120.0),
    _temperature("ahu_{n}_discharge_temp", "discharge air of air handler {n}", 20.0, 130.0),
    Point("ahu_{n}_outdoor_damper", "%", "outdoor-air damper of air handler {n}", 0.0, 100.0, 2.0),
    Point("ahu_{n}_cooling_valve", "%", "chilled-water valve of air handler {n}", 0.0, 100.0, 2.0),
    _power("tower_fan_power", "power of all tower fans"),
    _power("chw_pump_power", "power of all chilled-water pumps"),
    _power("cw_pump_power", "power of all condenser-water pumps"),
    _power("plant_power", "power of the whole plant"),
    _power("service_power", "power at the utility's service meter"),
    Point("plant_load", "tons", "cooling load as the plant's own meter reports it",
          -50.0, 60_000.0, 0.05, relative=True),
    Point("heating_load", "tons", "heating-water load, 12 MBtu/h a ton", -50.0, 60_000.0, 0.05,
          relative=True),
    Point("space_humidity", "%RH", "humidity of the most critical space", 0.0, 100.0, 3.0),
)

_BY_NAME = {point.name: point for point in GLOSSARY}
_NUMBER = re.compile(r"^(chiller|tower|pump|ahu|sump|hx)_([1-9]\d*)_")


@cache
def point(name: str) -> Point:
    """The glossary entry of ``name``, numbered equipment included.

    Raises:
        UnknownPoint: the name is not in the glossary.
    """
    if name in _BY_NAME and not _BY_NAME[name].numbered:
        return _BY_NAME[name]
    if found := _NUMBER.match(name):
        family = _NUMBER.sub(rf"{found[1]}_{{n}}_", name)
        if family in _BY_NAME:
            return _BY_NAME[family].number(int(found[2]))
    raise UnknownPoint(f"'{name}' is not a point of the glossary (see fptlib/points.py)")


def is_point(name: str) -> bool:
    """Whether the glossary knows ``name``."""
    try:
        point(name)
    except UnknownPoint:
        return False
    return True


_ID = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")


def plain(text: str) -> str:
    """A name or a sentence with each point by what it means, up to its first comma, in place of its
    name in files."""
    return _ID.sub(lambda found: point(found[0]).meaning.split(",")[0] if is_point(found[0])
                   else found[0], text)


def tagged(name: str, tag: object) -> str:
    """A point by what it means, with the site's tag beside it where that is known."""
    return f"{plain(name)} ({tag})" if tag and is_point(name) else plain(name)


def all_points(chillers: int, tower_cells: int, pumps: int = 0, air_handlers: int = 0,
               sumps: int = 1, exchangers: int = 1) -> list[Point]:
    """Every point of a plant with so many of each equipment, in glossary order; a single sump or
    exchanger has no points of its own beside the plant's."""
    counts = {"chiller": chillers, "tower": tower_cells, "pump": pumps, "ahu": air_handlers,
              "sump": sumps if sumps > 1 else 0, "hx": exchangers if exchangers > 1 else 0}
    names: list[Point] = []
    for entry in GLOSSARY:
        if not entry.numbered:
            names.append(entry)
            continue
        family = entry.name.split("_", 1)[0]
        names.extend(entry.number(n) for n in range(1, counts[family] + 1))
    return names


def numbers(names: list[str], pattern: str) -> list[int]:
    """The equipment numbers for which ``pattern`` (with ``{n}``) occurs in ``names``."""
    shape = re.compile("^" + re.escape(pattern).replace(r"\{n\}", r"([1-9]\d*)") + "$")
    return sorted(int(hit[1]) for name in names if (hit := shape.match(name)))
