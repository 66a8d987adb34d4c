"""The temporary setpoint at the handover: whether there was one, and when it was let go."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fptlib.procedure.case import Case
from fptlib.procedure.episodes import BACK_WITHIN, Changeover


def lowered(case: Case, changeover: Changeover) -> bool:
    """Whether the setpoint stood below the reset setpoint when the last chiller stopped."""
    before = changeover.handover - case.trends.step
    active = case.value("chw_supply_setpoint", before)
    return active < case.value(case.reset_setpoint, before) - BACK_WITHIN


def release_time(case: Case, changeover: Changeover) -> pd.Timestamp | None:
    """First row in which the active setpoint is on its way up from its lowest."""
    rows = slice(changeover.handover - case.trends.step, changeover.ended)
    active = case.values("chw_supply_setpoint", rows)
    visible = max(0.05, case.sensor("chw_supply_setpoint").resolution / 2.0)
    up = active > np.fmin.accumulate(active) + visible
    return case.times(rows)[int(up.argmax())] if up.any() else None


def rise_hidden(case: Case, changeover: Changeover) -> bool:
    """Whether a gap of more than a row lies just before the row in which it was seen to rise."""
    if (seen := release_time(case, changeover)) is None:
        return False
    before = slice(seen - 2 * case.trends.step, seen - case.trends.step)
    return bool(np.isnan(case.values("chw_supply_setpoint", before)).all())
