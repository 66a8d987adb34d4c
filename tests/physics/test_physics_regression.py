"""Regression with change points against values computed elsewhere.

Ids are rows of the check values on regression and savings: computed with scipy 1.17.1 and
statsmodels 0.15.0, the statistics also with eemeter 4.1.1, on data invented for the purpose.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fptlib.physics import regression

DAY = np.array([
    34, 42, 44, 41, 43, 41, 42, 46, 49, 63, 62, 66, 66, 67, 69, 73, 82, 80, 78, 78, 72, 83, 69, 72,
    80, 53, 55, 54, 55, 42, 46, 44, 42, 27, 41, 44], dtype=float)
USE = np.array([
    417, 402, 396, 360, 390, 423, 428, 372, 382, 526, 507, 607, 576, 594, 653, 747, 914, 888, 849,
    822, 732, 925, 632, 707, 891, 439, 442, 431, 382, 405, 410, 368, 376, 377, 409, 411.0])
AFTER = np.array([34, 42, 48, 54, 59, 64, 69, 71, 74, 79, 83, 88.0])
AFTER_USE = np.array([352, 347, 360, 341, 402, 458, 540, 561, 597, 672, 741, 803.0])


def fitted(form: str) -> regression.Fit:
    found = regression.fit(form, DAY, USE)
    assert found is not None
    return found


def test_a_line() -> None:
    """REG-30, REG-31."""
    line = fitted("2P")
    assert (line.mean, line.total) == pytest.approx((544.166667, 1_243_463.0), rel=1e-6)
    assert line.coefficients == pytest.approx([-87.698354, 11.123296], rel=1e-6)
    assert line.coefficient_errors == pytest.approx([44.337932, 0.752853], rel=1e-6)
    assert line.sse == pytest.approx(167_571.45, rel=1e-6)
    assert line.cv_rmse == pytest.approx(0.1290116, rel=1e-6)
    assert line.autocorrelation == pytest.approx(0.447675, abs=1e-5)


def test_level_then_rising() -> None:
    """REG-32, REG-33, REG-38: the divisor is n - 3."""
    cooling = fitted("3PC")
    assert cooling.changes[0] == pytest.approx(56.968041, abs=0.001)
    assert cooling.coefficients == pytest.approx([401.0, 20.739496], rel=1e-5)
    assert cooling.sse == pytest.approx(14_001.296, rel=1e-5)
    assert cooling.rmse == pytest.approx(20.598100, rel=1e-5)
    assert cooling.cv_rmse == pytest.approx(0.03785256, rel=1e-5)
    assert cooling.r2_adjusted == pytest.approx(0.988058, abs=1e-5)
    assert cooling.coefficient_errors == pytest.approx([4.605875, 0.770865, 0.666523], rel=1e-4)
    assert cooling.autocorrelation == pytest.approx(0.285951, abs=1e-5)
    assert cooling.effective == pytest.approx(19.989700, abs=2e-4)
    assert cooling.misses.sum() == pytest.approx(0.0, abs=1e-9)


def test_two_slopes() -> None:
    """REG-35."""
    both = fitted("4P")
    assert both.changes[0] == pytest.approx(57.719367, rel=1e-4)
    assert both.coefficients == pytest.approx([416.582134, -1.156857, 20.713883], rel=2e-3)
    assert both.coefficients[[0, 2]] == pytest.approx([416.582134, 20.739496], rel=1e-4)
    assert both.sse == pytest.approx(12_813.2039, rel=1e-4)
    assert both.cv_rmse == pytest.approx(0.03677240, rel=1e-4)


def test_the_simpler_form_stays_where_more_gains_nothing() -> None:
    """REG-37: F 2.9672, p 0.0946; adjusted R² alone would take the 4P."""
    three, four = fitted("3PC"), fitted("4P")
    assert regression.gained(three, four) == pytest.approx(0.0946, abs=1e-3)
    assert four.r2_adjusted > three.r2_adjusted
    found = regression.chosen(DAY, USE)
    assert found is not None and found.form == "3PC"


def test_a_reporting_period() -> None:
    """REG-39, FSU-10, FSU-11, FSU-15."""
    cooling = fitted("3PC")
    expected = cooling.predict(AFTER)
    assert expected.sum() == pytest.approx(7534.176469, rel=1e-6)
    saved = expected.sum() - AFTER_USE.sum()
    share = saved / expected.sum()
    assert share == pytest.approx(0.180534, rel=1e-5)
    for confidence, plain, together in (
            (0.68, 0.079111, 0.108380), (0.80, 0.102465, 0.140375), (0.90, 0.132602, 0.181662),
            (0.95, 0.159411, 0.218389)):
        given = cooling.cv_rmse, share, cooling.n, len(AFTER), cooling.p
        assert regression.fractional_savings_uncertainty(
            *given, confidence=confidence) == pytest.approx(plain, abs=1e-5)
        assert regression.fractional_savings_uncertainty(
            *given, cooling.effective, confidence) == pytest.approx(together, abs=1e-5)
    exact = cooling.sum_error(AFTER) * np.sqrt(cooling.effective / cooling.n)
    assert regression.student(0.9, 33) * exact / saved == pytest.approx(0.105260, abs=1e-5)


@pytest.mark.parametrize(("given", "confidence", "expected"), [
    ((0.10, 0.10, 12, 12, 2), 0.68, 0.411112), ((0.10, 0.10, 12, 12, 2), 0.95, 0.875378),
    ((0.10, 0.10, 12, 12, 3), 0.90, 0.720182), ((0.20, 0.10, 365, 365, 3), 0.90, 0.218113),
    ((0.20, 0.10, 365, 365, 3, 365 / 3), 0.90, 0.379835),
    ((0.30, 0.05, 8760, 8760, 3, 8760 * 0.3 / 1.7), 0.68, 0.191349),
    ((0.30, 0.05, 8760, 8760, 3, 8760 * 0.3 / 1.7), 0.90, 0.316510)])
def test_fractional_savings_uncertainty(given, confidence, expected) -> None:
    """FSU-03 to FSU-07."""
    assert regression.fractional_savings_uncertainty(
        *given, confidence=confidence) == pytest.approx(expected, abs=1e-6)


def test_no_answer_is_no_number() -> None:
    """Savings of nothing, and rows so alike that fewer than the parameters count; n' above n,
    as alternating residuals give it, flatters nobody."""
    ask = regression.fractional_savings_uncertainty
    assert ask(0.1, 0.0, 30, 30, 3) is None
    assert ask(0.1, 0.1, 30, 30, 3, 2.5) is None
    assert ask(0.1, 0.1, 30, 30, 3, 95.6) == ask(0.1, 0.1, 30, 30, 3)


@pytest.mark.parametrize("freedom", [1, 2, 9, 10, 17, 33.7, 362, 8757, 1e6])
@pytest.mark.parametrize("confidence", [0.5, 0.68, 0.9, 0.95, 0.99])
def test_student_against_scipy(confidence, freedom) -> None:
    """FSU-02 among them: 1.833113 at 9."""
    assert regression.student(confidence, freedom) == pytest.approx(
        stats.t.ppf(0.5 + confidence / 2.0, freedom), rel=1e-7)


def test_a_sum_lies_within_its_uncertainty_nine_times_of_ten() -> None:
    """Autocorrelated residuals and columns beside the slope, sixty times."""
    chosen, inside = np.random.default_rng(3), []
    for _ in range(60):
        x = 50.0 + 15.0 * np.sin(np.arange(500) / 24.0 * 2.0 * np.pi) + chosen.normal(0, 3, 500)
        noise = np.zeros(500)
        for at in range(1, 500):
            noise[at] = 0.6 * noise[at - 1] + chosen.normal(0.0, 4.0)
        day = (np.arange(500) % 24 < 12).astype(float)
        beside = np.column_stack([day, 1.0 - day])
        y = 100.0 * day + 80.0 * (1 - day) + 3.0 * np.maximum(x - 50.0, 0.0) + noise
        fit = regression.fit("3PC", x[:300], y[:300], beside[:300])
        assert fit is not None
        miss = y[300:].sum() - fit.predict(x[300:], beside[300:]).sum()
        reach = regression.student(0.9, fit.effective - fit.p) * fit.sum_error(
            x[300:], beside[300:])
        inside.append(abs(miss) <= reach)
    assert 0.8 <= np.mean(inside) <= 0.99


def test_a_real_change_point_is_met_by_an_independent_search() -> None:
    """A grid of half degrees (REG-34) is bettered by a little."""
    assert fitted("3PC").sse < 14_002.2747


@pytest.mark.parametrize(("at", "expected"), [
    (20, (20, 0, 0, 0, 0, 0, 0)), (40, (30, 10, 0, 0, 0, 0, 0)), (50, (30, 15, 5, 0, 0, 0, 0)),
    (70, (30, 15, 10, 10, 5, 0, 0)), (80, (30, 15, 10, 10, 10, 5, 0)),
    (100, (30, 15, 10, 10, 10, 15, 10)), (45, (30, 15, 0, 0, 0, 0, 0)),
    (-5, (-5, 0, 0, 0, 0, 0, 0))])
def test_pieces_of_temperature(at: float, expected: tuple[float, ...]) -> None:
    """TOW-01 to TOW-05, as printed by CalTRACK 3.8 to 3.11: they add up to the temperature."""
    found = regression.pieces(np.array([at]), (30, 45, 55, 65, 75, 90))
    assert found[0].tolist() == list(expected) and found.sum() == at
