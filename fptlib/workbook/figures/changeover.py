"""The changeover from request to recovered, with every setpoint."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from fptlib.procedure.case import Case
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

LINES = (
    ("chw_supply_temp", "supply", base.SUPPLY),
    ("chw_supply_setpoint", "active setpoint", base.ACTIVE),
    ("cw_supply_temp", "condenser water", base.CONDENSER),
    ("cw_supply_setpoint", "tower setpoint", base.TOWER_SETPOINT),
)
MARKED_WITHIN = 12


def figure(case: Case, checks: Sequence[Check], decides: str) -> base.Evidence:
    """Temperatures, setpoints and chiller status of the changeover that decided a check."""
    chosen = base.focus(case, checks, decides)
    missing = case.lacking(("request", "chillers", "chw_supply_temp"))
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
    return base.Evidence(drawn, f"{chosen.name} from request to recovered: supply, condenser "
                                "water and every setpoint")


def _stretch(case: Case, chosen: Changeover) -> slice:
    start = chosen.request or chosen.handover or chosen.ended
    end = case.recovered(chosen) or min(chosen.ended, start + pd.Timedelta(hours=4))
    return base.window(case, start, 30.0, end, 60.0)


def _temperatures(ax: Axes, case: Case, rows: slice, name: str) -> None:
    known = [(case.frame[point][rows], text, look) for point, text, look in LINES
             if case.has(point)]
    if not case.lacking(["reset_setpoint"]):
        known.append((case.reset_setpoint[rows], "reset setpoint", base.RESET))
    for series, _, look in known:
        base.draw(ax, series, look)
    base.finish(ax, name[0].upper() + name[1:], "°F", rows.start, rows.stop)
    base.label_lines(ax, known)


def _status(ax: Axes, case: Case, rows: slice) -> None:
    lines = [(case.commanded[rows], "economizer command")]
    lines += [(case.running(n)[rows], f"chiller {n} runs") for n in case.chiller_numbers]
    for level, (series, _) in enumerate(lines):
        on = pd.Series(level + 0.7 * series.to_numpy(dtype=float), index=series.index)
        x, y = base.decimated(on)
        ax.fill_between(x, level, y, step="post", color=base.SERIES[level % 5].colour, alpha=0.75)
    ax.set_yticks([])
    ax.set_ylim(-0.1, len(lines))
    base.finish(ax, "", "on / off", rows.start, rows.stop)
    base.label_levels(ax, [(level + 0.35, text, base.SERIES[level % 5].colour)
                           for level, (_, text) in enumerate(lines)])


def _events(ax: Axes, case: Case, chosen: Changeover, named: bool) -> None:
    if chosen.request is not None:
        base.shade(ax, chosen.request, chosen.pull_down_end, "pull-down",
                   "pull-down" if named else "")
    moments = [(chosen.request, "request"), (chosen.handover, "handover"),
               (case.recovered(chosen), "recovered")]
    base.events(ax, [(at, text if named else "") for at, text in moments])


def _marks(ax: Axes, case: Case, rows: slice) -> None:
    seen = [m for m in case.marks if rows.start <= m.time <= rows.stop][:MARKED_WITHIN]
    for mark in seen:
        ax.axvline(base.moment(mark.time), color=base.GREY, linewidth=0.8, linestyle=":")
        ax.annotate(mark.what, (base.moment(mark.time), 0.02), xycoords=("data", "axes fraction"),
                    rotation=90, fontsize=8, color=base.GREY, xytext=(-3, 0),
                    textcoords="offset points", ha="right", va="bottom")
