"""A retest in the workbooks, and beside the test it repeats."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import pytest
import record_support as support

from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.procedure.before_after import Saved
from fptlib.procedure.verdict import Check, Verdict
from fptlib.record import retest, store
from fptlib.record.locate import Located, locate
from fptlib.workbook import comparing, sign_off
from fptlib.workbook.comparing import compare
from fptlib.workbook.page import Page

KEYS = support.make_keys()
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


@pytest.fixture
def first(tmp_path: Path) -> Located:
    return saved(support.make_job(tmp_path / "first"), support.make_checks())


def saved(job: Job, checks: list[Check]) -> Located:
    """The job's record, saved in its folder."""
    content = support.make_payload(job, checks)
    store.save(job, support.signed(content, KEYS, ("technician",)))
    return locate(job.folder)


def repeated(first: Located, verdict: Verdict, *more: Check) -> Located:
    """A retest of ``first`` in which the check that failed has this verdict."""
    job = support.make_job(first.path.parents[2] / "second")
    job.put("retest", retest.reference(first.record))
    checks = [dataclasses.replace(check, verdict=verdict) if check.id == "recovery.rate" else check
              for check in support.make_checks()]
    return saved(job, [*checks, *more])


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """The invented job's few rows are not worth a figure, so any picture stands for it."""
    monkeypatch.setattr(comparing.sign_off, "compute", lambda _: sign_off.Computed(None, []))
    monkeypatch.setattr(comparing.before_after, "saved", lambda *_: Saved(
        100, 120, 1000.0, 900.0, 20.0, 0.31, "2P over wet bulb"))
    monkeypatch.setattr(comparing.evidence, "pictures", lambda *_: {"recovery": support.png()})


@pytest.mark.usefixtures("drawn")
def test_a_page_with_both_figures_lies_beside_the_retests_record(first: Located) -> None:
    second = repeated(first, Verdict.PASS)
    found = compare(first, second)
    assert found.good
    energy = ("in 100 of the retest's 120 hours, at the same wet bulb and load, the plant drew "
              "100 ± 20 kWh less than before (10 % saved); 95 % confidence (Guideline 14's "
              "formula: 31 % of the savings). 2P over wet bulb.")
    assert found.lines() == ["D1 recovery.rate: closed", f"energy: {energy}",
                             f"page: {found.page}"]
    assert "100 ± 20 kWh less" in found.page.read_text(encoding="utf-8")
    assert found.page == second.path.with_name("0001-before-and-after.html")
    assert found.page.read_text(encoding="utf-8").count("<img ") == 2 and not found.remarks


@pytest.mark.usefixtures("drawn")
def test_no_page_is_overwritten(first: Located) -> None:
    second = repeated(first, Verdict.FAIL)
    one, two, three = [compare(first, second) for _ in range(3)]
    assert [made.page.name for made in (one, two, three)] == [
        "0001-before-and-after.html", "0001-before-and-after-2.html",
        "0001-before-and-after-3.html"]
    assert not one.good
    assert one.lines()[0] == "D1 recovery.rate: open: recovery.rate is fail in the retest"


@pytest.mark.usefixtures("drawn")
def test_without_trends_or_with_others_there_is_no_figure_and_it_is_said(first: Located) -> None:
    second = repeated(first, Verdict.PASS)
    assert second.job is not None
    (second.job.trends_folder / "plant.csv").write_text("other", encoding="utf-8")
    alone = locate(shutil.copyfile(first.path, first.path.parents[2] / "alone.json"))
    found = compare(alone, second)
    assert "<img " not in found.page.read_text(encoding="utf-8")
    assert found.remarks == [
        "no figures of alone.json: it lies in no job folder that has its trends",
        "no figures of 0001.json: job 'second' is not as it was signed; 'fptlib verify' says "
        "what changed"]


@pytest.mark.usefixtures("drawn")
def test_a_check_that_fails_only_now_is_told(first: Located) -> None:
    found = compare(first, repeated(first, Verdict.PASS, support.make_check("exit.equipment")))
    assert all(entry.closed for entry in found.closings) and not found.good
    assert "exit.equipment: fails now and did not before" in found.lines()


def test_a_page_that_cannot_be_saved_is_a_sentence(
    first: Located, drawn: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    second = repeated(first, Verdict.PASS)
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(RecordError, match="page cannot be saved in 'record': No space .* again"):
        compare(first, second)


def test_two_records_that_do_not_belong_together_make_no_page(first: Located) -> None:
    with pytest.raises(RecordError, match="the retest refers to record .none."):
        compare(first, first)
    assert [path.name for path in first.path.parent.iterdir()] == ["0001.json"]
