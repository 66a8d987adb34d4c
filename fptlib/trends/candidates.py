"""Which points a column may be, by what its header says, and of which number of equipment."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fptlib import points, units
from fptlib.trends.columns import Column, Meant
from fptlib.trends.in_units import Candidate, if_it_moves, in_its_unit, in_one_system
from fptlib.trends.names import Name, read

# So much says a header that names a quantity and nothing else; it takes physics to believe it.
BARE = 0.45

# point | equipment | water or air | end | quantity | role. A "?" may be left out; "-" excludes.
_RULES = """
outdoor_dry_bulb|-|oa||temp dry_bulb|
outdoor_humidity|-|oa||humidity|
outdoor_wet_bulb|-|oa?||wet_bulb|
station_pressure|-|oa?||barometer|
space_humidity|-|||humidity critical|
chw_supply_temp|-|chw|supply leaving cold|temp|
chw_supply_setpoint|-|chw|supply leaving ?|temp|setpoint
chw_reset_setpoint|-|chw|supply leaving ?|temp|setpoint reset
chw_reset_setpoint|-|chw|supply leaving|temp|reset
chw_return_temp|-|chw|return entering warm|temp|
chw_flow|-|chw|supply return leaving entering ?|flow|
chw_valve_position|-|chw?||position|most command?
chw_diff_pressure|-|chw|supply return ?|differential_pressure|
decoupler_flow|decoupler|chw?||flow|
cw_supply_temp|-|cw|supply entering cold sump from|temp|
cw_supply_temp|tower|cw?|supply leaving cold sump from|temp|
cw_supply_temp|-||sump|temp|
basin_temp|-|cw?|basin|temp|
basin_temp|tower|cw?|basin|temp|
basin_heater_running|heater||basin sump|status|
cw_supply_setpoint|-|cw|supply entering sump from ?|temp|setpoint
cw_supply_setpoint|tower|cw?|supply leaving sump from ?|temp|setpoint
cw_return_temp|-|cw|return leaving warm|temp|
cw_return_temp|tower|cw?|return entering warm to|temp|
cw_flow|-|cw|supply return entering leaving ?|flow|
cw_flow|tower|cw?|supply return ?|flow|
hx_chw_entering_temp|hx|chw|entering return warm|temp|
hx_chw_leaving_temp|hx|chw|leaving supply cold|temp|
hx_cw_entering_temp|hx|cw|entering supply cold|temp|
hx_cw_leaving_temp|hx|cw|leaving return warm|temp|
hx_chw_flow|hx|chw|entering leaving supply return ?|flow|
hx_cw_flow|hx|cw|entering leaving supply return ?|flow|
hx_chw_pressure_drop|hx|chw||differential_pressure|
hx_cw_pressure_drop|hx|cw||differential_pressure|
hx_valve|hx|cw? chw?||position|command?
economizer_command|economizer||||command
economizer_command|hx||||command
economizer_active|economizer|||status|
economizer_active|hx|||status|
chiller_{n}_running|chiller|||status|
chiller_{n}_power|chiller|||power|
chiller_{n}_amps|chiller|||amps|
chiller_{n}_chw_leaving_temp|chiller|chw ?|leaving supply cold|temp|
chiller_{n}_cw_entering_temp|chiller|cw|entering supply cold|temp|
chiller_{n}_cw_leaving_temp|chiller|cw|leaving return warm|temp|
chiller_{n}_chw_flow|chiller|chw|entering leaving supply return ?|flow|
chiller_{n}_cw_flow|chiller|cw|entering leaving supply return ?|flow|
chiller_{n}_evaporator_pressure|chiller|chw||pressure|
chiller_{n}_condenser_pressure|chiller|cw||pressure|
chiller_{n}_alarm|chiller||||alarm
tower_{n}_fan_running|tower|||status|
tower_{n}_fan_speed|tower|||speed percent|command?
ahu_{n}_fan_running|ahu||supply ?|status|
ahu_{n}_return_temp|ahu|ra||temp|
ahu_{n}_return_temp|ahu||return|temp|
ahu_{n}_mixed_temp|ahu|ma||temp|
ahu_{n}_discharge_temp|ahu|sa||temp|
ahu_{n}_discharge_temp|ahu||supply discharge|temp|
ahu_{n}_outdoor_damper|ahu|oa||damper|command?
ahu_{n}_cooling_valve|ahu|chw||position|command?
tower_fan_power|tower|||power|
chw_pump_power|pump|chw||power|
cw_pump_power|pump|cw||power|
plant_power|-|||power|
service_power|service|||power|
plant_load|-|chw?||load heat|
heating_load|-|hw||load heat|
"""


@dataclass(frozen=True)
class Rule:
    """What the header of a point says; a group with ``?`` may be left unsaid."""

    point: str
    equipment: str
    medium: frozenset[str]
    ends: frozenset[str]
    quantity: frozenset[str]
    roles: frozenset[str]

    @classmethod
    def of(cls, line: str) -> Rule:
        """A rule as it is written in the table."""
        point, equipment, *groups = line.split("|")
        return cls(point, equipment.strip("-"), *(frozenset(g.split()) for g in groups))


RULES = tuple(Rule.of(line) for line in _RULES.split("\n") if line)
_EQUIPMENT = frozenset(("chiller", "tower", "fan", "pump", "hx", "economizer", "decoupler",
                        "service", "ahu", "heater"))
# Equipment that comes in numbers, and the plan's answer that counts it.
_COUNTED = {"chiller": "chillers", "tower": "tower_cells", "ahu": "air_handlers"}
# The quantity that a unit belongs to, where the header names none.
_QUANTITY = (("temp", "degF"), ("flow", "gpm"), ("power", "kW"), ("amps", "A"),
             ("load", "tons"), ("humidity", "%RH"), ("pressure", "psia"))
# Words of a quantity that say nothing beside another one.
_BESIDE = {"percent", "critical", "mode", "pressure", "temp", "hertz"}


def candidates_of(columns: Sequence[Column], answers: Mapping[str, Any]) -> list[Candidate]:
    """Every point that each column may be, by what its header says and in its unit.

    Args:
        columns: of all files.
        answers: the job's; the plant's counts of chillers and tower cells are used.
    """
    said = [(column, read(str(column.model or column.said))) for column in columns]
    # A model counts its equipment in its own way.
    numbers = {by_model: {family: _numbering(
        [name for column, name in said if bool(column.model) == by_model and _is_of(name, family)],
        _count(answers, family)) for family in _COUNTED} for by_model in (False, True)}
    found: list[Candidate] = []
    for column, name in said:
        given = numbers[bool(column.model)], _weather_only(column, said)
        if column.model and read(column.model.words).unknown:
            # A class is chosen with care: with a word that says nothing here it is another point.
            continue
        mine = list(_of_column(column, name, *given))
        if not mine and column.model and _vague(column.model):
            mine = list(_of_column(column, read(f"{column.model} {column.said}"), *given))
        found += mine
    # A model's word outranks a name.
    claimed = {one.point for one in found if one.column.model and one.strength > BARE}
    return in_one_system([one for one in found if one.column.model or one.point not in claimed])


def _vague(meant: Meant) -> bool:
    """Whether a model names a quantity and no more, as ``Temperature_Sensor``."""
    return all(each.startswith("is=") for each in read(meant.words).concepts)


def _of_column(column: Column, name: Name, numbers: Mapping[str, Mapping[tuple[int, str], int]],
               weather: bool) -> Iterator[Candidate]:
    for rule in RULES:
        if strength := _strength(rule, name, column, weather):
            family = rule.equipment
            if "{n}" in rule.point:
                number = numbers[family].get(name.key)
                if number is None:
                    continue
            else:
                number = 0
                # One of several pumps or cells is not all of them.
                if family in ("pump", "tower", "heater") and name.key != (0, ""):
                    continue
            point = points.point(rule.point.format(n=number))
            if candidate := in_its_unit(point, column, strength):
                yield if_it_moves(candidate)


def _strength(rule: Rule, name: Name, column: Column, weather: bool) -> float:
    """How much of a point's name the header says; 0 where it says something else."""
    is_, ends = name.all("is"), name.all("end")
    roles, inside = name.all("as") - {"own", "feedback"}, name.all("in") - {"water"}
    of = name.all("of") & _EQUIPMENT
    if of == {"chiller", "pump"} and not inside:
        inside = {"chw"}
    if _never(rule, name, column):
        return 0.0
    strength = _of_equipment(rule, of)
    strength *= _of_medium(rule, inside, weather)
    if strength == BARE and (name.unknown or of or name.all("of") or roles):
        return 0.0
    strength *= _of_role(rule, roles)
    strength *= _of_quantity(rule, is_, column)
    if rule.ends:
        if not ends and "?" not in rule.ends:
            strength *= 0.0
        elif ends and not ends <= rule.ends:
            strength *= 0.0
        elif len(ends) > 1:
            strength *= 0.9
    elif ends and rule.point not in ("plant_power", "cw_pump_power"):
        strength *= 0.0
    if rule.point == "plant_power" and not name.any("of=plant", "of=total"):
        strength *= 0.6 if not inside and not column.binary else 0.0
    if "status" in rule.quantity and not is_ and not roles and name.unknown:
        # On and off of a machine, and a word that may say of what.
        strength *= 0.6
    return strength * (1.0 - 0.01 * min(name.unknown, 5))


