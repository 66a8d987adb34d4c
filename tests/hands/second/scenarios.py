"""The scenarios: sound plants of different kinds, and the same with one thing wrong.

Sites are invented; the winters are those of real stations (see ``tests/hands/data``) or made.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

from . import truth as k
from .model import Fault, Plant, Scenario, Sequence

# A plant whose setpoint protects the lift.
SLOW: dict[str, Any] = {"valve_minutes": 20, "settle_minutes": 10, "release_ramp": 0.15}


def _sound() -> dict[str, Scenario]:
    hill = Plant("Cinder Hill Clinic (invented)", "America/Denver", 5650, head="setpoint",
                 minimum_lift=4.5, reset="outdoor", tower_size=1.25)
    desert = Plant("Dry Lake Arena (invented)", "America/Los_Angeles", 2180, chillers=3,
                   capacity=420, cells=3, head="valve", minimum_lift=14, reset="valves",
                   exchanger_load=520, load=(230, 90, 11.0), sump=17000, tower_size=1.1,
                   refrigerant="R-134a", demand_window="rolling")
    lake = Plant("Grey Lake Library (invented)", "America/Chicago", 670, head="bypass",
                 minimum_lift=16, fans="two-speed", cells=3, capacity=300, exchanger_load=280,
                 load=(125, 50, 8.0), reset="load", sump=15000, fan_kw=15, tower_size=1.3,
                 reset_range=(44.5, 48.5))
    cactus = Plant("Palo Seco Laboratory (invented)", "America/Phoenix", 2650, head="setpoint",
                   minimum_lift=4.5, capacity=500, exchanger_load=430, cells=2, fan_kw=30,
                   refrigerant="R-513A", reset="pressure", reset_range=(47, 51),
                   load=(190, 70, 5.0), sump=16000, tower_size=1.5, service_meter=True)
    north = Plant("Birch Court (invented)", "America/Chicago", 700, head="valve", minimum_lift=15,
                  reset="valves", capacity=300, exchanger_load=280, load=(120, 40, 4.5),
                  sump=9000, headers_only=True, change_of_value=True, reset_range=(44, 49))
    plateau = Plant("High Mesa Data Hall (invented)", "America/Denver", 7900, head="bypass",
                    minimum_lift=9, refrigerant="R-1233zd(E)", capacity=380, chillers=3,
                    exchanger_load=600, load=(420, 30, 8.0), cells=3, sump=18000, tower_size=1.4,
                    reset="outdoor", reset_range=(46, 50), demand_window="rolling")
    coast = Plant("Fog Point Press (invented)", "America/Los_Angeles", 50, head="setpoint",
                  minimum_lift=4.5, refrigerant="R-1233zd(E)", capacity=450, exchanger_load=400,
                  load=(170, 60, 8.0), reset="valves", reset_range=(47, 51), cells=2,
                  tower_size=1.5, sump=13000, service_meter=True)
    mill = Plant("Old Mill Hotel (invented)", "America/Chicago", 690, head="valve",
                 minimum_lift=10.5, capacity=320, exchanger_load=300, load=(110, 60, 4.5),
                 fans="two-speed", fan_kw=42, exchanger_pump_kw=24, constant_pumps=True, cells=2,
                 reset="outdoor", sump=14000, tower_size=1.1)
    made = [
        Scenario("sound_hill", hill, Sequence(
            condenser_chiller_mode=57, exit_band=1.0, exit_delay=10, weather_over=99.0,
            **SLOW),  # leaves by its supply only
                 "denver_03", "2026-03-04 12:00", 9, 11),  # the clock changes on 8 March
        Scenario("sound_desert", desert, Sequence(), "las_vegas_01", "2026-01-19 12:00", 9, 12),
        Scenario("sound_lake", lake, Sequence(
            condenser_chiller_mode=65, condenser_margin=1.5, lift_margin=8.0),
                 "chicago_03", "2026-03-14 12:00", 10, 13),
        Scenario("sound_cactus", cactus, Sequence(
            condenser_chiller_mode=58, tolerance=2.5, **SLOW),
            "tucson_12", "2025-12-01 12:00", 10, 14),
        Scenario("sound_north", north, Sequence(), "chicago_11", "2025-11-13 12:00", 9, 15),
        Scenario("sound_plateau", plateau, Sequence(condenser_chiller_mode=58),
                 "made:45:24:36:7900", "2026-01-06 12:00", 8, 16),
        Scenario("sound_coast", coast, Sequence(
            condenser_chiller_mode=58, hours=(20.0, 8.0), **SLOW),
            "made:43:13:66:50", "2026-01-12 12:00", 8, 17),
        Scenario("sound_mill", mill, Sequence(cost=True, tolerance=1.5, condenser_margin=1.5),
                 "chicago_10", "2025-10-20 12:00", 9, 18),
        Scenario("sound_hill_november", replace(hill, reset="valves", loop_factor=7.0,
                                                load=(140, 100, 5.0)),
                 Sequence(condenser_chiller_mode=57, enable_delay=20, exit_delay=20, offset=4.5,
                          **SLOW),
                 "denver_11", "2025-11-03 12:00", 9, 19, warmer=4.0),
        Scenario("sound_desert_december", replace(desert, service_meter=True, reset="load"),
                 Sequence(enable_delay=45, minimum_off=90),
                 "las_vegas_12", "2025-12-13 12:00", 10, 20),
        Scenario("sound_lake_variable", replace(lake, fans="variable", reset="outdoor"),
                 Sequence(condenser_chiller_mode=65), "chicago_03", "2026-03-14 12:00", 8, 21,
                 warmer=2.0),
        Scenario("sound_too_warm", replace(north, headers_only=False, change_of_value=False),
                 Sequence(), "chicago_10", "2025-10-20 12:00", 8, 22, warmer=12.0),  # never enabled
    ]
    return {s.name: s for s in made}


def _faulty(sound: dict[str, Scenario]) -> list[Scenario]:
    made: list[Scenario] = []

    def wrong(name: str, base: str, kinds: set[str], **fault) -> None:
        follows, plant = fault.pop("follows", set()), fault.pop("plant", {})
        sane = sound["sound_" + base]
        if base == "mill":  # a tenth day, warm, and larger pumps: the economizer becomes dear
            sane, plant = replace(sane, days=10), {"exchanger_pump_kw": 32.0} | plant
            follows |= {k.DEAR_RUN}
        made.append(replace(sane, name=name, plant=replace(sane.plant, **plant),
                            expected=frozenset(kinds), follows=frozenset(follows),
                            fault=Fault(**fault)))

    # entering
    wrong("enabled_out_of_reach", "hill", {k.UNREACHABLE},
          follows={k.NO_TOLERANCE, k.PULL_DOWN_FAILED}, program={"tolerance": -6.0})
    wrong("no_enable_delay", "desert", {k.DELAY_SHORT},
          follows={k.NEW_PEAK}, program={"enable_delay": 3})
    wrong("no_tolerance", "hill_november", {k.NO_TOLERANCE},
          follows={k.NO_WEATHER_EXIT}, program={"tolerance": 0.0})
    wrong("too_much_tolerance", "desert", {k.MISSED},
          follows={k.NO_CAUSE}, program={"tolerance": 8.0})
    wrong("locked_out_by_hand", "north", {k.MISSED}, locked_out=(3000, 7000))
    # lift and setpoint
    wrong("setpoint_not_lowered", "hill", {k.NOT_FOLLOWED, k.LOW_LIFT},
          follows={k.TRIP, k.FAST_WATER},
          program={"follows_water": False})
    wrong("lift_valve_stuck", "desert", {k.LOW_LIFT},
          follows={k.TRIP, k.FAST_WATER, k.PULL_DOWN_FAILED}, lift_valve_stuck=0.35)
    wrong("trip_in_pull_down", "lake_variable", {k.LOW_LIFT, k.TRIP},
          follows={k.FAST_WATER, k.PULL_DOWN_FAILED},
          program={"first_lift_margin": -9.0})
    wrong("setpoint_not_released", "coast", {k.NOT_RELEASED}, program={"releases": False})
    wrong("setpoint_in_one_step", "hill", {k.ONE_STEP},
          follows={k.FAST_WATER, k.LOW_LIFT}, program={"release_ramp": 20.0})
    wrong("bypass_hunts", "desert", {k.SWINGING}, follows={k.FAST_WATER}, program={
        "bypass_gain": (0.0, 1.5), "bypass_stroke": 14.0, "bypass_lag": 12.0})
    wrong("rushed", "hill", {k.FAST_WATER}, program={
        "condenser_ramp": 3.0, "valve_minutes": 2, "settle_minutes": 2})
    # leaving
    wrong("no_supply_exit", "hill", {k.NO_SUPPLY_EXIT}, program={"watches_supply": False})
    wrong("no_weather_exit", "desert", {k.NO_WEATHER_EXIT},
          follows={k.NEW_PEAK}, program={"watches_weather": False})
    wrong("clock_wrong_by_hours", "coast", {k.NO_CLOCK_EXIT}, program={"clock_error": -1.5})
    wrong("left_at_three", "desert", {k.NO_CAUSE}, program={"leaves_at": 3.0})
    wrong("fail_safe_drops_out", "cactus", {k.NO_CAUSE}, drops_out=(900, 5000))
    wrong("hasty_exit", "plateau", {k.EXIT_HASTY}, program={"weather_delay": 1})
    wrong("stays_though_dear", "mill", {k.DEARER}, program={"cost": False},
          plant={"exchanger_pump_kw": 45.0})
    wrong("no_minimum_run", "mill", {k.SHORT_RUN}, program={"minimum_run": 0})
    wrong("no_minimum_off", "mill", {k.SHORT_OFF}, program={"minimum_off": 0, "cost_lockout": 0})
    wrong("all_chillers_at_once", "plateau", {k.NEW_PEAK}, program={"all_at_once": True})
    # equipment
    wrong("chiller_not_stopped", "desert", {k.BOTH_ON},
          # A chiller that runs on beside the exchanger makes the run dear.
          follows={k.NEW_PEAK, k.DEAR_RUN}, program={"stops_chiller": False})
    wrong("restart_timer_off", "desert_december", {k.RECYCLED}, program={
        "stop_to_start": 0, "start_to_start": 0, "lag_off": 0.86, "lag_on": 0.7, "lag_delay": 3})
    wrong("exchanger_fouled", "desert", {k.FOULED}, ua=0.6)
    wrong("isolation_valve_passes", "north", {k.PASSING}, passing_valve=0.15)
    wrong("fan_does_not_run", "hill_november", {k.DEAD_CELL},
          follows={k.PULL_DOWN_FAILED}, failed_cell=True)
    wrong("towers_chase_wet_bulb", "desert", {k.OVERCOOLED_BY_CHILLERS},
          follows={k.NEW_PEAK}, program={
        "condenser_chiller_mode": 45.0})
    wrong("sump_too_cold", "lake_variable", {k.FREEZE, k.OVERCOOLED}, program={
        "condenser_margin": 14.0, "condenser_lowest": 30.0})
    wrong("fans_short_cycle", "lake", {k.FAN_CYCLING},
          follows={k.NEW_PEAK}, program={"fan_rest": 1, "fan_wait": 1, "fan_band": 0.05})
    # instruments
    wrong("wet_bulb_reads_low", "hill_november", {k.SENSOR_OFF},
          follows={k.UNREACHABLE, k.PULL_DOWN_FAILED, k.NEW_PEAK},
          offset={"outdoor_wet_bulb": -6.0})
    # What rests on a doubted sensor decides nothing, so the missed hours may stay open.
    wrong("wet_bulb_reads_high", "desert", {k.SENSOR_OFF}, follows={k.MISSED},
          offset={"outdoor_wet_bulb": 6.0})
    wrong("wet_bulb_frozen", "desert_december", {k.SENSOR_FROZEN},
          frozen={"outdoor_wet_bulb": (600, 2600)})
    wrong("supply_reads_high", "desert", {k.SENSOR_OFF}, offset={"chw_supply_temp": 2.0})
    wrong("flow_meter_wrong", "cactus", {k.FLOW_WRONG}, follows={k.NEW_PEAK},
          scale={"chw_flow": 1.25, "plant_load": 1.25})
    wrong("chiller_clock_late", "desert", {k.CLOCK_OFF}, late_clock=("chiller_", 12))
    return made


@cache
def _all() -> tuple[Scenario, ...]:
    sound = _sound()
    return (*sound.values(), *_faulty(sound))


def scenarios() -> list[Scenario]:
    """Every scenario, sound ones first."""
    return list(_all())
