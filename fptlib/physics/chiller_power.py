"""Plant power on chillers as a regression over load and wet bulb, refused outside what was seen.

A quadratic in load and a line in wet bulb with their product (ordinary least squares; the form is
common practice, no source). Nothing is predicted outside the loads and wet bulbs that were seen:
neither away from every training point, nor where the fit's leverage exceeds that of every training
point (the rule against hidden extrapolation of regression texts, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

# A point counts as seen when so many of the training lie within these distances of it,
# counted in cells of a twentieth of the distance, none beyond it.
NEAR_LOAD_SHARE = 0.10
NEAR_WET_BULB = 1.0
FEWEST_NEAR = 3
CELLS = 20


@dataclass(frozen=True)
class Baseline:
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
        return np.asarray(found >= FEWEST_NEAR)

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
        return np.asarray(
            2.0 * self.residual * np.sqrt(1.0 + self.leverage(load, wet_bulb)) / load)

    @classmethod
    def fitted(cls, load: np.ndarray, wet_bulb: np.ndarray, power: np.ndarray) -> Baseline:
        """Fit steady quarter-hours: load [tons], wet bulb [degF], plant power [kW]."""
        scales = float(load.max()), 50.0
        matrix = _columns(load, wet_bulb, scales)
        spread = np.linalg.pinv(matrix.T @ matrix)
        coefficients, *_ = np.linalg.lstsq(matrix, power, rcond=None)
        misses = power - matrix @ coefficients
        freedom = max(len(power) - matrix.shape[1], 1)
        return cls(load, wet_bulb, coefficients, scales,
                   float(np.sqrt(misses @ misses / freedom)), spread,
                   float(_leverage(matrix, spread).max()))


def _leverage(matrix: np.ndarray, spread: np.ndarray) -> np.ndarray:
    return np.asarray(np.einsum("ij,jk,ik->i", matrix, spread, matrix))


def _columns(load: np.ndarray, wet_bulb: np.ndarray, scales: tuple[float, float]) -> np.ndarray:
    # Scaled to order one: the raw columns would be badly conditioned.
    share, air = load / scales[0], wet_bulb / scales[1]
    return np.column_stack([np.ones_like(share), share, share**2, air, share * air])
