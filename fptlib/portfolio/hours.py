"""Economizer hours a plant could have had, those it lost, and what they cost.

The rule (common practice, no source): an hour is lost where the enable condition held,
chillers ran and economizer operation was not commanded, as in the check ``enable.missed``,
but counted from the first minute. Its energy is the plant's mean power over the lost hours
minus that over settled economizer runs of the same trends; unlike loads are not evened out.
"""

from __future__ import annotations

import numpy as np

from fptlib.portfolio.result import NOT_TESTED, Hours
from fptlib.procedure import approaches, enable, running
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.verdict import Check

PARTS = 52


def hours(case: FunctionalTest, missed: Check) -> Hours:
    """The hours of a case; ``missed`` is its row of ``enable.missed``, which says what lacks."""
    span = round(len(case) * case.minutes / 60.0, 2)
    if missed.verdict == NOT_TESTED:
        return Hours(span, why_unknown=missed.reason)
    margin, lost = approaches.enable_margin(case), enable.waiting(case).sure
    holds, certain = margin >= 0.0, lost & (margin >= approaches.enable_uncertainty(case))
    chillers, economizer, kwh, why = _energy(case, lost)
    return Hours(span, _count(case, _unseen(case)), _count(case, holds), _count(case, lost),
                 _count(case, certain), chillers, economizer, kwh, why,
                 _parts(case, holds, lost))


def _unseen(case: FunctionalTest) -> np.ndarray:
    return np.isnan(approaches.enable_margin(case) + case.chillers_on + case.commanded)


def _count(case: FunctionalTest, flags: np.ndarray) -> float:
    return round(float(np.count_nonzero(flags)) * case.minutes / 60.0, 2)


def _energy(case: FunctionalTest, lost: np.ndarray) -> tuple[float | None, float | None, float | None, str]:
    """Chiller kW, economizer kW, kWh of the lost hours, and why there is none."""
    if missing := case.missing("power"):
        return None, None, None, "not trended: " + ", ".join(missing)
    chillers, economizer = _mean(case.power[lost]), _economizer_power(case)
    if not lost.any():
        return None, economizer, 0.0, ""
    if chillers is None:
        return None, economizer, None, "the power has a gap over every lost hour"
    if economizer is None:
        return chillers, None, None, ("no settled economizer run in these trends shows what the "
                                      "plant draws then")
    return chillers, economizer, round(_count(case, lost) * (chillers - economizer), 0), ""


def _economizer_power(case: FunctionalTest) -> float | None:
    runs = [case.power[rows] for run in case.runs if (rows := running.settled(case, run))]
    return _mean(np.concatenate(runs)) if runs else None


def _mean(power: np.ndarray) -> float | None:
    known = power[~np.isnan(power)]
    return round(float(known.mean()), 1) if len(known) else None


def _parts(case: FunctionalTest, holds: np.ndarray, lost: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Hours possible and lost in equal parts of the trends."""
    edges = np.linspace(0, len(holds), min(PARTS, len(holds)) + 1).astype(int)[:-1]
    sums = [np.add.reduceat(flags.astype(np.int64), edges) for flags in (holds, lost)]
    share = case.minutes / 60.0
    return tuple((round(int(a) * share, 2), round(int(b) * share, 2))
                 for a, b in zip(*sums, strict=True))
