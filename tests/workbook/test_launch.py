"""How the browser is opened: quietly, on this computer only, the token off the command line."""

from __future__ import annotations

import json

import pytest
import small_plant

from fptlib.errors import JobError
from fptlib.job.folder import Job
from fptlib.procedure.steps import step
from fptlib.workbook import launch


class Process:
    """Stands for the server's process; keeps how it was started."""

    def __init__(self, command, **settings):
        Process.command, Process.settings = command, settings

    def wait(self):
        return 1


@pytest.fixture
def started(tmp_path, monkeypatch):
    monkeypatch.setattr(launch.subprocess, "Popen", Process)
    job = Job(small_plant.write_job(tmp_path / "job"))
    settings = tmp_path / "settings"
    settings.mkdir()
    return job, settings, launch.serve(job, step("enable"), settings)


def test_the_token_is_not_on_the_command_line(started):
    _, _, server = started
    assert server.token not in " ".join(Process.command)
    assert Process.settings["env"]["JUPYTER_TOKEN"] == server.token
    assert server.token not in (server.url or "") and server.token in server.link


def test_the_server_is_quiet_local_and_bound_to_the_job(started):
    job, settings, server = started
    said = json.loads((settings / "config" / "jupyter_server_config.json").read_text("utf-8"))
    app = said["ServerApp"]
    assert (app["ip"], app["port_retries"], app["terminals_enabled"]) == ("127.0.0.1", 0, False)
    assert app["root_dir"] == str(job.folder)
    assert server.url.endswith("/doc/tree/workbooks/03_enable.ipynb")
    assert "user" not in Process.settings["env"]["JUPYTER_CONFIG_DIR"]


def test_a_server_that_does_not_start_is_told(started, monkeypatch):
    job, _, _ = started
    with pytest.raises(JobError, match="stopped with code 1"):
        launch.open_job(job)