def _never(rule: Rule, name: Name, column: Column) -> bool:
    """Whether a word says that it is something else."""
    critical = "critical" in rule.quantity
    if name.all("not") - ({"room"} if critical else set()):
        return True
    if "is=critical" in name and not critical:
        return True
    if column.model and rule.equipment == "tower" and "of=tower" not in name:
        # A model says whose fan it is.
        return True
    # The water's pressure is not the refrigerant's, its temperature not the air's.
    return "in=water" in name and (
        rule.point.endswith(("evaporator_pressure", "condenser_pressure"))
        or rule.equipment == "ahu" and "temp" in rule.quantity)


def _of_equipment(rule: Rule, found: set[str]) -> float:
    if rule.equipment == "economizer":
        return float(bool(found) and found <= {"economizer", "hx"} and "economizer" in found)
    if rule.equipment == "tower" and found == {"fan"}:
        return 0.9 if rule.quantity & {"speed", "status", "power"} else 0.0
    if rule.equipment == "tower":
        return float("tower" in found and found <= {"tower", "fan"})
    if rule.point == "chw_pump_power" and found == {"chiller", "pump"}:
        # A "chiller pump" moves chilled water.
        return 0.9
    if rule.equipment == "ahu":
        # The status of an air handler is mostly that of its supply fan.
        plain = 0.7 if "status" in rule.quantity and "fan" not in found else 1.0
        return plain * ("ahu" in found and found <= {"ahu", "fan"})
    if rule.equipment == "heater":
        return float("heater" in found and found <= {"heater", "tower"})
    if rule.equipment == "pump" and not found:
        # Power of a water is that of its pumps.
        return 0.7
    if rule.equipment == "hx":
        return float("hx" in found and found <= {"hx", "economizer"})
    return float(found == ({rule.equipment} if rule.equipment else set()))


