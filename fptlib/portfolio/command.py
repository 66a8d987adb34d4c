"""Screening a folder of jobs: what the command line calls."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from tqdm import tqdm

from fptlib.errors import JobError
from fptlib.job.folder import now, write_atomically
from fptlib.portfolio import engines
from fptlib.portfolio.jobs import RESULTS, plants
from fptlib.portfolio.page import html
from fptlib.portfolio.result import FAIL, Screening
from fptlib.portfolio.table import ranked, table
from fptlib.portfolio.worker import Task


def screen(folder: Path, workers: int | None = None, scheduler: str | None = None) -> int:
    """Screen every job below ``folder``; table, page and records go to its sub-folder.

    Returns 0, or 1 where a plant could not be screened.

    Raises:
        JobError: the folder holds no jobs, or the scheduler does not answer.
    """
    folder = Path(folder).resolve()
    results = folder / RESULTS
    tasks = [Task(folder, plant, results) for plant in plants(folder)]
    found = screenings(tasks, workers, scheduler)
    with tqdm(found, total=len(tasks), unit="plant", desc=folder.name) as bar:
        done = list(bar)
    written = write(results, folder.name, done)
    _say(done, written)
    return 1 if any(plant.error for plant in done) else 0


def screenings(
    tasks: Sequence[Task], workers: int | None = None, scheduler: str | None = None
) -> Iterator[Screening]:
    """The results as they come, from this machine or from a scheduler's workers.

    Raises:
        JobError: the number of workers is none.
    """
    if scheduler:
        return engines.on_scheduler(tasks, scheduler)
    if workers is not None and workers < 1:
        raise JobError(f"{workers} plants at a time is too few; give 1 or more")
    return engines.on_this_machine(tasks, workers or engines.cores())


def write(results: Path, portfolio: str, done: Sequence[Screening]) -> list[Path]:
    """Write the table and the page of these results."""
    results.mkdir(exist_ok=True)
    paths = [results / "portfolio.csv", results / "portfolio.html"]
    # A spreadsheet takes a CSV file for UTF-8 only with this mark.
    write_atomically(paths[0], table(done).encode("utf-8-sig"))
    write_atomically(paths[1], html(done, portfolio, now()))
    return paths


def _say(done: Iterable[Screening], written: Sequence[Path]) -> None:
    for plant in ranked(list(done)):
        print(f"{plant.plant}: {_outcome(plant)}")
    for path in written:
        print(path)


def _outcome(plant: Screening) -> str:
    if plant.error or plant.hours is None:
        return f"COULD NOT BE SCREENED: {plant.error}"
    failed = f"{len(plant.with_verdict(FAIL))} failed"
    if plant.hours.lost is None:
        return f"{failed}; hours not known: {plant.hours.why_unknown}"
    energy = "" if plant.hours.kwh is None else f", about {plant.hours.kwh:,.0f} kWh"
    return f"{failed}; {plant.hours.lost:,.1f} h lost{energy}"
