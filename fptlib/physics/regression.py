"""Regression with change points and what its answers are known to.

Forms as in ASHRAE Guideline 14 (forms and statistics as openly printed in documentation of
programs that cite it; the guideline itself was not at hand): 2P a line, 3PC level then rising,
4P two slopes. A change point is fitted, so it counts as a parameter: the divisor of every spread
is n - p with p of all coefficients, intercept and change point included. Temperature in pieces
between fixed edges is the form of the time-of-week-and-temperature model (Mathieu, Price,
Kiliccote & Piette, IEEE Trans. Smart Grid 2:507-518, 2011).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

# "columns" are the columns beside alone. What rises above a point has a change point.
SLOPES: dict[str, tuple[str, ...]] = {
    "columns": (), "2P": ("x",), "3PC": ("above",), "4P": ("below", "above")}
GRID_STEPS = 60
# One more parameter must be worth it by an F test at this probability (common practice, no
# source); rows on each side of a change point, at the least.
SIGNIFICANT = 0.05
FEWEST_BESIDE = 3


@dataclass(frozen=True)
class Fit:
    """A fitted form.

    ``coefficients`` are those of the columns beside (the first is the intercept where there are
    none) and then the slopes of ``SLOPES``; below a change point a slope counts the degrees
    below it, as the forms are printed. ``spread`` is the covariance of coefficients and change
    point over the residual variance, from the full Jacobian: a held change point would make the
    slopes seem twice as well known. ``misses`` are the residuals in the order given.
    """

    form: str
    coefficients: np.ndarray
    changes: tuple[float, ...]
    misses: np.ndarray
    mean: float
    total: float
    spread: np.ndarray

    @property
    def n(self) -> int:
        """Number of rows."""
        return len(self.misses)

    @property
    def p(self) -> int:
        """Number of parameters, intercept and change points included."""
        return len(self.coefficients) + len(self.changes)

    @property
    def sse(self) -> float:
        """Sum of squared residuals."""
        return float(self.misses @ self.misses)

    @property
    def rmse(self) -> float:
        """Standard error of the regression, divisor n - p."""
        return math.sqrt(self.sse / (self.n - self.p))

    @property
    def cv_rmse(self) -> float:
        """CV(RMSE) as a share of the mean, divisor n - p."""
        return self.rmse / self.mean

    @property
    def r2_adjusted(self) -> float:
        """Adjusted R², (n - 1)/(n - p)."""
        return 1.0 - self.rmse**2 / (self.total / (self.n - 1))

    @property
    def autocorrelation(self) -> float:
        """Correlation of each residual with the one before it."""
        before, after = self.misses[:-1], self.misses[1:]
        if min(np.ptp(before), np.ptp(after)) == 0.0:
            return 0.0
        return float(np.corrcoef(before, after)[0, 1])

    @property
    def effective(self) -> float:
        """How many independent rows the residuals are worth: n (1 - rho)/(1 + rho), n at most."""
        rho = max(self.autocorrelation, 0.0)
        return self.n * (1.0 - rho) / (1.0 + rho)

    @property
    def coefficient_errors(self) -> np.ndarray:
        """Standard errors of coefficients and change points, residuals taken as independent."""
        return np.asarray(self.rmse * np.sqrt(np.diag(self.spread)))

    def predict(self, x: np.ndarray, beside: np.ndarray | None = None) -> np.ndarray:
        """What the form gives at ``x``, with the same columns beside."""
        return np.asarray(design(self.form, x, self.changes, beside) @ self.coefficients)

    def leverage(self, x: np.ndarray, beside: np.ndarray | None = None) -> np.ndarray:
        """Variance of each prediction over the residual variance."""
        slopes = jacobian(self, x, beside)
        return np.asarray(np.einsum("ij,jk,ik->i", slopes, self.spread, slopes))

    def sum_error(self, x: np.ndarray, beside: np.ndarray | None = None) -> float:
        """Standard error of the sum of as many new rows minus their prediction: the delta method,
        widened by n/n' on the coefficients and by the run of the new rows' own residuals."""
        slopes = jacobian(self, x, beside).sum(axis=0)
        loss = self.n / self.effective
        return self.rmse * math.sqrt(loss * (len(x) + float(slopes @ self.spread @ slopes)))


def design(form: str, x: np.ndarray, changes: tuple[float, ...],
           beside: np.ndarray | None = None) -> np.ndarray:
    """The columns of a form: those beside (one of ones where there are none), then its slopes."""
    x = np.asarray(x, dtype=float)
    first = np.ones((len(x), 1)) if beside is None else beside
    at = changes[0] if changes else 0.0
    made = {"x": x, "below": np.maximum(at - x, 0.0), "above": np.maximum(x - at, 0.0)}
    return np.column_stack([first, *(made[each] for each in SLOPES[form])])


def jacobian(fit: Fit, x: np.ndarray, beside: np.ndarray | None = None) -> np.ndarray:
    """The columns of a form and what a degree of each change point moves."""
    columns = design(fit.form, x, fit.changes, beside)
    if not fit.changes:
        return columns
    x, slopes = np.asarray(x, dtype=float), fit.coefficients[-len(SLOPES[fit.form]) :]
    at = fit.changes[0]
    moves = sum(slope * (x < at) if kind == "below" else -slope * (x > at)
                for kind, slope in zip(SLOPES[fit.form], slopes, strict=True))
    return np.column_stack([columns, moves])


def fit(form: str, x: np.ndarray, y: np.ndarray, beside: np.ndarray | None = None) -> Fit | None:
    """Least squares of one form, or ``None`` where the rows do not carry it.

    The change point from a grid over the values of ``x``, then by Gauss-Newton. One with fewer than
    ``FEWEST_BESIDE`` rows beyond it, and a 3PC that falls, are no fit.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    changes = "above" in SLOPES[form]
    parameters = changes + len(SLOPES[form]) + (1 if beside is None else beside.shape[1])
    if len(y) <= parameters or np.ptp(x) == 0.0:
        return None
    if not changes:
        return _at(form, x, y, (), beside)
    if len(x) < 2 * FEWEST_BESIDE + 2:
        return None
    low, *_, high = np.sort(x)[FEWEST_BESIDE : -FEWEST_BESIDE].tolist()
    places = [(at,) for at in np.linspace(low, high, GRID_STEPS).tolist()]
    found = _at(form, x, y, min(places, key=_held_sse(form, x, y, beside)), beside)
    for _ in range(20):
        move = np.linalg.lstsq(jacobian(found, x, beside), found.misses, rcond=None)[0]
        moved = found.changes[0] + float(move[-1])
        if not low <= moved <= high:
            break
        better = _at(form, x, y, (moved,), beside)
        if better.sse >= found.sse:
            break
        found = better
    return None if form == "3PC" and found.coefficients[-1] <= 0.0 else found


