"""What screening says of one plant: plain values that travel between processes, and their file.

A kept result stands as long as the job's own files, the program's version and the form of the
result are the same; else the plant is screened again. This module imports nothing heavy, so
that the process that only collects results stays small.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from fptlib import __version__, owner
from fptlib.job.folder import JOB_FILE, READINGS_FILE, sha256, write_atomically

FAIL, NOT_TESTED = "fail", "not tested"
FORM = 4


@dataclass(frozen=True, slots=True)
class Row:
    """One check of one plant; ``at`` is the ISO time of the event that decided."""

    id: str
    question: str
    verdict: str
    reason: str
    at: str = ""


@dataclass(frozen=True, slots=True)
class Hours:
    """Economizer hours of one plant, from its own trends.

    Attributes:
        possible: hours in which the enable condition held.
        lost: those of them in which chillers ran and nothing spoke for waiting, from the end of
            the enable delay on.
        certain: the lost hours that the sensors' errors cannot explain.
        span: hours from the first row to the last.
        unseen: hours in which a gap hides whether the condition held or who carried the plant;
            what was possible or lost in them is not counted.
        kwh, kwh_uncertainty: energy the lost hours cost, or None; ``why_no_kwh`` says why.
        amount: that energy in words as workbook and record say it, and its money where the job has
            a rate sheet; ``money`` that alone.
        chiller_kw, economizer_kw: mean plant power over the lost hours, and that of the
            economizer at the same load and weather.
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
    kwh_uncertainty: float | None = None
    why_no_kwh: str = ""
    amount: str = ""
    money: str = ""
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

    @property
    def outcome(self) -> str:
        """What came of it, in a line."""
        if self.error or self.hours is None:
            return f"COULD NOT BE SCREENED: {self.error}"
        failed = f"{len(self.with_verdict(FAIL))} failed"
        if self.hours.lost is None:
            return f"{failed}; hours not known: {self.hours.why_unknown}"
        energy = f", {self.hours.amount}" if self.hours.amount else ""
        return f"{failed}; {self.hours.lost:,.1f} h lost{energy}"


def from_json(stated: dict[str, Any]) -> Screening:
    """The result whose ``dataclasses.asdict`` went through JSON.

    Raises:
        KeyError, TypeError: it is none.
    """
    hours = stated["hours"]
    if hours is not None:
        hours = Hours(**{**hours, "spark": tuple((a, b) for a, b in hours["spark"])})
    rows = tuple(Row(**row) for row in stated["rows"])
    return Screening(**{**stated, "rows": rows, "hours": hours,
                        "doubts": tuple(stated["doubts"])})


def unforeseen(error: BaseException) -> str:
    """One sentence for an error nobody foresaw."""
    said = " ".join(str(error).split())[:200]
    return (f"it could not be screened ({type(error).__name__}: {said}); run 'fptlib check' on "
            "this job to see where it stops")


def inputs_digest(job_folder: Path) -> str:
    """SHA-256 over everything a result rests on: the job's answers, readings and trends."""
    paths = [job_folder / JOB_FILE, job_folder / READINGS_FILE,
             *sorted(job_folder.glob("trends/*"))]
    stated = [[path.name, sha256(path)] for path in paths if path.is_file()]
    text = json.dumps([FORM, __version__, stated], ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


class Results:
    """The folder of results of one portfolio: a file per plant, each replaced in one move."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def file(self, plant: str) -> Path:
        """Where a plant's result lies."""
        return self.folder / "plants" / f"{plant}.json"

    def record_file(self, plant: str) -> Path:
        """Where a plant's unsigned record lies."""
        return self.folder / "records" / f"{plant}.screening.json"

    def read(self, plant: str, digest: str) -> Screening | None:
        """The result that rests on these inputs, or None: there is none, it is damaged, or this
        user did not make it."""
        try:
            stated = json.loads(self.file(plant).read_text(encoding="utf-8"))
            sealed = stated["seal"] and stated["seal"] == _seal(digest, stated["result"])
            return from_json(stated["result"]) if sealed else None
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, screening: Screening, digest: str, record: dict[str, Any] | None) -> None:
        """Write the record, then the result that vouches for it."""
        if record is None:
            self.record_file(screening.plant).unlink(missing_ok=True)
        else:
            _write(self.record_file(screening.plant), record)
        result = asdict(screening)
        _write(self.file(screening.plant),
               {"inputs": digest, "seal": _seal(digest, result), "result": result})


def _seal(digest: str, result: dict[str, Any]) -> str:
    """What only this user can make of a result and its inputs."""
    text = json.dumps([digest, result], sort_keys=True)
    return owner.seal(text.encode("utf-8"))


def _write(path: Path, content: dict[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    write_atomically(path, text.encode("utf-8"))
