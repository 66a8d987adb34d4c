"""Runs a job's workbooks without a browser, from the saved answers, with the same verdicts."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fptlib import errors
from fptlib.errors import FptError
from fptlib.job.folder import Job, write_atomically
from fptlib.procedure.steps import STEPS, Step
from fptlib.procedure.verdict import Verdict
from fptlib.workbook import kernels, state
from fptlib.workbook.standard import as_bytes, notebooks

CELL_SECONDS = 600
AT_ONCE = 2
WIDGET = "application/vnd.jupyter.widget-view+json"

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class StepResult:
    """What came of one workbook.

    ``verdict`` is the worst of its checks, empty for a step without checks; ``stopped`` is
    the sentence with which it stopped, empty where it ran to its end. ``broken`` tells that
    the workbook itself failed, which is no statement on the plant.
    """

    step: str
    file: str
    verdict: str = ""
    stopped: str = ""
    broken: bool = False


def run_all(job: Job, progress: Progress | None = None,
            steps: Sequence[Step] = STEPS) -> list[StepResult]:
    """Run the workbooks of the job, each in a kernel of its own, and save them executed.

    Steps with verdicts run two at a time; what gathers them up runs after them.

    Args:
        job: the job folder.
        progress: called with a step's title when its workbook is done.
        steps: which of them.
    """
    present = [step for step in steps if (job.workbooks_folder / step.file).is_file()]
    gathering = [step for step in present if step.number >= 10]
    first = [step for step in present if step.number < 10]
    # A room of their own keeps the user's own notebook settings and history out of the kernels.
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as room:
        with ThreadPoolExecutor(AT_ONCE) as pool:
            def work(step: Step) -> StepResult:
                result = run_one(job, step, Path(room))
                if progress is not None:
                    progress(step.title)
                return result

            return [*pool.map(work, first), *pool.map(work, gathering)]


def run_one(job: Job, step: Step, room: Path) -> StepResult:
    """Run one workbook and save it executed."""
    path = job.workbooks_folder / step.file
    try:
        notebook = notebooks().read(path, as_version=4)
    # A damaged file can fail anywhere in its reader.
    except Exception as error:  # noqa: BLE001
        return StepResult(step.name, step.file, "", f"{step.file} is damaged: {error}", True)
    stop = execute(notebook, job, room)
    tidy(notebook)
    write_atomically(path, as_bytes(notebook))
    if stop is None:
        return StepResult(step.name, step.file, state.standing(job, step).verdict)
    name, words = stop
    kind = getattr(errors, name, None)
    if isinstance(kind, type) and issubclass(kind, FptError):
        verdict = str(Verdict.NOT_TESTED) if step.judged else ""
        return StepResult(step.name, step.file, verdict, words)
    return StepResult(step.name, step.file, "", f"the workbook broke: {name}: {words}", True)


def execute(notebook: Any, job: Job, room: Path) -> tuple[str, str] | None:
    """Execute a notebook of a job in place; name and words of what stopped it, or nothing.

    ``room`` is a folder for the kernel's own settings, and holds the empty one it works in.
    """
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, DeadKernelError

    client = NotebookClient(notebook, timeout=CELL_SECONDS, kernel_name="python3",
                            resources={"metadata": {"path": str(kernels.desk(room))}},
                            store_widget_state=False,
                            extra_arguments=["--IPKernelApp.log_level=ERROR"])
    environment = kernels.environment(FPTLIB_JOB=str(job.folder), IPYTHONDIR=str(room))
    try:
        # A loop of its own, closed at the end; the selector one works with ZeroMQ on Windows.
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            runner.run(client.async_execute(env=environment))
    except CellExecutionError as error:
        return str(error.ename), str(error.evalue)
    except (DeadKernelError, TimeoutError) as error:
        return type(error).__name__, "the kernel died or took too long; run the step again"
    return None


def tidy(notebook: Any) -> None:
    """Leave what a reader without a kernel can use: no widgets, no times of execution."""
    notebook.metadata.pop("widgets", None)
    for cell in notebook.cells:
        cell.metadata.pop("execution", None)
        if cell.cell_type == "code":
            cell.outputs = [output for output in cell.outputs if _useful(output)]


def _useful(output: Any) -> bool:
    data = output.get("data")
    if data is None:
        return True
    data.pop(WIDGET, None)
    return bool(data)
