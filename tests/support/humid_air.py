"""Humidity from dry and wet bulb, which only tests need."""

from __future__ import annotations

import numpy as np

from fptlib.physics import moist_air


def ratio_from_wet_bulb(dry_bulb, wet_bulb, pressure):
    """Humidity ratio [lb/lb]; the wick is ice below 32 degF (ASHRAE eq. 33 and 35)."""
    liquid, ice = (wick.ratio(dry_bulb, wet_bulb, pressure)
                   for wick in (moist_air.LIQUID_WICK, moist_air.ICE_WICK))
    return np.maximum(np.where(wet_bulb >= moist_air.FREEZING, liquid, ice), 0.0)


def humidity_from_ratio(dry_bulb, ratio, pressure):
    """Relative humidity [%RH] (ASHRAE eq. 20 and 22)."""
    vapor = pressure * ratio / (moist_air.MOLAR_MASS_RATIO + ratio)
    return np.minimum(100.0 * vapor / moist_air.vapor_pressure(dry_bulb), 100.0)


def humidity_from_wet_bulb(dry_bulb, wet_bulb, pressure):
    ratio = ratio_from_wet_bulb(dry_bulb, wet_bulb, pressure)
    return humidity_from_ratio(dry_bulb, ratio, pressure)
