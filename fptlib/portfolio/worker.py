"""What a worker does, on this machine or on another: one plant, from folder to kept result."""

from __future__ import annotations

import os
import signal
import threading
from dataclasses import dataclass
from multiprocessing import parent_process
from pathlib import Path

from fptlib.portfolio.result import Screening, unforeseen


@dataclass(frozen=True, slots=True)
class Task:
    """One plant of a portfolio and where its result goes; paths as every worker sees them."""

    portfolio: Path
    plant: str
    results: Path


def screen(task: Task) -> Screening:
    """The plant's result: the kept one where its inputs are the same, else a new one, kept."""
    try:
        return _screen(task)
    # A folder that cannot be read, or a full disk, costs this plant only.
    except Exception as error:
        return Screening(task.plant, error=unforeseen(error))


def _screen(task: Task) -> Screening:
    # Heavy imports stay in the worker: the process that collects needs none of them.
    import pyarrow

    from fptlib.portfolio.results import Results, inputs_digest
    from fptlib.portfolio.screening import screen_with_record

    # One thread per plant: the workers together already use every core.
    pyarrow.set_cpu_count(1)
    folder, results = task.portfolio / task.plant, Results(task.results)
    digest = inputs_digest(folder)
    if kept := results.read(task.plant, digest):
        return kept
    screening, record = screen_with_record(folder, task.plant)
    results.keep(screening, digest, record)
    return screening


def prepare() -> None:
    """Make this process a worker: one thread for sums, deaf to Ctrl-C, gone when its parent is."""
    for library in ("OMP", "OPENBLAS", "MKL"):
        os.environ[f"{library}_NUM_THREADS"] = "1"
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
