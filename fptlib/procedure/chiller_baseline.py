"""What the plant would draw on chillers: a regression of the job's own trends.

Plant power over steady quarter-hours with chillers alone, as a quadratic in load and a
line in wet bulb with their product (ordinary least squares; the form is common practice,
no source). Nothing is predicted outside the loads and wet bulbs that were seen: neither away from
every training block, nor where the fit's leverage exceeds that of every training block (the
rule against hidden extrapolation of regression texts, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fptlib.procedure.functional_test import FunctionalTest, cached

BLOCK_MINUTES = 15.0
FEWEST_BLOCKS = 20
# A block counts as seen when so many training blocks lie within these distances of it,
# counted in cells of a twentieth of the distance, none beyond it.
NEAR_LOAD_SHARE = 0.10
NEAR_WET_BULB = 1.0
FEWEST_NEAR = 3
CELLS = 20
# On the exchanger, to compare a window.
FEWEST_MINUTES = 30.0


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
        return 2.0 * self.residual * np.sqrt(1.0 + self.leverage(load, wet_bulb)) / load


@cached
def fit(test: FunctionalTest) -> Baseline | None:
    """Fit the chiller mode, or ``None`` where too few steady blocks were seen."""
    blocks = block_means(test)
    steady = blocks.whole(test.chiller_mode & ~test.changing)
    if steady.sum() < FEWEST_BLOCKS:
        return None
    return fitted(blocks.load[steady], blocks.wet_bulb[steady], blocks.power[steady])


def fitted(load: np.ndarray, wet_bulb: np.ndarray, power: np.ndarray) -> Baseline:
    """Fit steady quarter-hours: load [tons], wet bulb [degF], plant power [kW]."""
    scales = float(load.max()), 50.0
    matrix = _columns(load, wet_bulb, scales)
    spread = np.linalg.pinv(matrix.T @ matrix)
    coefficients, *_ = np.linalg.lstsq(matrix, power, rcond=None)
    misses = power - matrix @ coefficients
    freedom = max(len(power) - matrix.shape[1], 1)
    return Baseline(load, wet_bulb, coefficients, scales,
                    float(np.sqrt(misses @ misses / freedom)), spread,
                    float(_leverage(matrix, spread).max()))


def _leverage(matrix: np.ndarray, spread: np.ndarray) -> np.ndarray:
    return np.asarray(np.einsum("ij,jk,ik->i", matrix, spread, matrix))


def _columns(load: np.ndarray, wet_bulb: np.ndarray, scales: tuple[float, float]) -> np.ndarray:
    # Scaled to order one: the raw columns would be badly conditioned.
    share, air = load / scales[0], wet_bulb / scales[1]
    return np.column_stack([np.ones_like(share), share, share**2, air, share * air])


@dataclass(frozen=True, slots=True)
class Blocks:
    """The means of every quarter-hour by the clock; one with a gap has none.

    ``first`` is the row the first begins in, ``rows`` how many rows each has.
    """

    first: int
    rows: int
    load: np.ndarray
    wet_bulb: np.ndarray
    power: np.ndarray

    @property
    def known(self) -> np.ndarray:
        """Which have no gap."""
        return ~np.isnan(self.load + self.wet_bulb + self.power)

    def inside(self, rows: np.ndarray) -> np.ndarray:
        """Which lie whole in flagged ``rows``."""
        flags = rows[self.first :][: len(self.load) * self.rows]
        return np.asarray(flags.reshape(-1, self.rows).all(axis=1))

    def whole(self, rows: np.ndarray) -> np.ndarray:
        """Which lie whole in flagged ``rows``, without a gap and under load."""
        return self.inside(rows) & self.known & (self.load > 0.0)

    def begins(self) -> np.ndarray:
        """The row in which each begins."""
        return self.first + self.rows * np.arange(len(self.load))


@cached
def block_means(test: FunctionalTest) -> Blocks:
    """Load, wet bulb and power in quarter-hours by the clock."""
    length = test.rows(BLOCK_MINUTES)
    first = round(-minutes_past_midnight(test) / test.minutes) % length
    blocks = max((len(test) - first) // length, 0)
    rows = slice(first, first + blocks * length)
    return Blocks(first, length, *(
        values[rows].reshape(-1, length).mean(axis=1)
        for values in (test.load, test.wet_bulb, test.power)))


def minutes_past_midnight(test: FunctionalTest) -> float:
    """When the first row begins [min]."""
    start = test.time(0)
    return start.hour * 60.0 + start.minute + (start.second + start.microsecond / 1e6) / 60.0


@dataclass(frozen=True, slots=True)
class AgainstChillers:
    """Plant kW/ton on the exchanger and what chillers would have drawn there, with the expanded
    uncertainty of the latter, at a load [tons] and wet bulb [degF]; or why there is none."""

    drawn: float = math.nan
    expected: float = math.nan
    uncertainty: float = math.nan
    load: float = math.nan
    wet_bulb: float = math.nan
    problem: str = ""


def against_chillers(test: FunctionalTest, rows: slice) -> AgainstChillers:
    """The rows of a window without a chiller against the job's own chiller mode.

    Both sides stand for the same equipment: all chillers, tower fans and pumps, as the plant's
    power has them.
    """
    if test.missing("wet_bulb"):
        return AgainstChillers(problem="the wet bulb is not trended")
    table = np.column_stack([each[rows] for each in (test.kw_per_ton, test.load, test.wet_bulb)])
    known = table[(test.chillers_on[rows] == 0.0) & ~np.isnan(table).any(axis=1)]
    if len(known) * test.minutes < FEWEST_MINUTES:
        return AgainstChillers(problem="less than half an hour on the exchanger can be used")
    fit_found = fit(test)
    if fit_found is None:
        return AgainstChillers(problem=f"fewer than {FEWEST_BLOCKS} steady quarter-hours on "
                                       "chillers")
    drawn, load, air = known.mean(axis=0, keepdims=True).T
    expected = fit_found.predict(load, air).item()
    if math.isnan(expected):
        return AgainstChillers(problem=f"chillers were never seen near {load.item():.0f} tons and "
                                       f"{air.item():z.0f} °F wet bulb; nothing is extrapolated")
    return AgainstChillers(drawn.item(), expected, fit_found.uncertainty(load, air).item(),
                           load.item(), air.item())
