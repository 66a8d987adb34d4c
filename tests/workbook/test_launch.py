"""How the browser is opened: quietly, on this computer only, the token off the command line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time

import pytest
import small_plant

from fptlib.errors import JobError
from fptlib.job.folder import Job
from fptlib.procedure.steps import step
from fptlib.workbook import kernels, launch


class Process:
    """Stands for the server's process; keeps how it was started."""

    def __init__(self, command, **settings):
        Process.command, Process.settings = command, settings

    stdin = None

    def wait(self):
        return 1

    def terminate(self):
        pass


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


def test_the_server_works_in_an_empty_folder_and_imports_from_the_installation(started):
    job, settings, _ = started
    assert not list(Process.settings["cwd"].iterdir())
    assert not Process.settings["cwd"].is_relative_to(job.folder)
    assert Process.settings["env"]["PYTHONSAFEPATH"] == "1"


def test_what_leads_elsewhere_is_not_handed_on(monkeypatch):
    monkeypatch.setenv("FPTLIB_PASSPHRASE", "a passphrase for tests")
    monkeypatch.setenv("PYTHONSTARTUP", "x.py")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(["", "here", os.path.abspath("lib")]))
    said = kernels.environment()
    assert "FPTLIB_PASSPHRASE" not in said and "PYTHONSTARTUP" not in said
    assert said["PYTHONPATH"] == os.path.abspath("lib")


def test_a_server_that_does_not_start_is_told(started, monkeypatch):
    job, _, _ = started
    with pytest.raises(JobError, match="stopped with code 1"):
        launch.open_job(job)


HOLDER = """
import subprocess, sys, time
server = subprocess.Popen([sys.executable, "-c", '''
import os, threading, time
holder = os.getppid()
from fptlib.workbook import server
threading.Thread(target=server._leave_with_parent, args=(holder,), daemon=True).start()
time.sleep(90)
'''], stdin=subprocess.PIPE)
if sys.argv[1] == "closes its input":
    server.stdin.close()
time.sleep(3.0)
print(server.poll() is None, flush=True)
"""


@pytest.mark.skipif(os.name != "posix", reason="Windows does not name a process's parent anew")
@pytest.mark.parametrize("holder", ["closes its input", "holds its input"])
def test_the_server_ends_with_its_holder_and_not_with_an_input_closed_by_mistake(holder):
    began = time.monotonic()
    # The server holds the output too, so this waits for its end.
    done = subprocess.run([sys.executable, "-c", HOLDER, holder], capture_output=True, text=True,
                          timeout=100, check=True)
    assert done.stdout.strip() == "True"
    assert time.monotonic() - began < 50.0
