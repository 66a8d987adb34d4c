"""kW/ton on the exchanger against chillers at the same load and wet bulb.

Both sides stand for the same equipment: all chillers, tower fans and pumps, as the plant's
power has them. Where chiller mode was never seen near that load and wet bulb there is no number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.procedure import chiller_mode
from fptlib.procedure.case import Case

FEWEST_MINUTES = 30.0


@dataclass(frozen=True, slots=True)
class Normalised:
    """Plant kW/ton on the exchanger and what chillers would have drawn there, with the expanded
    uncertainty of the latter, at a load [tons] and wet bulb [degF]; or why there is none."""

    drawn: float = math.nan
    expected: float = math.nan
    doubt: float = math.nan
    load: float = math.nan
    wet_bulb: float = math.nan
    problem: str = ""


def against_chillers(case: Case, rows: slice) -> Normalised:
    """The economizer's rows of a window against the job's own chiller mode."""
    if case.lacking(["wet_bulb"]):
        return Normalised(problem="the wet bulb is not trended")
    known = _on_exchanger(case, rows)
    if len(known) * case.minutes < FEWEST_MINUTES:
        return Normalised(problem="less than half an hour on the exchanger can be used")
    fitted = chiller_mode.fit(case)
    if fitted is None:
        return Normalised(problem=f"fewer than {chiller_mode.FEWEST_BLOCKS} steady "
                                  "quarter-hours on chillers")
    drawn, load, air = known.mean(axis=0, keepdims=True).T
    found = Normalised(drawn.item(), fitted.predict(load, air).item(),
                       fitted.uncertainty(load, air).item(), load.item(), air.item())
    if math.isnan(found.expected):
        return Normalised(problem=f"chillers were never seen near {found.load:.0f} tons and "
                                  f"{found.wet_bulb:z.0f} °F wet bulb; nothing is extrapolated")
    return found


def _on_exchanger(case: Case, rows: slice) -> np.ndarray:
    """kW/ton, load and wet bulb in the rows without a chiller in which all are known."""
    table = np.column_stack([case.values(each, rows)
                             for each in (case.kw_per_ton, case.load, case.wet_bulb)])
    alone = case.values(case.chillers_on, rows) == 0.0
    return table[alone & ~np.isnan(table).any(axis=1)]
