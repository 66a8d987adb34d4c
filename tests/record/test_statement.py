"""The first page: what the record is, what is missing, and what a signature stands for.

That an owner reads first whether a test was performed and what must be corrected follows the
content lists of Standard 202 and Guideline 1.1, known from secondary sources.
"""

from __future__ import annotations

import dataclasses
import io
from pathlib import Path
from typing import Any

import pypdf
import pytest
import record_support as support

from fptlib.procedure.verdict import Verdict
from fptlib.record import render, signing
from fptlib.record.statement import ANALYSIS, PERFORMED, conclusion, preliminary, signed_as

DONE = '\n[[script]]\nnumber = 1\naction = "read"\noutcome = "pass"\ninitials = "AF"\n'
APPROVED = '\n[[approvals]]\nrole = "owner"\nname = "Casey Owner"\nat = "2026-01-05"\n'


@pytest.fixture
def content(tmp_path: Path) -> dict[str, Any]:
    return support.make_payload(support.make_job(tmp_path / "job"))


def made(tmp_path: Path, more: str, checks: list[Any] | None = None) -> dict[str, Any]:
    return support.make_payload(support.make_job(tmp_path / "other", support.JOB_TOML + more),
                                checks)


def test_a_job_with_nothing_but_trends_says_so(content: dict[str, Any]) -> None:
    told = content["statement"]
    assert told["kind"] == ANALYSIS == "trend analysis, no functional test"
    assert told["preliminary"] == ["The plan was not approved.",
                                   "The limits were not frozen before the trends were read."]


def test_a_performed_step_or_a_marked_test_makes_it_a_functional_test(tmp_path: Path) -> None:
    assert made(tmp_path, DONE + APPROVED)["statement"]["kind"] == PERFORMED
    mark = '\n[[marks]]\ntime = "2026-01-06T00:01:00-07:00"\nwhat = "test started"\nby = "A"\n'
    assert made(tmp_path / "marked", mark)["statement"]["kind"] == PERFORMED


def test_an_approval_that_was_only_entered_is_none(content: dict[str, Any]) -> None:
    entered = {"role": "owner", "name": "Casey Owner", "changed": []}
    assert preliminary({**content, "approvals": [entered]})[0] == (
        "The plan's approval was entered, not signed: owner Casey Owner.")


def test_a_plan_needs_the_owner_and_the_engineer_or_whom_the_firm_names(
        content: dict[str, Any]) -> None:
    owner = {"role": "owner", "name": "Casey Owner", "changed": [], "signed": "a.b.c"}
    engineer = {"role": "engineer", "name": "Blair Senior", "changed": [], "signed": "d.b.c"}

    def said(*approvals: dict[str, Any], **firm: Any) -> list[str]:
        told = preliminary({**content, "approvals": list(approvals),
                            "procedure": {**content["procedure"], **firm}})
        return [sentence for sentence in told if "approv" in sentence]

    assert said(owner, engineer) == []
    assert said(owner) == ["The plan lacks the signed approval of the engineer."]
    assert said(owner, {**engineer, "signed": "a.e.f"}) == [
        "One key signed the plan's approval for owner and engineer."]
    assert said(owner, approvers=["owner"]) == []
    assert said(owner, approvers=["owner", "tenant"]) == [
        "The plan lacks the signed approval of the tenant."]


def test_every_essential_that_is_missing_is_named(content: dict[str, Any]) -> None:
    bare = {**content, "abort": [], "prerequisites": [{"text": "Water balanced"}],
            "overrides": [{"point": "chw_supply_temp"}],
            "script": [{"number": 1, "outcome": "pass"}, {"number": 2},
                       {"number": 3, "outcome": "not done", "remark": "no cold night"}]}
    assert preliminary(bare) == [
        "The plan was not approved.", "The plan states no abort condition.",
        "The limits were not frozen before the trends were read.",
        "Prerequisite open: Water balanced.",
        "Override of chw_supply_temp not released and verified.",
        "Steps of the test script neither performed nor explained: 2."]
    assert "No prerequisite is listed." in preliminary({**bare, "prerequisites": []})


def test_the_conclusion_is_two_sentences_with_the_critical_first(tmp_path: Path) -> None:
    critical = support.make_check("lift.minimum", meaning="A chiller lost its lift.")
    found = made(tmp_path, "", [support.make_check(), critical])
    assert conclusion(found) == (
        "The economizer must not run before 1 critical deficiency of 2 is corrected: A chiller "
        "lost its lift. 2 checks: failed 2.")
    passed = made(tmp_path / "passed", "", [support.make_check(verdict=Verdict.PASS)])
    assert conclusion(passed) == ("No check of the changeover into and out of economizer mode "
                                  "failed. 1 checks: passed 1.")


