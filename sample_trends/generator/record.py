"""What is trended: the columns of a minute, named as the project's glossary names them."""

from __future__ import annotations

from sample_trends.generator.controls import Controls
from sample_trends.generator.plant import Chiller, Orders, Plant
from sample_trends.generator.scenario import Design

_CHW_PUMP_KW_PER_TON = 0.055
_CW_PUMP_KW_PER_TON = 0.04
_VOLTS_AND_FACTOR = 0.46 * 1.732 * 0.88
_HOUSE_KW = 6.0

_PLANT = (
    "outdoor_dry_bulb", "outdoor_humidity", "outdoor_wet_bulb", "station_pressure",
    "chw_supply_temp", "chw_supply_setpoint", "chw_reset_setpoint", "chw_return_temp",
    "chw_flow", "chw_diff_pressure", "decoupler_flow",
    "cw_supply_temp", "cw_supply_setpoint", "cw_return_temp", "cw_flow",
    "hx_chw_entering_temp", "hx_chw_leaving_temp", "hx_cw_entering_temp",
    "hx_cw_leaving_temp", "hx_chw_flow", "hx_cw_flow", "hx_valve",
    "economizer_command", "economizer_active",
)
_CHILLER = (
    "running", "power", "amps", "chw_leaving_temp", "cw_entering_temp", "cw_leaving_temp",
    "evaporator_pressure", "condenser_pressure", "alarm",
)
_LAST = (
    "tower_fan_power", "chw_pump_power", "cw_pump_power", "plant_power", "plant_load",
    "space_humidity",
)


def names(design: Design) -> list[str]:
    """The columns of a plant, in the order of ``row``."""
    chillers = [f"chiller_{n + 1}_{what}" for n in range(design.chillers) for what in _CHILLER]
    cells = range(1, design.tower_cells + 1)
    towers = [f"tower_{n}_{what}" for n in cells for what in ("fan_running", "fan_speed")]
    return [*_PLANT, *chillers, *towers, *_LAST]


def row(air: list[float], plant: Plant, controls: Controls, orders: Orders) -> list[float]:
    """The truth of one minute."""
    chillers = [x for c in plant.chillers for x in _chiller(plant, c)]
    towers = [x for n in range(plant.design.tower_cells) for x in _cell(n, orders)]
    return [*_plant(air, plant, controls), *chillers, *towers, *_last(plant, orders)]


def _plant(air: list[float], plant: Plant, controls: Controls) -> list[float]:
    # Below the flow meter's turn-down the temperatures are those of standing water.
    entering = plant.sump if plant.hx_cw_flow > 1.0 else plant.hx_cw_leaving
    speed = plant.flow / (900.0 * plant.design.scale)
    return [
        *air,
        plant.delivered, controls.active, controls.reset, plant.returning,
        plant.flow, 12.0 + 6.0 * speed * speed, plant.decoupler_flow,
        plant.sump, controls.cw_setpoint, plant.tower_return, plant.cw_flow,
        plant.hx_entering, plant.hx_leaving, entering, plant.hx_cw_leaving,
        plant.hx_flow, plant.hx_cw_flow, 100.0 * plant.valve,
        float(controls.command), float(plant.valve >= 0.95),
    ]


def _chiller(plant: Plant, chiller: Chiller) -> list[float]:
    entering = plant.sump if chiller.condenser_flow > 1.0 else chiller.cw_leaving
    return [
        float(chiller.running), chiller.power, chiller.power / _VOLTS_AND_FACTOR,
        chiller.chw_leaving, entering, chiller.cw_leaving,
        *plant.pressures(chiller), float(chiller.alarm),
    ]


def _cell(n: int, orders: Orders) -> tuple[float, float]:
    on = n < orders.cells_on
    return float(on), 100.0 * orders.fan_speed if on else 0.0


def _last(plant: Plant, orders: Orders) -> list[float]:
    size = plant.design.size
    share = orders.cells_on / plant.design.tower_cells
    fans = plant.design.fan_kw_per_ton * size * share * orders.fan_speed**3
    chw = _CHW_PUMP_KW_PER_TON * size * (plant.flow / (1200.0 * plant.design.scale)) ** 2.4
    cw = _CW_PUMP_KW_PER_TON * size * plant.cw_flow / (1440.0 * plant.design.scale)
    total = sum(c.power for c in plant.chillers) + fans + chw + cw + _HOUSE_KW
    load = plant.flow * (plant.returning - plant.supply) / 24.0
    humid = 42.0 + 0.45 * (plant.building - 46.0)
    return [fans, chw, cw, total, load, humid]
