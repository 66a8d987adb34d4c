"""Approach curves: what the trends show of towers and exchanger, by physical form.

The tower is Merkel's equation with KaV/L = C (L/G)^-n, fan air in proportion to speed and
density; C, n and the design ratio of water to air are fitted to all steady quarter-hours. The
exchanger is effectiveness-NTU with films that go with flow to a power. Each is asked at full fans
or open valve, for that is what the plant can do. The scatter about the curve, what its coefficients
are known to, and the distance from what was seen make its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.physics import exchanger as plates
from fptlib.physics import tower as cells
from fptlib.physics.water import BTU_PER_GPM, BTU_PER_TON_HOUR
from fptlib.procedure.functional_test import FunctionalTest, cached
from fptlib.procedure.measures import median

# Steady: condenser water within half a degree over a quarter of an hour; enough: an hour of it
# (common practice, no source).
STEADY_BAND = 0.5
BLOCK_MINUTES = 15.0
FEWEST_BLOCKS = 4
MOST_BLOCKS = 200
# Below half speed published tower models part by degrees (section 3 of the check values: 4 °F at
# 40 %), so slower rows count only where there are no others, and with this doubt [degF].
LEAST_AIR, SLOWEST_AIR, SLOW_DOUBT = 0.5, 0.25, 1.5
# What is usual before anything was seen, and how far plants lie from it: exponent of the fill and
# the logarithm of water over air (common practice, no source).
USUAL, AROUND = np.array([0.6, np.log(cells.WATER_TO_AIR)]), np.array([0.3, 0.4])
# Beyond what was seen: the published models part by 2 °F over 40 °F of wet bulb, so twice that.
PER_WET_BULB, PER_RANGE = 0.1, 0.2
# Films of plates: exponents found by experiment lie from 0.66 to 0.84.
FILM, FILM_DOUBT = 0.7, 0.1
OPEN_VALVE = 90.0


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
        return np.percentile(self.points[:, :4], [0, 100], axis=0)

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
        beyond = (PER_WET_BULB * _outside(wet_bulb, *seen[:, 0])
                  + PER_RANGE * _outside(cooling, *seen[:, 1]) + self.doubt)
        known = _between(self.axes, self.spread, wet_bulb, cooling)
        return np.asarray(2.0 * np.hypot(known, self.scatter) + beyond)

    def __str__(self) -> str:
        low, high = self.seen
        return (f"curve over {len(self.points)} steady quarter-hours, {self.cells} cells, "
                f"wet bulb {low[0]:.0f} to {high[0]:.0f} °F, range {low[1]:.1f} to "
                f"{high[1]:.1f} °F, fans {100 * low[3]:.0f} to {100 * high[3]:.0f} %, "
                f"scatter {self.scatter:.2f} °F")


@cached
def tower_curve(test: FunctionalTest) -> TowerCurve | None:
    """The curve of the towers, or ``None`` where the trends show none."""
    if test.missing("wet_bulb", "cw_supply_temp", "request", "chillers"):
        return None
    returning = "cw_return_temp" if test.has("cw_return_temp") else "hx_cw_leaving_temp"
    if not test.has(returning):
        return None
    # Chillers are off in every row that counts, so the exchanger's water is all that returns.
    cooling = test[returning] - test["cw_supply_temp"]
    running, air = _fans(test)
    flow = _tower_flow(test, cooling)
    columns = [test.wet_bulb, cooling, test["cw_supply_temp"] - test.wet_bulb, air, flow]
    blocks = steady_blocks(test, columns, running)
    blocks = blocks[(blocks[:, 1] > 0.5) & (blocks[:, 2] > 0.5) & (blocks[:, 4] > 0.0)]
    if not len(blocks):
        return None
    counts = blocks[:, 5]
    most = max((n for n in np.unique(counts) if (counts >= n).sum() >= FEWEST_BLOCKS), default=0)
    blocks = blocks[counts == most]
    fast = blocks[blocks[:, 3] >= LEAST_AIR]
    doubt = 0.0 if len(fast) >= FEWEST_BLOCKS else SLOW_DOUBT
    used = fast if not doubt else blocks[blocks[:, 3] >= SLOWEST_AIR]
    if most < 1 or len(used) < FEWEST_BLOCKS:
        return None
    used = used[np.linspace(0, len(used) - 1, min(len(used), MOST_BLOCKS)).astype(int)]
    return replace(
        fitted_tower(used, float(np.median(np.atleast_1d(test.pressure))), int(most), doubt),
        heat=test.plant.btu_per_gpm("cw"))


def _tower_flow(test: FunctionalTest, cooling: np.ndarray) -> np.ndarray:
    """Condenser water over the towers in economizer mode [gpm]: metered, else from heat over
    range, else one and the same."""
    for name in ("cw_flow", "hx_cw_flow"):
        if test.has(name):
            return test[name]
    if not test.missing("load"):
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(test.load * BTU_PER_TON_HOUR / test.plant.btu_per_gpm("cw") / cooling)
    return np.ones(len(test))


def _fans(test: FunctionalTest) -> tuple[np.ndarray, np.ndarray]:
    """How many cells run, and their mean share of full air."""
    shares = []
    for n in test.tower_numbers:
        speed, status = (f"tower_{n}_fan_{what}" for what in ("speed", "running"))
        if test.has(speed) or test.has(status):
            share = test[speed] / 100.0 if test.has(speed) else test[status]
            shares.append(share * test[status] if test.has(status) else share)
    if not shares:
        return np.full(len(test), np.nan), np.full(len(test), np.nan)
    known = np.array(shares)
    count = np.where(np.isnan(known).any(axis=0), np.nan, (known > 0.01).sum(axis=0))
    return count, np.sum(known, axis=0) / np.maximum(count, 1.0)


def steady_blocks(test: FunctionalTest, columns: list[np.ndarray], count: np.ndarray
                  ) -> np.ndarray:
    """Means over the steady quarter-hours of economizer operation, one a row, and the count that
    did not change in them."""
    length = test.rows(BLOCK_MINUTES)
    if len(test) < length:
        return np.empty((0, len(columns) + 1))
    steady = test.within(test.settled(run) for run in test.runs)
    water_temp = test["cw_supply_temp"]
    level = np.zeros(len(test), dtype=bool)
    if len(test) >= length > 1:
        window = sliding_window_view(water_temp, length)
        level[length - 1 :] = np.ptp(window, axis=1) <= STEADY_BAND
    elif len(test) > 1:
        level[1:] = np.abs(np.diff(water_temp)) <= STEADY_BAND
    table = np.column_stack([*columns, count])
    whole = len(test) // length
    rows = slice(0, whole * length)
    use = (steady & level & ~np.isnan(table).any(axis=1))[rows].reshape(whole, length)
    grouped = table[rows].reshape(whole, length, -1)
    same = np.ptp(grouped[:, :, -1], axis=1) == 0.0
    return np.asarray(grouped[use.all(axis=1) & same].mean(axis=1))


def fitted_tower(blocks: np.ndarray, pressure: float, count: int, doubt: float) -> TowerCurve:
    """Gauss-Newton on exponent and water over air, C from the mean; the misses are in degF of
    approach, and what is usual counts as one more observation."""
    air, cooling, approach, share, flow = blocks[:, :5].T
    usual_flow = float(np.median(flow))
    denser = cells.air_volume(air, pressure) / cells.air_volume(40.0, pressure)
    loading = flow / usual_flow / share * denser

    def misses(at: np.ndarray) -> tuple[np.ndarray, float]:
        ratio = np.exp(at[1]) * loading
        # As seen, and a tenth of a degree warmer: what a degree is worth.
        cold = air + np.array([approach, approach + 0.1])
        number, more = np.log(cells.merkel(cold + cooling, cold, air, ratio, pressure))
        constant = number + at[0] * np.log(ratio)
        usable = np.isfinite(constant)
        middle = float(np.median(constant[usable])) if usable.any() else np.nan
        missed = np.where(usable, (constant - middle) * 0.1 / (more - number), 20.0)
        return np.where(np.isfinite(missed), missed, 20.0), middle

    def cost(at: np.ndarray, scatter: float) -> float:
        return float(np.sum((misses(at)[0] / scatter) ** 2) + np.sum(((at - USUAL) / AROUND) ** 2))

    # The air must be able to take the heat in every row: begin at the likeliest ratio that can.
    ratios = (0.3, 0.45, 0.6, 0.8, 1.0, 1.3, 1.7)
    at = min((np.array([USUAL[0], np.log(each)]) for each in ratios), key=lambda at: cost(at, 0.3))
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
    axes = (np.arange(-10.0, 81.0, 5.0), np.array([0.5, *np.arange(1.0, 12.0), 14.0, 16.0, 20.0]))
    table = _asked(axes, at, constant, pressure)
    moved = [_asked(axes, at + step, misses(at + step)[1], pressure)
             for step in np.sqrt(np.diag(known)) * np.eye(2)]
    one, other = ((each - table) for each in moved)
    related = known[0, 1] / np.sqrt(known[0, 0] * known[1, 1])
    spread = np.sqrt(np.maximum(one**2 + other**2 + 2.0 * related * one * other, 0.0))
    return TowerCurve(axes, table, spread, usual_flow if usual_flow > 1.0 else np.nan,
                      float(np.median(cooling)), count,
                      np.column_stack([air, cooling, approach, share]), scatter, doubt)


def _asked(axes: tuple[np.ndarray, np.ndarray], at: np.ndarray, constant: float, pressure: float
           ) -> np.ndarray:
    """The approach at full fans on a grid of wet bulb and range."""
    air, cooling = np.meshgrid(*axes, indexing="ij")
    denser = cells.air_volume(air, pressure) / cells.air_volume(40.0, pressure)
    ratio = np.exp(at[1]) * denser
    return cells.approach_at(air, cooling, np.exp(constant) * ratio ** -at[0], ratio, pressure)


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


def _outside(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """How far values lie outside a range."""
    return np.maximum(low - values, 0.0) + np.maximum(values - high, 0.0)


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
        return np.percentile(self.points, [0, 100], axis=0)

    def approach(self, load: np.ndarray, flow: np.ndarray, film: float = FILM) -> np.ndarray:
        """Approach [degF] at a load and chilled-water flow, valve open."""
        low, high = self.seen[:, 0]
        if np.isnan(self.ua):
            return np.asarray(self.line[0] + self.line[1] * np.clip(load, low, high))
        flow = np.where(flow > 0.0, flow, np.nan)
        ua = plates.expected_ua(self.ua, flow / self.chw_flow, np.ones_like(flow), film, 0.0)
        return plates.predicted_approach(np.maximum(load, 0.0), ua, flow * self.heat[0],
                                         np.full_like(flow, self.cw_flow * self.heat[1]))

    def uncertainty(self, load: np.ndarray, flow: np.ndarray) -> np.ndarray:
        """Expanded uncertainty of that [degF], without the sensors' errors."""
        low, high = self.seen[:, 0]
        beyond = _outside(load, low, high) / high * self.points[:, 3].max()
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


