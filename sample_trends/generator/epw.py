"""An invented year of hourly weather for the invented town, as an EPW file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sample_trends.generator.air import (
    humidity_ratio_wet,
    relative_humidity,
    saturation_over_water,
    station_pressure,
)
from sample_trends.generator.noise import Chance, ease
from sample_trends.generator.scenario import Site

_HOURS = 8760
_MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
# Mean of each month [degF], December and January again at the ends.
_MONTH_MEANS = (34, 33, 37, 43, 50, 59, 69, 76, 74, 65, 53, 41, 34, 33)
_DAILY_SWING = 11.0
_PASCAL_PER_PSI = 6894.757
# Everything after the station pressure but wind: EPW's own codes for "missing".
_SUN_AND_LIGHT = "9999,9999,9999,9999,9999,9999,999999,999999,999999,9999"
_REST = "99,99,9999,99999,9,999999999,999,0.999,999,99,0.999,999,99"


def write_epw(path: Path, site: Site, seed: int) -> None:
    """Write the year, labelled as invented."""
    dry, humidity = _year(site, Chance(seed))
    lines = [*_head(site), *_rows(dry, humidity, site)]
    path.write_bytes("\r\n".join([*lines, ""]).encode("ascii"))


def _year(site: Site, chance: Chance) -> tuple[np.ndarray, np.ndarray]:
    hour = np.arange(_HOURS, dtype=float)
    ends = np.cumsum((0, *_MONTH_DAYS)) * 24.0
    middles = np.concatenate([[-372.0], (ends[:-1] + ends[1:]) / 2.0, [_HOURS + 372.0]])
    season = ease(middles, np.array(_MONTH_MEANS, dtype=float), hour)
    day = ease(np.array([-9.0, 6.0, 14.0, 30.0]), np.array([1.0, -1.0, 1.0, -1.0]), hour % 24)
    dry = season + _DAILY_SWING * day + chance.slow("year", _HOURS, 7.0, 60)
    depression = np.maximum(1.5, 4.0 + 0.42 * (dry - 30.0) + chance.slow("wet", _HOURS, 1.5, 40))
    pressure = station_pressure(site.altitude)
    ratio = humidity_ratio_wet(dry, dry - depression, pressure)
    # Hot and bone-dry hours keep a little moisture.
    return dry, np.maximum(6.0, relative_humidity(dry, ratio, pressure))


def _head(site: Site) -> list[str]:
    metres = site.altitude * 0.3048
    return [
        f"LOCATION,Fable Valley (invented),-,USA,INVENTED,000000,39.00,-105.00,-7.0,{metres:.1f}",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,Invented weather of an invented town; no station measured it",
        "COMMENTS 2,Written by sample_trends/generator",
        "DATA PERIODS,1,1,Data,Thursday,1/1,12/31",
    ]


def _rows(dry: np.ndarray, humidity: np.ndarray, site: Site) -> list[str]:
    pascal = station_pressure(site.altitude) * _PASCAL_PER_PSI
    dew = _dew_point(dry, humidity)
    rows = []
    for n, (month, day, hour) in enumerate(_calendar()):
        rows.append(
            f"2026,{month},{day},{hour},0,*,"
            f"{(dry[n] - 32.0) / 1.8:.1f},{(dew[n] - 32.0) / 1.8:.1f},{humidity[n]:.0f},"
            f"{pascal:.0f},{_SUN_AND_LIGHT},180,2.0,{_REST}"
        )
    return rows


def _calendar() -> list[tuple[int, int, int]]:
    return [
        (month, day, hour)
        for month, days in enumerate(_MONTH_DAYS, start=1)
        for day in range(1, days + 1)
        for hour in range(1, 25)
    ]


def _dew_point(dry: np.ndarray, humidity: np.ndarray) -> np.ndarray:
    vapour = saturation_over_water(dry) * humidity / 100.0
    low, high = dry - 100.0, dry.copy()
    for _ in range(40):
        middle = 0.5 * (low + high)
        above = saturation_over_water(middle) > vapour
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return 0.5 * (low + high)
