"""The plant minute by minute: coils, loop, exchanger beside chillers, towers over one sump."""

from __future__ import annotations

from math import exp, log
from types import SimpleNamespace

import numpy as np

from .control import Controller
from .model import ECONOMIZER, Scenario
from .physics import (
    WATER,
    affinity,
    chiller_power,
    exchanger_tons,
    refrigerant_pressure,
)
from .sensors import Sensors
from .weather import Air, air, wander

COIL = 1 - exp(-1.0)  # a coil's capacity at full flow on the scale of its curve 1 - exp(-x)


def demand(scenario: Scenario, outdoor: Air, hours: np.ndarray, weekday: np.ndarray) -> np.ndarray:
    """Cooling that the building asks for, tons: base, day, warm air, and a slow wander."""
    base, day, per_degree = scenario.plant.load
    minutes = len(hours)
    rng = np.random.default_rng([scenario.seed, 3])
    busy = np.clip(np.minimum((hours - 5.5) / 3.0, (20.5 - hours) / 3.0), 0.0, 1.0)
    busy = busy * np.where(weekday, 1.0, 0.6)
    keep = 1 - exp(-1 / 90.0)
    felt, slow = [], float(outdoor.dry_bulb[0])
    for x in outdoor.dry_bulb.tolist():
        slow += keep * (x - slow)
        felt.append(slow)
    warm = np.maximum(np.array(felt) - 46.0, 0.0)
    tons = base + day * busy + per_degree * warm
    return tons * (1 + wander(rng, minutes, 0.015, 60))


