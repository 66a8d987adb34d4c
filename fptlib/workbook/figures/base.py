"""What all figures share: colours, axes, labels on the lines, event marks, decimation.

Colours are the open palette of Okabe and Ito (2008), told apart by colour-blind readers;
every line also has its own style, so that a grey print can be read.
"""

from __future__ import annotations

import base64
import io
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
from matplotlib import dates
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from fptlib.points import plain
from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check

# A matplotlibrc in the folder of the call, or of the user, changes no figure of a record.
matplotlib.rcdefaults()
# Tags and alarm texts are what people typed; two dollar signs in one are no mathematics.
matplotlib.rcParams["text.parse_math"] = False

INK = "#1b2733"
GREY = "#5a6570"
DPI = 100
WIDTH = 9.6
PIXELS = int(WIDTH * DPI)


@dataclass(frozen=True, slots=True)
class Look:
    """How one quantity is drawn in every figure."""

    colour: str
    style: Any = "-"
    width: float = 1.8


# A line with its name, and a name at a height in a colour.
Line = tuple[pd.Series, str, Look]
Level = tuple[float, str, str]
SUPPLY = Look("#0072B2")
ACTIVE = Look("#D55E00", (0, (6, 2)))
RESET = Look("#000000", (0, (2, 2)))
CONDENSER = Look("#007a5a", (0, (8, 2, 2, 2)))
TOWER_SETPOINT = Look("#8a4f7d", (0, (1, 1)))
MEASURED = Look("#0072B2")
LIMIT = Look("#9c1c1c", (0, (5, 2)), 1.5)
SERIES = (SUPPLY, Look("#D55E00", (0, (6, 2))), Look("#007a5a", (0, (8, 2, 2, 2))),
          Look("#8a4f7d", (0, (1, 1))), Look("#8a6d00", (0, (3, 1, 1, 1, 1, 1))))
# Areas from light to dark, so that grey print keeps their order.
AREAS = ("#d7e8f5", "#a9d0ea", "#f6dfa4", "#8fc9b4", "#e9b06b")
SHADES = {"pull-down": "#e8eef3", "dwell": "#fbf0d4", "window": "#e8eef3"}
MARKERS = {"pass": ("o", "#007a5a"), "fail": ("X", "#9c1c1c"), "indeterminate": ("D", "#8a6d00"),
           "deferred": ("s", "#0072B2"), "not tested": ("v", "#5a6570")}


class Evidence:
    """A figure as static output: a PNG, a sentence for who cannot see it, and ``about`` it what the
    page's zoom needs."""

    def __init__(self, figure: Figure, sentence: str,
                 about: Mapping[str, Any] | None = None) -> None:
        self.figure, self.sentence = figure, sentence
        self.about = about or ({"time": edges} if (edges := _edges(figure)) else {})

    def png(self) -> bytes:
        """The picture, in as many colors as a palette holds: a third of the size, and a record
        carries eleven."""
        stream, about, drawn = io.BytesIO(), PngInfo(), FigureCanvasAgg(self.figure)
        about.add_itxt("Description", self.sentence)
        drawn.draw()
        Image.fromarray(np.asarray(drawn.buffer_rgba())).convert("RGB").quantize(
            256, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE,
        ).save(stream, "png", dpi=(DPI, DPI), pnginfo=about)
        return stream.getvalue()

    def _repr_mimebundle_(self, **_: Any) -> Any:
        picture = base64.b64encode(self.png()).decode("ascii")
        data = {"image/png": picture, "text/plain": f"Figure: {self.sentence}"}
        return data, {"image/png": {"alt": self.sentence, **self.about}}


def time_charts(figure: Figure) -> list[list[Axes]]:
    """The charts with time across, those of the same stretch together."""
    groups: dict[tuple[float, float], list[Axes]] = {}
    for ax in figure.axes:
        if isinstance(ax.xaxis.get_major_formatter(), dates.ConciseDateFormatter):
            groups.setdefault(ax.get_xlim(), []).append(ax)
    return list(groups.values())


def _edges(figure: Figure) -> list[list[float]]:
    """Left, right, top and bottom of each such group, as shares of the picture from its corner."""
    boxes = [Bbox.union([ax.get_position() for ax in group]) for group in time_charts(figure)]
    return [[round(each, 4) for each in (box.x0, box.x1, 1.0 - box.y1, 1.0 - box.y0)]
            for box in boxes]


