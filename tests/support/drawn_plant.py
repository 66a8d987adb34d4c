"""One night and day of an ideal changeover, drawn by hand with straight lines.

Everything is known by construction, to the minute, so a test can bend one line and say
what must come of it. It shares nothing with the sample plant's generator. Invented.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
from grids import grid_of
from humid_air import humidity_from_wet_bulb

from fptlib.job.schema import (
    Abort,
    Approach,
    Chiller,
    Exchanger,
    Plant,
    Reset,
    Sensor,
    Sensors,
    Sequence,
)
from fptlib.limits import Deviation, Limits
from fptlib.physics import atmosphere
from fptlib.procedure.functional_test import FunctionalTest

ZONE = "America/Denver"
DAY = pd.Timestamp("2026-01-10", tz=ZONE)


def at(clock: str, day: int = 0) -> pd.Timestamp:
    """A moment of the drawn days, such as ``at("02:45")``."""
    return DAY + pd.Timedelta(days=day) + pd.Timedelta(clock + ":00")


REQUEST, HANDOVER, RELEASE = at("02:45"), at("03:25"), at("03:27")
BESIDE = at("03:10"), at("03:35")
RECOVERED, WARM, EXIT = at("04:35"), at("20:00"), at("20:16")

PLANT = Plant(
    altitude=4200.0,
    time_zone=ZONE,
    chillers=(Chiller(1, refrigerant="R-134a", minimum_water_lift=9.0, cutout=34.0),
              Chiller(2, refrigerant="R-134a", minimum_water_lift=9.0, cutout=34.0)),
    tower_cells=2,
    exchanger=Exchanger("HX-1", 400.0, 1000.0, 1000.0, 58.0, 48.0, 45.0, 55.0),
    tower_approach=Approach(7.0, "observed", "drawn on 8 January"),
    exchanger_approach=Approach(2.0, "observed", "drawn on 8 January"),
    equipment_limit=1,
)
# Below 58 °F outdoors 50, above it 45 °F.
SEQUENCE = Sequence(reset=Reset("outdoor air", 58.0, 50.0, 58.001, 45.0))
LIMITS = Limits({
    "lift.lowest_setpoint": Deviation(40.0, "the drawn sequence", "test", "2026-01-01"),
})
ABORTS = (Abort("Chilled water 4 °F above the reset setpoint", "supply_above_reset", "above", 4.0),)
SENSORS = {
    name: Sensor(0.2, 0.1) for name in (
        "chw_supply_temp", "chw_return_temp", "cw_supply_temp", "hx_chw_entering_temp",
        "hx_chw_leaving_temp", "hx_cw_entering_temp", "hx_cw_leaving_temp",
        "chiller_1_cw_leaving_temp", "chiller_2_cw_leaving_temp", "outdoor_wet_bulb",
        "chiller_1_chw_leaving_temp", "chiller_2_chw_leaving_temp",
    )
}


def frame() -> pd.DataFrame:
    """Every point of the drawn plant, at one minute, for two days."""
    index = pd.date_range(DAY, periods=2 * 1440, freq="min", name="time")

    def line(*corners: tuple[str, float]) -> np.ndarray:
        times = [pd.Timedelta(t + ":00") / pd.Timedelta(minutes=1) for t, _ in corners]
        return np.interp(np.arange(len(index)), times, [v for _, v in corners])

    run = (index >= HANDOVER) & (index < EXIT)
    economizer = (index >= REQUEST) & (index < EXIT)
    f = pd.DataFrame(index=index)
    f["outdoor_wet_bulb"] = line(("00:00", 42), ("03:00", 36), ("06:00", 34), ("18:00", 34),
                                 ("20:00", 38), ("24:00", 44), ("48:00", 44))
    f["outdoor_dry_bulb"] = f["outdoor_wet_bulb"] * 2.0 - 26.0
    f["outdoor_humidity"] = humidity_from_wet_bulb(
        f["outdoor_dry_bulb"], f["outdoor_wet_bulb"], atmosphere.pressure_at(PLANT.altitude))
    # A humidity sensor of its own wanders; one that never did would be where the wet bulb is from.
    f["outdoor_humidity"] += 1.5 * np.sin(np.arange(len(index)) / 7.0)
    f["chw_reset_setpoint"] = np.where(f["outdoor_dry_bulb"] > 58.0, 45.0, 50.0)
    cw = line(("00:00", 65), ("02:45", 65), ("03:25", 45), ("04:30", 48), ("19:40", 48),
              ("20:16", 50.2), ("20:36", 65), ("48:00", 65))
    f["cw_supply_temp"] = cw
    lowered = np.maximum(40.0, np.minimum(50.0, cw - 8.0))
    ramp = np.minimum(50.0, 40.0 + 1.5 / 10.0 * ((index - RELEASE) / pd.Timedelta(minutes=1)))
    f["chw_supply_setpoint"] = f["chw_reset_setpoint"].where(~economizer, lowered)
    f.loc[HANDOVER:RELEASE, "chw_supply_setpoint"] = 40.0
    after = (index > RELEASE) & (index < EXIT)
    f.loc[after, "chw_supply_setpoint"] = ramp[after]
    supply = f["chw_supply_setpoint"].where(~run, np.maximum(f["chw_supply_setpoint"], cw + 2.0))
    # The exchanger opens beside the chiller, so that the water the loads get changes slowly.
    beside = (index >= BESIDE[0]) & (index <= BESIDE[1])
    supply = supply.mask(beside, np.interp(
        (index - BESIDE[0]) / pd.Timedelta(minutes=1), [0.0, 25.0], supply[list(BESIDE)]))
    warm = (index >= WARM) & (index < EXIT)
    f["chw_supply_temp"] = supply.mask(warm, 52.0)
    f["chw_return_temp"] = f["chw_supply_temp"] + 9.6
    f["chw_flow"] = 800.0
    f["cw_supply_setpoint"] = np.where(run, f["chw_supply_setpoint"] - 2.0, 65.0)
    f["cw_return_temp"] = cw + np.where(run, 8.0, 6.0)
    for n in (1, 2):
        f[f"chiller_{n}_running"] = np.where(run | (n == 2), 0.0, 1.0)
        f[f"chiller_{n}_power"] = 180.0 * f[f"chiller_{n}_running"]
        f[f"chiller_{n}_cw_leaving_temp"] = cw + 6.0
        f[f"chiller_{n}_chw_leaving_temp"] = np.where(
            run, f["chw_supply_temp"], f["chw_supply_setpoint"])
        f[f"chiller_{n}_alarm"] = 0.0
        f[f"tower_{n}_fan_running"] = 1.0
        f[f"tower_{n}_fan_speed"] = np.where(run, 45.0, 60.0)
    f["economizer_command"] = economizer.astype(float)
    f["economizer_active"] = run.astype(float)
    through = np.where(run, 1.0, np.where(beside, 0.6, 0.0))
    f["hx_chw_flow"], f["hx_cw_flow"] = 800.0 * through, 960.0 * through
    f["hx_chw_entering_temp"], f["hx_chw_leaving_temp"] = f["chw_return_temp"], cw + 2.0
    f.loc[run, "hx_chw_leaving_temp"] = f["chw_supply_temp"]
    f["hx_cw_entering_temp"], f["hx_cw_leaving_temp"] = cw, cw + 8.0
    f["tower_fan_power"], f["chw_pump_power"], f["cw_pump_power"] = 20.0, 25.0, 20.0
    f["plant_power"] = f[["chiller_1_power", "chiller_2_power", "tower_fan_power",
                          "chw_pump_power", "cw_pump_power"]].sum(axis=1)
    noon = (index >= at("12:00", 1)) & (index < at("12:30", 1))
    f.loc[noon, "plant_power"] += 60.0
    return f.astype(float)


def unasked_exit(table: pd.DataFrame | None = None) -> pd.DataFrame:
    """The plant leaves on a cold evening with its chilled water at setpoint: nothing asked it
    to, and chillers draw more."""
    table = frame() if table is None else table
    table.loc[WARM:EXIT, "chw_supply_temp"] = 50.0
    still_air(table, slice(at("18:00"), EXIT), 34.0)
    return table


def still_air(table: pd.DataFrame, rows: slice, wet_bulb: float) -> None:
    """Weather that does not move: all of its sensors show it, and none is frozen."""
    table.loc[rows, "outdoor_wet_bulb"] = wet_bulb
    table.loc[rows, "outdoor_dry_bulb"] = wet_bulb * 2.0 - 26.0
    table.loc[rows, "outdoor_humidity"] = humidity_from_wet_bulb(
        wet_bulb * 2.0 - 26.0, wet_bulb, atmosphere.pressure_at(PLANT.altitude))


def case(table: pd.DataFrame | None = None, minutes: int = 1, **changes: object) -> FunctionalTest:
    """A case of the drawn plant, at rows of so many minutes, with other fields changed."""
    table = frame() if table is None else table
    step = pd.Timedelta(minutes=minutes)
    trends = grid_of(table.iloc[::minutes].asfreq(step), step)
    return dataclasses.replace(
        FunctionalTest(trends, PLANT, LIMITS, Sensors(SENSORS), aborts=ABORTS,
                       sequence=SEQUENCE), **changes)
