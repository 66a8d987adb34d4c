"""The points and trend request of a job: one page and one table file for the controls contractor,
and what the points mapped so far can prove."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from pathlib import Path

from fptlib import points, units
from fptlib.errors import FormError
from fptlib.job import answers
from fptlib.job.folder import Job
from fptlib.procedure.steps import CHECKS, STEPS
from fptlib.procedure.trend_request import (
    DURATION,
    ESSENTIAL,
    USEFUL,
    Requested,
    longest_rows,
    provable,
    request,
    stub,
)
from fptlib.procedure.verdict import step_of
from fptlib.workbook import parts, printed, static, table_file
from fptlib.workbook.forms import Saved
from fptlib.workbook.panels import Panel

HEADS = ("Priority", "Point", "Meaning", "Tag", "Unit", "Interval", "Duration", "Checks served",
         "Not tested without it")
NAME = "trend_request"
_NUMBER = re.compile(r"\d+")
_LABELS = {step.name: step.label for step in STEPS}


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


def printed_rows(rows: Sequence[Requested]) -> list[list[str]]:
    """The points as the page prints them: numbered ones in one row, checks counted by step."""
    families: dict[str, list[Requested]] = {}
    for row in rows:
        families.setdefault(_NUMBER.sub("n", row.point), []).append(row)
    return [[_together(each), ", ".join(filter(None, (row.tag for row in each))),
             units.symbol(each[0].unit) or each[0].unit,
             _by_steps(dict.fromkeys(id for row in each for id in row.lost))]
            for each in families.values()]


def _together(rows: Sequence[Requested]) -> str:
    """What the points of a family mean, with the numbers of all of them."""
    numbers = [int(found[0]) for row in rows if (found := _NUMBER.search(row.point))]
    meaning = rows[0].meaning.split(",")[0]
    if len(numbers) < 2:
        return meaning
    last = max(numbers)
    return _NUMBER.sub(f"1 {'and' if last == 2 else 'to'} {last}", meaning, count=1)


def _by_steps(lost: Collection[str]) -> str:
    """How many checks are lost, and of which steps of the procedure."""
    steps = list(dict.fromkeys(_LABELS[step_of(id)] for id in sorted(lost, key=list(CHECKS).index)))
    count = len(lost)
    return (f"{count} {'check' if count == 1 else 'checks'}, step{'s' * (len(steps) > 1)} "
            f"{', '.join(steps)}")


def _needs_rows(longest: float) -> str:
    return f"needs rows of at most {math.floor(10.0 * longest) / 10.0:g} min"


def _question(id: str) -> str:
    return " ".join(CHECKS[id].words["question"].split())


def _too_long(job: Job) -> str:
    """Which checks are lost with rows longer than they need, whatever is trended."""
    held = job.answers()
    longest = longest_rows(stub(answers.plant(held), (), limits=answers.limits(held)))
    return "Longer ones cannot answer: " + " ".join(
        f"{_question(id)} ({_needs_rows(minutes)})" for id, minutes in longest.items())


def foretold(job: Job, minutes: float = 1.0) -> static.Shown:
    """What the points mapped so far can prove, said before the season is gone."""
    held = job.answers()
    found = provable(answers.plant(held), held.get("points", {}), minutes, answers.aborts(held),
                     answers.sequence(held), answers.limits(held))
    total = len(found.can) + len(found.cannot) + len(found.blind)
    said = f"{len(found.can)} of {total} checks can be decided with the points mapped so far"
    rows = [[_question(id), points.plain(", ".join(lacks))] for id, lacks in found.cannot.items()]
    rows += [[_question(id), _needs_rows(longest)] for id, longest in found.blind.items()]
    rows += [[_question(id), f"may stay undecided: rows of {minutes:g} min are longer than what it "
              "counts"] for id in found.coarse]
    return static.table(said, ("Check", "What it lacks"), rows, "none lacks a point")


def write(job: Job) -> list[Path]:
    """Write the request beside ``job.toml``: a table, and a page to print with its PDF."""
    rows = of(job)
    title = f"Points and trend request: {job.get('job.title', '')}"
    sheet = table_file.write(job.folder / f"{NAME}.csv", HEADS, map(cells, rows))
    heads = ("Point", "Tag", "Unit")
    needed = printed_rows([row for row in rows if row.priority == ESSENTIAL])
    useful = printed_rows([row for row in rows if row.priority == USEFUL])
    return [sheet, *printed.write(job.folder / f"{NAME}.html", title, [
        printed.text(f"Trend every point for {DURATION}, in rows of one minute; states "
                     f"may be logged at each change, alarms with their text. {_too_long(job)} "
                     "Say which points cannot be trended before the season begins. The table file "
                     f"{NAME}.csv has each point with the checks that it serves."),
        printed.table("Essential, what costs most first", (*heads, "Not tested without it"),
                      needed),
        printed.table("Useful: each makes checks surer or stands in for another", heads,
                      [row[:3] for row in useful])])]


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
