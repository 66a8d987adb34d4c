"""What a change is worth: hours and kilowatt-hours in the site's typical year.

Worth is stated only where the job has a typical year and the trends show what the plant
draws in both modes; otherwise nothing is said.
"""

from __future__ import annotations

import numpy as np

from fptlib.physics import moist_air
from fptlib.procedure import approaches
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median


def saved_power(test: FunctionalTest) -> float | None:
    """Median plant power on chillers minus that on the exchanger [kW], at the loads seen."""
    if test.missing("power", "request", "chillers") or not test.runs:
        return None
    on_exchanger = (test.chillers_on == 0.0) & (test.commanded == 1.0)
    saved = median(test.power[test.chiller_mode]) - median(test.power[on_exchanger])
    return saved if np.isfinite(saved) and saved > 0.0 else None


def of_hours(test: FunctionalTest, hours: float) -> str:
    """So many hours a year in words, with their kilowatt-hours where they are known."""
    saved = saved_power(test)
    energy = f", about {round(hours * saved, -2):,.0f} kWh" if saved else ""
    return f"worth about {hours:.0f} h{energy} a year"


def of_setpoint(test: FunctionalTest, setpoint: float, more: float) -> str:
    """What ``more`` degF of setpoint are worth, in words; empty without a typical year."""
    if test.weather is None or not (approaches.tower(test) and approaches.exchanger(test)):
        return ""
    now, then = (economizer_hours(test, each) for each in (setpoint, setpoint + more))
    return of_hours(test, then - now)


def of_recorded(test: FunctionalTest, minutes: float) -> str:
    """What minutes of this record are worth if the year is like it, in words."""
    total = len(test) * test.minutes
    return f"{minutes / 60.0:.1f} h in this record of {total / 1440.0:.0f} days"


def economizer_hours(test: FunctionalTest, setpoint: float | np.ndarray) -> int:
    """Hours of the typical year that a setpoint [degF], one or one for each hour, allows.

    Those hours in which wet bulb + approaches + tolerances do not exceed the setpoint.
    """
    tolerance = test.limits["enable.tower_tolerance"] + test.limits["enable.exchanger_tolerance"]
    water = (weather_wet_bulb(test) + approaches.need_tower(test)
             + approaches.need_exchanger(test) + tolerance)
    return int(np.count_nonzero(water <= setpoint))


@cached
def weather_wet_bulb(test: FunctionalTest) -> np.ndarray:
    """Wet bulb of every hour of the typical year [degF]."""
    assert test.weather is not None
    columns = ("outdoor_dry_bulb", "outdoor_humidity", "station_pressure")
    return np.asarray(moist_air.wet_bulb(*(np.asarray(test.weather[name]) for name in columns)))
