"""Lift of each running chiller against its minimum, and the setpoint that protects it."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib.procedure import lift
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
        base.shade(ax, case.time(chosen.request.row), case.time(chosen.request.end), "pull-down",
                   "pull-down")
        base.events(ax, case, [(chosen.enabled, "enable"),
                               (chosen.transition, "last chiller stops"),
                               (chosen.abandoned, "abandoned")])
    return base.Evidence(drawn, f"lift of each running chiller against its minimum in "
                                f"{chosen.name}, and the setpoint that protects it")


def _lifts(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    lifts = [(base.series(case, case.water_lift(n), rows), f"chiller {n}", look)
             for n, look in zip(case.chiller_numbers, base.SERIES * 8, strict=False)]
    least = {c.minimum_water_lift for c in case.plant.chillers
             if c.minimum_water_lift is not None}
    base.lines(ax, case, rows, "Water lift: condenser water leaving minus chilled water leaving",
               "°F", lifts, [base.limit(ax, each, f"minimum {each:g}") for each in sorted(least)])


def _setpoint(ax: Axes, case: FunctionalTest, rows: slice) -> None:
    known = base.trended(case, rows, (
        ("chw_supply_setpoint", "active setpoint", base.ACTIVE),
        ("chw_supply_temp", "supply", base.SUPPLY),
        ("cw_supply_temp", "condenser water", base.CONDENSER)))
    if case.has("cw_supply_temp"):
        wanted = base.series(case, lift.temporary_setpoint(case), rows)
        known.append((wanted, "setpoint lift asks for", base.TOWER_SETPOINT))
    base.lines(ax, case, rows, "Active setpoint against condenser water", "°F", known,
               [base.limit(ax, case.floor, f"floor {case.floor:g}")])
