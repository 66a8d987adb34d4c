"""What screening says of one plant: plain values that travel between processes and files.

This module imports nothing heavy, so that the process that only collects results stays small.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

FAIL, NOT_TESTED = "fail", "not tested"


@dataclass(frozen=True, slots=True)
class Row:
    """One check of one plant; ``at`` is the ISO time of the event that decided."""

    id: str
    question: str
    verdict: str
    reason: str
    at: str = ""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Hours:
    """Economizer hours of one plant, from its own trends.

    Attributes:
        possible: hours in which the enable condition held.
        lost: those of them in which chillers ran without a request.
        certain: the lost hours that the sensors' errors cannot explain.
        span: hours from the first row to the last.
        unseen: hours in which a gap hides whether the condition held or who carried the plant;
            what was possible or lost in them is not counted.
        kwh: energy the lost hours cost, or None; ``why_no_kwh`` says why.
        chiller_kw, economizer_kw: mean plant power over the lost hours and over settled
            economizer runs, from which ``kwh`` comes.
        spark: (possible, lost) hours in equal parts of the trends, first to last.
        why_unknown: why the hours cannot be told; all numbers but ``span`` are None then.
    """

    span: float
    unseen: float | None = None
    possible: float | None = None
    lost: float | None = None
    certain: float | None = None
    chiller_kw: float | None = None
    economizer_kw: float | None = None
    kwh: float | None = None
    why_no_kwh: str = ""
    spark: tuple[tuple[float, float], ...] = ()
    why_unknown: str = ""


@dataclass(frozen=True, slots=True)
class Screening:
    """The result of one plant; ``error`` is one sentence where it could not be screened.

    ``plant`` is the job's folder below the portfolio, with forward slashes; ``first`` and
    ``last`` are ISO times of the trends; ``doubts`` are the sentences of intake that ask for
    a look; ``record_problem`` says why the record could not be made, where it could not.
    """

    plant: str
    title: str = ""
    number: str = ""
    invented: bool = False
    first: str = ""
    last: str = ""
    rows: tuple[Row, ...] = ()
    hours: Hours | None = None
    doubts: tuple[str, ...] = ()
    error: str = ""
    record_problem: str = ""

    def with_verdict(self, verdict: str) -> list[Row]:
        """The checks that came to this verdict."""
        return [row for row in self.rows if row.verdict == verdict]


def to_json(screening: Screening) -> dict[str, Any]:
    """The result as plain JSON types; floats keep every bit."""
    return asdict(screening)


def from_json(stated: dict[str, Any]) -> Screening:
    """The result that ``to_json`` wrote.

    Raises:
        KeyError, TypeError: it is none.
    """
    hours = stated["hours"]
    if hours is not None:
        hours = Hours(**{**hours, "spark": tuple((a, b) for a, b in hours["spark"])})
    rows = tuple(Row(**{**row, "missing": tuple(row["missing"])}) for row in stated["rows"])
    return Screening(**{**stated, "rows": rows, "hours": hours,
                        "doubts": tuple(stated["doubts"])})


def unforeseen(error: BaseException) -> str:
    """One sentence for an error nobody foresaw."""
    said = " ".join(str(error).split())[:200]
    return (f"it could not be screened ({type(error).__name__}: {said}); run 'fptlib check' on "
            "this job to see where it stops")
