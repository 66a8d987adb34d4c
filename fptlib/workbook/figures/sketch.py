"""The plant as the job describes it: what is piped to what, and which point is trended where."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import FancyBboxPatch, Polygon

from fptlib.job.folder import lookup
from fptlib.workbook.figures import base

# Where a point stands on the sketch: x, y, alignment.
PLACES = {
    "outdoor_wet_bulb": (0.4, 9.3, "left"), "outdoor_dry_bulb": (0.4, 8.85, "left"),
    "cw_supply_temp": (2.35, 4.95, "left"), "cw_supply_setpoint": (2.35, 4.5, "left"),
    "cw_return_temp": (2.35, 7.75, "left"), "cw_flow": (2.35, 4.05, "left"),
    "chw_supply_temp": (11.1, 1.8, "left"), "chw_supply_setpoint": (11.1, 1.35, "left"),
    "chw_reset_setpoint": (11.1, 0.9, "left"), "chw_return_temp": (11.1, 7.75, "left"),
    "chw_flow": (11.1, 7.3, "left"), "economizer_command": (6.4, 1.5, "left"),
}
MOST_CHILLERS = 4
CONDENSER, CHILLED = base.CONDENSER.colour, base.SUPPLY.colour
SUPPLY_X, RETURN_X = 5.7, 5.2
CHILLED_SUPPLY_X, CHILLED_RETURN_X = 9.6, 10.1


def figure(answers: Mapping[str, Any]) -> base.Evidence:
    """A sketch of towers, common sump, chillers and exchanger in parallel."""
    drawn, (ax,) = base.canvas(height=5.6)
    drawn.subplots_adjust(left=0.01, right=0.99, top=0.93, bottom=0.02)
    ax.set_axis_off()
    ax.set_xlim(0, 15.5)
    ax.set_ylim(0, 10)
    base.title(ax, "Plant sketch: names as trended, * is not trended")
    cells = int(lookup(answers, "plant.tower_cells", 0) or 0)
    count = int(lookup(answers, "plant.chillers", 0) or 0)
    exchangers, sumps = (int(lookup(answers, f"plant.{name}", 1) or 1)
                         for name in ("exchangers", "sumps"))
    _towers(ax, cells, sumps)
    _machines(ax, answers, count, exchangers)
    _pipes(ax)
    _points(ax, answers)
    plates = "one exchanger" if exchangers == 1 else f"{exchangers} exchangers"
    return base.Evidence(drawn, f"plant of {count} chillers and {plates} in parallel, {cells} "
                                f"tower cells over "
                                f"{f'{sumps} sumps' if sumps > 1 else 'one common sump'}, with "
                                "trended points")


def _box(ax: Axes, x: float, y: float, w: float, h: float, text: str, ground: str) -> None:
    ax.add_patch(FancyBboxPatch((x, y), w, h, boxstyle="round,pad=0.05", facecolor=ground,
                                edgecolor=base.INK, linewidth=1.2))
    ax.text(x + w / 2, y + h / 2, text, ha="center", va="center", fontsize=9, color=base.INK)


def _towers(ax: Axes, cells: int, sumps: int) -> None:
    ax.add_patch(Polygon([(0.5, 6.3), (1.9, 6.3), (2.1, 8.2), (0.3, 8.2)], facecolor="#eaf4ee",
                         edgecolor=base.INK, linewidth=1.2))
    ax.text(1.2, 7.25, f"{cells} tower\ncells", ha="center", va="center", fontsize=9)
    _box(ax, 0.4, 5.1, 1.6, 0.7, "common sump" if sumps == 1 else f"{sumps} sumps", "#d7e8f5")
    ax.plot([1.2, 1.2], [6.3, 5.9], color=base.INK, linewidth=1.2)


def _machines(ax: Axes, answers: Mapping[str, Any], count: int, exchangers: int) -> None:
    shown = min(count, MOST_CHILLERS)
    for n in range(1, shown + 1):
        tag = lookup(answers, f"plant.chiller_{n}.tag") or f"chiller {n}"
        more = f" and {count - shown} more" if n == shown and count > shown else ""
        _machine(ax, 8.6 - 1.3 * n, f"{tag}{more}", "#f4f1ea")
    tag = lookup(answers, "plant.exchanger.tag") or (
        "plate exchanger" if exchangers == 1 else f"{exchangers} plate exchangers")
    _machine(ax, 2.0, str(tag), "#fbf0d4")


def _machine(ax: Axes, y: float, text: str, ground: str) -> None:
    """A box with its four connections: condenser water left, chilled water right."""
    for x, end, height, colour, dashed in (
        (SUPPLY_X, 6.4, y + 0.2, CONDENSER, False), (RETURN_X, 6.4, y + 0.65, CONDENSER, True),
        (CHILLED_SUPPLY_X, 8.8, y + 0.2, CHILLED, False),
        (CHILLED_RETURN_X, 8.8, y + 0.65, CHILLED, True),
    ):
        _pipe(ax, [x, end], [height, height], colour, dashed, 1.8)
    _box(ax, 6.4, y, 2.4, 0.85, text, ground)


def _pipes(ax: Axes) -> None:
    _pipe(ax, [2.05, SUPPLY_X, SUPPLY_X], [5.4, 5.4, 2.2], CONDENSER, False)
    _pipe(ax, [SUPPLY_X, SUPPLY_X], [5.4, 7.5], CONDENSER, False)
    _pipe(ax, [2.1, RETURN_X, RETURN_X], [8.2, 8.2, 2.65], CONDENSER, True)
    _pipe(ax, [15.2, CHILLED_SUPPLY_X, CHILLED_SUPPLY_X], [2.2, 2.2, 7.5], CHILLED, False)
    _pipe(ax, [15.2, CHILLED_RETURN_X, CHILLED_RETURN_X], [8.2, 8.2, 2.65], CHILLED, True)
    ax.text(2.35, 5.55, "condenser water supply", fontsize=8.5, color=CONDENSER)
    ax.text(2.35, 8.35, "condenser water return", fontsize=8.5, color=CONDENSER)
    ax.text(11.1, 2.35, "chilled water supply", fontsize=8.5, color=CHILLED)
    ax.text(11.1, 8.35, "chilled water return", fontsize=8.5, color=CHILLED)


def _pipe(ax: Axes, x: Sequence[float], y: Sequence[float], colour: str, dashed: bool,
          width: float = 2.5) -> None:
    ax.plot(x, y, color=colour, linewidth=width, linestyle=(0, (5, 2)) if dashed else "-",
            zorder=0)


def _points(ax: Axes, answers: Mapping[str, Any]) -> None:
    mapped = lookup(answers, "points", {}) or {}
    for name, (x, y, side) in PLACES.items():
        column = (mapped.get(name) or {}).get("column")
        text = f"{column}" if column else f"{name} *"
        ax.text(x, y, text, ha=side, va="center", fontsize=8.5,
                color=base.INK if column else base.GREY)
