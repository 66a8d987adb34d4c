"""Advice is worked out from what was seen, whatever was not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from faulty_case import Run
from plants import SOUND

from fptlib.procedure import running
from fptlib.procedure.verdict import Verdict


def test_advice_on_the_supply_leaves_out_a_run_without_any() -> None:
    case = Run("", SOUND.name).case()
    first, *others = case.handovers
    table = case.frame.copy()
    table.loc[first.handover : first.ended, "chw_supply_temp"] = np.nan
    for changeover in others:
        table.loc[changeover.handover : changeover.ended, "chw_supply_temp"] += 2.5
    check = running.supply(replace(case, trends=replace(case.trends, frame=table)))
    assert check.verdict is Verdict.FAIL and len(others) > 0
    assert "nan" not in check.adjust and "°F high: lower the tower offset" in check.adjust
