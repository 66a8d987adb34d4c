"""Sensors: trended against calculated wet bulb, and trends against field readings."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib import points
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check, Event
from fptlib.workbook.figures import base

MOST_READINGS = 16
WET_BULB = ("outdoor_wet_bulb", "outdoor_dry_bulb", "outdoor_humidity")


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """What there is of the two comparisons."""
    wet_bulb = case.has(*WET_BULB)
    compared = _compared(checks)
    if not (wet_bulb or compared):
        return base.nothing("Sensor check", base.reason(checks, "points are missing"))
    count = wet_bulb + bool(compared)
    tall = 0.9 + 0.27 * min(len(compared), MOST_READINGS)
    drawn, axes = base.canvas(count, 2.6 * wet_bulb + tall * bool(compared),
                              [2.6] * wet_bulb + [tall] * bool(compared))
    # The upper axes' dates and the lower one's title need the same height, however tall both are.
    between = 1.7 / (0.79 * drawn.get_figheight() - 0.85)
    drawn.subplots_adjust(left=0.42 if compared else 0.075, hspace=between, right=0.9)
    if wet_bulb:
        _wet_bulb(axes[0], case)
    if compared:
        _readings(axes[-1], compared)
    return base.Evidence(drawn, "difference of trended and calculated wet bulb; difference of "
                                "trends and field readings with their uncertainty")


def _compared(checks: Sequence[Check]) -> list[Event]:
    row = next((check for check in checks if check.id == "instruments.agreement"), None)
    judged = [e for e in row.events if e.measured is not None and e.limit] if row else []
    # With many readings those nearest the limit are shown, in their order.
    nearest = sorted(judged, key=lambda e: e.margin or 0.0)[:MOST_READINGS]
    return [event for event in judged if event in nearest]


def _wet_bulb(ax: Axes, case: FunctionalTest) -> None:
    difference = case.grid.frame["outdoor_wet_bulb"] - case.calculated_wet_bulb
    base.draw(ax, difference, base.MEASURED)
    limit = case.limits["instruments.wet_bulb"]
    levels = [base.limit(ax, -limit, f"−{limit:g}"), base.limit(ax, limit, f"+{limit:g}")]
    base.finish(ax, "Trended minus calculated wet bulb", "°F",
                *base.ends(case, slice(0, len(case))))
    base.label_levels(ax, levels)


def _readings(ax: Axes, compared: Sequence[Event]) -> None:
    for place, event in enumerate(compared):
        assert event.measured is not None and event.limit is not None
        marker, colour = base.MARKERS[event.verdict]
        share, doubt = (value / event.limit for value in (event.measured, event.uncertainty or 0))
        ax.errorbar(share, place, xerr=doubt, fmt=marker, color=colour, capsize=3)
    ax.axvline(1.0, color=base.LIMIT.colour, linestyle=base.LIMIT.style)
    names = [f"{points.point(e.name.split(' ')[0]).meaning}, {e.start:%m-%d %H:%M}"
             for e in compared]
    ax.set_yticks(range(len(names)), names, fontsize=8)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xlim(left=0.0)
    base.title(ax, "Trend against field reading: difference as a share of the limit",
               "share of the limit (1 = at the limit)")
