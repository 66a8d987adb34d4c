"""Which plants there are and who runs them: processes of this machine, or a Dask scheduler.

Both run the same function, one plant at a time per worker, and give results as they come. What
is heavy is imported in the worker: the process that collects needs none of it.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context, parent_process
from pathlib import Path

from fptlib.errors import JobError
from fptlib.job.folder import JOB_FILE
from fptlib.portfolio.result import Results, Screening, inputs_digest, unforeseen

RESULTS = "screening"
ATTEMPTS = 2
PATIENCE_SECONDS = 20
LOST = (f"its worker was ended from outside {ATTEMPTS} times, as a system short of memory does; "
        "screen it with fewer workers")


@dataclass(frozen=True, slots=True)
class Task:
    """One plant of a portfolio and where its result goes; paths as every worker sees them."""

    portfolio: Path
    plant: str
    results: Path


def plants(folder: Path) -> list[str]:
    """Every job below ``folder``, as its path from there with forward slashes.

    A sub-folder without any job is listed too: it may be a job that lacks its file, and
    must not be passed over in silence.

    Raises:
        JobError: the folder is missing, is a job itself, or holds no folder.
    """
    if not folder.is_dir():
        raise JobError(f"there is no folder '{folder}'; name the folder that holds the jobs")
    if (folder / JOB_FILE).is_file():
        raise JobError(f"'{folder.name}' is a job itself; name the folder that holds the jobs, "
                       f"or judge this one with 'fptlib check'")
    found = [plant for child in sorted(folder.iterdir())
             if child.is_dir() and not child.name.startswith(".") and child.name != RESULTS
             for plant in _below(child) or [child]]
    if not found:
        raise JobError(f"'{folder.name}' holds no job folder; put the job folders into it")
    return [plant.relative_to(folder).as_posix() for plant in found]


def _below(folder: Path) -> list[Path]:
    found = []
    for here, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if JOB_FILE in files:
            found.append(Path(here))
            folders.clear()
    return found


def screen(folder: Path, workers: int | None = None, scheduler: str | None = None
           ) -> Iterator[Screening]:
    """Judge every job below ``folder``; results come as they are done, and are kept there.

    Args:
        folder: what holds the job folders.
        workers: how many plants at a time; as many as there are cores where left out.
        scheduler: address of a Dask scheduler whose workers do it instead.

    Raises:
        JobError: the folder holds no jobs, the workers are too few, or no scheduler answers.
    """
    folder = folder.resolve()
    tasks = [Task(folder, plant, folder / RESULTS) for plant in plants(folder)]
    if scheduler:
        return on_scheduler(tasks, scheduler)
    if workers is not None and workers < 1:
        raise JobError(f"{workers} plants at a time is too few; give 1 or more")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return on_this_machine(tasks, workers or cores or 1)


def screen_plant(task: Task) -> Screening:
    """The plant's result: the kept one where its inputs are the same, else a new one, kept."""
    try:
        folder, results = task.portfolio / task.plant, Results(task.results)
        digest = inputs_digest(folder)
        if kept := results.read(task.plant, digest):
            return kept
        import pyarrow

        from fptlib.portfolio.screening import screen_with_record

        # One thread per plant: the workers together already use every core.
        pyarrow.set_cpu_count(1)
        screening, record = screen_with_record(folder, task.plant)
        results.keep(screening, digest, record)
        return screening
    # A folder that cannot be read, or a full disk, costs this plant only.
    except Exception as error:  # noqa: BLE001
        return Screening(task.plant, error=unforeseen(error))


def on_this_machine(tasks: Sequence[Task], workers: int) -> Iterator[Screening]:
    """Screen on worker processes, each the one process of a pool that a thread looks after.

    A pool that loses a process gives up all it has at hand; with one process to a pool, a
    worker that is killed costs its own plant's second attempt and nothing else.
    """
    own = threading.local()

    def attempt(task: Task) -> Screening:
        for _ in range(ATTEMPTS):
            try:
                own.pool = pool = getattr(own, "pool", None) or _process()
                return pool.submit(screen_plant, task).result()
            except BrokenProcessPool:
                own.pool = None
        return Screening(task.plant, error=LOST)

    threads = ThreadPoolExecutor(workers)
    try:
        for done in as_completed([threads.submit(attempt, task) for task in tasks]):
            yield done.result()
    finally:
        threads.shutdown(cancel_futures=True)


def _process() -> ProcessPoolExecutor:
    # Spawned everywhere: a fork would copy threads' locks, and Windows has none.
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=prepare)


def prepare() -> None:
    """Make this process a worker: one thread for sums, deaf to Ctrl-C, gone with its parent."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_leave_with_parent, daemon=True).start()


def _leave_with_parent() -> None:
    if parent := parent_process():
        parent.join()
        os._exit(1)


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
        futures = client.map(screen_plant, tasks, pure=False, retries=ATTEMPTS - 1)
        plant_of = {future.key: task.plant for future, task in zip(futures, tasks, strict=True)}
        for future in as_they_come(futures):
            problem = future.exception()
            yield future.result() if problem is None else Screening(
                plant_of[future.key], error=f"its Dask worker failed ({type(problem).__name__}): "
                + " ".join(str(problem).split())[:200])