def test_the_engineers_words_stand_beside_those_of_the_verdicts(tmp_path: Path) -> None:
    toml = support.JOB_TOML.replace("[findings]", "[findings]\nconclusion = 'Ramp, then run.'")
    job = support.make_job(tmp_path / "job", toml)
    stated = support.make_payload(job)
    page = render.html(support.signed(stated, support.make_keys(), ("technician",)), {}).decode()
    assert "In the engineer&#39;s words: Ramp, then run." in page
    assert "The changeover has 1 deficiency to be corrected" in page


@pytest.mark.parametrize(("role", "more", "verdict", "said"), [
    ("technician", "", Verdict.PASS, "analyzed"),
    ("technician", DONE, Verdict.PASS, "performed"),
    ("engineer", DONE + APPROVED, Verdict.FAIL, "reviewed, not accepted: 1 check failed"),
    ("engineer", DONE, Verdict.PASS, "reviewed"),
    ("witness", DONE, Verdict.FAIL, "witnessed, not accepted: 1 check failed"),
])
def test_accepted_stands_only_where_the_test_was_accepted(
    tmp_path: Path, role: str, more: str, verdict: Verdict, said: str
) -> None:
    found = made(tmp_path, more, [support.make_check(verdict=verdict)])
    assert signed_as(found, role, False) == said
    assert signed_as(found, role, True) == "returned for correction"


def test_a_complete_test_without_a_fail_is_accepted(content: dict[str, Any]) -> None:
    whole = {**content, "checks": [], "statement": {"kind": PERFORMED, "preliminary": []}}
    assert signed_as(whole, "engineer", False) == "reviewed", "nothing was proven"
    whole["checks"] = [{"verdict": Verdict.NOT_TESTED}, {"verdict": Verdict.PASS}]
    assert signed_as(whole, "engineer", False) == "accepted"
    failed = {**whole, "script": [{"number": 7, "outcome": "fail"}]}
    assert signed_as(failed, "engineer", False) == (
        "reviewed, not accepted: 1 step of the script failed")


def test_an_aborted_test_and_its_script_stand_in_the_head(tmp_path: Path) -> None:
    mark = '\n[[marks]]\ntime = "2026-01-06T00:31:00-07:00"\nwhat = "test aborted"\nby = "AF"\n'
    then = mark.replace("00:31", "00:44").replace("test aborted", "first chiller started")
    page = render.html(support.signed(made(tmp_path, DONE + mark + then), support.make_keys(),
                                      ("technician",)), {}).decode()
    assert ("The test was aborted 2026-01-06 00:31 -07:00 by AF; first chiller started 2026-01-06 "
            "00:44 -07:00.") in page
    assert "1 step: passed 1" in page


def test_the_first_page_says_it_all(content: dict[str, Any]) -> None:
    keys = support.make_keys()
    record = support.signed(content, keys, ("technician", "engineer"))
    page = pypdf.PdfReader(io.BytesIO(render.pdf(record, {}))).pages[0].extract_text()
    page = " ".join(page.replace("\u200b", "").split())
    for said in ("Trend analysis, no functional test", "Preliminary: The plan was not approved.",
                 "The changeover has 1 deficiency", "Must be corrected, the critical first",
                 "Not proven, and why", "cw_supply_temp is not trended",
                 "reviewed, not accepted: 1 check failed", "analyzed"):
        assert said in page, said
    assert "accepted)" not in page.replace("not accepted", "")


def test_every_abort_condition_met_stands_there_with_minute_and_duration(tmp_path: Path) -> None:
    event = dataclasses.replace(
        support.make_check().events[0], subject="Too warm", quantities={"lasted, min": 73.0},
        text="met from 2026-01-12 06:00 for 73 min, worst 8.3 °F; the test was stopped 57 min "
             "after")
    check = support.make_check("abort.conditions", events=(event,))
    page = render.html(support.signed(made(tmp_path, "", [check]), support.make_keys(),
                                      ("technician",)), {}).decode()
    assert "2026-01-12 06:00 for 73 min (stopped 57 min after)" in page
    assert "Abort conditions that were met" in page


def test_a_returned_record_says_so_first(content: dict[str, Any]) -> None:
    keys = support.make_keys()
    record = signing.countersign(
        support.signed(content, keys, ("technician",)), keys["engineer"], "engineer",
        "Blair Senior", support.MOMENT, signing.SEND_BACK, "the ramp is missing")
    page = render.html(record, {}).decode()
    assert "Returned for correction: this record does not stand." in page
