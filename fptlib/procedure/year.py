"""A typical year of the site: economizer hours and energy at a setpoint.

Hours by the approach curves of the real tower and exchanger, at the load that the load model gives
for each hour's weather, and beside them by the constant approaches of the enable condition. A tower
comes less close to a colder wet bulb, so a constant approach observed near changeover promises
hours that the tower does not give. Energy is stated for those hours whose weather and load the
trends have seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from fptlib.physics import moist_air
from fptlib.procedure import approaches, load_model, power_models
from fptlib.procedure.approach_curves import exchanger_curve, tower_curve
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median
from fptlib.procedure.savings import Energy, valued


@dataclass(frozen=True)
class Hours:
    """Which hours of the typical year a setpoint allows: by the curves (all False where the trends
    show none) and by constant approaches; ``tower`` the curve's approach in each [degF]."""

    by_curve: np.ndarray
    by_constant: np.ndarray
    tower: np.ndarray
    exchanger: np.ndarray

    @property
    def counted(self) -> np.ndarray:
        """The hours that energy is stated for: the curves' where there are any curves."""
        return self.by_constant if np.isnan(self.tower).all() else self.by_curve


@cached
def weather_wet_bulb(test: FunctionalTest) -> np.ndarray:
    """Wet bulb of every hour of the typical year [degF]."""
    assert test.weather is not None
    columns = ("outdoor_dry_bulb", "outdoor_humidity", "station_pressure")
    return np.asarray(moist_air.wet_bulb(*(np.asarray(test.weather[name]) for name in columns)))


@cached
def weather_load(test: FunctionalTest) -> np.ndarray:
    """Load of every hour of the typical year [tons]; NaN in weather that the trends did not see."""
    model, air = load_model.fit(test), weather_wet_bulb(test)
    if model is None:
        return np.full(len(air), np.nan)
    return model.predict(_driver(test, model), clock(test))


@cached
def weather_load_at_most(test: FunctionalTest) -> np.ndarray:
    """The same, in somewhat colder weather what it is at the most: enough for a peak, not for
    energy."""
    model = load_model.fit(test)
    return weather_load(test) if model is None else model.at_most(
        _driver(test, model), clock(test))


def _driver(test: FunctionalTest, model: load_model.LoadModel) -> np.ndarray:
    assert test.weather is not None
    found = (np.asarray(test.weather["outdoor_dry_bulb"])
             if model.driver == "outdoor_dry_bulb" else weather_wet_bulb(test))
    return np.nan_to_num(found, nan=np.inf)


@cached
def clock(test: FunctionalTest) -> np.ndarray:
    """When each hour of the typical year begins, on the site's own clock; the calendar year is
    nominal. Weather files keep standard time, people and tariffs do not."""
    count, zone = len(weather_wet_bulb(test)), ZoneInfo(test.plant.time_zone)
    standard = np.datetime64("2000-01-01T00" if count == 8784 else "2001-01-01T00", "h")
    ahead = [at.replace(tzinfo=zone).dst() for at in (standard + np.arange(count)).tolist()]
    return standard + np.arange(count) + np.array(ahead, dtype="m8[h]")


def hours(test: FunctionalTest, setpoint: float | np.ndarray) -> Hours:
    """The hours that a setpoint [degF], one or one for each hour, allows: those in which wet bulb,
    approaches and the enable condition's tolerances do not exceed it."""
    tolerance = test.limits["enable.tower_tolerance"] + test.limits["enable.exchanger_tolerance"]
    air = weather_wet_bulb(test)
    constant = approaches.tower(test).value + approaches.exchanger(test).value
    tower, exchanger = approaches_of_year(test)
    return Hours(air + tower + exchanger + tolerance <= setpoint,
                 air + constant + tolerance <= setpoint, tower, exchanger)


