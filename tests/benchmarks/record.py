"""Signing: the record of the sample, and of a plant-year, with its PDF.

    python tests/benchmarks/record.py [--small]
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from pathlib import Path

import _measure as measure

from fptlib.job.folder import Job
from fptlib.job.start import start_sample
from fptlib.record.keys import make_key
from fptlib.workbook import sign_off, state

SECRET = "a passphrase for benchmarks"


def main(small: bool) -> None:
    # What must be closed first is the subject of tests; here the cost counts.
    state.signing_blockers = lambda job: []
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        os.environ["FPTLIB_STATE"] = str(root / "state")
        key = root / "key"
        make_key(key, SECRET)
        job = start_sample(root / "sample", "sound")
        took, size = signed(job, key, 1 if small else 5)
        measure.figure("signing the sample, with PDF", took, "s", 2.5)
        measure.figure("PDF of the sample", size, "MB", 1.5)
        year = Job(measure.plant(root / "plant", days=14 if small else 365, missed=0.3,
                                 usual=True, columns=40))
        took, size = signed(year, key, 1 if small else 3)
        measure.figure("signing a plant-year, with PDF", took, "s", 5)
        measure.figure("PDF of a plant-year", size, "MB", 1.5)


def signed(job: Job, key: Path, rounds: int) -> tuple[float, float]:
    """Median wall seconds of signing, and the size of the PDF [MB]."""
    found = []
    for _ in range(rounds):
        begin = time.perf_counter()
        path = sign_off.sign(job, key, SECRET, "A. Invented")
        found.append(time.perf_counter() - begin)
    return statistics.median(found), path.with_suffix(".pdf").stat().st_size / 1e6


if __name__ == "__main__":
    main(measure.small())
