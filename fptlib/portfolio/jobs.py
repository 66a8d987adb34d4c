"""Which folders of a portfolio are jobs."""

from __future__ import annotations

import os
from pathlib import Path

from fptlib.errors import JobError
from fptlib.job.folder import JOB_FILE

RESULTS = "screening"


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
    found = [plant for child in sorted(folder.iterdir()) if _counts(child)
             for plant in _below(child) or [child]]
    if not found:
        raise JobError(f"'{folder.name}' holds no job folder; put the job folders into it")
    return [plant.relative_to(folder).as_posix() for plant in found]


def _counts(child: Path) -> bool:
    return child.is_dir() and not child.name.startswith(".") and child.name != RESULTS


def _below(folder: Path) -> list[Path]:
    found = []
    for here, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if JOB_FILE in files:
            found.append(Path(here))
            folders.clear()
    return found
