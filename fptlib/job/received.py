"""What a copy of a received folder notes of itself: where it came from, and whether it stays."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from fptlib import owner
from fptlib.job.folder import RECEIVED_FILE, Job


def note(folder: Path) -> dict[str, Any]:
    """The note of a copy; nothing of any other folder.

    Only in this user's own folder does such a note count: in a sender's it would hide that a
    workbook was changed.
    """
    path = folder / RECEIVED_FILE
    if not path.is_file() or not owner.is_own(folder):
        return {}
    return tomllib.loads(path.read_text(encoding="utf-8"))


def sender(job: Job) -> Path:
    """The folder that a review workspace was made from; of any other job its own."""
    return Path(note(job.folder).get("folder", job.folder))


def not_kept(job: Job) -> str:
    """What to say of a copy that is gone when it is closed, or nothing."""
    if note(job.folder).get("kept", True):
        return ""
    return ("This is a copy of a received folder, to look at: nothing that you enter is kept, and "
            "nothing can be signed.")