@cached
def exchanger_curve(test: FunctionalTest) -> ExchangerCurve | None:
    """The curve of the exchanger, or ``None`` where the trends show none."""
    entering = "hx_cw_entering_temp" if test.has("hx_cw_entering_temp") else "cw_supply_temp"
    if test.missing("hx_chw_leaving_temp", entering, "cw_supply_temp", "load", "request",
                    "chillers"):
        return None
    warm = "hx_chw_entering_temp" if test.has("hx_chw_entering_temp") else "chw_return_temp"
    metered = test.has("hx_chw_flow", "hx_cw_flow")
    flows = [test[name] for name in ("hx_chw_flow", "hx_cw_flow")] if metered else [
        test["chw_flow"], np.ones(len(test))]
    valve = test["hx_valve"] if test.has("hx_valve") else np.full(len(test), 100.0)
    columns = [test.load, *flows, test["hx_chw_leaving_temp"] - test[entering],
               test[warm] - test["hx_chw_leaving_temp"], valve]
    blocks = steady_blocks(test, columns, np.zeros(len(test)))
    blocks = blocks[(blocks[:, :5] > 0.0).all(axis=1)]
    # Without its flows a throttled exchanger shows nothing of what it can do.
    blocks = blocks if metered else blocks[blocks[:, 5] >= OPEN_VALVE]
    if len(blocks) < FEWEST_BLOCKS:
        return None
    load, chw, cw, approach, cooled = blocks[:, :5].T
    if not metered:
        slope, level = np.polyfit(load, approach, 1) if np.ptp(load) > 0.2 * load.max() else (
            0.0, median(approach))
        missed = approach - (level + slope * load)
        return ExchangerCurve(blocks[:, :4], max(float(np.std(missed)), 0.05),
                              line=(float(level), float(slope)))
    return fitted_exchanger(blocks, tuple(test.plant.btu_per_gpm(side) for side in ("chw", "cw")))


