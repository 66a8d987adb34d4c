"""The load over outdoor temperature, night and day, against the exchanger's design load."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("load", "outdoor_dry_bulb")
NIGHT = (0, 5)


def figure(case: FunctionalTest, _checks: Sequence[Check]) -> base.Evidence:
    """Every quarter hour's load over outdoor temperature."""
    if missing := case.missing(*NEEDS):
        return base.nothing("Load", "not trended: " + ", ".join(missing))
    drawn, (ax,) = base.canvas(height=4.6)
    hour = case.grid.index.hour.to_numpy()
    every = np.arange(0, len(case), case.rows(15.0))
    night = (hour[every] >= NIGHT[0]) & (hour[every] < NIGHT[1])
    for rows, mark, name in ((every[~night], "o", "day"), (every[night], "x", "midnight to 5 am")):
        ax.plot(case["outdoor_dry_bulb"][rows], case.load[rows], mark, markersize=4.0,
                color=base.SERIES[int(mark == "x")].colour, fillstyle="none", label=name)
    if design := case.plant.exchanger.load:
        ax.axhline(design, color=base.LIMIT.colour, linestyle=base.LIMIT.style,
                   label="exchanger's design")
    ax.set_ylim(bottom=0.0)
    base.title(ax, "Load over outdoor temperature", "outdoor dry bulb, °F", "tons")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), fontsize=8.5, frameon=False)
    return base.Evidence(drawn, "load over outdoor temperature by day and by night, with the "
                                "exchanger's design load")
