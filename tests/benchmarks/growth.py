"""How one plant's time grows with rows and with columns.

    python tests/benchmarks/growth.py [--small]
"""

from __future__ import annotations

import shutil
import tempfile
from functools import partial
from pathlib import Path

import _measure as measure
import portfolio_plants as plants

MONTH = 30


def main(small: bool) -> None:
    from fptlib.job.folder import Job
    from fptlib.procedure.assemble import assemble
    from fptlib.procedure.steps import all_checks

    def judged(folder: Path) -> measure.Cost:
        shutil.rmtree(folder / ".cache", ignore_errors=True)
        return measure.here(lambda: all_checks(assemble(Job(folder))))

    rounds = 1 if small else 5
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        months = [1, 3] if small else [1, 3, 12]
        sizes = {f"{count} months": plants.write_job(
            root / f"{count} months", count * (3 if small else MONTH), 0.3, 0, plants.USUAL, 40)
            for count in months}
        found = measure.side_by_side("growth with rows, without imports", {
            name: partial(judged, folder) for name, folder in sizes.items()}, rounds)
        if not small:
            measure.figure("12 months, wall of one month",
                           measure.ratio(found["12 months"], found["1 months"], "wall"), "x", 11)
        days = 4 if small else 3 * MONTH
        widths = {f"{count} columns, 12 mapped": plants.write_job(
            root / f"{count} columns", days, 0.3, 0, plants.USUAL, count)
            for count in (13, 40, 120)}
        widths["31 columns, all mapped"] = plants.write_job(root / "all", days, 0.3)
        measure.side_by_side(f"growth with columns, {days} days", {
            name: partial(judged, folder) for name, folder in widths.items()}, rounds)


if __name__ == "__main__":
    main(measure.small())
