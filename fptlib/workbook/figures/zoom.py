"""A nearer look at the charts over time, for the zoom of the page (``labextensions/``).

The page asks the kernel for a stretch and shows the picture it gets in place of the first one;
the saved workbook and the record keep the first one, and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib import dates
from matplotlib.axes import Axes
from matplotlib.text import Annotation

from fptlib.workbook.figures.base import Evidence, time_charts

LEAST = 10.0 / 1440.0  # days: ten rows of a one-minute trend
MOMENT = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True)
class _Kept:
    drawn: Evidence
    groups: list[tuple[list[Axes], tuple[float, float]]]  # charts and their whole stretch


_kept: dict[str, _Kept] = {}


def clear() -> None:
    """Forget the figures of an earlier run."""
    _kept.clear()


def keep(drawn: Evidence) -> None:
    """Hold a figure that is shown, so that it can be looked at more nearly."""
    _kept[drawn.sentence] = _Kept(drawn, [(charts, charts[0].get_xlim())
                                          for charts in time_charts(drawn.figure)])


def view(sentence: str, group: int, start: float, end: float) -> Evidence:
    """The figure with a group's charts from ``start`` to ``end``, as shares of its whole stretch;
    no shorter than ten minutes, and never beyond what was drawn.

    Raises:
        KeyError: no figure with this sentence is held, as before the step is run.
    """
    kept = _kept[sentence]
    charts, (low, high) = kept.groups[group]
    wide = min(max((end - start) * (high - low), LEAST), high - low)
    first = min(max(low + start * (high - low), low), high - wide)
    for ax in charts:
        ax.set_xlim(first, first + wide)
        _hide_names_outside(ax)
    shown = " to ".join(f"{dates.num2date(at):{MOMENT}}" for at in (first, first + wide))
    share = [(first - low) / (high - low), (first + wide - low) / (high - low)]
    return Evidence(kept.drawn.figure, sentence, about={"shown": shown, "share": share})


def _hide_names_outside(ax: Axes) -> None:
    """Names of events stand above their lines, and would else stay beside the chart."""
    low, high = ax.get_xlim()
    for text in ax.texts:
        if isinstance(text, Annotation) and text.xycoords == ("data", "axes fraction"):
            text.set_visible(low <= text.xy[0] <= high)
