"""Moist air: station pressure, saturation, wet bulb both ways. Numbers or numpy arrays.

Temperatures in degF, pressures in psia, humidity ratio in lb/lb. Saturation after Buck
(1981/1996 coefficients, from memory); wet bulb by the usual adiabatic-saturation balance.
"""

from __future__ import annotations

import math

import numpy as np

_KPA_PER_PSI = 6.894757
_FREEZING = 32.0


def station_pressure(altitude: float) -> float:
    """Standard atmosphere at ``altitude`` ft [psia]."""
    return 14.696 * (1.0 - 6.8754e-6 * altitude) ** 5.2559


def saturation_over_water(temperature):
    """Saturation pressure over liquid water, supercooled too [psia]."""
    celsius = (temperature - 32.0) / 1.8
    power = (18.678 - celsius / 234.5) * (celsius / (257.14 + celsius))
    return 0.61121 / _KPA_PER_PSI * np.exp(power)


def saturation_over_ice(temperature):
    """Saturation pressure over ice [psia]."""
    celsius = (temperature - 32.0) / 1.8
    power = (23.036 - celsius / 333.7) * (celsius / (279.82 + celsius))
    return 0.61115 / _KPA_PER_PSI * np.exp(power)


def _ratio(vapour, pressure):
    return 0.62198 * vapour / (pressure - vapour)


def humidity_ratio_wet(dry, wet, pressure):
    """Humidity ratio from dry and wet bulb, liquid wick [lb/lb]."""
    saturated = _ratio(saturation_over_water(wet), pressure)
    return ((1093.0 - 0.556 * wet) * saturated - 0.240 * (dry - wet)) / (
        1093.0 + 0.444 * dry - wet
    )


def humidity_ratio_iced(dry, wet, pressure):
    """Humidity ratio from dry and wet bulb, iced wick [lb/lb]."""
    saturated = _ratio(saturation_over_ice(wet), pressure)
    return ((1220.0 - 0.04 * wet) * saturated - 0.240 * (dry - wet)) / (
        1220.0 + 0.444 * dry - 0.48 * wet
    )


def relative_humidity(dry, ratio, pressure):
    """Relative humidity over liquid water [%], as humidity transmitters state it."""
    vapour = pressure * ratio / (0.62198 + ratio)
    return 100.0 * vapour / saturation_over_water(dry)


def wet_bulb(dry: np.ndarray, ratio: np.ndarray, pressure: float) -> np.ndarray:
    """Wet bulb: the liquid wick's where that is above freezing, else the iced wick's."""
    wet = _solve(humidity_ratio_wet, dry, ratio, pressure)
    iced = np.minimum(_solve(humidity_ratio_iced, dry, ratio, pressure), _FREEZING)
    return np.where(wet >= _FREEZING, wet, iced)


def _solve(forward, dry, ratio, pressure):
    low, high = dry - 60.0, dry.copy()
    for _ in range(45):
        middle = 0.5 * (low + high)
        wetter = forward(dry, middle, pressure) > ratio
        high = np.where(wetter, middle, high)
        low = np.where(wetter, low, middle)
    return 0.5 * (low + high)


def saturated_enthalpy(temperature: float, pressure: float) -> float:
    """Enthalpy of saturated air of one temperature [Btu/lb]."""
    celsius = (temperature - 32.0) / 1.8
    vapour = 0.61121 / _KPA_PER_PSI * math.exp(
        (18.678 - celsius / 234.5) * (celsius / (257.14 + celsius))
    )
    ratio = 0.62198 * vapour / (pressure - vapour)
    return 0.240 * temperature + ratio * (1061.0 + 0.444 * temperature)
