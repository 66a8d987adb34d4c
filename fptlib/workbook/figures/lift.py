"""Lift of each running chiller against its minimum, and the setpoint that protects it."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib.procedure import lift
from fptlib.procedure.changeovers import Changeover
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base

NEEDS = ("request", "chillers", "chiller_{n}_cw_leaving_temp", "chw_supply_temp")


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """Lift and setpoint around the deciding pull-down."""
    title = "Lift in the pull-down"
    chosen = base.focus(case, checks, "lift.minimum")
    if case.missing(*NEEDS) or chosen is None or chosen.request is None:
        return base.nothing(title, base.reason(checks, "no pull-down in these trends"))
    drawn, (above, below) = base.canvas(2, 6.4, share=True)
    rows = base.window(case, chosen.request.row, 20.0, chosen.request.end, 30.0)
    _lifts(above, case, rows)
    _setpoint(below, case, rows)
    for ax in (above, below):
        _events(ax, case, chosen)
    return base.Evidence(drawn, f"lift of each running chiller against its minimum in "
                                f"{chosen.name}, and the setpoint that protects it")


def _events(ax: Axes, case: FunctionalTest, chosen: Changeover) -> None:
    assert chosen.request is not None
    base.shade(ax, case.time(chosen.request.row), case.time(chosen.request.end), "pull-down",
               "pull-down")
    base.events(ax, case, [(chosen.enabled, "enable"), (chosen.transition, "last chiller stops"),
                     (chosen.abandoned, "abandoned")])


def _lifts(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    labels = []
    for n, look in zip(case.chiller_numbers, base.SERIES * 8, strict=False):
        series = base.series(case, case.water_lift(n), rows)
        if series.notna().any():
            base.draw(ax, series, look)
            labels.append((series, f"chiller {n}", look))
    least = {c.minimum_water_lift for c in case.plant.chillers
             if c.minimum_water_lift is not None}
    for value in sorted(least):
        ax.axhline(value, color=base.LIMIT.colour, linestyle=base.LIMIT.style)
    base.finish(ax, "Water lift: condenser water leaving minus chilled water leaving", "°F",
                *base.ends(case, rows))
    ends = [(float(s.dropna().iloc[-1]), text, look.colour) for s, text, look in labels]
    base.label_levels(ax, [*ends, *((v, f"minimum {v:g}", base.LIMIT.colour) for v in least)])


def _setpoint(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    known = [
        (base.series(case, case[name], rows), text, look) for name, text, look in (
            ("chw_supply_setpoint", "active setpoint", base.ACTIVE),
            ("chw_supply_temp", "supply", base.SUPPLY),
            ("cw_supply_temp", "condenser water", base.CONDENSER),
        ) if case.has(name)
    ]
    if case.has("cw_supply_temp"):
        wanted = base.series(case, lift.temporary_setpoint(case), rows)
        known.append((wanted, "setpoint lift asks for", base.TOWER_SETPOINT))
    for series, _, look in known:
        base.draw(ax, series, look)
    ax.axhline(case.floor, color=base.LIMIT.colour, linestyle=base.LIMIT.style)
    base.finish(ax, "Active setpoint against condenser water", "°F", *base.ends(case, rows))
    floor = known[0][0] * 0.0 + case.floor if known else None
    extra = [(floor, f"floor {case.floor:g}", base.LIMIT)] if floor is not None else []
    base.label_lines(ax, [*known, *extra])
