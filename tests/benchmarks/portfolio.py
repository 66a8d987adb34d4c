"""Portfolios of 1, 4, 16 and 64 plant-months on one and on two workers.

    python tests/benchmarks/portfolio.py [--small]

The workers import this module, so it imports nothing heavy itself. The bare pool is the same
function per plant in ``ProcessPoolExecutor.map`` with nothing around it. A whole run is timed:
worker processes started, every plant screened, results kept.
"""

from __future__ import annotations

import multiprocessing
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import _measure as measure

from fptlib.portfolio import engine
from fptlib.portfolio.engine import RESULTS, Task, prepare, screen_plant


def main(small: bool) -> None:
    counts = [1, 4] if small else [1, 4, 16, 64]
    days, rounds = (2, 1) if small else (30, 3)
    with tempfile.TemporaryDirectory() as scratch:
        root = Path(scratch)
        first = measure.plant(root / "plant 00", days=days, missed=0.3, usual=True, columns=40)
        for n in range(1, counts[-1]):
            shutil.copytree(first, root / f"plant {n:02d}")
        print(f"plants of {days} days, 40 columns; wall seconds, medians of {rounds}")
        print(f"{'plants':>8}{'1 worker':>10}{'2 workers':>10}{'speed-up':>10}"
              f"{'bare pool':>10}{'overhead':>10}")
        for count in counts:
            line(root, count, rounds)
        added(root, counts[-1])


def line(root: Path, count: int, rounds: int) -> None:
    tasks = [Task(root, f"plant {n:02d}", root / RESULTS) for n in range(count)]
    runs: dict[str, Callable[[], object]] = {
        "one": lambda: list(engine.on_this_machine(tasks, 1)),
        "two": lambda: list(engine.on_this_machine(tasks, 2)),
        "bare": partial(bare, tasks),
    }
    found: dict[str, list[float]] = {name: [] for name in runs}
    for _ in range(rounds):
        for name, run in runs.items():
            shutil.rmtree(root / RESULTS, ignore_errors=True)
            found[name].append(timed(run))
    one, two, pool = (statistics.median(found[name]) for name in runs)
    faster = statistics.median(a / b for a, b in zip(found["one"], found["two"], strict=True))
    over = statistics.median(a / b for a, b in zip(found["two"], found["bare"], strict=True))
    print(f"{count:>8}{one:>10.2f}{two:>10.2f}{faster:>10.2f}{pool:>10.2f}{over - 1:>10.1%}",
          flush=True)


def added(root: Path, screened: int) -> None:
    """Ten more plants beside many that are screened already, against those ten alone."""
    names = [f"plant {n:02d}" for n in range(min(10, screened // 2))]
    alone, beside = (
        [Task(root, plant, root / results) for plant in plants]
        for plants, results in ((names, "alone"), (engine.plants(root), RESULTS)))
    list(engine.on_this_machine([task for task in beside if task.plant not in names], 2))
    took = [timed(lambda tasks=tasks: list(engine.on_this_machine(tasks, 2)))
            for tasks in (alone, beside)]
    measure.figure(f"{len(names)} plants added to {screened - len(names)}, of those alone",
                   took[1] / took[0], "x", 1.5)


def timed(run: Callable[[], object]) -> float:
    """Wall seconds."""
    begin = time.perf_counter()
    run()
    return time.perf_counter() - begin


def bare(tasks: Sequence[Task]) -> list:
    with ProcessPoolExecutor(min(2, len(tasks)), multiprocessing.get_context("spawn"),
                             prepare) as pool:
        return list(pool.map(screen_plant, tasks))


if __name__ == "__main__":
    main(measure.small())
