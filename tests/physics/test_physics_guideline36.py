"""Values of section 6.2 of the check values, computed from the published rules of Guideline 36."""

from __future__ import annotations

import pytest

from fptlib.physics.guideline36 import condenser_return, predicted_leaving


@pytest.mark.parametrize(("wet_bulb", "part", "tuning", "expected"), [
    (40.0, 0.8, 0.0, 49.4), (40.0, 0.8, 0.2, 50.4), (40.0, 0.8, -0.2, 48.4),
    (40.0, 1.3, 0.0, 50.0), (35.0, 0.8, 0.5, 49.4), (45.0, 1.0, 0.0, 55.0)])
def test_what_the_exchanger_is_predicted_to_leave(
        wet_bulb: float, part: float, tuning: float, expected: float) -> None:
    """Exchanger 3, tower 7, design wet bulb 45 °F."""
    found = predicted_leaving(wet_bulb, part, 7.0, 3.0, 45.0, tuning)
    assert float(found) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("part", "expected"), [
    (1.0, 97.0), (0.9, 92.82), (0.5, 76.1), (0.25, 65.65), (0.1, 59.38), (0.05, 59.0),
    (0.0, 59.0)])
def test_the_condenser_water_that_chillers_need(part: float, expected: float) -> None:
    """Setpoint 44, minimum lift 15; design return 95 and lowest supply 42 °F: 53 °F of lift."""
    assert float(condenser_return(44.0, part, 15.0, 95.0 - 42.0)) == pytest.approx(expected)
