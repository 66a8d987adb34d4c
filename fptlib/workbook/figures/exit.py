"""The exit: supply against setpoint, and how hard the towers worked."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("request", "chillers", "chw_supply_temp", "reset_setpoint")


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """The last hours of the run that decided the exit."""
    chosen = base.focus(case, checks, "exit.supply")
    if case.missing(*NEEDS) or chosen is None:
        return base.nothing("Exit", base.reason(checks, "no run in these trends"))
    fans = [n for n in case.tower_numbers if case.has(f"tower_{n}_fan_speed")]
    drawn, axes = base.canvas(2 if fans else 1, 5.8 if fans else 4.2, share=True)
    end = chosen.last if chosen.exit_row is None else chosen.exit_row
    rows = base.window(case, end, 240.0, end, 60.0)
    _supply(axes[0], case, rows, chosen)
    if fans:
        _fans(axes[1], case, rows, fans)
    for ax in axes:
        base.events(ax, case, [(chosen.exit_row, "first chiller starts" if ax is axes[0] else "")])
    return base.Evidence(drawn, f"supply against setpoint and tower fans before the exit of "
                                f"{chosen.name}")


def _supply(ax: Axes, case: FunctionalTest, rows: slice, chosen: Changeover) -> None:
    setpoint = base.series(case, case.reset_setpoint, rows)
    band = setpoint + case.limits["exit.band"]
    supply = base.series(case, case["chw_supply_temp"], rows)
    base.draw(ax, supply, base.SUPPLY)
    base.draw(ax, setpoint, base.RESET, step=True)
    base.draw(ax, band, base.LIMIT, step=True)
    warm = (supply > band).to_numpy() & (case.chillers_on[rows] == 0.0)
    x = base.times(pd.DatetimeIndex(supply.index))
    ax.fill_between(x, band.to_numpy(dtype=float), supply.to_numpy(dtype=float), where=warm,
                    color="#e9b06b", alpha=0.8, linewidth=0)
    base.finish(ax, f"Supply before the exit of {chosen.name}; filled where too warm on the "
                    "exchanger", "°F", *base.ends(case, rows))
    base.label_lines(ax, [(supply, "supply", base.SUPPLY), (setpoint, "reset setpoint", base.RESET),
                          (band, "setpoint + band", base.LIMIT)])


def _fans(ax: Axes, case: FunctionalTest, rows: slice, cells: Sequence[int]) -> None:
    ax.set_ylim(-3, 108)
    base.lines(ax, case, rows, "Tower fan speed", "%", base.trended(case, rows, [
        (f"tower_{n}_fan_speed", f"cell {n}", look)
        for n, look in zip(cells, base.SERIES * 16, strict=False)]))
