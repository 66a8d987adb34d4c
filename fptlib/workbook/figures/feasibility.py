"""The path from chillers to exchanger on paper: condenser water falls from left to right."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.procedure.feasibility import FEASIBLE, Path
from fptlib.procedure.settings_sheet import Sheet
from fptlib.workbook.figures import base

# How far above the transition the picture begins [degF].
BEFORE = 12.0


def figure(sheet: Sheet) -> base.Evidence:
    """Condenser water falling, the setpoint led down by the offset, the lowest setpoint, and the
    point from which the exchanger carries the load."""
    path = sheet.path
    if path is None:
        return base.nothing("Path from chillers to exchanger", sheet.reason)
    offset = sheet.settings.offset if sheet.settings else path.offset
    water = np.linspace(path.transition + BEFORE, path.transition - 2.0, 141)
    most = water + path.beside - path.needed - path.guard
    setpoint = np.minimum(path.reset, np.maximum(path.lowest, water - offset))
    lines = (
        (water, "condenser water", base.CONDENSER),
        (most, "lift kept below this", base.LIMIT),
        (setpoint, f"setpoint: offset {offset:.1f} °F", base.ACTIVE),
        (np.full(len(water), path.lowest), "lowest setpoint", base.SERIES[3]),
        (np.full(len(water), path.reset), "reset setpoint", base.RESET))
    drawn, (ax,) = base.canvas(height=4.2)
    for values, _, look in lines:
        ax.plot(water, values, color=look.colour, linestyle=look.style, linewidth=look.width)
    ax.fill_between(water, most, setpoint, where=setpoint > most, color="#f3c9c9", zorder=0)
    ax.axvline(path.transition, color=base.INK, linewidth=1.0)
    ax.annotate("exchanger can take over", (path.transition, 1.0),
                xycoords=("data", "axes fraction"), xytext=(-3, 2), textcoords="offset points",
                ha="right", fontsize=8.5, color=base.INK, annotation_clip=False)
    ax.set_xlim(water[0], water[-1])
    base.title(ax, f"Path from chillers to exchanger: {sheet.verdict}",
               "condenser water, °F: falling", "°F", pad=16)
    drawn.subplots_adjust(bottom=0.14)
    base.label_lines(ax, [(pd.Series(values), text, look) for values, text, look in lines])
    return base.Evidence(drawn, _sentence(path, sheet.verdict))


def _sentence(path: Path, verdict: str) -> str:
    kept = "stays below" if verdict == FEASIBLE else "lies above"
    return (f"condenser water falling to {path.transition:.1f} °F, where the exchanger can carry "
            f"the load at a reset setpoint of {path.reset:.1f} °F; the setpoint led down to at "
            f"least {path.lowest:.1f} °F {kept} the line below which a chiller keeps its lift")
