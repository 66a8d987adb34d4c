"""All workbooks of the invented sample job without a browser, against bare kernels.

    python tests/benchmarks/workbooks.py [--small]

``--small`` runs two workbooks. A bare kernel is a notebook with one empty line of code.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import _measure as measure
import nbformat

from fptlib.job.start import start_sample
from fptlib.workbook.run import run_all


def main(small: bool) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        job = start_sample(Path(scratch) / "job", "sound")
        books = sorted(job.workbooks_folder.glob("*.ipynb"))
        for book in books[2:] if small else []:
            book.unlink()
        count = len(books[:2] if small else books)
        whole = seconds(lambda: run_all(job), 1 if small else 3)
        for book in job.workbooks_folder.glob("*.ipynb"):
            empty = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("1 + 1")])
            nbformat.write(empty, book)
        bare = seconds(lambda: run_all(job), 1 if small else 3)
    print(f"{count} workbooks {whole:.1f} s, as many bare kernels {bare:.1f} s "
          f"({bare / max(whole, 1e-9):.0%} of it)")
    measure.figure(f"{count} workbooks headless", whole, "s", None if small else 12)


def seconds(task: Callable[[], object], rounds: int) -> float:
    """Median wall seconds."""
    found = []
    for _ in range(rounds):
        begin = time.perf_counter()
        task()
        found.append(time.perf_counter() - begin)
    return statistics.median(found)


if __name__ == "__main__":
    main(measure.small())