def simulate(scenario: Scenario, when) -> dict[str, np.ndarray]:
    """Noise-free states of every minute, by name; ``when`` is the local time of each row."""
    p, seq, fault = scenario.plant, scenario.programmed, scenario.fault
    n, minutes = p.chillers, len(when)
    first = int(when.hour[0])
    outdoor = air(scenario.weather, minutes, scenario.seed, scenario.warmer, first)
    hours = np.asarray(when.hour + when.minute / 60.0)
    asked = demand(scenario, outdoor, hours, np.asarray(when.day_of_week < 5)).tolist()
    tower = p.tower(float(outdoor.pressure.mean()))
    control = Controller(p, seq, fault.locked_out, fault.drops_out)
    sensors = Sensors(p, fault, scenario.seed, minutes)
    read = {k: sensors.reader(k) for k in (
        "outdoor_wet_bulb", "outdoor_dry_bulb", "chw_supply_temp", "cw_supply_temp", "plant_load",
        "chw_diff_pressure", "plant_power",
    )}
    read_out = [sensors.reader(f"chiller_{i + 1}_cw_leaving_temp") for i in range(n)]
    read_chw = [sensors.reader(f"chiller_{i + 1}_chw_leaving_temp") for i in range(n)]
    wet, dry, hour = (x.tolist() for x in (outdoor.wet_bulb, outdoor.dry_bulb, hours))

    coil_flow, coil_size = p.chw_total, n * p.capacity
    tank, barrel = p.loop / 4, 0.8 * p.capacity
    sup1 = sup2 = control.setpoint
    ret1 = ret2 = control.setpoint + 11.0
    sump = seq.condenser_chiller_mode
    back, back_tank = sump + 6.0, 1.15 * (n * p.cw_chiller + p.cw_exchanger)
    slow_cws, debt, bypass = sump, 0.0, 0.0
    tons = [asked[0] * 0.8 if i == 0 else 0.0 for i in range(n)]
    valve = [1.0 if i == 0 else 0.0 for i in range(n)]
    on_for, low_for, off_until = [999] + [0] * (n - 1), [0] * n, [-1] * n
    leaving, warm = [control.setpoint] * n, [sump + 6.0] * n
    chw_flow, cw_flow = [0.0] * n, [0.0] * n
    supply, power = control.setpoint, 200.0
    met, pressure, most_open = asked[0], 10.0, 85.0
    r = SimpleNamespace(part=[t / p.capacity for t in tons], lift=[20.0] * n, range=[6.0] * n,
                        tripped=[False] * n)
    rows = []

    for t in range(minutes):
        # what the controller reads, the last states
        r.wet_bulb, r.dry_bulb = read["outdoor_wet_bulb"](t, wet[t]), dry[t]
        r.chws, r.cws = read["chw_supply_temp"](t, supply), read["cw_supply_temp"](t, sump)
        slow_cws += 0.2 * (r.cws - slow_cws)
        r.cws_slow, r.hour, r.most_open = slow_cws, hour[t], most_open
        r.load, r.pressure = read["plant_load"](t, met), read["chw_diff_pressure"](t, pressure)
        r.power = read["plant_power"](t, power)
        for i in range(n):
            out = read_out[i](t, warm[i])
            r.lift[i], r.range[i] = out - read_chw[i](t, leaving[i]), out - r.cws
            r.tripped[i] = t < off_until[i] and control.run[i]
        r.trip = any(r.tripped)
        control.step(t, r)
        run = control.run

        # coils: as much flow as the load needs with the water they get
        want = asked[t] + debt / 90.0
        can = coil_size * max(70.0 - sup2, 1.0) / 26.0
        share = min(want / can, 1.0)
        x = min(max(-log(max(1 - share * COIL, 1e-9)), 0.06), 1.0)
        served = min(want, can * (1 - exp(-x)) / COIL)
        debt = max(0.0, debt + asked[t] - served)
        coils = x * coil_flow
        coil_return = sup2 + served * WATER / coils

        # flows: branches share the plant's flow by their open valves
        exchanger = control.exchanger_valve
        branch, travel = [], 1.0 / seq.bypass_stroke
        bypass += min(max(control.bypass - bypass, -travel), travel)
        for i in range(n):
            closing = 0.10 if on_for[i] else 0.5
            valve[i] = min(1.0, valve[i] + 0.1) if run[i] else max(0.0, valve[i] - closing)
            if i == 0 and exchanger <= 0 and not any(run):
                valve[i] = max(valve[i], 0.3)  # the pumps keep a way
            branch.append(p.chw_chiller * max(valve[i], fault.passing_valve))
        opening = p.chw_exchanger * exchanger + sum(branch)
        plant_flow = max(coils, 0.4 * (opening - sum(branch)) + 0.4 * p.chw_chiller * sum(valve))
        around = plant_flow - coils
        entering = (coils * ret2 + around * sup1) / plant_flow
        through = plant_flow * p.chw_exchanger * exchanger / opening if opening > 0 else 0.0
        hx_chw = through * (1 - bypass)
        hx_cw = p.cw_exchanger if control.condenser_side else 0.0

        # exchanger and chillers
        ua = hx_tons = 0.0
        hx_out = entering
        if hx_chw > 1.0 and hx_cw > 1.0:
            ua = fault.ua * p.clean_ua(hx_chw, hx_cw)
            hx_tons = exchanger_tons(ua, hx_chw, hx_cw, entering, sump)
            hx_out = entering - hx_tons * WATER / hx_chw
        mixed = through * (entering - hx_tons * WATER / through if through > 1.0 else 0.0)
        kw, rejected, drawn, room = [0.0] * n, 0.0, 0.0, 0.0
        for i in range(n):
            flow = plant_flow * branch[i] / opening if opening > 0 else 0.0
            # a stopped chiller runs down until its closing valve takes its least flow
            on_for[i] = on_for[i] + 1 if run[i] or on_for[i] and valve[i] > 0.55 else 0
            if on_for[i] > 1 and not t < off_until[i]:
                aim = flow * (entering - control.active) / WATER
                aim = min(max(aim, 0.12 * p.capacity), 1.04 * p.capacity)
                up = (0.08 if on_for[i] < 25 else 0.15) * p.capacity
                tons[i] += min(max(0.7 * (aim - tons[i]), -0.3 * p.capacity), up)
            else:
                tons[i] = 0.0
            # the evaporator's own water; standing, it takes some warmth from the plant room
            leaving[i] = (barrel * leaving[i] + flow * entering - tons[i] * WATER) / (barrel + flow)
            gained = 0.0 if flow > 0 else 0.0004 * (68.0 - leaving[i])
            leaving[i], room = leaving[i] + gained, room + gained * barrel / WATER
            mixed += flow * leaving[i]
            opened = 1.0 if p.head == "setpoint" else 20.0 ** (control.position[i] - 1.0)
            if fault.lift_valve_stuck is not None and p.head != "setpoint":
                opened = max(opened, fault.lift_valve_stuck)
            cw = p.cw_chiller * opened if on_for[i] else 0.0
            if tons[i] > 0.0:
                kw[i] = chiller_power(tons[i], p.capacity, leaving[i], warm[i])
            heat = tons[i] + kw[i] / 3.5168528
            warm[i] = sump + heat * WATER / cw if cw > 1.0 else sump
            rejected, drawn = rejected + heat, drawn + cw
            chw_flow[i], cw_flow[i] = flow, cw
            r.part[i] = tons[i] / p.capacity
            low = on_for[i] > 10 and warm[i] - leaving[i] < 0.55 * p.minimum_lift
            low_for[i] = low_for[i] + 1 if low else 0
            if low_for[i] > 8:
                off_until[i], low_for[i] = t + 90, 0
        supply = mixed / plant_flow if plant_flow > 0 else entering

        # towers and sump
        speeds = control.speeds()
        if fault.failed_cell:
            speeds = (0.0,) + speeds[1:]
        cw_total = drawn + hx_cw
        cold = tower.leaving(back, wet[t], cw_total, speeds)
        hot = sump + (rejected + hx_tons) * WATER / cw_total if cw_total > 1.0 else sump
        hx_cw_out = sump + hx_tons * WATER / hx_cw if hx_cw > 1.0 else sump

        # power
        fans = p.fan_kw * sum(affinity(s) for s in speeds)
        pumped = plant_flow / coil_flow
        chw_pumps = p.pump_kw * n * (0.12 + 0.88 * pumped**2.2)
        cw_pumps = p.pump_kw * sum(
            1.0 if p.head == "bypass" else 0.55 + 0.45 * cw_flow[i] / p.cw_chiller
            for i in range(n) if on_for[i]
        ) + (p.exchanger_pump_kw if hx_cw > 1.0 else 0.0)
        if p.constant_pumps and control.mode == ECONOMIZER:
            chw_pumps += p.exchanger_pump_kw
        power = sum(kw) + fans + chw_pumps + cw_pumps
        met = plant_flow * (entering - supply) / WATER
        pressure = 6.0 + 16.0 * x * x
        most_open = 100.0 * min(1.0, 1.22 * x) ** 0.6

        rows.append((
            control.mode, control.setpoint, control.active, control.cw_setpoint, supply, entering,
            coils, plant_flow, around, pressure, most_open, sump, back, hot, cw_total, hx_chw,
            hx_cw, hx_out, hx_cw_out, hx_tons, ua, 100 * exchanger, 100 * bypass, served,
            asked[t], met, fans, chw_pumps, cw_pumps, power, cold, through, room,
            sup1, sup2, ret1, ret2,
            *speeds, *on_for, *tons, *kw, *leaving, *warm, *chw_flow, *cw_flow,
            *(t < u for u in off_until), *control.position,
        ))

        # water moves on: each tank gives what it held at the beginning of the minute
        sup1, sup2, ret1, ret2 = (
            sup1 + plant_flow / tank * (supply - sup1), sup2 + coils / tank * (sup1 - sup2),
            ret1 + coils / tank * (coil_return - ret1), ret2 + coils / tank * (ret1 - ret2),
        )
        sump, back = (
            sump + cw_total / p.sump * (cold - sump), back + cw_total / back_tank * (hot - back),
        )
    names = [
        "mode", "reset", "active", "cw_setpoint", "supply", "entering", "coil_flow", "plant_flow",
        "around", "pressure", "most_open", "sump", "back", "hot", "cw_total", "hx_chw", "hx_cw",
        "hx_out", "hx_cw_out", "hx_tons", "hx_ua", "hx_valve", "bypass", "served", "asked", "met",
        "fan_kw", "chw_kw", "cw_kw", "plant_kw", "cold", "through", "room",
        "sup1", "sup2", "ret1", "ret2",
        *(f"speed_{c + 1}" for c in range(p.cells)),
        *(f"{k}_{i + 1}" for k in ("run", "tons", "kw", "leaving", "warm", "chw", "cw", "trip",
                                   "position") for i in range(n)),
    ]
    table = np.array(rows, float)
    states = {name: table[:, k] for k, name in enumerate(names)}
    states.update(wet=outdoor.wet_bulb, dry=outdoor.dry_bulb, humid=outdoor.humidity,
                  air_pressure=outdoor.pressure, hour=hours)
    for i in range(1, n + 1):
        part = states[f"tons_{i}"] / p.capacity
        on = states[f"tons_{i}"] > 0
        for side, t in (("evaporator", states[f"leaving_{i}"] - 2 * part - 0.5),
                        ("condenser", states[f"warm_{i}"] + 2 * part + 0.5)):
            states[f"{side}_{i}"] = refrigerant_pressure(p.refrigerant, np.where(on, t, 60.0))
    return states
