"""What a case holds, told in tables: trends read, what intake found, the changeovers."""

from __future__ import annotations

import numpy as np

from fptlib import points, units
from fptlib.physics import sump
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.overview import overview as facts
from fptlib.procedure.steps import points_used
from fptlib.trends.quality import quality as report_of
from fptlib.workbook import static
from fptlib.workbook.static import Shown

MOST_REMARKS = 60
_TIME = "%Y-%m-%d %H:%M"


def trends(case: FunctionalTest) -> Shown:
    """The files read and what intake found in them."""
    files = [[f.name, f"{f.rows}", f"{f.first:{_TIME}}", f"{f.last:{_TIME}}",
              f"{f.step_minutes:g} min"] for f in case.grid.files]
    shown = static.table("Trend files read", ("File", "Rows", "From", "To", "Step"), files,
                         "none")
    return shown + remarks(case)


def remarks(case: FunctionalTest) -> Shown:
    """What intake did and found; what must be looked at first."""
    order = {"unusable": 0, "doubt": 1, "note": 2}
    found = sorted(case.grid.remarks, key=lambda r: order.get(r.severity, 3))
    rows = [[r.severity, points.tagged(r.point, case.grid.tag(r.point)) or r.file,
             points.plain(r.text)]
            for r in found[:MOST_REMARKS]]
    more = len(found) - len(rows)
    title = "What was found in the files" + (f" ({more} more notes)" if more else "")
    return static.table(title, ("Kind", "Where", "What"), rows, "nothing to remark")


def overview(case: FunctionalTest) -> Shown:
    """How the plant runs, whatever its economizer does."""
    rows = [[fact.name, units.symbol(fact.unit),
             *(units.rounded(value, fact.unit) for value in (fact.low, fact.median, fact.high)),
             f"{fact.hours:.0f}"] for fact in facts(case)]
    return static.table(
        "How the plant runs (nine of ten hours lie between the two outer values)",
        ("What", "Unit", "5 % below", "Median", "5 % above", "Hours"), rows, "nothing trended")


def quality(case: FunctionalTest) -> Shown:
    """What of the trends is not whole, and which checks it costs."""
    report = report_of(case.grid, points_used(case))
    looked_at = [remark for remark in case.grid.remarks if remark.severity != "note"]
    unused = dict.fromkeys(r.point for r in looked_at if r.severity == "unusable")
    flawed = report[(report["gaps"] > 0) | (report["stuck_hours"] > 0) | (report["spikes"] > 0)
                    | report.index.isin(list(case.doubts))]
    rows = [[points.tagged(str(name), case.grid.tag(str(name))), units.rounded(row["coverage"]),
             f"{row['gaps']}", units.rounded(row["longest_gap"]),
             units.rounded(row["stuck_hours"]), f"{row['spikes']}",
             "yes" if name in case.doubts else "no", str(row["costs"]) or "none"]
            for name, row in flawed.iterrows()]
    rows += [[points.plain(name), *["–"] * 5, "not used", "all that need it"] for name in unused]
    total = len(report) + len(unused)
    return static.table(
        f"Quality of the trends: {total - len(rows)} of {total} points are whole",
        ("Point", "Coverage, %", "Gaps", "Longest, h", "Stuck, h", "Spikes", "In doubt",
         "Checks it costs"),
        rows, "every point has a value in every row; see what was found in the files"
        if looked_at else "every point is whole")


def changeovers(case: FunctionalTest) -> Shown:
    """Every changeover found, by its moments on the site's clock."""
    given_up = any(c.abandoned is not None for c in case.changeovers)
    rows = []
    for c in case.changeovers:
        back = case.recovered(c.run) if c.run else None
        moments = [c.enabled, c.transition, back, c.exit_row, *([c.abandoned] if given_up else [])]
        rows.append([f"{c.number}", *(
            "–" if row is None else f"{case.time(row):%m-%d %H:%M}" for row in moments)])
    heads = ("No.", "Enable", "Transition", "Recovered", "Exit",
             *(["Abandoned"] if given_up else []))
    missing = case.missing("request", "chillers")
    empty = (f"not trended: {points.plain(', '.join(missing))}" if missing
             else "none in these trends")
    return static.table("Changeovers found (month-day hour:minute)", heads, rows, empty)


def pull_downs(test: FunctionalTest) -> Shown:
    """How far and how fast the sump was pulled cold, and with its volume the towers' net heat
    rejection."""
    rows = []
    known = not test.missing("request", "chillers", "cw_supply_temp")
    for request in test.requests if known else ():
        water = test["cw_supply_temp"][request.pull_down]
        at = np.flatnonzero(~np.isnan(water))
        if len(at) < 2:
            continue
        drop = float(water[at[0]] - water[at[-1]])
        minutes = float(at[-1] - at[0]) * test.minutes
        volume = test.plant.sump_volume
        tons = f"{sump.net_rejection(volume, drop, minutes):.0f}" if volume else "–"
        rows.append([f"{request.number}", f"{drop:.1f}", f"{minutes:.0f}", tons])
    return static.table("How the towers pulled the sump cold",
                        ("Changeover", "Drop, °F", "Minutes", "Net heat rejection, tons"), rows,
                        "no pull-down was seen")