def canvas(rows: int = 1, height: float = 4.2, heights: Sequence[float] | None = None,
           share: bool = False, columns: int = 1) -> tuple[Figure, list[Axes]]:
    """A figure with so many axes one below the other, or in so many columns."""
    figure = Figure(figsize=(WIDTH, height), dpi=DPI)
    FigureCanvasAgg(figure)
    grid = figure.subplots(rows, columns, squeeze=False, sharex=share,
                           gridspec_kw={"height_ratios": heights or [1.0] * rows})
    axes = list(grid.flat)
    for ax in axes:
        ax.spines[["top", "right"]].set_visible(False)
        ax.tick_params(labelsize=9, colors=INK)
        ax.grid(True, color="#dfe4e8", linewidth=0.6)
        ax.set_axisbelow(True)
    figure.subplots_adjust(left=0.075, right=0.80, top=0.9, bottom=0.11, hspace=0.42)
    return figure, axes


def nothing(about: str, why: str, what: str = "not tested") -> Evidence:
    """A figure that says why there is nothing to draw."""
    figure, (ax,) = canvas(height=1.6)
    figure.subplots_adjust(top=0.78)
    title(ax, about)
    ax.set_axis_off()
    ax.text(0.0, 0.5, f"{what.capitalize()}: {textwrap.fill(plain(why), 95)}",
            transform=ax.transAxes, fontsize=11, color=INK, va="center")
    return Evidence(figure, f"{about}: {what}, {plain(why)}")


def times(index: pd.DatetimeIndex) -> np.ndarray:
    """The site's clock times as matplotlib's dates."""
    return dates.date2num(index.tz_localize(None).to_numpy())


def moment(at: datetime) -> float:
    """One moment as matplotlib's date, on the site's clock."""
    return float(dates.date2num(at.replace(tzinfo=None)))


def decimated(series: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """Times and values, no more than two for each pixel, with every extreme kept."""
    x, y = times(pd.DatetimeIndex(series.index)), series.to_numpy(dtype=float)
    size = len(y) // PIXELS
    if size < 3:
        return x, y
    whole = len(y) // size * size
    blocks = y[:whole].reshape(-1, size)
    low = np.where(np.isnan(blocks), np.inf, blocks).argmin(axis=1)
    high = np.where(np.isnan(blocks), -np.inf, blocks).argmax(axis=1)
    keep = np.sort(np.stack([low, high], axis=1), axis=1) + np.arange(0, whole, size)[:, None]
    rest = np.arange(whole, len(y))
    chosen = np.concatenate([keep.ravel(), rest])
    return x[chosen], y[chosen]


def draw(ax: Axes, series: pd.Series, look: Look, step: bool = False) -> None:
    """A line over time; a gap stays a gap, and a nearer look has rows of its own."""
    (line,) = ax.plot(*decimated(series), color=look.colour, linestyle=look.style,
                      linewidth=look.width, drawstyle="steps-post" if step else "default")
    x = times(pd.DatetimeIndex(series.index))

    def nearer(ax: Axes) -> None:
        first, last = np.searchsorted(x, ax.get_xlim())
        line.set_data(*decimated(series.iloc[max(first - 1, 0): last + 1]))

    ax.callbacks.connect("xlim_changed", nearer)


def label_lines(ax: Axes, drawn: Sequence[Line], levels: Sequence[Level] = ()) -> None:
    """Each line's name at its right end, and each level's, moved apart where two would overlap."""
    ends = [(series.dropna(), text, look.colour) for series, text, look in drawn]
    label_levels(ax, [*((float(known.iloc[-1]), text, colour) for known, text, colour in ends
                        if len(known)), *levels])


def label_levels(ax: Axes, levels: Sequence[Level]) -> None:
    """Names at heights right of the axes, moved apart where two would overlap."""
    low, high = ax.get_ylim()
    gap = (high - low) * 12.5 / (ax.get_window_extent().height * 72.0 / DPI)
    ordered = sorted((min(max(at, low), high), text, colour) for at, text, colour in levels)
    free = -np.inf
    places = []
    for at, _, _ in ordered:
        free = max(at, free + gap)
        places.append(free)
    # A crowd at the top is moved down as a whole, so that it stays beside the axes.
    over = max(0.0, (places[-1] if places else low) - high)
    for place, (_, text, colour) in zip(places, ordered, strict=True):
        ax.annotate(text, (1.0, place - over), xycoords=("axes fraction", "data"), xytext=(6, 0),
                    textcoords="offset points", color=colour, fontsize=9, va="center",
                    annotation_clip=False)


def events(ax: Axes, case: FunctionalTest, named: Sequence[tuple[int | None, str]]) -> None:
    """An upright line at each event's row, its name above; names that would meet are joined."""
    known = sorted((moment(case.time(at)), text) for at, text in named if at is not None)
    low, high = ax.get_xlim()
    groups: list[tuple[float, list[str]]] = []
    for x, text in known:
        ax.axvline(x, color=INK, linewidth=1.0)
        if groups and x - groups[-1][0] < 0.014 * len(", ".join(groups[-1][1])) * (high - low):
            groups[-1][1].append(text)
        else:
            groups.append((x, [text]))
    for x, texts in groups:
        ax.annotate(", ".join(filter(None, texts)), (x, 1.0), xycoords=("data", "axes fraction"),
                    xytext=(2, 2), textcoords="offset points", fontsize=8.5, color=INK,
                    annotation_clip=False)


def shade(ax: Axes, start: datetime, end: datetime, kind: str, name: str = "") -> None:
    """A stretch of time, with its name at the top of its end, where a pull-down's lines are low."""
    ax.axvspan(moment(start), moment(end), color=SHADES[kind], zorder=0)
    ax.annotate(name, (moment(end), 1.0), xycoords=("data", "axes fraction"), xytext=(-3, -10),
                textcoords="offset points", ha="right", fontsize=8.5, color=GREY)


def finish(ax: Axes, text: str, unit: str, start: datetime | None = None,
           end: datetime | None = None) -> None:
    """Title, unit on the axis, and dates that are short."""
    title(ax, text, y=unit, pad=16)
    if start is not None and end is not None:
        ax.set_xlim(moment(start), moment(end))
    locator = dates.AutoDateLocator(minticks=3, maxticks=8)
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))


