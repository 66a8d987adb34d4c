"""The reset as the trends show it, and what it is worth in hours of a typical year."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from fptlib.procedure import approaches, reset, year
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

SETPOINTS = np.arange(40.0, 62.5, 0.5)
MOST_DOTS = 3000


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """Setpoint against outdoor temperature; hours against setpoint where a year is known."""
    if case.missing("chw_supply_setpoint", "outdoor_dry_bulb") or not len(reset.reset_rows(case)):
        return base.nothing("Setpoint reset", base.reason(checks, "points are missing"))
    hours = hours_known(case)
    drawn, axes = base.canvas(2 if hours else 1, 6.4 if hours else 4.0)
    drawn.subplots_adjust(hspace=0.5)
    _reset(axes[0], case)
    if hours:
        _hours(axes[1], case)
    more = ", and economizer hours of a typical year against the setpoint" if hours else ""
    return base.Evidence(drawn, "chilled-water setpoint against outdoor temperature outside "
                                f"changeovers{more}")


def hours_known(case: FunctionalTest) -> bool:
    """Whether the hours of a typical year can be worked out."""
    return case.weather is not None and approaches.known(case)


def _reset(ax: Axes, case: FunctionalTest) -> None:
    rows = reset.reset_rows(case)
    shown = rows[:: max(1, len(rows) // MOST_DOTS)]
    ax.plot(case["outdoor_dry_bulb"][shown], case["chw_supply_setpoint"][shown], ".", markersize=3,
            color="#7fb2d6")
    line = reset.reset_line(case)
    ax.plot(*line, color=base.INK, linewidth=2.0)
    if len(line[0]):
        base.label_levels(ax, [(float(line[1][-1]), "median of each 2 °F", base.INK)])
    base.title(ax, "Setpoint against outdoor dry bulb, outside changeovers",
               "outdoor dry bulb, °F", "setpoint, °F")


def _hours(ax: Axes, case: FunctionalTest) -> None:
    found = [year.hours(case, each) for each in SETPOINTS]
    curve, constant = ([int(np.count_nonzero(rows)) for rows in each] for each in (
        (one.counted for one in found), (one.by_constant for one in found)))
    ax.plot(SETPOINTS, curve, color=base.MEASURED.colour, linewidth=2.0)
    levels = [(float(curve[-1]), "fixed setpoint", base.MEASURED.colour)]
    if curve != constant:
        ax.plot(SETPOINTS, constant, color=base.INK, linewidth=1.0, linestyle="--")
        levels.append((float(constant[-1]), "at constant approaches", base.INK))
    on_reset = int(np.count_nonzero(year.hours(case, reset.setpoint_of_year(case)).counted))
    base.label_levels(ax, [*levels, base.limit(ax, on_reset, "reset as found")])
    base.title(ax, "Hours of the typical year the economizer can carry",
               "chilled-water setpoint, °F", "hours a year")
