"""What worker processes run in tests of the portfolio's engines."""

from __future__ import annotations

import os
import signal
import time

from fptlib.portfolio import worker
from fptlib.portfolio.result import Screening


def doomed_or_screened(task: worker.Task) -> Screening:
    """Ends its own process where the plant's name says so."""
    if "doomed" in task.plant:
        os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
    return worker.screen(task)


def slowly(task: worker.Task) -> Screening:
    """Takes a second and says which process it ran in."""
    time.sleep(1.0)
    return Screening(task.plant, title=str(os.getpid()))