def _held_sse(form: str, x: np.ndarray, y: np.ndarray, beside: np.ndarray | None
              ) -> Callable[[tuple[float, ...]], float]:
    """The squared residuals at held change points; the columns beside are taken out only once."""
    first = np.ones((len(x), 1)) if beside is None else beside
    inverse = np.linalg.pinv(first)

    def apart(columns: np.ndarray) -> np.ndarray:
        return np.asarray(columns - first @ (inverse @ columns))

    left = apart(y)

    def sse(changes: tuple[float, ...]) -> float:
        slopes = apart(design(form, x, changes, beside)[:, first.shape[1] :])
        misses = left - slopes @ np.linalg.lstsq(slopes, left, rcond=None)[0]
        return float(misses @ misses)

    return sse


def _at(form: str, x: np.ndarray, y: np.ndarray, changes: tuple[float, ...],
        beside: np.ndarray | None) -> Fit:
    """Least squares with the change points held."""
    columns = design(form, x, changes, beside)
    coefficients, *_ = np.linalg.lstsq(columns, y, rcond=None)
    held = Fit(form, coefficients, changes, y - columns @ coefficients, float(y.mean()),
               float(np.sum((y - y.mean()) ** 2)), np.empty(0))
    slopes = jacobian(held, x, beside)
    return Fit(form, held.coefficients, changes, held.misses, held.mean, held.total,
               np.linalg.pinv(slopes.T @ slopes))


