"""Approach curves: the quarter-hours of the trends from which towers and exchanger are fitted.

The tower's curve is ``physics.tower_curve``, asked at full fans, the exchanger's
``physics.exchanger_curve``, asked at open valve.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from fptlib.physics.exchanger_curve import ExchangerCurve
from fptlib.physics.tower_curve import TowerCurve
from fptlib.physics.water import BTU_PER_TON_HOUR
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
OPEN_VALVE = 90.0


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
    return TowerCurve.fitted(used, float(np.median(np.atleast_1d(test.pressure))), int(most), doubt,
                             test.plant.btu_per_gpm("cw"))


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
    return ExchangerCurve.fitted(
        blocks, (test.plant.btu_per_gpm("chw"), test.plant.btu_per_gpm("cw")))
