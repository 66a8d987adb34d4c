"""Time and size of every figure over a year of minutes.

    python tests/benchmarks/figures.py [--small]
"""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path

import _measure as measure
import portfolio_plants as plants

from fptlib.job.folder import Job
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import all_checks
from fptlib.workbook.evidence import FIGURES, of


def main(small: bool) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        days = 4 if small else plants.YEAR_DAYS
        case = assemble(Job(plants.write_job(Path(scratch) / "plant", days, 0.3)), keep=False)
    checks = all_checks(case)
    print(f"figures of {days} days: seconds to draw and save, kB (median of five)")
    for step in FIGURES:
        times = []
        for _ in range(1 if small else 5):
            begin = time.perf_counter()
            image = of(step, case, checks).png()
            times.append(time.perf_counter() - begin)
        print(f"{step:<20}{statistics.median(times):>8.3f} s{len(image) / 1e3:>8.0f} kB")


if __name__ == "__main__":
    main(measure.small())
