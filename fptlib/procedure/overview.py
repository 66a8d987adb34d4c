"""How the plant runs, whatever its economizer does: facts without a verdict.

For a plant that trends no changeover these are all a job can say: approach, lift, load,
kW/ton, as they were.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from fptlib.procedure.case import Case


@dataclass(frozen=True, slots=True)
class Fact:
    """A quantity over the record: 5th percentile, median, 95th, and the hours it is known for."""

    name: str
    unit: str
    low: float
    median: float
    high: float
    hours: float


def overview(case: Case) -> list[Fact]:
    """Every fact the trends allow."""
    found = [
        _fact(case, "tower approach while a chiller runs", "degF", _tower_approach(case)),
        *(_fact(case, f"water lift of chiller {n}", "degF", _lift(case, n))
          for n in case.chiller_numbers),
        _fact(case, "load", "tons", _known(case, ["load"], lambda: case.load)),
        _fact(case, "plant kW/ton", "kW/ton",
              _known(case, ["load", "power"], lambda: case.kw_per_ton)),
    ]
    return [fact for fact in found if fact is not None]


def _known(case: Case, needs: list[str], work: Callable[[], pd.Series]) -> pd.Series | None:
    return None if case.lacking(needs) else work()


def _tower_approach(case: Case) -> pd.Series | None:
    if case.lacking(["wet_bulb", "cw_supply_temp", "chillers"]):
        return None
    approach = case.frame["cw_supply_temp"] - case.wet_bulb
    return approach.where(case.chillers_on == 1.0)


def _lift(case: Case, n: int) -> pd.Series | None:
    own = f"chiller_{n}_chw_leaving_temp"
    leaving = own if case.has(own) else "chw_supply_temp"
    if case.lacking([f"chiller_{n}_cw_leaving_temp", leaving]) or not case.is_known(n):
        return None
    return case.water_lift(n)


def _fact(case: Case, name: str, unit: str, values: pd.Series | None) -> Fact | None:
    known = pd.Series(dtype=float) if values is None else values.dropna()
    if known.empty:
        return None
    low, median, high = (float(v) for v in known.quantile([0.05, 0.5, 0.95]))
    return Fact(name, unit, low, median, high, len(known) * case.minutes / 60.0)