@cached
def approaches_of_year(test: FunctionalTest) -> tuple[np.ndarray, np.ndarray]:
    """Approach of tower and exchanger in every hour by their curves [degF]; at the usual load of
    the runs where the hour's own is not known."""
    air, curves = weather_wet_bulb(test), (tower_curve(test), exchanger_curve(test))
    if curves[0] is None or curves[1] is None:
        return np.full(len(air), np.nan), np.full(len(air), np.nan)
    runs = test.within(test.settled(run) for run in test.runs)
    load = weather_load(test)
    load = np.where(np.isnan(load), median(test.load[runs]), load)
    flow = load * median(test["chw_flow"][runs] / test.load[runs])
    return curves[0].approach(air, load), curves[1].approach(load, flow)


def energy(test: FunctionalTest, rows: np.ndarray, setpoint: float | np.ndarray,
           on_exchanger: float | np.ndarray | None = None) -> Energy:
    """What these hours of the typical year, or equal parts of hours, save: chillers at a setpoint
    against the exchanger at the same, or at one of its own [degF], at the same load and weather;
    that of the load model's own error among its uncertainty."""
    found, model = power_models.models(test), load_model.fit(test)
    parts = len(rows) // len(weather_wet_bulb(test))
    count = int(np.count_nonzero(rows))
    if found is None or model is None:
        return Energy(count / parts, problem=power_models.problem(test)
                      or "too few hours of load and weather for a load model")

    def at(values: np.ndarray | float) -> np.ndarray:
        hourly = np.broadcast_to(values, (len(rows) // parts,))
        return np.asarray(np.repeat(hourly, parts)[rows])

    load, air, line = at(weather_load(test)), at(weather_wet_bulb(test)), at(setpoint)
    other = line if on_exchanger is None else at(on_exchanger)

    def saved(tons: np.ndarray) -> np.ndarray:
        return found.on_chillers(tons, line) - found.on_exchanger(tons, other, air)

    each = saved(load)
    known = ~np.isnan(each)
    if not known.any():
        return Energy(count / parts, problem="the trends saw none of their weather and load")
    when = at(clock(test))
    off = model.mean_error(at(_driver(test, model))[known], when[known])
    doubt = np.sqrt(found.chillers_error(load[known], line[known]) ** 2
                    + found.exchanger_error(load[known], other[known], air[known]) ** 2
                    + float(np.nanmean(saved(load + off) - each)) ** 2)
    return valued(test, count, each[known], float(doubt), when[known], 1.0 / parts)


def stated(test: FunctionalTest, setpoint: float | np.ndarray) -> str:
    """A setpoint's typical year for people: hours both ways, and what they save."""
    found = hours(test, setpoint)
    constant = f"{np.count_nonzero(found.by_constant):,} h"
    said = constant if np.isnan(found.tower).all() else (
        f"{np.count_nonzero(found.by_curve):,} h by the approach curves ({constant} at constant "
        "approaches)")
    saved = energy(test, found.counted, setpoint)
    if not saved.amount:
        return f"{said}; kWh not known: {saved.problem}"
    return (f"{said}; in the {saved.known:,.0f} h of weather and load that the trends saw it saves "
            f"{saved.amount}")


def why_apart(test: FunctionalTest, setpoint: float | np.ndarray) -> str:
    """Why the curves give other hours than constant approaches; empty where they do not."""
    found = hours(test, setpoint)
    apart = found.by_curve != found.by_constant
    if np.isnan(found.tower).all() or not apart.any():
        return ""
    air = weather_wet_bulb(test)[apart]
    return (f"in the {np.count_nonzero(apart):,} hours in which they part (wet bulb "
            f"{np.nanmin(air):.0f} to {np.nanmax(air):.0f} °F) tower and exchanger come within "
            f"{np.nanmean(found.tower[apart]):.1f} + {np.nanmean(found.exchanger[apart]):.1f} °F "
            f"by what the trends show, where the enable condition counts on "
            f"{approaches.tower(test).value:.1f} + {approaches.exchanger(test).value:.1f} °F")
