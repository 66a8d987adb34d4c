"""A portfolio's results as one table and as one HTML page, the plant that lost most first.

The page is self-contained, printable and readable in grey. Text reaches it only through
Jinja2's escaping, and it may load and run nothing.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from fptlib.job.folder import now, write_atomically
from fptlib.portfolio.result import FAIL, NOT_TESTED, Hours, Row, Screening
from fptlib.record.text import harmless

# One part of the sparkline is so wide, all of it so high [px].
_BAR, _HEIGHT = 3, 24


def write(results: Path, portfolio: str, done: Sequence[Screening]) -> list[Path]:
    """Write table and page of these results; ``portfolio`` names them."""
    results.mkdir(exist_ok=True)
    paths = [results / "portfolio.csv", results / "portfolio.html"]
    # A spreadsheet takes a CSV file for UTF-8 only with this mark.
    write_atomically(paths[0], table(done).encode("utf-8-sig"))
    write_atomically(paths[1], html(done, portfolio, now()))
    return paths


def ranked(screenings: Sequence[Screening]) -> list[Screening]:
    """Most hours lost first, then most energy; plants without a number last, by name."""
    def order(screening: Screening) -> tuple[float, float, str]:
        hours = screening.hours
        lost = hours.lost if hours and hours.lost is not None else -1.0
        energy = hours.kwh if hours and hours.kwh is not None else 0.0
        return -lost, -energy, screening.plant

    return sorted(screenings, key=order)


def _hours(name: str) -> Callable[[Screening], Any]:
    return lambda plant: getattr(plant.hours, name) if plant.hours else None


COLUMNS: dict[str, Callable[[Screening], Any]] = {
    "plant": lambda plant: plant.plant,
    "title": lambda plant: plant.title,
    "number": lambda plant: plant.number,
    "trends_from": lambda plant: plant.first,
    "trends_to": lambda plant: plant.last,
    "trended_hours": _hours("span"),
    "unseen_hours": _hours("unseen"),
    "possible_hours": _hours("possible"),
    "lost_hours": _hours("lost"),
    "lost_hours_beyond_doubt": _hours("certain"),
    "lost_kwh_estimate": _hours("kwh"),
    "lost_kwh_uncertainty": _hours("kwh_uncertainty"),
    "lost_money": _hours("money"),
    "chiller_kw": _hours("chiller_kw"),
    "economizer_kw": _hours("economizer_kw"),
    "failed": lambda plant: len(plant.with_verdict(FAIL)),
    "not_tested": lambda plant: len(plant.with_verdict(NOT_TESTED)),
    "why_no_hours": _hours("why_unknown"),
    "why_no_kwh": _hours("why_no_kwh"),
    "error": lambda plant: plant.error,
    "record_problem": lambda plant: plant.record_problem,
}


def table(screenings: Sequence[Screening]) -> str:
    """The table as CSV: rank, ``COLUMNS``, then a column per check with its verdict."""
    checks = _check_ids(screenings)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["rank", *COLUMNS, *checks])
    for rank, plant in enumerate(ranked(screenings), start=1):
        verdicts = {row.id: row.verdict for row in plant.rows}
        writer.writerow([rank, *(harmless(column(plant)) for column in COLUMNS.values()),
                         *(verdicts.get(name, "") for name in checks)])
    return text.getvalue()


def _check_ids(screenings: Sequence[Screening]) -> list[str]:
    """Every check that any plant has, in the procedure's order."""
    return list(dict.fromkeys(row.id for plant in screenings for row in plant.rows))


def html(screenings: Sequence[Screening], portfolio: str, made: datetime) -> bytes:
    """The page of a portfolio's results; ``portfolio`` names it."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("fptlib.portfolio"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    environment.filters["most_first"] = lambda groups: sorted(groups, key=lambda g: -len(g[1]))
    plants = ranked(screenings)
    page = environment.get_template("portfolio.html.j2").render(
        portfolio=portfolio, made=made, plants=plants,
        failures=_rows(plants, FAIL), untested=_rows(plants, NOT_TESTED),
        shares={plant.plant: _spark(plant.hours) for plant in plants if plant.hours},
        bar=_BAR, height=_HEIGHT,
    )
    return page.encode("utf-8")


def _rows(plants: Sequence[Screening], verdict: str) -> list[tuple[str, Row]]:
    return [(plant.plant, row) for plant in plants for row in plant.with_verdict(verdict)]


def _spark(hours: Hours) -> list[str]:
    """Two outlines of bars: hours possible and hours lost in each part of the trends.

    The full height is the length of one part, so that plants compare.
    """
    part = hours.span / max(len(hours.spark), 1) or 1.0
    steps = [[f"V{_HEIGHT * (1.0 - min(pair[which] / part, 1.0)):.1f}h{_BAR}"
              for pair in hours.spark] for which in (0, 1)]
    return [f"M0 {_HEIGHT}{''.join(each)}V{_HEIGHT}z" if each else "" for each in steps]
