"""Files below a folder behave as on Windows: one in use is not replaced, renamed or removed.

Python imports this module at its start where its folder is on PYTHONPATH. Locks are left out,
for on Windows their library goes another way.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

FOLDER = os.environ["FPTLIB_TEST_FOLDER"]
FORBIDDEN = set('<>:"|?*')


def in_use(path: str) -> bool:
    """Whether any program has the file open or mapped."""
    return any(_holds(program, path) for program in Path("/proc").glob("[0-9]*"))


def _holds(program: Path, path: str) -> bool:
    try:
        mapped = (program / "maps").read_text(errors="replace")
        return path in mapped or any(_opens(it, path) for it in (program / "fd").iterdir())
    except OSError:  # it ended meanwhile
        return False


def _opens(handle: Path, path: str) -> bool:
    try:
        return os.readlink(handle) == path
    except OSError:  # it was closed meanwhile
        return False


def as_on_windows(name: str) -> None:
    """Let a function of ``os`` refuse what Windows refuses."""
    real = getattr(os, name)

    def refusing(*paths: Any, **named: Any) -> Any:
        for path in (os.path.realpath(os.fsdecode(path)) for path in paths[:2]):
            guarded = path.startswith(FOLDER) and "lock" not in os.path.basename(path)
            if guarded and os.path.isfile(path) and in_use(path):
                raise PermissionError(13, f"{name}: the file is in use", path)
            if guarded and set(os.path.basename(path)) & FORBIDDEN:
                raise OSError(22, f"{name}: no file name of Windows", path)
        if name == "rename" and os.path.exists(paths[1]):
            raise FileExistsError(17, "rename: the file exists", paths[1])
        return real(*paths, **named)

    setattr(os, name, refusing)


for function in ("replace", "rename", "unlink", "remove", "link"):
    as_on_windows(function)
