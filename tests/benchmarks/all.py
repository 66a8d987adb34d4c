"""Every benchmark, one after the other, and then every figure beside its limit.

    python tests/benchmarks/all.py [--small]

The limits are those of full size on an idle machine of two cores. ``--small`` takes little data
and one round, so that CI sees that all of it still runs: fixed costs weigh more there.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import _measure as measure

if __name__ == "__main__":
    small = measure.small()
    here = Path(__file__).resolve()
    scripts = [path for path in sorted(here.parent.glob("*.py"))
               if not path.name.startswith("_") and path != here]
    failed = []
    with tempfile.TemporaryDirectory() as scratch:
        noted = Path(scratch) / "figures"
        noted.touch()
        for script in scripts:
            print(f"\n=== {script.name}", flush=True)
            if subprocess.run([sys.executable, str(script), *sys.argv[1:]],
                              env={**os.environ, measure.FIGURES: str(noted)}).returncode:
                failed.append(script.name)
        figures = [json.loads(line) for line in noted.read_text(encoding="utf-8").splitlines()]
    print("\n=== every figure beside its limit" + (
        " (small: little data, one round, so only full size counts)" if small else ""))
    print("\n".join(measure.told(*each) for each in figures))
    if failed:
        sys.exit(f"failed: {', '.join(failed)}")
