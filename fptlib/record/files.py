"""Files: what a record rests on, and new ones that are whole or not there."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, sha256, written_beside
from fptlib.record import canonical

_RECORD = re.compile(r"^(\d{4,})\.json$")
_CELLS_THAT_COUNT = {"code", "markdown", "raw"}


def inputs(job: Job) -> dict[str, Any]:
    """Every input file with SHA-256 and size; the two small ones with their text.

    Raises:
        RecordError: one of the small ones is not UTF-8 text.
    """
    return {
        JOB_FILE: _with_text(job.file),
        READINGS_FILE: _with_text(job.readings_file),
        "trends": {path.name: {"sha256": sha256(path), "size": path.stat().st_size}
                   for path in job.trend_files()},
        # The records before this one: one that is taken away later shows.
        "records": {path.name: {"sha256": sha256(path), "size": path.stat().st_size}
                    for path in records(job.folder)},
    }


def records(job_folder: Path) -> list[Path]:
    """Every record of a job folder, oldest first."""
    folder = job_folder / "record"
    if not folder.is_dir():
        return []
    found = [path for path in folder.iterdir() if _RECORD.match(path.name) and path.is_file()]
    return sorted(found, key=lambda path: int(path.stem))


def _with_text(path: Path) -> dict[str, Any] | None:
    if not path.is_file():
        return None
    # Read once: digest and text must be of the same bytes.
    data = path.read_bytes()
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise RecordError(f"{path.name} is not UTF-8 text; save it as UTF-8") from error
    return {"sha256": canonical.digest(data), "size": len(data), "text": text}


def workbooks(job: Job) -> dict[str, Any]:
    """SHA-256 over the code and text cells of each workbook; outputs do not count.

    Raises:
        RecordError: a file is not a notebook.
    """
    return {path.name: {"sha256": workbook_digest(path)}
            for path in sorted(job.workbooks_folder.glob("*.ipynb"))}


def workbook_digest(path: Path) -> str:
    """SHA-256 over a workbook's cells: kind and source, in order.

    Raises:
        RecordError: the file is not a notebook.
    """
    try:
        return words_digest(path.read_bytes())
    except (ValueError, KeyError, TypeError) as error:
        raise RecordError(f"workbook {path.name} is damaged: it is not a notebook") from error


def words_digest(workbook: bytes) -> str:
    """SHA-256 over the cells of a workbook that was read.

    Raises:
        ValueError, KeyError, TypeError: it is not a notebook.
    """
    stated = [[cell["cell_type"], "".join(cell["source"])]
              for cell in json.loads(workbook)["cells"] if cell["cell_type"] in _CELLS_THAT_COUNT]
    return canonical.digest(canonical.encode(stated))


def write_new(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Write a file that must not exist.

    The bytes are complete and on disk before the name exists, so that a kill or a full disk
    leaves the whole file or none.

    Raises:
        FileExistsError: the name is taken.
        OSError: the file cannot be written.
    """
    with written_beside(path, data, mode) as temporary:
        try:
            # A link fails where the name exists, which a rename does not on every system.
            os.link(temporary, path)
        except FileExistsError:
            raise
        except OSError:
            # File systems of memory sticks know no links; there two programs at the very same
            # moment are kept apart by the caller's lock alone.
            if path.exists():
                raise FileExistsError(17, "the file exists", str(path)) from None
            os.rename(temporary, path)
        _sync(path.parent)


def _sync(folder: Path) -> None:
    if os.name == "nt":  # Windows cannot open a folder for this
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
