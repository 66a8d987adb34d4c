"""The temporary setpoint at the transition: whether there was one, and when it was released."""

from __future__ import annotations

import numpy as np

from fptlib.job.schema import TEMPORARY_SETPOINT
from fptlib.procedure.changeovers import Run
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.judge import Finding, not_judged
from fptlib.procedure.reset_setpoint import BACK_WITHIN
from fptlib.procedure.verdict import Verdict

# A chiller that was told to stop unloads and draws power for so long (common practice, no source).
RUN_DOWN_MINUTES = 10.0


def last_lowered(test: FunctionalTest, run: Run) -> int | None:
    """The last row with the setpoint below the reset setpoint before the last chiller stopped, or
    within its run-down: a sequence may release the setpoint as it stops the chiller."""
    rows = test.window(run.first - test.rows(RUN_DOWN_MINUTES), run.first)
    low = np.flatnonzero(
        test["chw_supply_setpoint"][rows] < test.reset_setpoint[rows] - BACK_WITHIN)
    return rows.start + int(low[-1]) if len(low) else None


def nothing_lowered(test: FunctionalTest, run: Run) -> Finding:
    """What the release and the return of a temporary setpoint say where there was none."""
    means = test.sequence.lift.means
    if means == TEMPORARY_SETPOINT:
        rows = test.window(run.first - test.rows(RUN_DOWN_MINUTES), run.first)
        unknown = bool(np.isnan(test.reset_setpoint[rows]).all())
        return not_judged(run.number, run.first, "whether there was a temporary setpoint at the "
                          "transition is not known, for the reset setpoint is not" if unknown else
                          "there was no temporary setpoint at the transition")
    return not_judged(run.number, run.first, "the sequence has no temporary setpoint, as the plan "
                      f"states (lift: {means})", verdict=Verdict.NOT_APPLICABLE)


def release_row(test: FunctionalTest, run: Run) -> int | None:
    """First row in which the active setpoint is on its way up from its lowest.

    As long as a chiller runs the setpoint may follow the sump up: a rise after which it stands
    still below the reset setpoint, for longer than a release may take, is none.
    """
    begin = last_lowered(test, run)
    while begin is not None:
        active = test["chw_supply_setpoint"][begin : run.last + 1]
        visible = max(0.05, test.sensor("chw_supply_setpoint").resolution / 2.0)
        up = active > np.fmin.accumulate(active) + visible
        if not up.any():
            return None
        row = begin + int(up.argmax())
        held = test.rows(test.limits["lift.release"] + test.timing_tolerance) + 1
        after = test["chw_supply_setpoint"][row : row + held]
        stands = (len(after) == held and np.ptp(after) <= visible
                  and after[0] < test.reset_setpoint[row] - BACK_WITHIN)
        if row > run.first or not stands:
            return row
        begin = row
    return None


def ramp_before(test: FunctionalTest, row: int, every: float) -> float:
    """How much of a sample's interval before the row in which the setpoint was seen to rise the
    ramp had begun: it rises in a straight line, as fast as to the next sample."""
    rows = test.rows(every)
    before, seen, after = (test["chw_supply_setpoint"][min(max(at, 0), len(test) - 1)]
                           for at in (row - rows, row, row + rows))
    return float(np.clip((seen - before) / (after - seen), 0.0, 1.0)) if after > seen else 0.0


def rise_hidden(test: FunctionalTest, seen: int) -> bool:
    """Whether a gap of more than a row lies just before the row in which it was seen to rise."""
    return bool(np.isnan(test["chw_supply_setpoint"][test.window(seen - 2, seen)]).all())
