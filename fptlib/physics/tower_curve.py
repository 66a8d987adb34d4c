"""A tower's approach as a curve, fitted to what was seen of it.

Merkel's equation with KaV/L = C (L/G)^-n, fan air in proportion to speed and density; C, n and the
design ratio of water to air are fitted to steady quarter-hours, and the curve is asked at full
fans, for that is what the plant can do. The scatter about it, what its coefficients are known to,
and the distance from what was seen make its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.physics import tower
from fptlib.physics._arrays import outside
from fptlib.physics.water import BTU_PER_GPM, BTU_PER_TON_HOUR

# What is usual before anything was seen, and how far plants lie from it: exponent of the fill and
# the logarithm of water over air (common practice, no source).
USUAL, AROUND = np.array([0.6, np.log(tower.WATER_TO_AIR)]), np.array([0.3, 0.4])
# Beyond what was seen: the published models part by 2 °F over 40 °F of wet bulb, so twice that.
PER_WET_BULB, PER_RANGE = 0.1, 0.2


@dataclass(frozen=True)
class TowerCurve:
    """Tower approach at full fans over wet bulb [degF] and range [degF].

    ``flow`` is the condenser water the economizer moves [gpm], of which a gpm takes ``heat`` with
    one degF [Btu/h], ``seen`` the lowest and highest wet bulb, range, approach and share of full
    air it was fitted to, ``cells`` how many ran; ``points`` those quarter-hours (wet bulb, range,
    approach, air share).
    """

    axes: tuple[np.ndarray, np.ndarray]
    table: np.ndarray
    spread: np.ndarray
    flow: float
    usual_range: float
    cells: int
    points: np.ndarray
    scatter: float
    doubt: float
    heat: float = BTU_PER_GPM

    @property
    def seen(self) -> np.ndarray:
        """Lowest and highest wet bulb, range, approach and air share of the training."""
        return np.asarray(np.percentile(self.points[:, :4], [0, 100], axis=0))

    def range_at(self, load: np.ndarray | None) -> np.ndarray:
        """Range [degF] at a load [tons] in economizer mode; the usual one where none is known."""
        if load is None or np.isnan(self.flow):
            return np.asarray(self.usual_range)
        return np.asarray(np.maximum(load, 0.0) * BTU_PER_TON_HOUR / self.heat / self.flow)

    def approach(self, wet_bulb: np.ndarray, load: np.ndarray | None) -> np.ndarray:
        """Approach [degF] with all fans at full speed."""
        return _between(self.axes, self.table, wet_bulb, self.range_at(load))

    def uncertainty(self, wet_bulb: np.ndarray, load: np.ndarray | None) -> np.ndarray:
        """Expanded uncertainty of that [degF], without the sensors' errors."""
        cooling, seen = self.range_at(load), self.seen
        beyond = (PER_WET_BULB * outside(wet_bulb, *seen[:, 0])
                  + PER_RANGE * outside(cooling, *seen[:, 1]) + self.doubt)
        known = _between(self.axes, self.spread, wet_bulb, cooling)
        return np.asarray(2.0 * np.hypot(known, self.scatter) + beyond)

    def __str__(self) -> str:
        low, high = self.seen
        return (f"curve over {len(self.points)} steady quarter-hours, {self.cells} cells, "
                f"wet bulb {low[0]:.0f} to {high[0]:.0f} °F, range {low[1]:.1f} to "
                f"{high[1]:.1f} °F, fans {100 * low[3]:.0f} to {100 * high[3]:.0f} %, "
                f"scatter {self.scatter:.2f} °F")

    @classmethod
    def fitted(cls, blocks: np.ndarray, pressure: float, count: int, doubt: float,
               heat: float = BTU_PER_GPM) -> TowerCurve:
        """Fit steady quarter-hours, one a row: wet bulb [degF], range [degF], approach [degF],
        share of full air, condenser water [gpm]; at an air ``pressure`` [psia], ``count`` cells.

        Gauss-Newton on exponent and water over air, C from the mean; the misses are in degF of
        approach, and what is usual counts as one more observation.
        """
        air, cooling, approach, share, flow = blocks[:, :5].T
        usual_flow = float(np.median(flow))
        denser = tower.air_volume(air, pressure) / tower.air_volume(40.0, pressure)
        loading = flow / usual_flow / share * denser

        def misses(at: np.ndarray) -> tuple[np.ndarray, float]:
            ratio = np.exp(at[1]) * loading
            # As seen, and a tenth of a degree warmer: what a degree is worth.
            cold = air + np.array([approach, approach + 0.1])
            number, more = np.log(tower.merkel(cold + cooling, cold, air, ratio, pressure))
            constant = number + at[0] * np.log(ratio)
            usable = np.isfinite(constant)
            middle = float(np.median(constant[usable])) if usable.any() else np.nan
            missed = np.where(usable, (constant - middle) * 0.1 / (more - number), 20.0)
            return np.where(np.isfinite(missed), missed, 20.0), middle

        def cost(at: np.ndarray, scatter: float) -> float:
            return float(np.sum((misses(at)[0] / scatter) ** 2)
                         + np.sum(((at - USUAL) / AROUND) ** 2))

        # The air must be able to take the heat in every row: begin at the likeliest ratio that can.
        ratios = (0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 1.7)
        at = min((np.array([USUAL[0], np.log(each)]) for each in ratios),
                 key=lambda at: cost(at, 0.3))
        for _ in range(12):
            miss, _ = misses(at)
            scatter = max(float(np.sqrt(np.mean(miss**2))), 0.05)
            slope = np.column_stack([(misses(at + step)[0] - misses(at - step)[0]) / 0.02
                                     for step in np.eye(2) * 0.01])
            left = np.vstack([slope / scatter, np.diag(1.0 / AROUND)])
            right = np.concatenate([-miss / scatter, (USUAL - at) / AROUND])
            move = np.clip(np.linalg.lstsq(left, right, rcond=None)[0], -0.3, 0.3)
            while cost(at + move, scatter) > cost(at, scatter) and np.abs(move).max() > 0.01:
                move = move / 2.0
            if np.abs(move).max() <= 0.01:
                break
            at = at + move
        known = np.linalg.inv(left.T @ left)
        constant = misses(at)[1]
        axes = (np.arange(-10.0, 81.0, 5.0),
                np.array([0.5, *np.arange(1.0, 12.0), 14.0, 16.0, 20.0]))
        table = _asked(axes, at, constant, pressure)
        moved = [_asked(axes, at + step, misses(at + step)[1], pressure)
                 for step in np.sqrt(np.diag(known)) * np.eye(2)]
        one, other = ((each - table) for each in moved)
        related = known[0, 1] / np.sqrt(known[0, 0] * known[1, 1])
        spread = np.sqrt(np.maximum(one**2 + other**2 + 2.0 * related * one * other, 0.0))
        return cls(axes, table, spread, usual_flow if usual_flow > 1.0 else np.nan,
                   float(np.median(cooling)), count,
                   np.column_stack([air, cooling, approach, share]), scatter, doubt, heat)