def pieces(x: np.ndarray, edges: Sequence[float]) -> np.ndarray:
    """``x`` in pieces between ``edges``, one a column; they add up to ``x``."""
    x = np.asarray(x, dtype=float)
    below, above = np.array([-np.inf, *edges]), np.array([*edges, np.inf])
    starts = np.where(np.isinf(below), 0.0, np.minimum(x[:, None], below))
    return np.asarray(np.minimum(x[:, None], above) - starts)


def chosen(x: np.ndarray, y: np.ndarray, beside: np.ndarray | None = None) -> Fit | None:
    """The simplest of line, 3PC and 4P, in order of their parameters, that no later one betters."""
    best: Fit | None = None
    for form in ("2P", "3PC", "4P"):
        other = fit(form, x, y, beside)
        if other and (best is None or gained(best, other) < SIGNIFICANT):
            best = other
    return best


def gained(simple: Fit, other: Fit) -> float:
    """Probability of the F test that one parameter more of ``other`` gained nothing; of several
    more an upper bound."""
    more = other.p - simple.p
    if simple.sse <= other.sse or more < 1:
        return 1.0
    ratio = (simple.sse - other.sse) / more / (other.sse / (other.n - other.p))
    return 1.0 - within(math.sqrt(ratio), other.n - other.p)


def within(t: float, freedom: float) -> float:
    """Probability that Student's t lies within plus and minus ``t``.

    With t = sqrt(freedom) tan(angle) the density is cos(angle)^(freedom - 1); integrated by
    Gauss-Legendre over the part of it that is not nothing.
    """
    end = min(math.atan(t / math.sqrt(freedom)), 40.0 / math.sqrt(freedom + 1.0), math.pi / 2)
    nodes, weights = _nodes()
    angles = end / 2.0 * (nodes + 1.0)
    area = end / 2.0 * float(weights @ np.cos(angles) ** (freedom - 1.0))
    scale = math.exp(math.lgamma((freedom + 1.0) / 2.0) - math.lgamma(freedom / 2.0))
    return 2.0 * scale / math.sqrt(math.pi) * area


@cache
def _nodes() -> tuple[np.ndarray, np.ndarray]:
    nodes, weights = np.polynomial.legendre.leggauss(80)
    return nodes, weights


def student(confidence: float, freedom: float) -> float:
    """Student's t, two-sided, at a confidence such as 0.90."""
    low, high = 0.0, 1e3
    while high - low > 1e-10:
        middle = (low + high) / 2.0
        low, high = (middle, high) if within(middle, freedom) < confidence else (low, middle)
    return high


def fractional_savings_uncertainty(
    cv_rmse: float, share: float, n: int, m: int, p: int, effective: float | None = None,
    confidence: float = 0.90,
) -> float | None:
    """Uncertainty of savings over the savings, or ``None`` where there is no answer.

    Reddy & Claridge (HVAC&R Research 6(1), 2000), as Guideline 14's annex is quoted: t 1.26
    CV(RMSE) sqrt(n/n' (1 + 2/n') / m) / F, t at n - p.

    Args:
        cv_rmse: of the baseline, divisor n - p.
        share: savings over the adjusted baseline of the same reporting rows (F).
        n, m: rows of the baseline and of the reporting period; ``p`` parameters.
        effective: n' where the residuals hang together; never more than n.
        confidence: two-sided.
    """
    independent = min(n if effective is None else effective, n)
    if share <= 0.0 or n <= p or independent <= p:
        return None
    spread = math.sqrt(n / independent * (1.0 + 2.0 / independent) / m)
    return student(confidence, n - p) * 1.26 * cv_rmse * spread / share
