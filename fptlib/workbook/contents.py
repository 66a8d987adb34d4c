"""The workbooks of a job as the notebook server hands them out and saves them, and where its
kernels work.

A page's cells are the procedure's and its answers lie in ``job.toml``; what is saved of a page are
outputs, and they can be made again. So a page comes with the procedure's own cells whatever became
of its file (``standard.mend``), no window ever asks whose version to keep, and nobody reads a file
that is half written.
"""

from __future__ import annotations

import os
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import Any

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager

from fptlib.job.folder import Job, write_atomically
from fptlib.workbook import run, standard

# JupyterLab asks where the digest of a file is not the one it knows, or where there is none and
# the file is younger. One digest for every state of a page ends both questions.
ALWAYS_THE_SAME = "a page of the procedure"


class Workbooks(AsyncLargeFileManager):  # type: ignore[misc]
    """The files of a job."""

    @cached_property
    def _job(self) -> Job:
        return Job(self.root_dir)

    async def get(self, path: str, content: bool = True, type: str | None = None,
                  format: str | None = None, require_hash: bool = False) -> dict[str, Any]:
        """A file as the server's own manager reads it; a page with its procedure's cells."""
        page = PurePosixPath(path.strip("/"))
        if content and page.parent.name == "workbooks":
            standard.mend(self._job, page.name)
        model: dict[str, Any] = await super().get(path, content, type, format, require_hash)
        if require_hash and model["type"] == "notebook":
            model["hash"] = ALWAYS_THE_SAME
        return model

    async def _save_notebook(self, os_path: str, nb: Any,
                             capture_validation_error: Any = None) -> None:
        """Save a page in one move, without what only this window can use."""
        run.tidy(nb)
        with self.perm_to_403(os_path):
            write_atomically(Path(os_path), standard.as_bytes(nb))

class Kernels(AsyncMappingKernelManager):  # type: ignore[misc]
    """The server's kernels: none works in the folder of its workbook, which may hold anything."""

    def cwd_for_path(self, path: str, **kwargs: Any) -> str:
        """The server's own empty folder, wherever the workbook lies."""
        return os.getcwd()
