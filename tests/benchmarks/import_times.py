"""How long the command line takes to answer, against a bare interpreter.

    python tests/benchmarks/import_times.py [--small]
"""

from __future__ import annotations

from functools import partial

import _measure as measure

if __name__ == "__main__":
    small = measure.small()
    found = measure.side_by_side("imports, whole process", {
        name: partial(measure.process, arguments) for name, arguments in {
            "bare interpreter": ["-c", "pass"],
            "fptlib --help": ["-m", "fptlib", "--help"],
            "import pyarrow.csv": ["-c", "import pyarrow.csv"],
            "import pandas, pyarrow.csv": ["-c", "import pandas, pyarrow.csv"],
            "what a check imports": [
                "-c", "import fptlib.procedure.assemble, fptlib.procedure.steps;"
                "import fptlib.trends.cache"],
            "what a screening worker imports": ["-c", "import fptlib.portfolio.screening"],
        }.items()
    }, 1 if small else 9)
    for title in ("fptlib --help", "what a check imports", "what a screening worker imports"):
        measure.figure(title, measure.median(found[title], "wall"), "s")
