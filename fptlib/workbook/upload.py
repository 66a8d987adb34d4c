"""Takes a trend file into the job's folder: whole or not at all, never over another one."""

from __future__ import annotations

import tempfile
from pathlib import Path, PureWindowsPath

from fptlib.errors import FormError
from fptlib.job.folder import Job, write_atomically
from fptlib.trends.safe import form_of

MB = 1_000_000
# The browser sends a file in one piece and holds it three times over meanwhile.
LARGEST = 100 * MB
_DEVICES = {"con", "prn", "aux", "nul",
            *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def take_in(job: Job, name: str, content: bytes) -> str:
    """Save a trend file under its own name, which is returned.

    Raises:
        FormError: it is too large, its name cannot be used on every computer, or another file
            of that name is there already.
        IntakeError: it is empty or of a kind that is not read.
    """
    plain = usable_name(name)
    if len(content) > LARGEST:
        raise FormError(f"'{plain}' has {len(content) / MB:.0f} MB; the page takes up to "
                        f"{LARGEST / MB:.0f} MB: copy it into the job's folder 'trends', "
                        "then run this step")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        file = Path(folder) / plain
        file.write_bytes(content)
        form_of(file)
    with job.locked():
        place = job.trends_folder / plain
        place.parent.mkdir(exist_ok=True)
        if not _there_already(place, content):
            write_atomically(place, content)
    return plain


def usable_name(name: str) -> str:
    """The bare name of a file that every system takes; folders before it are left out.

    Raises:
        FormError: there is no such name in it.
    """
    plain = PureWindowsPath(name).name
    # Windows refuses these letters and endings, and takes some names for devices.
    odd = any(letter in '<>:"|?*' or ord(letter) < 32 for letter in plain)
    if (not plain or odd or plain.startswith(".") or plain.rstrip(". ") != plain
            or len(plain) > 120 or plain.split(".")[0].lower() in _DEVICES):
        raise FormError(f"'{name[:80]}' is no name for a trend file; rename it and try again")
    return plain


def _there_already(place: Path, content: bytes) -> bool:
    """Whether that very file is there; on Windows 'A.csv' and 'a.csv' are one."""
    for other in place.parent.iterdir():
        if other.name.casefold() != place.name.casefold():
            continue
        if other.name == place.name and other.read_bytes() == content:
            return True
        raise FormError(f"trends holds another '{other.name}' already; trend files are never "
                        "overwritten, rename the new one")
    return False
