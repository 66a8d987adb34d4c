"""What the plant would draw on chillers: a regression of the job's own trends.

Plant power over steady quarter-hours with chillers alone, as a quadratic in load and a
line in wet bulb with their product (ordinary least squares; the form is common practice,
no source). Nothing is predicted outside the loads and wet bulbs that were seen: neither away from
every training block, nor where the fit's leverage exceeds that of every training block (the
rule against hidden extrapolation of regression texts, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from fptlib.procedure.case import Case, once

BLOCK_MINUTES = 15.0
FEWEST_BLOCKS = 20
# A block counts as seen when so many training blocks lie within these distances of it,
# counted in cells of a twentieth of the distance, none beyond it.
NEAR_LOAD_SHARE = 0.10
NEAR_WET_BULB = 1.0
FEWEST_NEAR = 3
CELLS = 20


@dataclass(frozen=True)
class ChillerMode:
    """A fitted chiller mode: predicts plant kW/ton at a load [tons] and wet bulb [degF]."""

    load: np.ndarray
    wet_bulb: np.ndarray
    coefficients: np.ndarray
    scales: tuple[float, float]
    residual: float
    spread: np.ndarray
    farthest: float

    def predict(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Plant kW/ton on chillers; NaN outside what was seen."""
        power = _columns(load, wet_bulb, self.scales) @ self.coefficients
        known = self.seen(load, wet_bulb) & (self.leverage(load, wet_bulb) <= self.farthest)
        return np.where(known, power / load, np.nan)

    def leverage(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """How far each point lies from the training, in the fit's own measure."""
        return _leverage(_columns(load, wet_bulb, self.scales), self.spread)

    def seen(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Whether enough of the training lies near each point."""
        origin, below = self._trained
        points, last = self._cells(load, wet_bulb) - origin, np.array(below.shape) - 1
        low = np.clip(points - CELLS + 1, 0, last).T
        high = np.clip(points + CELLS, 0, last).T
        found = (below[high[0], high[1]] - below[low[0], high[1]]
                 - below[high[0], low[1]] + below[low[0], low[1]])
        return found >= FEWEST_NEAR

    @cached_property
    def _trained(self) -> tuple[np.ndarray, np.ndarray]:
        """The lowest cell of the training, and how many of its blocks lie below each corner
        from there on: four corners give the count in any rectangle."""
        trained = self._cells(self.load, self.wet_bulb)
        origin = trained.min(axis=0)
        counts = np.zeros(np.ptp(trained, axis=0) + 2, dtype=int)
        np.add.at(counts, tuple((trained - origin + 1).T), 1)
        return origin, counts.cumsum(axis=0).cumsum(axis=1)

    def _cells(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        sizes = np.array([NEAR_LOAD_SHARE * self.scales[0], NEAR_WET_BULB]) / CELLS
        return np.floor(np.column_stack([load, wet_bulb]) / sizes).astype(int)

    def uncertainty(self, load: np.ndarray, wet_bulb: np.ndarray) -> np.ndarray:
        """Expanded uncertainty of a predicted kW/ton: the scatter of one more quarter-hour
        and what the coefficients are known to there."""
        return 2.0 * self.residual * np.sqrt(1.0 + self.leverage(load, wet_bulb)) / load


@once
def fit(case: Case) -> ChillerMode | None:
    """Fit the chiller mode, or ``None`` where too few steady blocks were seen."""
    blocks = quarter_hours(case, case.chiller_mode & ~case.changing)
    if len(blocks) < FEWEST_BLOCKS:
        return None
    return fitted(*(blocks[name].to_numpy() for name in ("load", "wet_bulb", "power")))


def fitted(load: np.ndarray, wet_bulb: np.ndarray, power: np.ndarray) -> ChillerMode:
    """Fit steady quarter-hours: load [tons], wet bulb [degF], plant power [kW]."""
    scales = float(load.max()), 50.0
    matrix = _columns(load, wet_bulb, scales)
    spread = np.linalg.pinv(matrix.T @ matrix)
    coefficients, *_ = np.linalg.lstsq(matrix, power, rcond=None)
    misses = power - matrix @ coefficients
    freedom = max(len(power) - matrix.shape[1], 1)
    return ChillerMode(load, wet_bulb, coefficients, scales,
                       float(np.sqrt(misses @ misses / freedom)), spread,
                       float(_leverage(matrix, spread).max()))


def _leverage(matrix: np.ndarray, spread: np.ndarray) -> np.ndarray:
    return np.einsum("ij,jk,ik->i", matrix, spread, matrix)


def quarter_hours(case: Case, rows: pd.Series) -> pd.DataFrame:
    """Load, wet bulb and power over quarter-hours that lie whole in ``rows``."""
    return block_means(case)[whole(case, rows)]


def whole(case: Case, rows: pd.Series) -> np.ndarray:
    """Which quarter-hours lie whole in ``rows``, without a gap and under load."""
    means = block_means(case)
    known = means.notna().all(axis=1) & (means["load"] > 0.0)
    return _within(case, rows) & known.to_numpy()


def hidden(case: Case, rows: pd.Series) -> np.ndarray:
    """Which quarter-hours lie whole in ``rows`` and have a gap."""
    return _within(case, rows) & block_means(case).isna().any(axis=1).to_numpy()


def _within(case: Case, rows: pd.Series) -> np.ndarray:
    length = case.rows(BLOCK_MINUTES)
    inside = rows.to_numpy()[_first_row(case):][: len(block_means(case)) * length]
    return inside.reshape(-1, length).all(axis=1)


@once
def block_means(case: Case) -> pd.DataFrame:
    """The means of every quarter-hour by the clock; one with a gap has none."""
    first, length = _first_row(case), case.rows(BLOCK_MINUTES)
    blocks = (len(case.frame) - first) // length
    rows = slice(first, first + blocks * length)
    return pd.DataFrame({
        name: values.to_numpy()[rows].reshape(-1, length).mean(axis=1)
        for name, values in (
            ("load", case.load), ("wet_bulb", case.wet_bulb), ("power", case.power))
    }, index=case.frame.index[rows][::length])


def _first_row(case: Case) -> int:
    """The row with which the first whole quarter-hour begins."""
    start = case.frame.index[0]
    past = (start - start.normalize()) / case.trends.step
    return round(-past) % case.rows(BLOCK_MINUTES)


def _columns(load: np.ndarray, wet_bulb: np.ndarray, scales: tuple[float, float]) -> np.ndarray:
    # Scaled to order one: the raw columns would be badly conditioned.
    share, air = load / scales[0], wet_bulb / scales[1]
    return np.column_stack([np.ones_like(share), share, share**2, air, share * air])
