"""The enable condition: its parts stacked against the setpoint, and its margin over time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from fptlib.procedure import approaches
from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("wet_bulb", "reset_setpoint", "request", "chillers")


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """Margin over all trends, and the parts of the condition around the deciding request."""
    title = "Enable condition"
    if case.missing(*NEEDS) or not approaches.known(case):
        return base.nothing(title, base.reason(checks, "points are missing"))
    drawn, (above, below) = base.canvas(2, 6.2, (1.0, 1.5))
    _margin(above, case, checks)
    chosen = base.focus(case, checks, "enable.condition")
    _parts(below, case, chosen)
    where = f" around the enable of {chosen.name}" if chosen else ""
    return base.Evidence(drawn, "margin of the enable condition over the trends, and wet bulb, "
                                f"approaches and tolerances stacked against the setpoint{where}")


def _margin(ax: Axes, case: FunctionalTest, checks: Sequence[Check]) -> None:
    base.draw(ax, base.series(case, approaches.enable_margin(case), slice(0, len(case))),
              base.MEASURED)
    ax.axhline(0.0, color=base.LIMIT.colour, linestyle=base.LIMIT.style,
               linewidth=base.LIMIT.width)
    requests = [event for check in checks if check.id == "enable.condition"
                for event in check.events]
    for verdict, (marker, colour) in base.MARKERS.items():
        same = [event for event in requests if event.verdict == verdict]
        ax.plot([base.moment(event.start) for event in same],
                [event.margin or 0.0 for event in same], marker, color=colour, markersize=8,
                markeredgecolor="white")
    base.finish(ax, "Margin: reset setpoint minus what is needed; each enable by its verdict "
                    "(o pass, X fail, ◆ indeterminate)", "°F",
                *base.ends(case, slice(0, len(case))))
    base.label_levels(ax, [(0.0, "holds from here up", base.LIMIT.colour)])


def _parts(ax: Axes, case: FunctionalTest, chosen: Changeover | None) -> None:
    rows = _stretch(case, chosen)
    needed = base.series(case, case.wet_bulb, rows)
    x = base.times(pd.DatetimeIndex(needed.index))
    setpoint = base.series(case, case.reset_setpoint, rows)
    floor = float(np.nanmin([needed.min(), setpoint.min()])) - 2.0
    levels = _stack(ax, x, needed.to_numpy(dtype=float), case, floor)
    base.draw(ax, setpoint, base.RESET, step=True)
    ax.set_ylim(bottom=floor)
    base.finish(ax, "What the condition adds up, against the reset setpoint", "°F",
                *base.ends(case, rows))
    base.label_lines(ax, [(setpoint, "reset setpoint", base.RESET)], levels)
    if chosen and chosen.enabled is not None:
        began = chosen.enabled - case.limits["enable.dwell"] / case.minutes
        base.shade(ax, case.time(began), case.time(chosen.enabled), "dwell", "enable delay")
        base.events(ax, case, [(chosen.enabled, f"enable of {chosen.name}")])


def _stretch(case: FunctionalTest, chosen: Changeover | None) -> slice:
    if chosen is None or chosen.enabled is None:
        end = len(case) - 1
        return base.window(case, end, 1440.0, end, 0.0)
    return base.window(case, chosen.enabled, 180.0, chosen.enabled, 60.0)


def _stack(ax: Axes, x: np.ndarray, wet_bulb: np.ndarray, case: FunctionalTest,
           floor: float) -> list[tuple[float, str, str]]:
    parts = (
        (wet_bulb - floor, "wet bulb"),
        (approaches.tower(case).value, "+ tower approach"),
        (case.limits["enable.tower_tolerance"], "+ tolerance"),
        (approaches.exchanger(case).value, "+ exchanger approach"),
        (case.limits["enable.exchanger_tolerance"], "+ tolerance"),
    )
    low, labels = np.full(len(x), floor), []
    for (height, name), colour in zip(parts, base.AREAS, strict=True):
        high = low + height
        ax.fill_between(x, low, high, color=colour, edgecolor=base.GREY, linewidth=0.6)
        known = np.flatnonzero(np.isfinite(high))
        if len(known):
            labels.append((float((low + high)[known[-1]] / 2.0), name, base.INK))
        low = high
    return labels
