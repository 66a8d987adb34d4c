"""Opens a job's workbooks in the browser: JupyterLab without anything that distracts.

Settings lie in a temporary folder, so that nothing of the user's own Jupyter is read or
changed, and the server works in an empty folder of its own: nothing in the job folder is
imported. The token is made here and given by the environment; other users of the computer can
read a command line, but not that.
"""

from __future__ import annotations

import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from fptlib import owner
from fptlib.errors import JobError
from fptlib.job.folder import Job
from fptlib.job.start import pasted
from fptlib.procedure.steps import Step
from fptlib.workbook import kernels, reception
from fptlib.workbook.state import first_unfinished

LOG = "server.log"
LARGEST_UPLOAD = 512 * 1024 * 1024
EXTENSIONS = Path(__file__).parent / "labextensions"
# News, and buttons with which a tired hand takes a cell away.
_LEFT_OUT = (
    "@jupyterlab/apputils-extension:announcements", "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/debugger-extension", "@jupyterlab/extensionmanager-extension",
)
_SETTINGS: Mapping[str, Mapping[str, object]] = {
    "@jupyterlab/apputils-extension/notification": {
        "fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True},
    "@jupyterlab/apputils-extension/kernels-settings": {"commsOverSubshells": "disabled"},
    "@jupyterlab/notebook-extension/tracker": {
        "scrollPastEnd": False, "windowingMode": "none",
        "kernelShutdown": True},
    "@jupyterlab/statusbar-extension/plugin": {"visible": False},
    "@jupyterlab/docmanager-extension/plugin": {"autosaveInterval": 20},
    "@jupyterlab/filebrowser-extension/browser": {"autoOpenUploads": False},
    "@jupyterlab/notebook-extension/panel": {"toolbar": [
        {"name": "run-step", "command": "notebook:run-all-cells", "label": "Run this step",
         "rank": 1},
        {"name": "show-code", "command": "fptlib:code", "rank": 1000},
        *({"name": name, "disabled": True} for name in (
            "insert", "cut", "copy", "paste", "run", "restart", "restart-and-run", "cellType",
            "interrupt", "save")),
    ]},
    # What these menus hold moves, changes or deletes cells.
    "@jupyterlab/mainmenu-extension/plugin": {"menus": [
        {"id": f"jp-mainmenu-{name}", "disabled": True}
        for name in ("edit", "view", "run", "tabs", "settings")]},
}


@dataclass(frozen=True)
class Server:
    """A running notebook server and where the step is found on it."""

    process: subprocess.Popen[bytes]
    url: str
    token: str

    @property
    def link(self) -> str:
        """The address with its token, for the browser alone."""
        return f"{self.url}?token={self.token}"

    def stop(self) -> None:
        """End the server, and with it its kernels."""
        self.process.terminate()
        self.process.wait()
        if self.process.stdin:
            self.process.stdin.close()


def open_job(job: Job, step: Step | None = None) -> int:
    """Open the job at a step, the first unfinished one where none is given.

    Returns 0 when the server is stopped (Ctrl-C, or the browser's File > Shut Down).

    Raises:
        JobError: the server did not start or broke.
    """
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        server = serve(job, step or first_unfinished(job), Path(folder), browser=True)
        print(f"{job.folder.name} opens in the browser; press Ctrl-C here when you are done")
        try:
            if code := server.process.wait():
                said = (Path(folder) / LOG).read_text(encoding="utf-8", errors="replace")
                raise JobError(f"the notebook server stopped with code {code}: "
                               f"{(said.splitlines() or ['it said nothing'])[-1]}")
        except KeyboardInterrupt:
            pass
        finally:
            server.stop()
        return 0


def look_at(folder: Path) -> int:
    """Open a copy of a received folder, which is gone when the server is stopped.

    Raises:
        JobError: it is no job folder, or as for ``open_job``.
    """
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as room:
        job = reception.take_in(folder, Path(room) / folder.resolve().name, kept=False)
        print(f"{folder.name} was not started here: a copy opens to look at, with the installed "
              f"workbooks, and nothing is kept. To review it:  fptlib review {pasted(folder)}  To "
              f"work in it:  fptlib adopt {pasted(folder)}")
        print("\n".join(reception.look(folder).left_out()))
        try:
            return open_job(job)
        finally:
            owner.release(job.folder)


def serve(job: Job, step: Step, settings: Path, browser: bool = False) -> Server:
    """Start the server with its settings in an empty folder."""
    token = secrets.token_urlsafe(32)
    port = free_port()
    _write_settings(settings, job, step, port, browser)
    command = [sys.executable, "-m", "fptlib.workbook.server", str(os.getpid())]
    with (settings / LOG).open("wb") as log:
        process = subprocess.Popen(command, cwd=kernels.desk(settings), stdin=subprocess.PIPE,
                                   stdout=log, stderr=log,
                                   env=_environment(settings, token, job))
    return Server(process, f"http://127.0.0.1:{port}{page(step)}", token)


def page(step: Step) -> str:
    """The address of a step's workbook on the server: one document, nothing around it."""
    return f"/doc/tree/workbooks/{step.file}"


def free_port() -> int:
    """A port of this computer that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _environment(settings: Path, token: str, job: Job) -> dict[str, str]:
    return kernels.environment(
        JUPYTER_TOKEN=token,
        FPTLIB_JOB=str(job.folder),
        JUPYTER_CONFIG_DIR=str(settings / "config"),
        JUPYTER_RUNTIME_DIR=str(settings / "runtime"),
        JUPYTER_DATA_DIR=str(settings / "data"),
        JUPYTERLAB_SETTINGS_DIR=str(settings / "settings"),
        JUPYTERLAB_WORKSPACES_DIR=str(settings / "workspaces"),
        IPYTHONDIR=str(settings / "ipython"),
    )


def _write_settings(folder: Path, job: Job, step: Step, port: int, browser: bool) -> None:
    config: dict[str, dict[str, object]] = {
        "ServerApp": {
            "ip": "127.0.0.1", "port": port, "port_retries": 0, "open_browser": browser,
            "root_dir": str(job.folder), "terminals_enabled": False,
            "default_url": page(step), "shutdown_no_activity_timeout": 12 * 3600,
            # In a container there is often no other user; on a laptop nobody should be root.
            "allow_root": hasattr(os, "geteuid") and os.geteuid() == 0,
            "contents_manager_class": "fptlib.workbook.contents.Workbooks",
            "kernel_manager_class": "fptlib.workbook.contents.Kernels",
            "jpserver_extensions": {"fptlib.workbook.unlock": True},
            "max_body_size": LARGEST_UPLOAD, "max_buffer_size": LARGEST_UPLOAD,
            # A file chosen in the form comes in one message; beyond this the page loses its
            # kernel instead of telling, so it lies far above what the form takes.
            "tornado_settings": {"websocket_max_message_size": LARGEST_UPLOAD},
        },
        "LabApp": {
            "custom_css": True, "default_url": page(step), "extension_manager": "readonly",
            "news_url": None, "check_for_updates_class":
            "jupyterlab.handlers.announcements.NeverCheckForUpdate",
            "expose_app_in_browser": False, "extra_labextensions_path": [str(EXTENSIONS)],
        },
        "FileContentsManager": {"delete_to_trash": False},
        # A kernel whose page was left is ended, or twelve workbooks fill a field laptop; its
        # answers are in the job, and a page that is opened again draws its forms in seconds.
        "MappingKernelManager": {"cull_idle_timeout": 60, "cull_interval": 20},
        "YDocExtension": {"disable_rtc": True},
    }
    _write(folder / "config" / "jupyter_server_config.json", json.dumps(config))
    _write(folder / "config" / "jupyter_lab_config.json", json.dumps(config))
    _write(folder / "config" / "labconfig" / "page_config.json", json.dumps(
        {"disabledExtensions": dict.fromkeys(_LEFT_OUT, True)}))
    css = resources.files(__package__).joinpath("page.css").read_text(encoding="utf-8")
    _write(folder / "config" / "custom" / "custom.css", css)
    for name, content in _SETTINGS.items():
        _write(folder / "settings" / f"{name}.jupyterlab-settings", json.dumps(content))


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
