"""One file per plant, so that a run that was interrupted goes on where it stopped.

A result stands as long as the job's own files, the program's version and the form of the
result are the same; else the plant is screened again. Files are replaced in one move.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from fptlib import __version__
from fptlib.job.folder import JOB_FILE, READINGS_FILE, sha256, write_atomically
from fptlib.portfolio.result import Screening, from_json, to_json

FORM = 1


def inputs_digest(job_folder: Path) -> str:
    """SHA-256 over everything a result rests on: the job's answers, readings and trends."""
    trends = sorted(path for path in job_folder.glob("trends/*") if path.is_file())
    paths = [job_folder / JOB_FILE, job_folder / READINGS_FILE, *trends]
    stated = [[path.name, sha256(path)] for path in paths if path.is_file()]
    text = json.dumps([FORM, __version__, stated], ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


class Results:
    """The folder of results of one portfolio."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def file(self, plant: str) -> Path:
        """Where a plant's result lies."""
        return self.folder / "plants" / f"{plant}.json"

    def record_file(self, plant: str) -> Path:
        """Where a plant's unsigned record lies."""
        return self.folder / "records" / f"{plant}.screening.json"

    def read(self, plant: str, digest: str) -> Screening | None:
        """The result that rests on these inputs, or None: there is none, or it is damaged."""
        try:
            stated = json.loads(self.file(plant).read_text(encoding="utf-8"))
            return from_json(stated["result"]) if stated["inputs"] == digest else None
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def keep(self, screening: Screening, digest: str, record: dict[str, Any] | None) -> None:
        """Write the record, then the result that vouches for it."""
        if record is None:
            self.record_file(screening.plant).unlink(missing_ok=True)
        else:
            _write(self.record_file(screening.plant), record)
        _write(self.file(screening.plant), {"inputs": digest, "result": to_json(screening)})


def _write(path: Path, content: dict[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    write_atomically(path, text.encode("utf-8"))
