"""What every test shares: a user's notes of its own, so that none reaches the real user's."""

from __future__ import annotations

import os
import tempfile

import pytest

from fptlib.owner import STATE


def pytest_configure(config: pytest.Config) -> None:
    """Set for the whole run, and inherited by every process that a test starts."""
    room = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
    config.add_cleanup(room.cleanup)
    os.environ[STATE] = room.name