def fitted_exchanger(blocks: np.ndarray, heat: tuple[float, ...] = (BTU_PER_GPM, BTU_PER_GPM)
                     ) -> ExchangerCurve:
    """UA at the usual chilled-water flow and open valve, from quarter-hours of load [tons], both
    flows [gpm], approach and cooling of the chilled water [degF]; a gpm on either side takes
    ``heat`` with one degF [Btu/h]."""
    load, chw, cw, approach, cooled = blocks[:, :5].T
    warm, cold = chw * heat[0], cw * heat[1]
    # Counterflow solved for the transfer units, then brought to the usual flows.
    least, most = np.minimum(warm, cold), np.maximum(warm, cold)
    reach, ratio = cooled / (cooled + approach) * warm / least, least / most
    reach, ratio = np.minimum(reach, 0.999), np.where(ratio > 0.9999, 0.9999, ratio)
    ua = np.log((1.0 - reach * ratio) / (1.0 - reach)) / (1.0 - ratio) * least
    usual, full = float(np.median(chw)), float(np.percentile(cw, 95))
    films = 0.5 * ((chw / usual) ** -FILM + (cw / full) ** -FILM)
    curve = ExchangerCurve(blocks[:, :4], 0.0, float(np.median(ua * films)), usual, full,
                           heat=(heat[0], heat[1]))
    again = plates.predicted_approach(load, curve.ua / films, warm, cold)
    return replace(curve, scatter=max(float(np.sqrt(np.mean((approach - again) ** 2))), 0.05))
