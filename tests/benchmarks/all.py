"""Every benchmark, one after the other.

    python tests/benchmarks/all.py [--small]
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

if __name__ == "__main__":
    here = Path(__file__).resolve()
    scripts = [path for path in sorted(here.parent.glob("*.py"))
               if not path.name.startswith("_") and path != here]
    failed = []
    for script in scripts:
        print(f"\n=== {script.name}", flush=True)
        if subprocess.run([sys.executable, str(script), *sys.argv[1:]]).returncode:
            failed.append(script.name)
    if failed:
        sys.exit(f"failed: {', '.join(failed)}")
