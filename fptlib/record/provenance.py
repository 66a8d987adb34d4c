"""What a record rests on: files with their digests, workbooks, program, clock."""

from __future__ import annotations

import hashlib
import json
import platform
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import Any

import fptlib
from fptlib.errors import RecordError
from fptlib.job.folder import JOB_FILE, READINGS_FILE, Job, sha256
from fptlib.record import canonical

# Packages whose version can change a computed number or the record's bytes.
_PACKAGES = (
    "numpy", "pandas", "pyarrow", "openpyxl", "tomlkit", "rfc8785", "joserfc",
    "cryptography", "tzdata", "matplotlib", "typst", "jinja2",
)
_CODE = {"code", "markdown", "raw"}


def program() -> dict[str, Any]:
    """Version of this program, of Python and of the packages that bear on the numbers."""
    return {
        "name": "fptlib",
        "version": fptlib.__version__,
        "python": platform.python_version(),
        "packages": {name: _version(name) for name in _PACKAGES if _version(name)},
    }


def _version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return ""


def clock(made: datetime) -> dict[str, Any]:
    """The clock of the computer on which the record was made; nobody vouches for it."""
    local = made.astimezone()
    return {"utc": made.isoformat(), "computer": local.isoformat(),
            "computer_zone": str(local.tzname() or "")}


def inputs(job: Job) -> dict[str, Any]:
    """Every input file with SHA-256 and size; the two small ones with their text."""
    return {
        JOB_FILE: _with_text(job.file),
        READINGS_FILE: _with_text(job.readings_file),
        "trends": {path.name: _file(path) for path in job.trend_files()},
    }


def _file(path: Path) -> dict[str, Any]:
    return {"sha256": sha256(path), "size": path.stat().st_size}


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
    """SHA-256 over the code and text cells of each workbook; outputs do not count."""
    if not job.workbooks_folder.is_dir():
        return {}
    found = sorted(job.workbooks_folder.glob("*.ipynb"))
    return {path.name: {"sha256": workbook_digest(path)} for path in found}


def workbook_digest(path: Path) -> str:
    """SHA-256 over a workbook's cells: kind and source, in order.

    Raises:
        RecordError: the file is not a notebook.
    """
    try:
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        stated = [[cell["cell_type"], "".join(cell["source"])] for cell in cells
                  if cell["cell_type"] in _CODE]
    except (ValueError, KeyError, TypeError) as error:
        raise RecordError(f"workbook {path.name} is damaged: it is not a notebook") from error
    return hashlib.sha256(canonical.encode(stated)).hexdigest()
