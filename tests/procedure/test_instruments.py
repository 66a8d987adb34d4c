"""What proves an instrument, and what only seems to."""

from __future__ import annotations

import dataclasses

import drawn_plant as drawn
import numpy as np
import pandas as pd
import pytest
from drawn_plant import at

from fptlib.job.schema import Instrument, Reading, Sensor, Sensors
from fptlib.procedure import instruments
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check, Verdict


def read(*taken: tuple[str, float], due: str = "2026-12-01", unit: str = "degF",
         accuracy: float = 0.1, table: pd.DataFrame | None = None) -> FunctionalTest:
    tool = Instrument("T1", serial="0001", accuracy=accuracy, accuracy_unit=unit,
                      calibrated=pd.Timestamp("2025-12-01", tz=drawn.ZONE),
                      due=pd.Timestamp(due, tz=drawn.ZONE))
    return drawn.case(table, instruments={"T1": tool}, readings=[
        Reading(at("10:00"), point, value, "T1", "technician") for point, value in taken])


def test_humidity_is_judged_in_percent_relative_humidity() -> None:
    """Two points of 24 are 8 % of the reading, and within what any humidity sensor is good for."""
    table = drawn.frame()
    table["outdoor_humidity"] = 24.0 + 3.0 * np.sin(np.arange(len(table)) / 90.0)
    at_ten = float(table.at[at("10:00"), "outdoor_humidity"])
    found = instruments.agreement(read(("outdoor_humidity", at_ten - 2.0), unit="%RH",
                                       accuracy=1.0, table=table)).events[0]
    assert (found.verdict, found.unit) == (Verdict.PASS, "%RH")
    found = instruments.agreement(read(("outdoor_humidity", at_ten - 9.0), unit="%RH",
                                       accuracy=1.0, table=table)).events[0]
    assert found.verdict is Verdict.FAIL and found.measured == pytest.approx(9.0, abs=0.01)


@pytest.mark.parametrize("value", [50.0, 53.0])
def test_a_meter_out_of_calibration_neither_proves_nor_accuses(value: float) -> None:
    test = read(("chw_supply_temp", value), due="2026-01-01")
    assert instruments.calibration(test).verdict is Verdict.FAIL
    found = instruments.agreement(test)
    assert found.verdict is Verdict.NOT_TESTED
    assert "was due for calibration on 2026-01-01: its reading proves nothing" in found.reason


def test_a_wet_bulb_worked_out_from_the_same_sensor_proves_nothing() -> None:
    """The controller works its wet bulb out from dry bulb and humidity, whatever these show."""
    table = drawn.frame()
    drawn.still_air(table, slice(None), table["outdoor_wet_bulb"])
    found = instruments.wet_bulb(drawn.case(table))
    assert found.verdict is Verdict.NOT_TESTED
    assert "take a field reading of the wet bulb" in found.reason
    for value, verdict in ((34.0, Verdict.PASS), (37.3, Verdict.NOT_TESTED)):
        test = read(("outdoor_wet_bulb", value), table=table)
        assert instruments.wet_bulb(test).verdict is verdict


def test_a_wet_bulb_sensor_of_its_own_wanders() -> None:
    table = drawn.frame()
    table["outdoor_wet_bulb"] += np.random.default_rng(5).normal(0.0, 0.3, len(table))
    assert instruments.wet_bulb(drawn.case(table)).verdict is Verdict.PASS


def test_the_sentence_on_the_wet_bulb_shows_what_is_judged() -> None:
    table = drawn.frame()
    table["outdoor_wet_bulb"] += np.where(np.arange(len(table)) % 2, 1.2, -1.0)
    found = instruments.wet_bulb(drawn.case(table)).events[0]
    assert f"absolute difference {found.measured:.2f} °F" in found.text


def balance(accuracy: float, factor: float) -> Check:
    table = drawn.frame()
    wave = 1.0 + 0.02 * np.sin(np.arange(len(table)) / 5.0)
    table["hx_cw_flow"] *= factor * wave
    test = drawn.case(table)
    sensors = Sensors({**test.sensors.stated, **{
        name: Sensor(accuracy, 0.1) for name in instruments.EXCHANGER if name.endswith("temp")}})
    return instruments.heat_balance(dataclasses.replace(test, sensors=sensors))


@pytest.mark.parametrize(("accuracy", "open_balance"), [(0.2, Verdict.FAIL),
                                                        (1.5, Verdict.INDETERMINATE)])
def test_poor_sensors_do_not_widen_the_heat_balance(accuracy: float, open_balance: Verdict) -> None:
    """17 % of difference, which sensors of 1.5 °F would explain: neither closed nor proven open,
    and the limit is as stated."""
    found = balance(accuracy, 0.84)
    assert (found.verdict, found.limit) == (open_balance, 10.0)
    sound = balance(accuracy, 1.0)
    assert sound.verdict is Verdict.PASS and 0.0 < sound.uncertainty < 2.0
    assert float(found.events[0].quantities["explained by the sensors, %"]) > 2.0


def test_deciding_sensors_without_a_reading_near_the_test_are_named() -> None:
    """One outdoor reading says nothing of the condenser water."""
    found = instruments.coverage(read(("outdoor_wet_bulb", 34.0)))
    verdicts = {event.subject: event.verdict for event in found.events}
    assert verdicts["outdoor_wet_bulb"] is Verdict.PASS
    assert verdicts["cw_supply_temp"] is Verdict.INDETERMINATE
    assert found.verdict is Verdict.INDETERMINATE
    far = instruments.coverage(read(("cw_supply_temp", 62.0)))
    text = next(event.text for event in far.events if event.subject == "cw_supply_temp")
    assert "the nearest reading is" in text


def test_a_round_of_readings_in_economizer_mode_covers_the_test() -> None:
    table = drawn.frame()
    names = ["outdoor_wet_bulb", *instruments.DECIDING]
    taken = [(name, float(table.at[at("10:00"), name])) for name in names]
    test = read(*taken)
    tools = {"T1": dataclasses.replace(test.instruments["T1"], accuracy=1.0,
                                        accuracy_unit="% of reading")}
    temperatures = [r for r in test.readings if r.point not in ("chw_flow", "plant_power")]
    both = dataclasses.replace(test, instruments={**test.instruments, "F1": tools["T1"]}, readings=[
        *temperatures, *(dataclasses.replace(r, instrument="F1") for r in test.readings
                         if r.point in ("chw_flow", "plant_power"))])
    assert instruments.coverage(both).verdict is Verdict.PASS
