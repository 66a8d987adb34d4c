"""What the plant would draw on chillers: a regression of the job's own trends.

Plant power over steady quarter-hours with chillers alone, as a quadratic in load and a
line in wet bulb with their product (ordinary least squares; the form is common practice,
no source). Nothing is predicted outside the loads and wet bulbs that were seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fptlib.procedure.case import Case, once

BLOCK_MINUTES = 15.0
FEWEST_BLOCKS = 20
# A block counts as seen when so many training blocks lie within these distances of it.
NEAR_LOAD_SHARE = 0.10
NEAR_WET_BULB = 3.0
FEWEST_NEAR = 3


@dataclass(frozen=True)
class ChillerMode:
    """A fitted chiller mode: predicts plant kW/ton at a load [tons] and wet bulb [degF]."""

    load: np.ndarray
    wet_bulb: np.ndarray
    coefficients: np.ndarray
    scales: tuple[float, float]
    residual: float

    def predict(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Plant kW/ton on chillers; NaN outside what was seen."""
        power = _columns(load, wet_bulb, self.scales) @ self.coefficients
        return np.where(self.seen(load, wet_bulb), power / load, np.nan)

    def seen(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Whether enough of the training lies near each point."""
        near_load = np.abs(load[:, None] - self.load) <= NEAR_LOAD_SHARE * self.load.max()
        near_air = np.abs(wet_bulb[:, None] - self.wet_bulb) <= NEAR_WET_BULB
        return (near_load & near_air).sum(axis=1) >= FEWEST_NEAR

    def uncertainty(self, load: float) -> float:
        """Expanded uncertainty of a predicted kW/ton at a load, from the scatter of the fit."""
        return 2.0 * self.residual / load


@once
def fit(case: Case) -> ChillerMode | None:
    """Fit the chiller mode, or ``None`` where too few steady blocks were seen."""
    blocks = quarter_hours(case, case.chiller_mode & ~case.changing)
    if len(blocks) < FEWEST_BLOCKS:
        return None
    load, air = blocks["load"].to_numpy(), blocks["wet_bulb"].to_numpy()
    scales = float(load.max()), 50.0
    matrix = _columns(load, air, scales)
    power = blocks["power"].to_numpy()
    coefficients, *_ = np.linalg.lstsq(matrix, power, rcond=None)
    misses = power - matrix @ coefficients
    freedom = max(len(power) - matrix.shape[1], 1)
    return ChillerMode(load, air, coefficients, scales,
                       float(np.sqrt(misses @ misses / freedom)))


def quarter_hours(case: Case, rows: pd.Series) -> pd.DataFrame:
    """Load, wet bulb and power over quarter-hours that lie whole in ``rows``."""
    table = pd.DataFrame({
        "load": case.load, "wet_bulb": case.wet_bulb, "power": case.power,
    }).where(rows)
    whole = max(1, int(BLOCK_MINUTES // case.minutes))
    blocks = table.resample(f"{max(BLOCK_MINUTES, case.minutes):.0f}min")
    full = (blocks.count() >= whole).all(axis=1)
    means = blocks.mean()[full]
    return means[means["load"] > 0.0]


def _columns(load: np.ndarray, wet_bulb: np.ndarray, scales: tuple[float, float]) -> np.ndarray:
    # Scaled to order one: the raw columns would be badly conditioned.
    share, air = load / scales[0], wet_bulb / scales[1]
    return np.column_stack([np.ones_like(share), share, share**2, air, share * air])
