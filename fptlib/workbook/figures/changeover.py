"""The changeover from enable to recovered, with every setpoint, and the return of the setpoint."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.recovery import RATE_WINDOW
from fptlib.procedure.setpoint_release import last_lowered
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

LINES = (
    ("chw_supply_temp", "supply", base.SUPPLY),
    ("chw_supply_setpoint", "active setpoint", base.ACTIVE),
    ("cw_supply_temp", "condenser water", base.CONDENSER),
    ("cw_supply_setpoint", "tower setpoint", base.TOWER_SETPOINT),
)
MARKED_WITHIN = 12


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """Temperatures, setpoints and chiller status of the changeover with the worst excursion."""
    chosen = base.focus(case, checks, "handover.excursion")
    missing = case.missing("request", "chillers", "chw_supply_temp")
    if missing or chosen is None:
        return base.nothing("Changeover", base.reason(checks, "no changeover in these trends"))
    drawn, (above, below) = base.canvas(2, 6.2, (3.0, 0.8), share=True)
    drawn.subplots_adjust(hspace=0.15)
    rows = _stretch(case, chosen)
    _temperatures(above, case, rows, chosen.name)
    _status(below, case, rows)
    for ax in (above, below):
        _events(ax, case, chosen, named=ax is above)
    _marks(above, case, rows)
    return base.Evidence(drawn, f"{chosen.name} from enable to recovered: chilled water, "
                                "condenser water and every setpoint")


def recovery(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """The return of the setpoint after a transition: as it rose, and how steep it may rise."""
    chosen = base.focus(case, checks, "recovery.rate")
    missing = case.missing("request", "chillers", "chw_supply_setpoint", "reset_setpoint")
    run = chosen.run if chosen else None
    if missing or chosen is None or run is None or (low := last_lowered(case, run)) is None:
        return base.nothing("Return of the setpoint", base.reason(
            checks, "no lowered setpoint returned in these trends"))
    back = case.recovered(run)
    end = min(chosen.last, low + case.rows(240.0)) if back is None else back
    rows = base.window(case, low, 20.0, end, 60.0)
    drawn, (above, below) = base.canvas(2, 6.2, (3.0, 0.8), share=True)
    drawn.subplots_adjust(hspace=0.15)
    _return(above, case, rows, low)
    _status(below, case, rows)
    for ax in (above, below):
        base.events(ax, case, [(row, text if ax is above else "") for row, text in (
            (chosen.transition, "transition"), (back, "recovered"))])
    return base.Evidence(drawn, f"return of the setpoint in {chosen.name}: active and reset "
                                "setpoint, supply, and the steepest rise allowed")


def _return(ax: Axes, case: FunctionalTest, rows: slice, low: int) -> None:
    active = base.series(case, case["chw_supply_setpoint"], rows)
    reset = base.series(case, case.reset_setpoint, rows)
    risen = (np.arange(rows.start, rows.stop) - low) * case.minutes / RATE_WINDOW
    steepest = active.iloc[low - rows.start] + case.limits["recovery.rate"] * pd.Series(
        risen, index=active.index)
    allowed = steepest.where((risen >= 0) & (steepest <= reset))
    base.lines(ax, case, rows, "Return of the setpoint", "°F", [
        (active, "active setpoint", base.ACTIVE), (reset, "reset setpoint", base.RESET),
        *base.trended(case, rows, [("chw_supply_temp", "supply", base.SUPPLY)]),
        (allowed, "steepest allowed", base.LIMIT)])


def _stretch(case: FunctionalTest, chosen: Changeover) -> slice:
    back = case.recovered(chosen.run) if chosen.run else None
    end = min(chosen.last, chosen.first + case.rows(240.0)) if back is None else back
    return base.window(case, chosen.first, 30.0, end, 60.0)


def _temperatures(ax: Axes, case: FunctionalTest, rows: slice, name: str) -> None:
    known = base.trended(case, rows, LINES)
    if not case.missing("reset_setpoint"):
        known.append((base.series(case, case.reset_setpoint, rows), "reset setpoint", base.RESET))
    base.lines(ax, case, rows, name[0].upper() + name[1:], "°F", known)


def _status(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    lines = [(base.series(case, case.commanded, rows), "economizer command")]
    lines += [(base.series(case, case.running(n), rows), f"chiller {n} runs")
              for n in case.chiller_numbers]
    for level, (series, _) in enumerate(lines):
        on = pd.Series(level + 0.7 * series.to_numpy(dtype=float), index=series.index)
        x, y = base.decimated(on)
        ax.fill_between(x, level, y, step="post", color=base.SERIES[level % 5].colour, alpha=0.75)
    ax.set_yticks([])
    ax.set_ylim(-0.1, len(lines))
    base.finish(ax, "", "on / off", *base.ends(case, rows))
    base.label_levels(ax, [(level + 0.35, text, base.SERIES[level % 5].colour)
                           for level, (_, text) in enumerate(lines)])


def _events(ax: Axes, case: FunctionalTest, chosen: Changeover, named: bool) -> None:
    if (request := chosen.request) is not None:
        base.shade(ax, case.time(request.row), case.time(request.end), "pull-down",
                   "pull-down" if named else "")
    moments = [(chosen.enabled, "enable"), (chosen.transition, "transition"),
               (case.recovered(chosen.run) if chosen.run else None, "recovered")]
    base.events(ax, case, [(at, text if named else "") for at, text in moments])


def _marks(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    first, last = base.ends(case, rows)
    seen = [m for m in case.marks if first <= m.time <= last][:MARKED_WITHIN]
    for mark in seen:
        ax.axvline(base.moment(mark.time), color=base.GREY, linewidth=0.8, linestyle=":")
        ax.annotate(mark.what, (base.moment(mark.time), 0.02), xycoords=("data", "axes fraction"),
                    rotation=90, fontsize=8, color=base.GREY, xytext=(-3, 0),
                    textcoords="offset points", ha="right", va="bottom")
