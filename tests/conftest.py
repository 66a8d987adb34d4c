"""What every test shares: a user's notes of its own, so that none reaches the real user's; and
what the attack suite counted, printed at the end."""

from __future__ import annotations

import os
import tempfile
from typing import Any

# Small matrices: threads of the linear algebra only wait for each other, and more so with workers.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest  # noqa: E402
from attacks import SEED  # noqa: E402

from fptlib.owner import STATE  # noqa: E402


def pytest_configure(config: pytest.Config) -> None:
    """Set for the whole run, and inherited by every process that a test starts."""
    room = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
    config.add_cleanup(room.cleanup)
    os.environ[STATE] = room.name


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With ``--dist loadfile`` the files in the order of their names, so that the long ones come
    first and many short ones fill the workers' last minutes. All browser tests count as one file:
    two browsers, each with its server and kernels, would share two cores with each other."""
    if config.getoption("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class InTurn(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = super()._split_scope(nodeid)
            return "browser" if file.startswith("tests/browser/") else file

    config.option.loadscopereorder = False
    return InTurn(config, log)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Every attack that was counted, with the seed that repeats it."""
    done = [said for kind in ("passed", "failed") for report in terminalreporter.stats.get(kind, ())
            for name, said in report.user_properties if name == "attacks"]
    if done:
        terminalreporter.section(f"attacks, FPTLIB_ATTACKS={SEED}")
        terminalreporter.write_line("\n".join(done))
