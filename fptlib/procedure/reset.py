"""Step 2: does the chilled-water setpoint follow the need, and what is that worth?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.physics import moist_air, weather_hours
from fptlib.procedure import uncertainty
from fptlib.procedure.case import Case, once
from fptlib.procedure.catalogue import Waiting, at_least, check
from fptlib.procedure.verdict import Check, Event

COLDEST_SHARE = 0.1


@check(
    "reset.active",
    "Does the setpoint follow the need: does it rise as it gets colder outdoors?",
    unit="degF",
    needs=("chw_supply_setpoint", "outdoor_dry_bulb"),
    limits=("reset.range", "reset.outdoor_span"),
    good="The setpoint rises in cold weather, which gives the economizer its hours.",
    bad="The setpoint does not rise as it gets colder: it is hardly ever cold enough for the "
    "economizer to reach it.",
    adjust="Likely a setpoint held by hand, then a reset that was never programmed, then a "
    "reset locked at one end: release or program the outdoor reset.",
    advise=lambda case, failed: _advise_reset(case),
)
def active(case: Case) -> list[Event]:
    table = reset_rows(case)
    if table.empty:
        raise Waiting("no row outside changeovers has setpoint and outdoor temperature; "
                      "trend both while the plant runs")
    outdoor, setpoint = table["outdoor"].to_numpy(), table["setpoint"].to_numpy()
    span = float(np.ptp(np.quantile(outdoor, [0.01, 0.99])))
    wanted = case.limits["reset.outdoor_span"]
    if span < wanted:
        raise Waiting(f"the outdoor temperature spans {span:.0f} °F and must span "
                      f"{wanted:.0f}; wait for warmer or colder weather")
    rise = _rise_towards_cold(outdoor, setpoint)
    return [at_least(
        case, "reset", table.index[0], table.index[-1], rise, case.limits["reset.range"],
        uncertainty.resolution(case, "chw_supply_setpoint", "chw_supply_setpoint"),
        f"the setpoint stands {rise:+z.1f} °F higher in the coldest tenth of the rows than "
        f"in the warmest, over an outdoor span of {span:.0f} °F",
    )]


def _advise_reset(case: Case) -> str:
    from fptlib.procedure import worth

    setpoint = float(case.frame["chw_supply_setpoint"].median())
    said = worth.of_setpoint(case, setpoint, 2.0)
    return f"Each 2 °F above {setpoint:.0f} in cold weather is {said}." if said else ""


def reset_rows(case: Case) -> pd.DataFrame:
    """Outdoor temperature and setpoint in the rows outside changeovers [degF]."""
    outdoor, setpoint = case.frame["outdoor_dry_bulb"], case.frame["chw_supply_setpoint"]
    rows = ~(case.changing | outdoor.isna() | setpoint.isna())
    return pd.DataFrame({"outdoor": outdoor[rows], "setpoint": setpoint[rows]})


def _rise_towards_cold(outdoor: np.ndarray, setpoint: np.ndarray) -> float:
    cold, warm = np.quantile(outdoor, [COLDEST_SHARE, 1.0 - COLDEST_SHARE])
    return float(np.median(setpoint[outdoor <= cold]) - np.median(setpoint[outdoor >= warm]))


def reset_line(case: Case) -> tuple[np.ndarray, np.ndarray]:
    """The reset as the trends show it: outdoor dry bulb and median setpoint [degF].

    Bins of two degrees with at least half an hour in them; between them the line is
    straight, beyond them it stays level (``numpy.interp`` draws it).
    """
    table = reset_rows(case)
    table["bin"] = (table["outdoor"] / 2.0).round() * 2.0
    groups = table.groupby("bin")["setpoint"]
    enough = groups.size() * case.minutes >= 30.0
    medians = groups.median()[enough]
    return medians.index.to_numpy(dtype=float), medians.to_numpy(dtype=float)


def economizer_hours(case: Case, setpoints: np.ndarray) -> np.ndarray:
    """Hours of the typical year in which each setpoint could be carried.

    Those hours in which wet bulb + approaches + tolerances do not exceed the setpoint.
    """
    return np.array([_carried(case, setpoint) for setpoint in setpoints])


def economizer_hours_on_reset(case: Case) -> int:
    """Hours of the typical year in which the reset line as found could be carried."""
    assert case.weather is not None
    line = reset_line(case)
    return _carried(case, np.interp(case.weather["outdoor_dry_bulb"], *line))


def _carried(case: Case, setpoint: float | np.ndarray) -> int:
    """Hours of the typical year that a setpoint [degF], one or one for each hour, allows."""
    assert case.tower_approach and case.exchanger_approach
    tolerance = case.limits["enable.tower_tolerance"] + case.limits["enable.exchanger_tolerance"]
    return int(weather_hours.hours_allowed(
        _wet_bulb_in_weather(case), setpoint, case.tower_approach.value,
        case.exchanger_approach.value, tolerance))


@once
def _wet_bulb_in_weather(case: Case) -> np.ndarray:
    assert case.weather is not None
    columns = ("outdoor_dry_bulb", "outdoor_humidity", "station_pressure")
    found: np.ndarray = moist_air.wet_bulb(*(case.weather[name].to_numpy() for name in columns))
    return found


CHECKS = (active,)


def checks(case: Case) -> list[Check]:
    """Every check of the step."""
    return [judge(case) for judge in CHECKS]
