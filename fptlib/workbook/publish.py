"""Re-executes the standard workbooks on the sample plant and writes them back in place.

For maintainers: ``python -m fptlib.workbook.publish``. The job is a copy of the sample in a
temporary folder; only the outputs of ``workbooks/`` change, the title and purpose above each,
which are the step's, and the formula above each worksheet, which is the check's.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from fptlib.job.folder import Job, write_atomically
from fptlib.job.start import data_folder, start_sample
from fptlib.limits import standard
from fptlib.procedure.judge import CheckOf
from fptlib.procedure.steps import STEPS, Step
from fptlib.workbook import run
from fptlib.workbook.standard import as_bytes, notebooks


def publish(folder: Path) -> list[str]:
    """Execute every workbook of a folder, one after the other; returns what went wrong."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as room:
        job = start_sample(Path(room) / "sample")
        outcomes = [_one(folder / step.file, step, job, Path(room)) for step in STEPS]
    return [outcome for outcome in outcomes if outcome]


def head(step: Step, cell: str) -> str:
    """The first cell of a step's workbook, with the step's title and purpose."""
    *_, rest = cell.split("\n\n", 2)
    return f"# {step.label} · {step.title}\n\n**Purpose:** to {step.purpose}.\n\n{rest}"


def formula(check: CheckOf) -> str:
    """The cell above a check's worksheet: what it asks, how it is calculated, its limits."""
    calculated = " ".join((check.function.__doc__ or "").split())
    limits = "; ".join(f"{standard(name).meaning} (`{name}`)" for name in check.limits)
    parts = [f"### {check.words['question']}", f"**Formula:** {calculated}",
             *([f"**Limits:** {limits}."] if limits else []), f"Check `{check.id}`."]
    return "\n\n".join(parts)


def cell_of(check: CheckOf) -> str:
    """The id of that cell."""
    return check.id.replace(".", "-").replace("_", "-") + "-formula"


def _one(path: Path, step: Step, job: Job, room: Path) -> str:
    notebook = notebooks().read(path, as_version=4)
    notebook.cells[0].source = head(step, notebook.cells[0].source)
    formulas = {cell_of(check): formula(check) for check in step.checks}
    for cell in notebook.cells:
        cell.source = formulas.get(cell.id, cell.source)
    stop = run.execute(notebook, job, room)
    run.tidy(notebook)
    notebook.metadata["language_info"] = {"name": "python"}
    write_atomically(path, as_bytes(notebook))
    return f"{path.name}: {': '.join(stop)}" if stop else ""


if __name__ == "__main__":
    wrong = publish(data_folder("workbooks"))
    print("\n".join(wrong) or "all workbooks executed")
    sys.exit(bool(wrong))
