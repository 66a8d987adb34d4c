"""What is this user's own on this computer: job folders, and what the program kept for itself.

A job folder that came from somebody else may hold anything. So the folders that were started or
adopted here are noted, by the place where they lie, outside of any job folder; and what the
program keeps between two runs is sealed with a secret of this user, so that what another
program put there is not taken for it.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from functools import cache
from pathlib import Path

from fptlib.errors import JobError

STATE = "FPTLIB_STATE"
_SECRET_BYTES = 32


def state_folder() -> Path:
    """Where this user's notes lie: the folder that FPTLIB_STATE names, or the system's own."""
    if named := os.environ.get(STATE):
        return Path(named)
    # Imported here: most commands need nothing of it.
    from platformdirs import user_state_path

    return user_state_path("fptlib", appauthor=False)


def _note(folder: Path) -> Path:
    place = os.path.normcase(folder.resolve())
    return state_folder() / "jobs" / hashlib.sha256(os.fsencode(place)).hexdigest()


def claim(folder: Path) -> None:
    """Note that a job folder is this user's own, at the place where it lies.

    Raises:
        JobError: the note cannot be written.
    """
    note = _note(folder)
    try:
        note.parent.mkdir(parents=True, exist_ok=True)
        note.write_text(str(folder.resolve()), encoding="utf-8")
    except OSError as error:
        raise JobError(f"it cannot be noted in '{note.parent}' that '{folder.name}' is your own: "
                       f"{error.strerror or error}; allow writing there, or name another folder "
                       f"by the environment variable {STATE}") from error


def release(folder: Path) -> None:
    """Take the note away, as of a copy that is gone."""
    _note(folder).unlink(missing_ok=True)


def is_own(folder: Path) -> bool:
    """Whether a job folder was started or adopted here, at the place where it lies now."""
    return _note(folder).is_file()


def seal(data: bytes) -> str:
    """A digest that only this user can make (HMAC, RFC 2104, with SHA-256); "" without a secret."""
    key = _secret(state_folder())
    return hmac.digest(key, data, "sha256").hex() if key else ""


@cache
def _secret(folder: Path) -> bytes:
    """This user's secret, made when it is first asked for; nothing where it cannot be kept."""
    file = folder / "secret"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        with os.fdopen(handle, "wb") as stream:
            stream.write(secrets.token_bytes(_SECRET_BYTES))
    except OSError:
        pass  # it is there already, or nothing can be kept here
    try:
        found = file.read_bytes()
    except OSError:
        return b""
    return found if len(found) == _SECRET_BYTES else b""
