"""A run: supply and condenser water against their setpoints."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check
from fptlib.workbook.figures import base


def figure(case: FunctionalTest, checks: Sequence[Check]) -> base.Evidence:
    """The run that decided how well towers and supply were held."""
    bad = [check.id for check in checks if check.verdict == "fail" and check.events]
    chosen = base.focus(case, checks, bad[0] if bad else "running.tower_setpoint")
    if case.missing("request", "chillers", "chw_supply_temp") or chosen is None:
        return base.nothing("Economizer run", base.reason(checks, "no run in these trends"))
    start = next(row for row in (chosen.transition, chosen.enabled, chosen.last)
                 if row is not None)
    drawn, (above, below) = base.canvas(2, 6.0, share=True)
    rows = base.window(case, start, 30.0, chosen.last, 30.0)
    _pair(above, case, rows, f"Chilled water in the run of {chosen.name}", (
        ("chw_supply_temp", "supply", base.SUPPLY),
        ("chw_supply_setpoint", "active setpoint", base.ACTIVE)))
    _pair(below, case, rows, "Condenser water", (
        ("cw_supply_temp", "condenser water", base.CONDENSER),
        ("cw_supply_setpoint", "tower setpoint", base.TOWER_SETPOINT)), wet_bulb=True)
    for ax in (above, below):
        base.events(ax, case, [(chosen.transition, "transition" if ax is above else ""),
                         (chosen.exit_row, "exit" if ax is above else "")])
    return base.Evidence(drawn, f"supply and condenser water against their setpoints in the run "
                                f"of {chosen.name}")


def _pair(ax: Axes, case: FunctionalTest, rows: slice, title: str,
          points: Sequence[tuple[str, str, base.Look]], wet_bulb: bool = False) -> None:
    lines = base.trended(case, rows, points)
    if wet_bulb and not case.missing("wet_bulb"):
        lines.append((base.series(case, case.wet_bulb, rows), "wet bulb", base.SUPPLY))
    base.lines(ax, case, rows, title, "°F", lines)
