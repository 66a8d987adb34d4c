"""A scenario run by EnergyPlus, a controller of our own moving its schedules minute by minute."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
from pyenergyplus.api import EnergyPlusAPI
from pyenergyplus.dataset import weather_files

from .control import Controller
from .model import M3S_PER_GPM, WATTS_PER_TON, Scenario, idf

SCHEDULES = ("CHWSP", "CWSP", "LoadW", "Flow", "ChOn", "HXOn")


def f(c: float) -> float:
    return 1.8 * c + 32.0


def gpm(kg_s: float) -> float:
    return kg_s / 999.0 / M3S_PER_GPM


def tons(watts: float) -> float:
    return watts / WATTS_PER_TON


def kw(watts: float) -> float:
    return watts / 1000.0


def same(x: float) -> float:
    return x


def outputs(chillers: int) -> dict[str, tuple[str, str, object]]:
    """State -> (variable of EnergyPlus, its key, conversion to the trade's units)."""
    node, flow = "System Node Temperature", "System Node Mass Flow Rate"
    found = {
        "dry": ("Site Outdoor Air Drybulb Temperature", "Environment", f),
        "wet": ("Site Outdoor Air Wetbulb Temperature", "Environment", f),
        "humid": ("Site Outdoor Air Relative Humidity", "Environment", same),
        "supply": (node, "CHW Out", f), "entering": (node, "CHW In", f),
        "plant_flow": (flow, "CHW In", gpm), "served": ("Plant Load Profile Cooling Energy", "LP",
                                                        lambda x: x / 60 / WATTS_PER_TON),
        "sump": (node, "CW DIn", f), "back": (node, "CW In", f), "cold": (node, "CW Out", f),
        "cw_total": (flow, "CW In", gpm), "hx_out": (node, "HX S Out", f),
        "hx_in": (node, "HX S In", f), "hx_cw_in": (node, "HX D In", f),
        "hx_cw_out": (node, "HX D Out", f), "hx_chw": (flow, "HX S In", gpm),
        "hx_cw": (flow, "HX D In", gpm),
        "hx_tons": ("Fluid Heat Exchanger Heat Transfer Rate", "HX", lambda x: abs(tons(x))),
        "fan": ("Cooling Tower Air Flow Rate Ratio", "Tow", same),
        "fan_kw": ("Cooling Tower Fan Electricity Rate", "Tow", kw),
        "chw_kw": ("Pump Electricity Rate", "CHW P", kw),
        "cw_kw": ("Pump Electricity Rate", "CW P", kw),
    }
    for n in range(1, chillers + 1):
        found |= {
            f"kw_{n}": ("Chiller Electricity Rate", f"Ch{n}", kw),
            f"tons_{n}": ("Chiller Evaporator Cooling Rate", f"Ch{n}", tons),
            f"leaving_{n}": (node, f"Ch{n} S Out", f), f"warm_{n}": (node, f"Ch{n} D Out", f),
            f"cw_{n}": (flow, f"Ch{n} D In", gpm), f"chw_{n}": (flow, f"Ch{n} S In", gpm),
        }
    return found


def simulate(scenario: Scenario, loads: np.ndarray) -> dict[str, np.ndarray]:
    """Minute by minute: EnergyPlus's states, and the controller's own under its names."""
    api = EnergyPlusAPI()
    state = api.state_manager.new_state()
    data, run = api.exchange, api.runtime
    wanted = outputs(scenario.plant.chillers)
    for variable, key, _ in wanted.values():
        data.request_variable(state, variable, key)
    control = Controller(scenario)
    handles: dict[str, int] = {}
    actuators: dict[str, int] = {}
    rows: list[dict[str, float]] = []
    last: dict[str, float] = {}

    def before(s) -> None:
        if not data.api_data_fully_ready(s):
            return
        if not handles:
            handles.update({k: data.get_variable_handle(s, v, key)
                            for k, (v, key, _) in wanted.items()})
            actuators.update({k: data.get_actuator_handle(
                s, "Schedule:Constant", "Schedule Value", k) for k in SCHEDULES})
            wrong = [k for k, h in {**handles, **actuators}.items() if h < 0]
            assert not wrong, wrong
        t = len(rows)
        if not data.warmup_flag(s) and last:
            control.step(t, last, loads[min(t, len(loads) - 1)])
        for name, value in control.commands(loads[min(t, len(loads) - 1)]).items():
            data.set_actuator_value(s, actuators[name], value)

    def after(s) -> None:
        if not handles:
            return
        last.update({k: wanted[k][2](data.get_variable_value(s, h)) for k, h in handles.items()})
        if not data.warmup_flag(s):
            rows.append({**last, **control.states()})

    run.callback_begin_system_timestep_before_predictor(state, before)
    run.callback_end_zone_timestep_after_zone_reporting(state, after)
    run.set_console_output_status(state, False)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "plant.idf"
        file.write_text(idf(scenario), encoding="utf-8")
        code = run.run_energyplus(state, ["-w", str(weather_files[scenario.plant.weather]),
                                          "-d", folder, str(file)])
        errors = (Path(folder) / "eplusout.err").read_text(encoding="utf-8", errors="replace")
    api.state_manager.delete_state(state)
    if code or "** Severe" in errors:
        raise RuntimeError(f"EnergyPlus stopped with code {code}:\n{errors}")
    return {k: np.array([row[k] for row in rows]) for k in rows[0]}
