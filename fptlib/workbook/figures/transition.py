"""kW/ton before and after each changeover."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib.procedure import transition
from fptlib.procedure.case import Case
from fptlib.procedure.episodes import Changeover
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("request", "chillers", "load", "power")


def figure(case: Case, checks: Sequence[Check]) -> base.Evidence:
    """kW/ton around the deciding way in, and the pairs of every changeover."""
    chosen = base.focus(case, checks, "transition.entering")
    if case.lacking(NEEDS) or chosen is None:
        return base.nothing("kW/ton", base.reason(checks, "no changeover in these trends"))
    drawn, (above, below) = base.canvas(2, 6.2)
    _over_time(above, case, chosen)
    _pairs(below, case)
    return base.Evidence(drawn, f"kW/ton around {chosen.name}, and before and after every "
                                "changeover")


def _over_time(ax: Axes, case: Case, chosen: Changeover) -> None:
    start = chosen.request or chosen.handover or chosen.ended
    end = chosen.exit or chosen.ended
    rows = base.window(case, start, 120.0, end, 120.0)
    series = case.kw_per_ton[rows]
    base.draw(ax, series, base.MEASURED)
    top = float(series.quantile(0.98)) if series.notna().any() else 1.0
    ax.set_ylim(0.0, 1.25 * top)
    base.finish(ax, f"Plant kW/ton through {chosen.name}", "kW/ton", rows.start, rows.stop)
    base.events(ax, [(chosen.request, "request"), (chosen.handover, "handover"),
                     (case.recovered(chosen), "recovered"), (chosen.exit, "exit")])
    base.label_lines(ax, [(series, "plant", base.MEASURED)])


def _pairs(ax: Axes, case: Case) -> None:
    names: list[str] = []
    for changeover in case.changeovers:
        for kind, found in _compared(case, changeover):
            if not found.problem:
                _arrow(ax, len(names), found)
                names.append(f"{changeover.number} {kind}")
    ax.set_xticks(range(len(names)), names, fontsize=8.5)
    ax.set_xlim(-0.6, max(len(names), 4) - 0.4)
    ax.set_ylim(bottom=0.0)
    ax.set_title("Before (o) and after (■) each changeover, at like load", loc="left",
                 fontsize=11, color=base.INK)
    ax.set_ylabel("kW/ton", fontsize=9, color=base.INK)


def _compared(case: Case, c: Changeover) -> list[tuple[str, transition.Comparison]]:
    found = []
    if c.request is not None and c.handover is not None:
        found.append(("in", transition.compare_entry(case, c)))
    if c.exit is not None and c.handover is not None:
        found.append(("out", transition.compare_exit(case, c)))
    return found


def _arrow(ax: Axes, place: int, found: transition.Comparison) -> None:
    colour = base.SERIES[0].colour
    ax.annotate("", (place, found.after), (place, found.before),
                arrowprops={"arrowstyle": "-|>", "color": colour})
    ax.plot(place, found.before, "o", color="white", markeredgecolor=colour, markersize=7)
    ax.plot(place, found.after, "s", color=colour, markersize=6)
