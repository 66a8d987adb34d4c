"""The third hand's scenarios: sound plants in typical weather, and the same with one thing wrong.

Sites are invented; the weather is that of typical years (TMY3), as EnergyPlus's package holds it.
Left out, because EnergyPlus is quasi-steady or has no such part: fans that cycle, trips on low
lift, head-pressure control, isolation valves that pass, decouplers, dead cells, demand at a start,
chillers that restart too soon, exits by clock or cost.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

from tests.hands.second import truth as k
from tests.hands.second.model import Fault

from .model import Plant, Scenario, Sequence


def _sound() -> list[Scenario]:
    college = Plant("Elk Bench College (invented)", "America/Denver", 5290, "usa_co_boulder",
                    minimum_lift=5.0)
    court = Plant("Marsh Street Courts (invented)", "America/Chicago", 670, "usa_il_chicago",
                  chillers=1, capacity=360, means="none needed", minimum_lift=0.5,
                  exchanger_load=300, ua=450, approaches=(7.5, 2.5), cells=3,
                  tower_size=1.6,
                  load=(190, 60))
    depot = Plant("Tidewater Depot (invented)", "America/New_York", 30, "usa_nj_newark",
                  chillers=3, capacity=250, refrigerant="R-1233zd(E)", exchanger_load=420,
                  ua=620, approaches=(9.0, 2.5), tower_size=1.0, cells=3, sump=14000,
                  loop=8000, load=(260, 120),
                  reset_line=(40.0, 51.0, 60.0, 46.0))
    press = Plant("Red Prairie Press (invented)", "America/Chicago", 1290, "usa_ok_oklahoma",
                  means="none needed", minimum_lift=0.5, refrigerant="R-513A", load=(150, 90),
                  approaches=(5.5, 2.5))
    return [
        Scenario("sound_college", college, Sequence(weather_over=0.5), "2026-10-15", 4, 31),
        Scenario("sound_court", court, Sequence(enable_delay=20, pull_down_longest=200),
                 "2026-11-15", 4, 32),
        Scenario("sound_depot", depot, Sequence(tolerance=3.0, minimum_run=60), "2026-03-20", 4,
                 33),
        Scenario("sound_press", press, Sequence(exit_delay=20, weather_over=0.5),
                 "2026-11-09", 4, 34),
    ]


def _faulty(sound: dict[str, Scenario]) -> list[Scenario]:
    made = []

    def wrong(name: str, base: str, kinds: set[str], follows: set[str] = frozenset(),
              **fault: Any) -> None:
        made.append(replace(sound[f"sound_{base}"], name=f"{base}_{name}", fault=Fault(**fault),
                            expected=frozenset(kinds), follows=frozenset(follows)))

    wrong("no_enable_delay", "depot", {k.DELAY_SHORT}, program={"enable_delay": 3})
    wrong("reach_too_hopeful", "college", {k.UNREACHABLE},
          {k.NO_TOLERANCE, k.PULL_DOWN_FAILED, k.NEW_PEAK, k.NO_WEATHER_EXIT},
          program={"reach_error": -6.0})
    wrong("no_tolerance", "press", {k.NO_TOLERANCE}, {k.UNREACHABLE, k.PULL_DOWN_FAILED},
          program={"tolerance": 0.0})
    wrong("locked_out", "press", {k.MISSED}, locked_out=(0, 3600))
    wrong("setpoint_not_lowered", "college", {k.LOW_LIFT}, {k.NOT_FOLLOWED},
          program={"follows": False})
    wrong("setpoint_in_one_step", "depot", {k.ONE_STEP}, {k.FAST_WATER},
          program={"release_ramp": 20.0})
    wrong("setpoint_kept_low", "college", {k.NOT_RELEASED}, program={"releases": False})
    wrong("no_supply_exit", "court", {k.NO_SUPPLY_EXIT}, {k.NO_WEATHER_EXIT},
          program={"watches_supply": False, "watches_weather": False})
    wrong("hasty_exit", "college", {k.EXIT_HASTY}, program={"weather_delay": 1})
    wrong("leaves_at_three", "court", {k.NO_CAUSE}, program={"leaves_at": 3.0})
    wrong("fouled", "college", {k.FOULED}, ua=0.6)
    wrong("sump_too_cold", "court", {k.OVERCOOLED}, program={"condenser_margin": 10.0})
    wrong("wet_bulb_low", "press", {k.SENSOR_OFF}, {k.UNREACHABLE, k.NO_TOLERANCE, k.NEW_PEAK},
          offset={"outdoor_wet_bulb": -5.0})
    wrong("exchanger_reads_high", "depot", {k.SENSOR_OFF}, offset={"hx_chw_leaving_temp": 1.5})
    wrong("wet_bulb_frozen", "depot", {k.SENSOR_FROZEN}, {k.MISSED},
          frozen={"outdoor_wet_bulb": (600, 2600)})
    wrong("flow_meter_wrong", "press", {k.FLOW_WRONG}, scale={"chw_flow": 1.25})
    return made


@cache
def _all() -> tuple[Scenario, ...]:
    sound = _sound()
    return (*sound, *_faulty({s.name: s for s in sound}))


def scenarios() -> list[Scenario]:
    """Every scenario, sound ones first."""
    return list(_all())
