"""What perfect sensors would trend: from states to the glossary's names."""

from __future__ import annotations

import numpy as np

from .model import CHILLERS, RETURN, Scenario

PLAIN = {  # name of the glossary: state
    "outdoor_dry_bulb": "dry", "outdoor_humidity": "humid", "outdoor_wet_bulb": "wet",
    "station_pressure": "air_pressure", "chw_supply_temp": "supply",
    "chw_supply_setpoint": "active", "chw_reset_setpoint": "reset", "chw_return_temp": "entering",
    "chw_flow": "plant_flow", "chw_diff_pressure": "pressure", "decoupler_flow": "around",
    "cw_supply_temp": "sump", "cw_supply_setpoint": "cw_setpoint", "cw_return_temp": "back",
    "cw_flow": "cw_total", "hx_chw_entering_temp": "entering", "hx_chw_leaving_temp": "hx_out",
    "hx_cw_entering_temp": "sump", "hx_cw_leaving_temp": "hx_cw_out", "hx_chw_flow": "hx_chw",
    "hx_cw_flow": "hx_cw", "hx_valve": "hx_valve", "tower_fan_power": "fan_kw",
    "chw_pump_power": "chw_kw", "cw_pump_power": "cw_kw", "plant_power": "plant_kw",
    "plant_load": "met",
}


def true_columns(scenario: Scenario, s: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """What perfect sensors would trend."""
    p = scenario.plant
    true = {name: s[state] for name, state in PLAIN.items()}
    if p.reset == "valves":
        true["chw_valve_position"] = s["most_open"]
    if p.headers_only:
        true = {k: v for k, v in true.items() if not k.startswith("hx_") or k == "hx_valve"}
    entering = p.head != "bypass"
    for i in range(1, p.chillers + 1):
        on = s[f"tons_{i}"] > 0
        true |= {
            f"chiller_{i}_running": on * 1.0, f"chiller_{i}_power": s[f"kw_{i}"],
            f"chiller_{i}_amps": 1.43 * s[f"kw_{i}"],
            f"chiller_{i}_alarm": s[f"trip_{i}"],
            f"chiller_{i}_evaporator_pressure": s[f"evaporator_{i}"],
            f"chiller_{i}_condenser_pressure": s[f"condenser_{i}"],
        }
        if not p.headers_only:
            # led around, the condenser's own full flow enters warmer than the sump
            opened = np.where(s[f"cw_{i}"] > 1, s[f"cw_{i}"] / p.cw_chiller, 1.0)
            warm = s[f"warm_{i}"]
            mixed = s["sump"] if entering else warm - opened * (warm - s["sump"])
            true |= {
                f"chiller_{i}_chw_leaving_temp": s[f"leaving_{i}"],
                f"chiller_{i}_cw_entering_temp": mixed,
                f"chiller_{i}_cw_leaving_temp": s[f"warm_{i}"],
            }
    for c in range(1, p.cells + 1):
        speed = s[f"speed_{c}"]
        true |= {f"tower_{c}_fan_running": (speed > 0) * 1.0, f"tower_{c}_fan_speed": 100 * speed}
    economizer = (s["mode"] != CHILLERS) & (s["mode"] != RETURN)
    true["economizer_command"] = economizer * 1.0
    true["economizer_active"] = (s["hx_valve"] > 50) * 1.0
    true["space_humidity"] = 38.0 + 1.2 * np.maximum(s["sup2"] - 47.0, 0.0)
    return true
