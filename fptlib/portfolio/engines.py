"""Who runs the plants: worker processes of this machine, or the workers of a Dask scheduler.

Both run the same function, one plant at a time per worker, and give results as they come.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from queue import SimpleQueue

from fptlib.errors import JobError
from fptlib.portfolio.result import Screening
from fptlib.portfolio.worker import Task, prepare, screen

ATTEMPTS = 2
PATIENCE_SECONDS = 20
LOST = (f"its worker was ended from outside {ATTEMPTS} times, as a system short of memory does; "
        "screen it with fewer workers")


def cores() -> int:
    """How many plants this machine screens at a time."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def on_this_machine(tasks: Sequence[Task], workers: int) -> Iterator[Screening]:
    """Screen on worker processes, each with a pool of its own.

    A pool that loses a process gives up all it has at hand; with one process to a pool, a
    worker that is killed costs its own plant's second attempt and nothing else.
    """
    idle: SimpleQueue[ProcessPoolExecutor] = SimpleQueue()
    for _ in range(min(workers, len(tasks))):
        idle.put(_process())
    threads = ThreadPoolExecutor(workers)
    try:
        waiting = [threads.submit(_on_an_idle_one, idle, task) for task in tasks]
        for done in as_completed(waiting):
            yield done.result()
    finally:
        threads.shutdown(cancel_futures=True)
        while not idle.empty():
            idle.get().shutdown()


def _process() -> ProcessPoolExecutor:
    # Spawned everywhere: a fork would copy threads' locks, and Windows has none.
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=prepare)


def _on_an_idle_one(idle: SimpleQueue[ProcessPoolExecutor], task: Task) -> Screening:
    process = idle.get()
    try:
        for _ in range(ATTEMPTS):
            try:
                return process.submit(screen, task).result()
            except BrokenProcessPool:
                process.shutdown(wait=False)
                process = _process()
        return Screening(task.plant, error=LOST)
    finally:
        idle.put(process)


def on_scheduler(tasks: Sequence[Task], address: str) -> Iterator[Screening]:
    """Screen on the workers of a Dask scheduler, which must see the same folders.

    Raises:
        JobError: Dask is not installed, or nothing answers at the address.
    """
    try:
        from dask.distributed import Client
        from dask.distributed import as_completed as as_they_come
    except ImportError as error:
        raise JobError("screening on several machines needs Dask; install it with "
                       "pip install 'fptlib[portfolio]'") from error
    try:
        client = Client(address, timeout=PATIENCE_SECONDS)
    except (OSError, ValueError) as error:
        raise JobError(f"no Dask scheduler answers at '{address}'; start one with "
                       "'dask scheduler' and name the address it prints") from error
    with client:
        futures = client.map(screen, tasks, pure=False, retries=ATTEMPTS - 1)
        plants = {future.key: task.plant for future, task in zip(futures, tasks, strict=True)}
        for future in as_they_come(futures):
            yield _of_dask(future, plants[future.key])


def _of_dask(future, plant: str) -> Screening:  # type: ignore[no-untyped-def]
    error = future.exception()
    if error is None:
        return future.result()
    return Screening(plant, error=f"its Dask worker failed ({type(error).__name__}): "
                     + " ".join(str(error).split())[:200])
