"""A new file that is whole or not there, and that never takes an existing one's place."""

from __future__ import annotations

import os
from pathlib import Path

from fptlib.job.folder import written_beside


def write_new(path: Path, data: bytes, mode: int) -> None:
    """Write a file that must not exist.

    The bytes are complete and on disk before the name exists, so that a kill or a full disk
    leaves the whole file or none.

    Raises:
        FileExistsError: the name is taken.
        OSError: the file cannot be written.
    """
    with written_beside(path, data, mode) as temporary:
        _give_name(temporary, path)
        _sync(path.parent)


def _give_name(temporary: Path, path: Path) -> None:
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


def _sync(folder: Path) -> None:
    if os.name == "nt":  # Windows cannot open a folder for this
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
