"""The points and trend request of a job: one page and one table file for the controls contractor,
and what the points mapped so far can prove."""

from __future__ import annotations

import math
from pathlib import Path

from fptlib import units
from fptlib.errors import FormError
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.procedure.trend_request import (
    DURATION,
    Requested,
    longest_rows,
    provable,
    request,
    stub,
)
from fptlib.workbook import parts, printed, static, table_file
from fptlib.workbook.forms import Saved
from fptlib.workbook.panels import Panel

HEADS = ("Priority", "Point", "Meaning", "Tag", "Unit", "Interval", "Duration", "Checks served",
         "Not tested without it")
NAME = "trend_request"


def of(job: Job) -> list[Requested]:
    """Every point to be asked for.

    Raises:
        FormError: the plan does not say how many chillers and tower cells there are.
    """
    held = job.answers()
    plant = answers.plant(held)
    if not plant.chillers or not plant.tower_cells:
        raise FormError("the plan does not say how many chillers and tower cells there are; fill "
                        "in Plant first")
    tags = {name: str(row.get("column", "")) for name, row in held.get("points", {}).items()}
    return request(plant, answers.aborts(held), tags, answers.sequence(held))


def cells(row: Requested) -> list[str]:
    """A point as a row of the table."""
    return [row.priority, row.point, row.meaning, row.tag, units.symbol(row.unit) or row.unit,
            row.interval, DURATION, ", ".join(row.serves), ", ".join(row.lost) or "nothing alone"]


def _needs_rows(longest: float) -> str:
    return f"needs rows of at most {math.floor(10.0 * longest) / 10.0:g} min"


def _too_long(job: Job) -> str:
    """Which checks are lost with rows longer than they need, whatever is trended."""
    held = job.answers()
    longest = longest_rows(stub(answers.plant(held), (), limits=answers.limits(held)))
    return "Longer ones cannot show what these look for: " + "; ".join(
        f"{id} {_needs_rows(minutes)}" for id, minutes in longest.items()) + "."


def foretold(job: Job, minutes: float = 1.0) -> static.Shown:
    """What the points mapped so far can prove, said before the season is gone."""
    held = job.answers()
    found = provable(answers.plant(held), held.get("points", {}), minutes, answers.aborts(held),
                     answers.sequence(held), answers.limits(held))
    total = len(found.can) + len(found.cannot) + len(found.blind)
    said = f"{len(found.can)} of {total} checks can be decided with the points mapped so far"
    rows = [[id, ", ".join(lacks)] for id, lacks in found.cannot.items()]
    rows += [[id, _needs_rows(longest)] for id, longest in found.blind.items()]
    rows += [[id, f"may stay undecided: rows of {minutes:g} min are longer than what it counts"]
             for id in found.coarse]
    return static.table(said, ("Check", "What it lacks"), rows, "none lacks a point")


def write(job: Job) -> list[Path]:
    """Write the request beside ``job.toml``: a table, and a page to print with its PDF."""
    rows = [cells(row) for row in of(job)]
    title = f"Points and trend request: {job.get('job.title', '')}"
    sheet = table_file.write(job.folder / f"{NAME}.csv", HEADS, rows)
    return [sheet, *printed.write(job.folder / f"{NAME}.html", title, [
        printed.text(f"Trend every point for {DURATION}. Essential: the checks named are not "
                     "tested without it. Say which points cannot be trended before the season "
                     "begins."),
        printed.text(f"Rows of one minute are asked for. {_too_long(job)}"),
        printed.table("Points", (*HEADS[:6], "Steps served", HEADS[8]),
                      [[*row[:6], ", ".join(dict.fromkeys(
                          id.partition(".")[0] for id in row[7].split(", "))), row[8]]
                       for row in rows])],
        landscape=True)]


def panel(job: Job, saved: Saved = lambda: None) -> Panel:
    """Show what the mapped points can prove, and write the request."""
    interval = parts.text("Interval of the trends, min", layout=parts.NUMBER_WIDTH, value="1")
    ask = parts.button("What can these points prove?", "fpt-foretell", "")
    press = parts.button("Write the trend request", "fpt-request", "primary")
    shown = parts.html()

    def told() -> str:
        try:
            minutes = float(interval.value)
        except ValueError:
            raise FormError(f"Interval: '{interval.value}' is not a number; type minutes, such "
                            "as 5") from None
        found = foretold(job, minutes)
        shown.value = found.markup
        return found.text.splitlines()[0].rstrip(":")

    def written() -> str:
        return "written: " + ", ".join(path.name for path in write(job))

    made = Panel("Points and trend request", [interval, parts.line([ask, press]), shown])
    return made.does(ask, told).does(press, written, saved)
