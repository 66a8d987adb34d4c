"""Measuring whole processes side by side: CPU, wall, peak memory; medians of several rounds.

The things compared take turns, so that a busy machine is busy for all of them, and ratios
are medians of the rounds' own ratios.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

FIGURES = "FPTLIB_FIGURES"
ROOT = Path(__file__).resolve().parents[2]
for place in (ROOT, ROOT / "tests" / "support"):
    sys.path.insert(0, str(place))


@dataclass(frozen=True)
class Cost:
    """What one process and its children took: seconds of CPU and wall, MB at the peak."""

    cpu: float
    wall: float
    peak: float


def plant(folder: Path, **how: object) -> Path:
    """Write an invented plant (see ``portfolio_plants.write_job``) from a process of its own.

    A child's peak memory starts at its parent's size; so the measuring process stays small.
    """
    code = ("import sys, json, pathlib, portfolio_plants as plants; "
            "how = json.loads(sys.argv[2]); "
            "names = plants.USUAL if how.pop('usual', False) else (); "
            "plants.write_job(pathlib.Path(sys.argv[1]), names=names, **how)")
    process(["-c", code, str(folder), json.dumps(how)])
    return folder


def process(arguments: Sequence[str], before: Callable[[], object] | None = None) -> Cost:
    """Run Python with these arguments to its end.

    ``peak`` is that of the largest process; where the system does not tell, it is NaN.
    """
    if before:
        before()
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path[:2])}
    # A user's Python keeps its compiled modules; a test machine may be told not to.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    begin = time.perf_counter()
    started = subprocess.Popen([sys.executable, *arguments], env=environment, cwd=ROOT,
                               stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert started.stderr is not None
    said = started.stderr.read()
    if not hasattr(os, "wait4"):
        started.wait()
        return Cost(float("nan"), time.perf_counter() - begin, float("nan"))
    _, status, usage = os.wait4(started.pid, 0)
    started.returncode = os.waitstatus_to_exitcode(status)
    # A verdict of "fail" ends with 1 too, but in silence.
    if started.returncode and said:
        raise SystemExit(f"{' '.join(arguments)}: {said.decode(errors='replace')}")
    # Kilobytes on Linux, bytes on macOS.
    scale = 1e6 if sys.platform == "darwin" else 1e3
    return Cost(usage.ru_utime + usage.ru_stime, time.perf_counter() - begin,
                usage.ru_maxrss / scale)


def here(task: Callable[[], object]) -> Cost:
    """Run a function in this process."""
    begin, cpu = time.perf_counter(), time.process_time()
    task()
    return Cost(time.process_time() - cpu, time.perf_counter() - begin, float("nan"))


def side_by_side(title: str, tasks: Mapping[str, Callable[[], Cost]], rounds: int) -> dict:
    """Run all tasks in turn, print medians and ratios to the first; returns name to costs."""
    found: dict[str, list[Cost]] = {name: [] for name in tasks}
    for _ in range(rounds):
        for name, task in tasks.items():
            found[name].append(task())
    first = next(iter(found))
    print(f"\n{title} (medians of {rounds}; ratios to the first)")
    print(f"{'':<44}{'CPU s':>9}{'wall s':>9}{'peak MB':>9}{'CPU x':>8}{'wall x':>8}")
    for name, costs in found.items():
        cpu, wall, peak = (statistics.median(getattr(c, what) for c in costs)
                           for what in ("cpu", "wall", "peak"))
        print(f"{name:<44}{cpu:>9.3f}{wall:>9.3f}{peak:>9.0f}"
              f"{ratio(costs, found[first], 'cpu'):>8.2f}"
              f"{ratio(costs, found[first], 'wall'):>8.2f}")
    sys.stdout.flush()
    return found


def ratio(costs: Sequence[Cost], base: Sequence[Cost], what: str) -> float:
    """Median of the rounds' ratios."""
    pairs = zip(costs, base, strict=True)
    return statistics.median(getattr(a, what) / max(getattr(b, what), 1e-9) for a, b in pairs)


def figure(title: str, value: float, unit: str, limit: float | None = None,
           least: bool = False) -> None:
    """Note a figure beside its limit, at most or at ``least``, for the table that all.py prints."""
    if noted := os.environ.get(FIGURES):
        with open(noted, "a", encoding="utf-8") as file:
            file.write(json.dumps([title, value, unit, limit, least]) + "\n")
    else:
        print(told(title, value, unit, limit, least))


def told(title: str, value: float, unit: str, limit: float | None, least: bool) -> str:
    """A figure as a line: what, how much, its limit, and whether it is kept."""
    said = f"{title:<58}{value:>9.3g} {unit:<4}"
    if limit is None:
        return f"{said} no limit stated"
    kept = value >= limit if least else value <= limit
    return f"{said} {'>=' if least else '<='}{limit:>6.4g}  {'met' if kept else 'NOT MET'}"


def median(costs: Sequence[Cost], what: str) -> float:
    """Median of what the rounds took."""
    return statistics.median(getattr(cost, what) for cost in costs)


def small() -> bool:
    """Whether ``--small`` was given: little data, one round, so that CI sees it still runs."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--small", action="store_true", help="little data, one round")
    return parser.parse_args().small
