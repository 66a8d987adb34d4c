"""kW/ton before and after each changeover."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib.procedure import transition
from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("request", "chillers", "load", "power")
MOST_NAMES = 12


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """kW/ton around the deciding way in, and the pairs of every changeover."""
    chosen = base.focus(case, checks, "transition.entering")
    if case.missing(*NEEDS) or chosen is None:
        return base.nothing("kW/ton", base.reason(checks, "no changeover in these trends"))
    drawn, (above, below) = base.canvas(2, 6.2)
    _over_time(above, case, chosen)
    _pairs(below, case)
    return base.Evidence(drawn, f"kW/ton around {chosen.name}, and before and after every "
                                "changeover")


def _over_time(ax: Axes, case: FunctionalTest, chosen: Changeover) -> None:
    end = chosen.last if chosen.exit_row is None else chosen.exit_row
    rows = base.window(case, chosen.first, 120.0, end, 120.0)
    series = base.series(case, case.kw_per_ton, rows)
    base.draw(ax, series, base.MEASURED)
    top = float(series.quantile(0.98)) if series.notna().any() else 1.0
    ax.set_ylim(0.0, 1.25 * top)
    base.finish(ax, f"Plant kW/ton through {chosen.name}", "kW/ton", *base.ends(case, rows))
    back = case.recovered(chosen.run) if chosen.run else None
    base.events(ax, case, [(chosen.enabled, "enable"), (chosen.transition, "transition"),
                           (back, "recovered"), (chosen.exit_row, "exit")])
    base.label_lines(ax, [(series, "plant", base.MEASURED)])


def _pairs(ax: Axes, case: FunctionalTest) -> None:
    pairs = [(f"{changeover.number} {kind}", found) for changeover in case.changeovers
             for kind, found in _compared(case, changeover) if not found.problem]
    before = [found.before for _, found in pairs]
    after = [found.after for _, found in pairs]
    colour, places = base.SERIES[0].colour, range(len(pairs))
    size = min(6.0, 300.0 / max(len(pairs), 1))
    ax.vlines(places, before, after, color=colour)
    ax.plot(places, before, "o", color="white", markeredgecolor=colour, markersize=size + 1.0)
    ax.plot(places, after, "s", color=colour, markersize=size)
    named = places[:: len(pairs) // MOST_NAMES + 1]
    ax.set_xticks(named, [pairs[place][0] for place in named], fontsize=8.5)
    ax.set_xlim(-0.6, max(len(pairs), 4) - 0.4)
    ax.set_ylim(bottom=0.0)
    base.title(ax, "Before (o) and after (■) each changeover, at like load", y="kW/ton")


def _compared(case: FunctionalTest, c: Changeover) -> list[tuple[str, transition.Comparison]]:
    found = []
    if c.run is not None and c.enabled is not None:
        found.append(("in", transition.compare_entry(case, c.run)))
    if c.exit is not None:
        found.append(("out", transition.compare_exit(case, c.exit)))
    return found