def _of_medium(rule: Rule, inside: set[str], weather: bool) -> float:
    needed = {each for each in rule.medium if not each.endswith("?")}
    allowed = {each.strip("?") for each in rule.medium}
    if not inside <= allowed:
        return 0.0
    if rule.point == "chw_flow" and not inside:
        return BARE
    if inside or not needed:
        return 1.0
    if "oa" in needed:
        # "RH" or "Temperature" alone: outdoors in a weather file, else only if physics agrees.
        return 0.85 if weather else BARE
    return 0.75 if "?" in rule.medium else 0.0


def _of_role(rule: Rule, roles: set[str]) -> float:
    needed = {role for role in rule.roles if not role.endswith("?")}
    allowed = {role.strip("?") for role in rule.roles}
    if not needed <= roles or not roles <= allowed:
        return 0.0
    return 0.93 if roles - needed else 1.0


def _of_quantity(rule: Rule, is_: set[str], column: Column) -> float:
    quantity = set(rule.quantity)
    if rule.roles & {"setpoint"}:
        is_ = is_ - {"status"}
        return float(is_ <= {"temp"} and not column.binary)
    if not quantity or quantity == {"status"}:
        return _of_state(rule, is_, column)
    if not is_:
        unit = next((name for name, wanted in _QUANTITY if units.alias(column.unit, wanted)), "")
        if unit in quantity:
            return 0.9
        # "CHWS" and "HX CHW in": a water's end alone is mostly its temperature.
        return 0.8 if "temp" in quantity and not column.unit and not column.binary else 0.0
    if "critical" in quantity:
        return float(quantity <= is_)
    if is_ & {"load", "heat"} and units.alias(column.unit, "kW"):
        # "Cooling load kW": the last word is its unit.
        is_ = is_ - {"power"}
    if not is_ & quantity or is_ - quantity - _BESIDE:
        return 0.0
    return 0.0 if "differential_pressure" in is_ and "pressure" in quantity else 1.0


