"""Works out the table check x fault of the contributor guide and writes it there.

    python tests/faults/write_table.py
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent), str(ROOT / "tests" / "support")]

from faulty_case import Run  # noqa: E402
from library import FAULTS  # noqa: E402
from plants import PLANTS  # noqa: E402

GUIDE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- fault table: begin -->\n", "<!-- fault table: end -->\n"


def table() -> str:
    """One row per fault: what must fail, how often it did, what else failed."""
    lines = ["| fault | must fail, found at plants | fails too, by its nature | false alarms |",
             "| --- | --- | --- | --- |"]
    totals: Counter[str] = Counter()
    for entry in FAULTS:
        found = _failures(entry.name)
        must = ", ".join(f"`{id}` {found[id]}/{len(PLANTS)}" for id in entry.fails) or "none"
        too = ", ".join(f"`{id}` {found[id]}" for id in entry.may_fail if found[id]) or "none"
        false = {id: n for id, n in found.items() if id not in (*entry.fails, *entry.may_fail)}
        told = ", ".join(f"`{id}` {n}" for id, n in sorted(false.items())) or "none"
        lines.append(f"| {entry.name} | {must} | {too} | {told} |")
        totals["intended"] += len(entry.fails) * len(PLANTS)
        totals["found"] += sum(found[id] for id in entry.fails)
        totals["false"] += sum(false.values())
    runs = len(FAULTS) * len(PLANTS)
    lines += ["", f"{totals['found']} of {totals['intended']} intended failures found, "
              f"{totals['false']} false alarms in {runs} runs ({len(FAULTS)} faults at "
              f"{len(PLANTS)} plants, one-minute rows)."]
    return "\n".join(lines) + "\n"


def _failures(fault: str) -> Counter[str]:
    found: Counter[str] = Counter()
    for plant in PLANTS:
        found.update(id for id, check in Run(fault, plant.name).checks(1).items()
                     if check.verdict == "fail")
    return found


def guide_with(new: str) -> str:
    """The contributor guide with the table in its place."""
    before, rest = GUIDE.read_text(encoding="utf-8").split(BEGIN)
    return before + BEGIN + new + END + rest.split(END)[1]


if __name__ == "__main__":
    GUIDE.write_text(guide_with(table()), encoding="utf-8", newline="\n")
