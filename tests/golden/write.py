"""Writes the golden file, or says where the checks part from it.

    python tests/golden/write.py                  writes every family
    python tests/golden/write.py --check          prints the differences and writes nothing
    python tests/golden/write.py --only samples   one family (may be given several times)

Ends with 1 where ``--check`` found a difference.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), *(str(ROOT / "tests" / name)
                             for name in ("golden", "support", "faults"))]

import golden_cases  # noqa: E402
from snapshot import Difference, Row, compare, load, rows, save  # noqa: E402

DATA = Path(__file__).parent / "data"
SHOWN = 3


def file_of(family: str) -> Path:
    """The golden file of a family."""
    return DATA / f"{family}.json.gz"


def found(family: str, name: str) -> Row | str:
    """The rows of one case as the checks give them now, or why it cannot be made."""
    try:
        return rows(golden_cases.families()[family][name]())
    except golden_cases.Absent as absent:
        return str(absent)


def _told(found: dict[str, list[Difference]], every: bool) -> None:
    """Differences by check and field: how many, and the first few."""
    kinds: dict[tuple[str, str], list[str]] = defaultdict(list)
    for case, differences in found.items():
        for one in differences:
            kinds[one.check, one.field].append(
                f"    {case}: {one.where}\n      old {one.old}\n      new {one.new}")
    for (check, field), texts in kinds.items():
        print(f"  {check}, {field}: {len(texts)}")
        print("\n".join(texts if every else texts[:SHOWN]))


def main() -> int:
    """Run the script."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--check", action="store_true", help="print differences, write nothing")
    parser.add_argument("--only", action="append", metavar="FAMILY",
                        choices=list(golden_cases.families()), help="this family only")
    parser.add_argument("--every", action="store_true", help="print every difference")
    parser.add_argument("--processes", type=int, default=min(2, os.cpu_count() or 1))
    options = parser.parse_args()
    parted = False
    with ProcessPoolExecutor(options.processes) as pool:
        for family, makers in golden_cases.families().items():
            if not options.only or family in options.only:
                now = dict(zip(makers, pool.map(found, [family] * len(makers), makers),
                               strict=True))
                parted |= _finish(family, now, options.check, options.every)
    return int(parted and options.check)


def _finish(family: str, now: dict[str, Row | str], check: bool, every: bool) -> bool:
    """Compare a family with its file and write it where asked; whether they part."""
    old = load(file_of(family))
    made = {name: each for name, each in now.items() if isinstance(each, dict)}
    for absent in sorted({each for each in now.values() if isinstance(each, str)}):
        print(f"{family}: skipped, {absent}")
    parted = {name: differences for name, each in made.items()
              if name in old and (differences := compare(old[name], each))}
    odd = [name for name in made if name not in old] + [name for name in old if name not in now]
    print(f"{family}: {len(made)} cases, {len(parted)} differ"
          + (f"; {len(odd)} not in both: {'; '.join(odd[:SHOWN])} ..." if odd else ""), flush=True)
    _told(parted, every)
    if not check:
        # What cannot be made here keeps the rows it has.
        kept = {name: old[name] for name, each in now.items() if name in old and name not in made}
        save(file_of(family), {**kept, **made})
    return bool(parted or odd)


if __name__ == "__main__":
    sys.exit(main())
