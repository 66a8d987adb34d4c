"""The chillers' envelope: lift over load, with the manufacturer's lines and each pull-down's path.

A path is coloured from dark to light by the minutes since its enable, so that a grey print keeps
the order; the deciding one has the minutes written beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from fptlib.procedure import lift_range
from fptlib.procedure.changeovers import Request
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

TITLE = "Lift over load in the pull-downs"
# More panels than this cannot be read on a page; chillers nearest to their minimum come first.
PANELS = 4
# Cividis (Nuñez, Anderton and Renslow 2018), without its light end that white paper swallows.
SHADES = LinearSegmentedColormap.from_list(
    "minutes", colormaps["cividis"](np.linspace(0.0, 0.85, 64)))


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """A panel for each chiller that ran in a pull-down, the nearest to its minimum first."""
    needs = ("economizer_command", "chillers", "chiller_lift", "load")
    if lacks := case.missing(*needs):
        return base.nothing(TITLE, f"not trended: {', '.join(lacks)}")
    load = 100.0 * lift_range.chiller_load(case)
    paths = {n: found for n in case.chiller_numbers if (found := _paths(case, n, load))}
    chosen = base.focus(case, checks, "lift.minimum")
    if not paths or chosen is None:
        return base.nothing(TITLE, base.reason(checks, "no pull-down in these trends"))
    shown = sorted(paths, key=lambda n: _nearest(checks, n))[:PANELS]
    drawn, axes = _canvas(len(shown))
    longest = max(request.end - request.row for request in case.requests) * case.minutes
    scale = Normalize(0.0, longest)
    said = []
    for n, ax in zip(shown, axes, strict=False):
        for request, x, y in paths[n]:
            if request.number == chosen.number:
                said.append(_said(case, n, x, y))
            _path(ax, case, x, y, scale, request.number == chosen.number)
        _envelope(ax, case, n)
    bar = drawn.colorbar(ScalarMappable(scale, SHADES), ax=axes, pad=0.02, fraction=0.04)
    bar.set_label("minutes since the enable", fontsize=9, color=base.INK)
    which = f" chiller{'s' if len(shown) > 1 else ''}" if len(shown) == len(paths) else (
        f" of {len(paths)} chillers, those nearest to their minimum,")
    return base.Evidence(
        drawn, f"lift over load of {len(shown)}{which} in "
               f"{len(case.requests)} pull-down{'s' if len(case.requests) > 1 else ''} against the "
               f"manufacturer's lines; in {chosen.name} {'; '.join(said) or 'no path is known'}")


def _nearest(checks: Sequence[Check], n: int) -> float:
    """How near a chiller came to its minimum: the smallest margin of its events."""
    return min((event.margin for check in checks if check.id == "lift.minimum"
                for event in check.events
                if event.subject.startswith(f"chiller {n} ") and event.margin is not None),
               default=np.inf)


def _kind(case: FunctionalTest, n: int) -> str:
    """The kind of lift that is shown: the first that is stated and trended."""
    ways = case.lift_points(n)
    return next((kind for kind in ways if case.has(*ways[kind])), next(iter(ways)))


def _paths(case: FunctionalTest, n: int, load: np.ndarray
           ) -> list[tuple[Request, np.ndarray, np.ndarray]]:
    """Load [%] and lift of a chiller in every pull-down; gaps where it is off or has just
    started."""
    lift = np.where(lift_range.settled_off(case, n), np.nan,
                    lift_range.lift_of(case, n, _kind(case, n)))
    found = [(request, load[request.pull_down], lift[request.pull_down])
             for request in case.requests]
    return [(request, x, y) for request, x, y in found if not np.isnan(x + y).all()]


def _canvas(panels: int) -> tuple[Figure, list[Axes]]:
    columns = min(panels, 2)
    drawn, axes = base.canvas(-(-panels // columns), 3.9 * -(-panels // columns), columns=columns)
    drawn.subplots_adjust(right=0.93, bottom=0.13, wspace=0.2)
    for ax in axes[panels:]:
        ax.set_visible(False)
    return drawn, axes


def _path(ax: Axes, case: FunctionalTest, x: np.ndarray, y: np.ndarray, scale: Normalize,
          deciding: bool) -> None:
    minutes = np.arange(len(x)) * case.minutes
    points = np.column_stack([x, y])
    lines = LineCollection(list(np.stack([points[:-1], points[1:]], axis=1)), cmap=SHADES,
                           norm=scale, linewidths=2.2 if deciding else 0.8)
    lines.set_array(minutes[:-1])
    ax.add_collection(lines)
    known = np.flatnonzero(~np.isnan(x + y))
    if not deciding or not len(known):
        return
    every = next(step for step in (5.0, 10.0, 15.0, 30.0, 60.0, 240.0, 1e9)
                 if minutes[known[-1]] / step <= 6.0)
    first, last = known[0], known[-1]
    # No mark so near to either end that its minutes would lie on those of the end.
    marks = [first, *(row for row in known if minutes[row] % every < case.minutes / 2.0
                      and minutes[first] + every / 2.0 < minutes[row] < minutes[last] - every / 2.0
                      ), last]
    ax.scatter(x[marks], y[marks], c=minutes[marks], cmap=SHADES, norm=scale, s=26, zorder=3,
               edgecolors=base.INK, linewidths=0.8)
    for row in marks:
        ax.annotate(f"{minutes[row]:.0f}", (x[row], y[row]), xytext=(5, 4), fontsize=8,
                    textcoords="offset points", color=base.INK, zorder=4,
                    path_effects=[withStroke(linewidth=2.5, foreground="white")])


def _envelope(ax: Axes, case: FunctionalTest, n: int) -> None:
    """The manufacturer's lines over the whole load, with their names, and the axes."""
    kind, chiller = _kind(case, n), case.plant.chiller(n)
    lines = []
    if (least := lift_range.minimums(case, n).get(kind)) is not None:
        lines.append((least, "common practice" if least.usual else "minimum", False))
    if kind == "water" and chiller.maximum_water_lift is not None:
        lines.append((lift_range.Stated(chiller.maximum_water_lift, chiller.maximum_lift_full),
                      "maximum", True))
    for line, name, above in lines:
        full = line.low if line.full is None else line.full
        ax.plot([0.0, 100.0], [line.low, full], color=base.LIMIT.colour, linestyle=base.LIMIT.style,
                linewidth=base.LIMIT.width)
        # Lines rise with load: above the right end and below the left one nothing crosses them.
        ax.annotate(f"{name} {line.low:g}" + ("" if line.full is None else f" to {line.full:g}"),
                    (100.0, full) if above else (1.0, line.low), fontsize=9,
                    va="bottom" if above else "top", ha="right" if above else "left",
                    color=base.LIMIT.colour, xytext=(0, 2 if above else -2),
                    textcoords="offset points")
    ax.set_xlim(0.0, 102.0)
    ax.margins(y=0.12)
    ax.autoscale_view(scalex=False)
    base.title(ax, f"{chiller.tag or f'Chiller {n}'}: {kind} lift",
               "load of the running chillers, % of their capacity", _unit(kind))


def _unit(kind: str) -> str:
    return "psi" if kind == "pressure" else "°F"


def _said(case: FunctionalTest, n: int, x: np.ndarray, y: np.ndarray) -> str:
    known = np.flatnonzero(~np.isnan(x + y))
    first, last = known[0], known[-1]
    unit = _unit(_kind(case, n))
    return (f"chiller {n} went from {y[first]:.0f} {unit} at {x[first]:.0f} % load to "
            f"{y[last]:.0f} {unit} at {x[last]:.0f} % after {last * case.minutes:.0f} min, "
            f"{np.nanmin(y):.0f} {unit} at the lowest")
