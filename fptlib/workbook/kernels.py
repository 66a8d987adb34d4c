"""How processes that run workbooks are started: from a neutral place, with nothing secret.

A kernel that starts in the folder of its workbook imports whatever lies there under the name of
a module, so every one starts in an empty folder and looks for modules in the installation
alone. The passphrase of a signing key is never handed on.
"""

from __future__ import annotations

import os
from pathlib import Path

PASSPHRASE = "FPTLIB_PASSPHRASE"
_LEFT_OUT = {PASSPHRASE, "PYTHONSTARTUP", "PYTHONHOME"}


def environment(**own: str) -> dict[str, str]:
    """The environment of such a process: this one's, without what leads elsewhere, and ``own``."""
    kept = {name: value for name, value in os.environ.items() if name not in _LEFT_OUT}
    if paths := kept.pop("PYTHONPATH", ""):
        # A relative entry, and an empty one, mean the folder in which a process works.
        kept["PYTHONPATH"] = os.pathsep.join(
            part for part in paths.split(os.pathsep) if Path(part).is_absolute())
    return {**kept, "PYTHONSAFEPATH": "1", "PYTHONUTF8": "1", **own}


def desk(room: Path) -> Path:
    """An empty folder in which such a process works."""
    folder = room / "desk"
    folder.mkdir(exist_ok=True)
    return folder
