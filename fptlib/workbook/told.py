"""What a case holds, told in tables: trends read, what intake found, the changeovers."""

from __future__ import annotations

import pandas as pd

from fptlib.procedure.case import Case
from fptlib.workbook import static
from fptlib.workbook.static import Shown

MOST_REMARKS = 60


def trends(case: Case) -> Shown:
    """The files read and what intake found in them."""
    files = [[f.name, f"{f.rows}", _time(f.first), _time(f.last), f"{f.step_minutes:g} min"]
             for f in case.trends.files]
    shown = static.table("Trend files read", ("File", "Rows", "From", "To", "Step"), files,
                         "none")
    return shown + remarks(case)


def remarks(case: Case) -> Shown:
    """What intake did and found; what must be looked at first."""
    order = {"unusable": 0, "doubt": 1, "note": 2}
    found = sorted(case.trends.remarks, key=lambda r: order.get(r.severity, 3))
    rows = [[r.severity, r.point or r.file, r.text] for r in found[:MOST_REMARKS]]
    more = len(found) - len(rows)
    title = "What was found in the files" + (f" ({more} more notes)" if more else "")
    return static.table(title, ("Kind", "Where", "What"), rows, "nothing to remark")


def changeovers(case: Case) -> Shown:
    """Every changeover found, by its moments on the site's clock."""
    given_up = any(c.abandoned for c in case.changeovers)
    rows = [[f"{c.number}", *map(_moment, (c.request, c.handover, case.recovered(c), c.exit)),
             *([_moment(c.abandoned)] if given_up else [])] for c in case.changeovers]
    heads = ("No.", "Request", "Handover", "Recovered", "Exit",
             *(["Given up"] if given_up else []))
    missing = case.lacking(("request", "chillers"))
    empty = "not trended: " + ", ".join(missing) if missing else "none in these trends"
    return static.table("Changeovers found (month-day hour:minute)", heads, rows, empty)


def _moment(at: pd.Timestamp | None) -> str:
    return "–" if at is None or pd.isna(at) else f"{at:%m-%d %H:%M}"


def _time(at: pd.Timestamp | None) -> str:
    return "–" if at is None or pd.isna(at) else f"{at:%Y-%m-%d %H:%M}"