def _asked(axes: tuple[np.ndarray, np.ndarray], at: np.ndarray, constant: float, pressure: float
           ) -> np.ndarray:
    """The approach at full fans on a grid of wet bulb and range."""
    air, cooling = np.meshgrid(*axes, indexing="ij")
    denser = tower.air_volume(air, pressure) / tower.air_volume(40.0, pressure)
    ratio = np.exp(at[1]) * denser
    return tower.approach_at(air, cooling, np.exp(constant) * ratio ** -at[0], ratio, pressure)


def _between(axes: tuple[np.ndarray, np.ndarray], table: np.ndarray, one: np.ndarray,
             other: np.ndarray) -> np.ndarray:
    """Bilinear within a table; beyond its edge the edge."""
    one, other = np.broadcast_arrays(np.asarray(one, dtype=float), np.asarray(other, dtype=float))
    places = []
    for axis, value in zip(axes, (one, other), strict=True):
        held = np.clip(np.nan_to_num(value, nan=axis[0]), axis[0], axis[-1])
        low = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, len(axis) - 2)
        places.append((low, (held - axis[low]) / (axis[low + 1] - axis[low])))
    (i, x), (j, y) = places
    found = (table[i, j] * (1 - x) * (1 - y) + table[i + 1, j] * x * (1 - y)
             + table[i, j + 1] * (1 - x) * y + table[i + 1, j + 1] * x * y)
    return np.where(np.isnan(one) | np.isnan(other), np.nan, found)
