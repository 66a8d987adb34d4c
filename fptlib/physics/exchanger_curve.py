"""A plate exchanger's approach as a curve, fitted to what was seen of it.

Effectiveness-NTU with films that go with flow to a power, asked at open valve, for that is what the
plant can do. The scatter about it, the doubt of its films and the distance from what was seen make
its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fptlib.physics import exchanger
from fptlib.physics._arrays import outside
from fptlib.physics.water import BTU_PER_GPM

# Films of plates: exponents found by experiment lie from 0.66 to 0.84.
FILM, FILM_DOUBT = 0.7, 0.1


@dataclass(frozen=True)
class ExchangerCurve:
    """Exchanger approach with the condenser-water valve open, over load [tons] and flow [gpm].

    ``ua`` [Btu/h.degF] at the usual flows ``chw_flow`` and ``cw_flow`` [gpm] (the latter with the
    valve open), of which a gpm takes ``heat`` with one degF [Btu/h], ``scatter`` [degF] about the
    curve, ``points`` the quarter-hours behind it (load, chilled-water flow, condenser-water flow,
    approach). Where the exchanger's flows are not trended ``line`` is a straight line over load
    instead.
    """

    points: np.ndarray
    scatter: float
    ua: float = np.nan
    chw_flow: float = np.nan
    cw_flow: float = np.nan
    line: tuple[float, float] = (np.nan, np.nan)
    heat: tuple[float, float] = (BTU_PER_GPM, BTU_PER_GPM)

    @property
    def seen(self) -> np.ndarray:
        """Lowest and highest load, flows and approach of the training."""
        return np.asarray(np.percentile(self.points, [0, 100], axis=0))

    def approach(self, load: np.ndarray, flow: np.ndarray, film: float = FILM) -> np.ndarray:
        """Approach [degF] at a load and chilled-water flow, valve open."""
        low, high = self.seen[:, 0]
        if np.isnan(self.ua):
            return np.asarray(self.line[0] + self.line[1] * np.clip(load, low, high))
        flow = np.where(flow > 0.0, flow, np.nan)
        ua = exchanger.expected_ua(self.ua, flow / self.chw_flow, np.ones_like(flow), film, 0.0)
        return exchanger.predicted_approach(np.maximum(load, 0.0), ua, flow * self.heat[0],
                                            np.full_like(flow, self.cw_flow * self.heat[1]))

    def uncertainty(self, load: np.ndarray, flow: np.ndarray) -> np.ndarray:
        """Expanded uncertainty of that [degF], without the sensors' errors."""
        low, high = self.seen[:, 0]
        beyond = outside(load, low, high) / high * self.points[:, 3].max()
        if np.isnan(self.ua):
            return np.asarray(2.0 * self.scatter + beyond)
        films = self.approach(load, flow, FILM + FILM_DOUBT) - self.approach(
            load, flow, FILM - FILM_DOUBT)
        return np.asarray(2.0 * self.scatter + np.abs(films) + 0.5 * beyond)

    def __str__(self) -> str:
        low, high = self.seen
        how = "no exchanger flows trended" if np.isnan(self.ua) else (
            f"UA {self.ua / 1e6:.2f} million Btu/h·°F")
        return (f"curve over {len(self.points)} steady quarter-hours, load {low[0]:.0f} to "
                f"{high[0]:.0f} tons, {how}, scatter {self.scatter:.2f} °F")

    @classmethod
    def fitted(cls, blocks: np.ndarray, heat: tuple[float, float] = (BTU_PER_GPM, BTU_PER_GPM)
               ) -> ExchangerCurve:
        """UA at the usual chilled-water flow and open valve, from quarter-hours, one a row: load
        [tons], both flows [gpm], approach and cooling of the chilled water [degF]; a gpm on either
        side takes ``heat`` with one degF [Btu/h]."""
        load, chw, cw, approach, cooled = blocks[:, :5].T
        warm, cold = chw * heat[0], cw * heat[1]
        # Counterflow solved for the transfer units, then brought to the usual flows.
        least, most = np.minimum(warm, cold), np.maximum(warm, cold)
        reach, ratio = cooled / (cooled + approach) * warm / least, least / most
        reach, ratio = np.minimum(reach, 0.999), np.where(ratio > 0.9999, 0.9999, ratio)
        ua = np.log((1.0 - reach * ratio) / (1.0 - reach)) / (1.0 - ratio) * least
        usual, full = float(np.median(chw)), float(np.percentile(cw, 95))
        films = 0.5 * ((chw / usual) ** -FILM + (cw / full) ** -FILM)
        curve = cls(blocks[:, :4], 0.0, float(np.median(ua * films)), usual, full, heat=heat)
        again = exchanger.predicted_approach(load, curve.ua / films, warm, cold)
        return replace(curve, scatter=max(float(np.sqrt(np.mean((approach - again) ** 2))), 0.05))
