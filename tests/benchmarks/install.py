"""What an installation weighs on disk, by dependency, without extras.

    python tests/benchmarks/install.py [--small]
"""

from __future__ import annotations

import re
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import _measure as measure


def needed(name: str, found: dict[str, float]) -> None:
    """The size [MB] of a package, and of what it needs here, by name."""
    name = re.sub(r"[-_.]+", "-", name).lower()
    if name in found:
        return
    try:
        one = distribution(name)
    except PackageNotFoundError:
        return  # of another system or Python
    files = (Path(str(one.locate_file(file))) for file in one.files or ())
    found[name] = sum(file.stat().st_size for file in files if file.is_file()) / 1e6
    for requirement in one.requires or ():
        if "extra ==" not in requirement:
            needed(re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0], found)


if __name__ == "__main__":
    measure.small()
    found: dict[str, float] = {}
    needed("fptlib", found)
    sizes = sorted(found.items(), key=lambda each: -each[1])
    print(f"MB on disk of {len(sizes)} packages; the largest:")
    print("\n".join(f"{size:>8.1f}  {name}" for name, size in sizes[:20]))
    measure.figure("installed without extras", sum(found.values()), "MB", 250)
