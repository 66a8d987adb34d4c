"""A new file that is whole or not there, and that never takes an existing one's place."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_new(path: Path, data: bytes, mode: int) -> None:
    """Write a file that must not exist.

    The bytes are complete and on disk before the name exists, so that a kill or a full disk
    leaves the whole file or none.

    Raises:
        FileExistsError: the name is taken.
        OSError: the file cannot be written.
    """
    temporary = _write(path.parent, data, mode)
    try:
        _give_name(temporary, path)
        _sync(path.parent)
    finally:
        temporary.unlink(missing_ok=True)


def _write(folder: Path, data: bytes, mode: int) -> Path:
    # mkstemp makes a file that its owner alone may read, so a secret is never open to others.
    handle, name = tempfile.mkstemp(dir=folder, prefix=".new.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, mode)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


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
