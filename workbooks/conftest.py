"""nbval over the blank procedure: every run works on its own copy of the sample job.

Run it with ``python -m pytest --nbval --nbval-current-env workbooks``.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Kernels inherit the environment; FPTLIB_JOB tells the workbooks their job."""
    from fptlib.job.start import start_sample

    room = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
    config.add_cleanup(room.cleanup)
    job = start_sample(Path(room.name) / "sample")
    settings = {"FPTLIB_JOB": str(job.folder), "IPYTHONDIR": room.name, "PYTHONUTF8": "1"}
    for name, value in settings.items():
        config.add_cleanup(_restore(name))
        os.environ[name] = value


def _restore(name: str):  # type: ignore[no-untyped-def]
    before = os.environ.get(name)

    def restore() -> None:
        if before is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = before

    return restore