def _of_state(rule: Rule, is_: set[str], column: Column) -> float:
    """Of an alarm, a command or a status."""
    if is_ - {"status", "mode", *(("enable",) if rule.roles else ())}:
        return 0.0
    if rule.roles or "status" in is_:
        return 1.0
    # "CH1" alone, with on and off in it.
    plain = column.binary and not column.unit
    return (0.8 if rule.equipment in ("chiller", "economizer") or "mode" in is_ else 0.5) * plain


def _weather_only(column: Column, said: Sequence[tuple[Column, Name]]) -> bool:
    """Whether a file holds weather and nothing of a plant: its plain temperature is outdoors."""
    mine = [name for other, name in said if other.file == column.file]
    return (all(not name.all("of") and not name.all("not") and not name.any("in=chw", "in=cw")
                for name in mine) and any("is=humidity" in name for name in mine)
            and len(mine) <= 12)


# -- which number ---------------------------------------------------------------------------------

def _is_of(name: Name, family: str) -> bool:
    of = name.all("of") & _EQUIPMENT
    if name.all("not") & {"air", "room", "hot"} or "in=hw" in name:
        return False
    return of == {family} or family != "chiller" and bool(of) and of <= {family, "fan"} and (
        family in of or family == "tower" and not name.all("end"))


def _count(answers: Mapping[str, Any], family: str) -> int:
    plant = answers.get("plant", {})
    return int(plant.get(_COUNTED[family], 0) or 0)


def _numbering(names: Sequence[Name], count: int) -> dict[tuple[int, str], int]:
    """The plant's own number for each number and letter in the headers.

    CH-101 and CH-102 are 1 and 2, so are chillers A and B, and numbers from 0 count from 1. With
    more kinds of number than that, or numbers above those that the plan has, their order counts.
    """
    keys = sorted({name.key for name in names} - {(0, "")})
    if not keys:
        return {(0, ""): 1}
    if all(not number for number, _ in keys):
        return {key: ord(key[1]) - ord("a") + 1 for key in keys}
    ranks = {key: at + 1 for at, key in enumerate(keys)}
    if any(letter for _, letter in keys):
        return {key: n for n, key in enumerate((key for key in keys if key[1]), start=1)}
    numbers = [number for number, _ in keys]
    if min(numbers) >= 100:
        numbers = [number % 100 for number in numbers]
        if len(set(numbers)) < len(numbers) or not min(numbers):
            return ranks
    if count and len(keys) <= count < max(numbers):
        return ranks
    return dict(zip(keys, numbers, strict=True))
