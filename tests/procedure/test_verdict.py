"""The decision rule, against ILAC-G8:09/2019 and JCGM 106:2012 (secondary sources)."""

from __future__ import annotations

import pytest

from fptlib.limits import Rule
from fptlib.procedure.verdict import Verdict, conformance, decide, worst


@pytest.mark.parametrize(("rule", "margin", "expected"), [
    (Rule.SIMPLE, 0.1, Verdict.PASS), (Rule.SIMPLE, -0.1, Verdict.FAIL),
    (Rule.SIMPLE, 0.0, Verdict.PASS),
    (Rule.GUARDED_ACCEPTANCE, 0.5, Verdict.INDETERMINATE),
    (Rule.GUARDED_ACCEPTANCE, 1.0, Verdict.PASS), (Rule.GUARDED_ACCEPTANCE, -0.1, Verdict.FAIL),
    (Rule.GUARDED_REJECTION, 0.1, Verdict.PASS),
    (Rule.GUARDED_REJECTION, -0.5, Verdict.INDETERMINATE),
    (Rule.GUARDED_REJECTION, -1.0, Verdict.INDETERMINATE),
    (Rule.GUARDED_REJECTION, -1.1, Verdict.FAIL),
    (Rule.GUARDED_BOTH, 0.5, Verdict.INDETERMINATE),
    (Rule.GUARDED_BOTH, -0.5, Verdict.INDETERMINATE),
    (Rule.GUARDED_BOTH, 1.5, Verdict.PASS), (Rule.GUARDED_BOTH, -1.5, Verdict.FAIL),
])
def test_rule(rule: Rule, margin: float, expected: Verdict) -> None:
    assert decide(margin, 1.0, rule) is expected


@pytest.mark.parametrize(("margin_in_u", "false_accept"), [
    # Exact one-sided values at the acceptance limit, k = 2 (computed with plain arithmetic).
    (0.0, 0.5), (0.83, 0.04846), (1.0, 0.02275), (1.5, 0.00135), (3.0, 1e-9),
])
def test_probability_at_the_acceptance_limit(margin_in_u: float, false_accept: float) -> None:
    assert 1.0 - conformance(margin_in_u, 1.0) == pytest.approx(false_accept, abs=1e-5)


def test_breakdown_voltage_example() -> None:
    """JCGM 106:2012, from memory: -5.47 V, u 0.05, upper limit -5.40: 0.9192."""
    assert conformance(0.07, 0.10) == pytest.approx(0.9192, abs=5e-5)


def test_worst_event_decides_and_unjudged_hides_nothing() -> None:
    assert worst([Verdict.PASS, Verdict.FAIL, Verdict.INDETERMINATE]) is Verdict.FAIL
    assert worst([Verdict.PASS, Verdict.NOT_TESTED]) is Verdict.PASS
    assert worst([Verdict.NOT_TESTED]) is Verdict.NOT_TESTED
    assert worst([]) is Verdict.NOT_TESTED
