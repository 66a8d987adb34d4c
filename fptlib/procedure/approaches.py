"""Approaches observed in the trends, near changeover, steady, at full fan speed.

The rule that picks the minutes is common practice, no source: economizer run with the
setpoint recovered, wet bulb within three degrees of one at which the plant went over,
condenser water within half a degree over a quarter of an hour, load of at least the share
of the exchanger's design load that the limits ask for, and, for the tower, every running
fan at full speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.job.schema import Approach
from fptlib.procedure.case import Case
from fptlib.procedure.catalogue import Untested

NEAR_CHANGEOVER = 3.0
STEADY_BAND = 0.5
STEADY_MINUTES = 15.0
FEWEST_MINUTES = 30.0
SLOPE_SPAN = 3.0


@dataclass(frozen=True, slots=True)
class Observed:
    """An observed approach with the conditions it holds for.

    ``value`` and ``spread`` (5th to 95th percentile) in degF, ``tolerance`` what the
    spread recommends; load in tons, wet bulb and range in degF, fan speed in %.
    Conditions that are not trended are NaN. ``slope`` is how the approach changes with the
    wet bulb [degF per degF], NaN where the wet bulb hardly moved.
    """

    value: float
    spread: float
    tolerance: float
    minutes: float
    wet_bulb: float
    load: float
    range: float
    fan_speed: float
    cells: float
    slope: float

    def __str__(self) -> str:
        parts = [
            f"{self.minutes:.0f} steady minutes", f"spread {self.spread:.1f} °F",
            f"wet bulb {self.wet_bulb:.1f} °F",
        ]
        parts += [f"{text} {value:.{digits}f} {unit}" for text, value, digits, unit in (
            ("load", self.load, 0, "tons"), ("range", self.range, 1, "°F"),
            ("fan speed", self.fan_speed, 0, "%"), ("cells", self.cells, 0, "running"),
            ("slope", self.slope, 2, "°F per °F of wet bulb"),
        ) if np.isfinite(value)]
        return ", ".join(parts)


def tower(case: Case) -> Approach | None:
    """The observed tower approach, or ``None`` where no minute qualifies."""
    found = observe_tower(case)
    return None if found is None else Approach(found.value, "observed", str(found))


def exchanger(case: Case) -> Approach | None:
    """The observed exchanger approach, or ``None`` where no minute qualifies."""
    found = observe_exchanger(case)
    return None if found is None else Approach(found.value, "observed", str(found))


def observe_tower(case: Case) -> Observed | None:
    """Condenser water leaving the towers minus wet bulb, at full fan speed."""
    if case.lacking(["wet_bulb", "cw_supply_temp"]):
        return None
    approach = case.frame["cw_supply_temp"] - case.wet_bulb
    return _observed(case, approach, qualifying(case) & full_fans(case))


def observe_exchanger(case: Case) -> Observed | None:
    """Chilled water leaving minus condenser water entering the exchanger."""
    entering = _entering(case)
    if case.lacking(["hx_chw_leaving_temp", entering, "cw_supply_temp"]):
        return None
    approach = case.frame["hx_chw_leaving_temp"] - case.frame[entering]
    return _observed(case, approach, qualifying(case))


def _entering(case: Case) -> str:
    return "hx_cw_entering_temp" if case.has("hx_cw_entering_temp") else "cw_supply_temp"


def need_tower(case: Case) -> None:
    """Stop a check that the tower approach, stated or observed, is not there for.

    Raises:
        Untested: it is neither stated in the job nor to be seen in the trends.
    """
    _need(case.tower_approach, "tower")


def need_exchanger(case: Case) -> None:
    """Stop a check that the exchanger approach, stated or observed, is not there for.

    Raises:
        Untested: it is neither stated in the job nor to be seen in the trends.
    """
    _need(case.exchanger_approach, "exchanger")


def _need(approach: Approach | None, name: str) -> None:
    if approach is None:
        raise Untested(f"the {name} approach is neither stated in the job nor to be seen in the "
                       "trends; observe it near changeover and enter it in the plan")


def tower_sensors(case: Case) -> dict[str, float]:
    """The readings in the tower approach with their weights; none unless it was observed."""
    approach = case.tower_approach
    if approach is None or approach.basis != "observed":
        return {}
    return {"cw_supply_temp": 1.0, "wet_bulb": -1.0}


def exchanger_sensors(case: Case) -> dict[str, float]:
    """The readings in the exchanger approach with their weights; none unless observed."""
    approach = case.exchanger_approach
    if approach is None or approach.basis != "observed":
        return {}
    return {"hx_chw_leaving_temp": 1.0, _entering(case): -1.0}


def qualifying(case: Case) -> pd.Series:
    """The rows the rule picks, without the condition on the fans."""
    rows = _in_runs(case) & _steady(case.frame["cw_supply_temp"], case.rows(STEADY_MINUTES))
    if not case.lacking(["wet_bulb"]):
        rows &= _near_changeover(case)
    if not case.lacking(["load"]) and case.plant.exchanger.load:
        least = case.limits["conditions.load_low"] / 100.0 * case.plant.exchanger.load
        rows &= case.load >= least
    return rows


def full_fans(case: Case) -> pd.Series:
    """Rows in which every running fan is at full speed; none where speed is not trended."""
    speeds = [n for n in case.tower_numbers if case.has(f"tower_{n}_fan_speed")]
    if not speeds:
        return pd.Series(False, index=case.frame.index)
    table = case.frame[[f"tower_{n}_fan_speed" for n in speeds]]
    turning = table.where(table > 1.0)
    return turning.min(axis=1) >= case.limits["exit.fans_at_maximum"]


def _in_runs(case: Case) -> pd.Series:
    return case.within(case.settled_run(changeover) for changeover in case.handovers)


def _steady(series: pd.Series, rows: int) -> pd.Series:
    window = series.rolling(rows, min_periods=rows)
    return (window.max() - window.min()) <= STEADY_BAND


def _near_changeover(case: Case) -> pd.Series:
    at_requests = case.wet_bulb.reindex([c.request for c in case.requests]).dropna()
    if at_requests.empty:
        return pd.Series(True, index=case.frame.index)
    return case.wet_bulb.between(
        at_requests.min() - NEAR_CHANGEOVER, at_requests.max() + NEAR_CHANGEOVER
    )


def _observed(case: Case, approach: pd.Series, rows: pd.Series) -> Observed | None:
    values = approach[rows].dropna()
    if len(values) * case.minutes < FEWEST_MINUTES:
        return None
    low, middle, high = np.percentile(values, [5, 50, 95])
    where = values.index
    # Half the spread covers nineteen of twenty minutes; never less than half a degree.
    return Observed(
        round(float(middle), 2), float(high - low), max(0.5, float(high - middle)),
        len(values) * case.minutes, _median(case.wet_bulb, where, case, "wet_bulb"),
        _load(case, where), _range(case, where), *_fans(case, where), _slope(case, values),
    )


def _slope(case: Case, values: pd.Series) -> float:
    if case.lacking(["wet_bulb"]):
        return float("nan")
    air = case.wet_bulb[values.index].to_numpy()
    if np.nanmax(air) - np.nanmin(air) < SLOPE_SPAN:
        return float("nan")
    return float(np.polyfit(air, values.to_numpy(), 1)[0])


def _median(series: pd.Series, where: pd.Index, case: Case, need: str) -> float:
    return float("nan") if case.lacking([need]) else float(series[where].median())


def _load(case: Case, where: pd.Index) -> float:
    return float("nan") if case.lacking(["load"]) else float(case.load[where].median())


def _range(case: Case, where: pd.Index) -> float:
    if case.lacking(["cw_return_temp"]):
        return float("nan")
    return float((case.frame["cw_return_temp"] - case.frame["cw_supply_temp"])[where].median())


def _fans(case: Case, where: pd.Index) -> tuple[float, float]:
    names = [f"tower_{n}_fan_speed" for n in case.tower_numbers
             if case.has(f"tower_{n}_fan_speed")]
    if not names:
        return float("nan"), float("nan")
    table = case.frame.loc[where, names]
    turning = table.where(table > 1.0)
    return float(turning.mean(axis=1).median()), float(turning.notna().sum(axis=1).median())
