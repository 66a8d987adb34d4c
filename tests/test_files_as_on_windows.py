"""The whole job on files that behave as on Windows, where one in use cannot be replaced."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

STUB = Path(__file__).parent / "support" / "files_as_on_windows"
# Twice where the second call meets what the first one left.
COMMANDS = (
    "start job --sample sound", "run job", "check job", "keygen key", "sign job --key key --name A",
    "keygen other", "countersign job --key other --name B", "export job", "export job",
)


pytestmark = pytest.mark.skipif(
    not Path("/proc/self/fd").is_dir(), reason="open files are seen in /proc, which is not here")


def called(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": str(STUB), "FPTLIB_TEST_FOLDER": os.path.realpath(folder),
             "FPTLIB_PASSPHRASE": "a passphrase for tests"})


def test_no_command_replaces_a_file_in_use(tmp_path: Path) -> None:
    for command in COMMANDS:
        ended = called(tmp_path, "-m", "fptlib", *command.split())
        assert ended.returncode == 0, ended.stderr


def test_the_stub_refuses_a_file_in_use(tmp_path: Path) -> None:
    ended = called(tmp_path, "-c", "import os; kept = open('a', 'w'); os.replace('a', 'b')")
    assert "replace: the file is in use" in ended.stderr
