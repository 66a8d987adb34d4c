"""Which stretches of the trends are not there, point by point."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes

from fptlib.points import plain
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.trends.quality import gaps
from fptlib.workbook.figures import base

MOST = 30


def figure(case: FunctionalTest) -> base.Evidence:
    """A strip for each point with gaps, the fullest of them first."""
    coverage = case.grid.frame.notna().mean()
    flawed = coverage[coverage < 1.0].sort_values()[:MOST]
    whole = f"{int((coverage == 1.0).sum())} of {len(coverage)} points have no gap"
    if not len(flawed):
        return base.nothing("Where trends are missing", whole, "nowhere")
    height = 1.3 + 0.25 * len(flawed)
    drawn, (ax,) = base.canvas(height=height)
    drawn.subplots_adjust(left=0.28, top=1.0 - 0.5 / height, bottom=0.55 / height)
    for row, name in enumerate(flawed.index):
        _strip(ax, case, str(name), row)
    ax.set_yticks(range(len(flawed)), [plain(str(name)) for name in flawed.index], fontsize=8.5)
    ax.set_ylim(-0.6, len(flawed) - 0.4)
    base.finish(ax, f"Trends over time, gaps left white; {whole}", "", case.grid.frame.index[0],
                case.grid.frame.index[-1] + case.grid.step)
    return base.Evidence(drawn, f"where trends are missing: {whole}")


def _strip(ax: Axes, case: FunctionalTest, name: str, row: int) -> None:
    def bar(begin: pd.Timestamp, end: pd.Timestamp) -> tuple[float, float]:
        return base.moment(begin), base.moment(end) - base.moment(begin)

    index = case.grid.frame.index
    ax.broken_barh([bar(index[0], index[-1] + case.grid.step)], (row - 0.35, 0.7),
                   color=base.SUPPLY.colour, linewidth=0.0)
    ax.broken_barh([bar(gap.begin, gap.end) for gap in gaps(case.grid, name).itertuples()],
                   (row - 0.37, 0.74), color="white", linewidth=0.0)
    share = 100.0 * float(case.grid.frame[name].notna().mean())
    ax.annotate(f"{share:.1f} %", (1.0, row), xycoords=("axes fraction", "data"), xytext=(6, 0),
                textcoords="offset points", fontsize=8.5, color=base.INK, va="center")
