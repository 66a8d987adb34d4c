"""A retest in the workbooks."""

from __future__ import annotations

from pathlib import Path

from fptlib.start import start
from fptlib.workbook.page import Page

REFERENCE = {"of_job": "T-<1>", "of_record": "a" * 64, "deficiencies": ["D1", "D2"],
             "steps": ["lift", "handover"]}


def test_every_workbook_says_what_a_retest_repeats(tmp_path: Path) -> None:
    job = start(tmp_path / "job", "Plant")
    assert "Retest" not in Page("plan", job).strip().text
    job.put("retest", REFERENCE)
    shown = Page("plan", job).strip()
    assert ("Retest of job T-<1>, record aaaaaaaaaaaaaaaa. Deficiencies: D1, D2. "
            "Steps to repeat: lift, handover.") in shown.text
    assert "Retest of job T-&lt;1&gt;, record" in shown.markup and "T-<1>" not in shown.markup
