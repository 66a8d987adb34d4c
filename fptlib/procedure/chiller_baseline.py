"""What the plant would draw on chillers: its power over the job's own steady quarter-hours with
chillers alone (``physics.chiller_power``), and a window on the exchanger held against it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fptlib.physics.chiller_power import Baseline
from fptlib.procedure.functional_test import FunctionalTest, cached

BLOCK_MINUTES = 15.0
FEWEST_BLOCKS = 20
# On the exchanger, to compare a window.
FEWEST_MINUTES = 30.0


@cached
def fit(test: FunctionalTest) -> Baseline | None:
    """Fit the chiller mode, or ``None`` where too few steady blocks were seen."""
    blocks = block_means(test)
    steady = blocks.whole(test.chiller_mode & ~test.changing)
    if steady.sum() < FEWEST_BLOCKS:
        return None
    return Baseline.fitted(blocks.load[steady], blocks.wet_bulb[steady], blocks.power[steady])


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
