"""What worker processes run in tests of the portfolio's engines."""

from __future__ import annotations

import os
import signal
import time

from fptlib.portfolio import engine
from fptlib.portfolio.result import Screening


def doomed_or_screened(task: engine.Task) -> Screening:
    """Ends its own process where the plant's name says so."""
    if "doomed" in task.plant:
        os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
    return engine.screen_plant(task)


def slowly(task: engine.Task) -> Screening:
    """Takes a second and says which process it ran in."""
    time.sleep(1.0)
    return Screening(task.plant, title=str(os.getpid()))
