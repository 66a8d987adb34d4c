"""How the notebook server tells whether a workbook was changed by somebody else.

JupyterLab asks whose version to keep when the file's digest is not the one it opened or saved
last. Two windows on one workbook, or ``fptlib run`` beside an open one, give it other outputs
every time; these can be made again, and answers lie in ``job.toml``. So the digest here is over
what a person wrote, text and code: outputs are saved as they come, and only where somebody
edited the workbook itself the question is asked.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager

from fptlib.errors import RecordError
from fptlib.record.files import workbook_digest


class Workbooks(AsyncLargeFileManager):  # type: ignore[misc]
    """The files of a job as the notebook server hands them out."""

    async def get(self, path: str, content: bool = True, type: str | None = None,
                  format: str | None = None, require_hash: bool = False) -> dict[str, Any]:
        """A file as the server's own manager reads it; a workbook with the digest of its words."""
        model: dict[str, Any] = await super().get(path, content, type, format, require_hash)
        if require_hash and model["type"] == "notebook":
            try:
                model["hash"] = workbook_digest(Path(self._get_os_path(path)))
            except RecordError:
                pass  # damaged: its bytes' own digest stays
        return model