def lines(ax: Axes, case: FunctionalTest, rows: slice, text: str, unit: str,
          drawn: Sequence[Line], levels: Sequence[Level] = ()) -> None:
    """Lines over time under a title, each with its name; ``levels`` are named beside them."""
    for line, _, look in drawn:
        draw(ax, line, look)
    finish(ax, text, unit, *ends(case, rows))
    label_lines(ax, drawn, levels)


def trended(case: FunctionalTest, rows: slice, named: Sequence[tuple[str, str, Look]]
            ) -> list[Line]:
    """Those of the points that are trended, as lines."""
    return [(series(case, case[point], rows), text, look) for point, text, look in named
            if case.has(point)]


def limit(ax: Axes, at: float, text: str) -> Level:
    """A limit across the axes, and its level with its name."""
    ax.axhline(at, color=LIMIT.colour, linestyle=LIMIT.style)
    return at, text, LIMIT.colour


def title(ax: Axes, text: str, x: str = "", y: str = "", pad: float | None = None) -> None:
    """The title, and what stands on the axes."""
    ax.set_title(text, loc="left", fontsize=11, color=INK, pad=pad)
    ax.set_xlabel(x, fontsize=9, color=INK)
    ax.set_ylabel(y, fontsize=9, color=INK)


def focus(case: FunctionalTest, checks: Sequence[Check], id: str) -> Changeover | None:
    """The changeover that decided a check, else the first one seen."""
    row = next((check for check in checks if check.id == id), None)
    same = [e for e in row.events if e.verdict is row.verdict] if row else []
    worst = min(same, key=lambda e: np.inf if e.margin is None else e.margin, default=None)
    wanted = worst.changeover if worst else 0
    known = [c for c in case.changeovers if c.enabled is not None] or case.changeovers
    return next((c for c in case.changeovers if c.number == wanted), known[0] if known else None)


def reason(checks: Sequence[Check], fallback: str) -> str:
    """Why nothing can be drawn, in the words of the first check that says so."""
    return next((check.reason for check in checks if check.reason), fallback)


def window(case: FunctionalTest, first: int, before: float, last: int, after: float) -> slice:
    """A stretch of rows, widened by so many minutes on either side."""
    return case.window(first - before / case.minutes, last + 1 + after / case.minutes)


def ends(case: FunctionalTest, rows: slice) -> tuple[datetime, datetime]:
    """When the first and the last of these rows begin."""
    return case.time(rows.start), case.time(rows.stop - 1)


def series(case: FunctionalTest, values: np.ndarray, rows: slice) -> pd.Series:
    """Values on the grid, in these rows, over time."""
    return pd.Series(values[rows], case.grid.index[rows])
