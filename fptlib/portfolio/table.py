"""The portfolio as one table, a row per plant, the plant that lost most first."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from fptlib.portfolio.result import FAIL, NOT_TESTED, Screening
from fptlib.record.text import harmless

HEAD = ("rank", "plant", "title", "number", "trends_from", "trends_to", "trended_hours",
        "unseen_hours", "possible_hours", "lost_hours", "lost_hours_beyond_doubt",
        "lost_kwh_estimate", "chiller_kw", "economizer_kw", "failed", "not_tested",
        "why_no_hours", "why_no_kwh",
        "error", "record_problem")


def ranked(screenings: Sequence[Screening]) -> list[Screening]:
    """Most hours lost first, then most energy; plants without a number last, by name."""
    def order(screening: Screening) -> tuple[float, float, str]:
        hours = screening.hours
        lost = hours.lost if hours and hours.lost is not None else -1.0
        energy = hours.kwh if hours and hours.kwh is not None else 0.0
        return -lost, -energy, screening.plant

    return sorted(screenings, key=order)


def check_ids(screenings: Sequence[Screening]) -> list[str]:
    """Every check that any plant has, in the procedure's order."""
    return list(dict.fromkeys(row.id for plant in screenings for row in plant.rows))


def table(screenings: Sequence[Screening]) -> str:
    """The table as CSV: the columns of ``HEAD``, then one per check with its verdict."""
    checks = check_ids(screenings)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*HEAD, *checks])
    for rank, plant in enumerate(ranked(screenings), start=1):
        verdicts = {row.id: row.verdict for row in plant.rows}
        writer.writerow([*map(harmless, _row(rank, plant)),
                         *(verdicts.get(name, "") for name in checks)])
    return text.getvalue()


def _row(rank: int, plant: Screening) -> list[object]:
    h = plant.hours
    numbers = (h.span, h.unseen, h.possible, h.lost, h.certain, h.kwh, h.chiller_kw,
               h.economizer_kw) if h else (None,) * 8
    return [rank, plant.plant, plant.title, plant.number, plant.first, plant.last, *numbers,
            len(plant.with_verdict(FAIL)), len(plant.with_verdict(NOT_TESTED)),
            h.why_unknown if h else "", h.why_no_kwh if h else "", plant.error,
            plant.record_problem]
