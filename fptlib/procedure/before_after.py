"""What a correction brought: a retest's power against what the plant drew before, at the same
weather and load.

The earlier job's hourly plant power, changeovers and all, is fitted over wet bulb (a change point
or pieces, ``physics.regression``) and load; asked at the retest's hours it says what the plant
would have drawn there uncorrected. Nothing is compared in weather or at loads that the earlier job
did not see (option B of the measurement and verification protocols, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fptlib.physics import regression
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.load_model import BEYOND_SEEN, FEWEST_HOURS, hourly, piece_edges
from fptlib.procedure.savings import rounded

NEEDS = ("wet_bulb", "load", "power")
CONFIDENCE = 0.95
EVERY = 5.0


@dataclass(frozen=True, slots=True)
class Saved:
    """Energy of the hours compared [kWh]: as before, as measured after, and what the difference is
    known to at 95 %; ``guideline`` is the latter over the savings by the formula of Guideline 14,
    ``None`` where it gives none. ``problem`` says why nothing is compared."""

    hours: int = 0
    all_hours: int = 0
    before: float = 0.0
    after: float = 0.0
    uncertainty: float = 0.0
    guideline: float | None = None
    model: str = ""
    problem: str = ""

    @property
    def kwh(self) -> float:
        """What was saved; below zero what the plant draws more."""
        return self.before - self.after

    def __str__(self) -> str:
        if self.problem:
            return f"savings not known: {self.problem}"
        size, doubt = (rounded(abs(each), self.uncertainty)
                       for each in (self.kwh, self.uncertainty))
        found = "less" if self.kwh > 0.0 else "more"
        shown = (f"{size} ± {doubt} kWh {found} than before ({100.0 * self.kwh / self.before:.0f} %"
                 " saved)" if abs(self.kwh) > self.uncertainty else
                 f"no difference that could be told from none ({size} {found} ± {doubt} kWh)")
        return (f"in {self.hours} of the retest's {self.all_hours} hours, at the same wet bulb and "
                f"load, the plant drew {shown}; 95 % confidence")


def saved(before: FunctionalTest, after: FunctionalTest) -> Saved:
    """The energy that a retest's plant drew less than the earlier job's would have."""
    for name, test in (("earlier job", before), ("retest", after)):
        if missing := test.missing(*NEEDS):
            return Saved(problem=f"not trended in the {name}: {', '.join(missing)}")
    old, new = _hours(before), _hours(after)
    if len(old) < FEWEST_HOURS:
        return Saved(problem=f"the earlier job has fewer than {FEWEST_HOURS} hours with wet bulb, "
                             "load and power")
    air, load, power = old.T
    fit = _fitted(air, load, power)
    near = np.all([(each >= low - room) & (each <= high + room) for each, low, high, room in zip(
        new[:, :2].T, old[:, :2].min(axis=0), old[:, :2].max(axis=0),
        (BEYOND_SEEN, 0.05 * load.max()), strict=True)], axis=0)
    rows = new[near]
    if fit is None or fit.effective <= fit.p or len(rows) < FEWEST_HOURS:
        return Saved(problem="the two share too few hours of like weather and load")
    beside = _beside(air, rows[:, 0], rows[:, 1], fit.form)
    expected, measured = fit.predict(rows[:, 0], beside), rows[:, 2]
    reach = regression.student(CONFIDENCE, fit.effective - fit.p) * fit.sum_error(
        rows[:, 0], beside)
    share = float((expected - measured).sum() / expected.sum())
    return Saved(
        len(rows), len(new), float(expected.sum()), float(measured.sum()), reach,
        regression.fractional_savings_uncertainty(
            fit.cv_rmse, share, fit.n, len(rows), fit.p, fit.effective, CONFIDENCE),
        f"{'pieces' if fit.form == 'columns' else fit.form} over wet bulb, and load; {fit.n} hours "
        f"before, {fit.effective:.0f} of them independent; adjusted R² {fit.r2_adjusted:.3f}, "
        f"CV(RMSE) {100.0 * fit.cv_rmse:.1f} % (divisor n - p, p = {fit.p})")


def _hours(test: FunctionalTest) -> np.ndarray:
    """Wet bulb, load and power of every whole hour that has them, one a row."""
    table = np.column_stack([hourly(test, each, changing=True)[1]
                             for each in (test.wet_bulb, test.load, test.power)])
    return np.asarray(table[~np.isnan(table).any(axis=1)])


def _fitted(air: np.ndarray, load: np.ndarray, power: np.ndarray) -> regression.Fit | None:
    """The simplest form over wet bulb with the load beside."""
    best = regression.chosen(air, power, _beside(air, air, load, ""))
    pieces = regression.fit("columns", air, power, _beside(air, air, load, "columns"))
    better = pieces and (best is None or regression.gained(best, pieces) < regression.SIGNIFICANT)
    return pieces if better else best


def _beside(trained: np.ndarray, air: np.ndarray, load: np.ndarray, form: str) -> np.ndarray:
    """One, the load, and for the form of pieces the wet bulb between edges of every five degF that
    the training fills."""
    columns = np.column_stack([np.ones_like(load), load])
    if form != "columns":
        return columns
    edges = piece_edges(trained, np.arange(-20.0, 95.0, EVERY).tolist())
    return np.column_stack([columns, regression.pieces(air, edges)])
