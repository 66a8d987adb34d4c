"""The state machine against the open Modelica Buildings library's published mode logic."""

from __future__ import annotations

import math

import pytest

from fptlib.procedure.sequence import CHILLERS, ECONOMIZER, Controller, Seen, Settings

SECOND = 1.0 / 60.0


def fahrenheit(celsius: float) -> float:
    return celsius * 1.8 + 32.0


def changes(always_off: bool = False, fixed: float | None = None) -> list[tuple[int, int]]:
    """When the mode changes in the validation of CoolingModeNonIntegrated (section 5, V5.1, of the
    second set of check values): wet bulb 8 + 4 sin(2 pi t / 300) °C, chilled water 9 and 7 °C,
    switch at 7 °C with a dead band of 1 K, each condition kept for 30 s, back only with one
    chiller on; no pull-down, no minimum times."""
    controller = Controller(Settings(
        tower_approach=5.4, exchanger_approach=0.0, tower_tolerance=1.8, exchanger_tolerance=0.0,
        delay=0.5, run_time=0.0, off_time=0.0, per_day=99, band=1.8, exit_delay=0.5,
        weather_exit=0.5, weather_band=3.6, fixed_wet_bulb=fixed), mode=ECONOMIZER)
    found, before = [], ECONOMIZER
    for t in range(1081):
        chillers = 0 if always_off or t < 360 else 1 if t < 540 else 2 if t < 720 else (
            1 if t < 900 else 2)
        controller.step(Seen(
            wet_bulb=fahrenheit(8.0 + 4.0 * math.sin(2.0 * math.pi * t / 300.0)),
            reset=fahrenheit(10.0), condenser_water=0.0,
            supply=fahrenheit(9.0 if t % 300 < 150 else 7.0), allowed=chillers == 1), SECOND)
        mode = ECONOMIZER if controller.mode else CHILLERS
        if mode != before:
            found.append((t, mode))
            before = mode
    return found


def test_the_published_change_times_come_out_to_a_row() -> None:
    assert [mode for _, mode in changes()] == [
        CHILLERS, ECONOMIZER, CHILLERS, ECONOMIZER, CHILLERS]
    # Against water that stays at 10 °C that is a fixed wet bulb of 6 °C.
    assert changes(fixed=fahrenheit(6.0)) == changes()
    assert [t for t, _ in changes()] == pytest.approx([30, 505, 630, 805, 930], abs=1)


def test_without_a_chiller_it_never_returns() -> None:
    """V5.1b, a trap: the code asks for one chiller, its text for fewer than two."""
    assert [t for t, _ in changes(always_off=True)] == pytest.approx([30], abs=1)


def test_the_temporary_setpoint_is_led_down_to_its_lowest_and_never_above_the_reset() -> None:
    settings = Settings(7.0, 2.0, offset=5.0, lowest=38.0)
    assert [settings.temporary(cw, 46.0) for cw in (60.0, 49.0, 43.0, 40.0)] == [
        46.0, 44.0, 38.0, 38.0]


def test_one_changeover_with_its_timers() -> None:
    """Enable after 30 min of condition, transition when the water is cold, 20 min of opening, a
    ramp of 2 °F in ten minutes, and out 15 min after the water is too warm, not before two hours.
    Derived by hand from the settings."""
    settings = Settings(7.0, 2.0, offset=5.0, opening=12.0, spacing=8.0, margin=1.0)
    controller, modes, actives = Controller(settings), [], []
    for minute in range(400):
        water = 60.0 if minute < 31 else max(45.0, 60.0 - 0.5 * (minute - 30))
        controller.step(Seen(wet_bulb=36.0, reset=50.0, condenser_water=water,
                             supply=52.0 if minute >= 200 else 50.0, day=0), 1.0)
        modes.append(controller.mode)
        actives.append(controller.active)
    # 36 + 7 + 1.5 + 2 + 1.5 = 48, at most 50: it holds from the first minute on.
    assert modes.index(1) == 30
    # 47 + 2 is one below 50, 26 minutes down at half a degree a minute.
    assert modes.index(2) == 56 and modes.index(3) == 76
    # At 45 °F of condenser water the setpoint is 40, and ten degrees take 50 minutes.
    assert actives[75] == 40.0 and actives[76:126] == sorted(actives[76:126])
    assert actives[124] < 50.0 and actives[126] == 50.0
    # Too warm from 200 on, so out at 215; the run began at 76.
    assert modes[214] == ECONOMIZER and modes[215] == CHILLERS
    # And in again half an hour later, for the second and last time of the day.
    assert modes.index(1, 216) == 245
