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


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Every attack that was counted, with the seed that repeats it."""
    done = [said for kind in ("passed", "failed") for report in terminalreporter.stats.get(kind, ())
            for name, said in report.user_properties if name == "attacks"]
    if done:
        terminalreporter.section(f"attacks, FPTLIB_ATTACKS={SEED}")
        terminalreporter.write_line("\n".join(done))
