"""The operator's sheet and the procedure as a document, made from the registry."""

from __future__ import annotations

import html
import re

import pypdf
import pytest
import small_plant

from fptlib.job import plan
from fptlib.job.folder import Job
from fptlib.procedure.steps import CHECKS, STEPS
from fptlib.workbook import document, operators_sheet, settings_page


def text(made) -> str:
    """What the page says, once its PDF has been seen to say the same, word by word."""
    page, pdf = made
    said = html.unescape(re.sub(r"<[^>]+>", " ", page.read_text("utf-8").split("</style>")[1]))
    read = "".join(sheet.extract_text() for sheet in pypdf.PdfReader(pdf).pages)
    letters = re.sub(r"[\s\u200b]", "", read)
    assert not (missing := [word for word in said.split() if word not in letters]), missing
    return " ".join(said.split())


@pytest.fixture
def job(tmp_path):
    return Job(small_plant.write_job(tmp_path / "job"))


def test_the_operators_sheet_has_set_values_alarms_and_what_never_to_do(job) -> None:
    job.put("test.safe_state", "economizer off, CH-1 on")
    job.put('limits."enable.dwell"', {"value": 45.0, "reason": "slow sump", "author": "A"})
    said = text(operators_sheet.write(job))
    for words in ("Operator's sheet: Small invented plant", "NOT RELEASED FOR OPERATION",
                  "reset setpoint for 45 min", "Safe state: economizer off, CH-1 on",
                  "CH-1: lift in the pull-down at least 14 °F", "Never bypass",
                  "Watch each month", "No step of a test was performed",
                  "a wet bulb at least 11 °F below the reset setpoint"):
        assert words in said, words
    job.put("script", [{"number": 1, "action": "A", "outcome": "pass"}])
    job.put("sequence.enable.wet_bulb", 36.0)
    said = text(operators_sheet.write(job))
    assert "No step of a test was performed" not in said
    assert "when the wet bulb stays at or below 36 °F for 45 min" in said


def test_the_document_has_every_step_and_check_with_formula_and_limit(tmp_path, job) -> None:
    said = text(document.write(tmp_path / "procedure.html"))
    assert all(str(step) in said for step in STEPS)
    for id, check in CHECKS.items():
        assert f"Check {id}. Formula: " in said and " ".join(
            check.words["question"].split()) in said, id
        assert f"Source of the formula: {' '.join(check.source.split())}." in said, id
        if "symbols" in check.words:
            assert f"In symbols: {' '.join(check.words['symbols'].split())}" in said, id
    assert ("In symbols: WB + tower approach + tolerance + exchanger approach + tolerance ≤ RSP"
            in said)
    # Named where the formula is computed: physics/moist_air.py, physics/exchanger.py.
    assert "ASHRAE Handbook Fundamentals (2017), chapter 1, eq. 33 and 35" in said
    assert "Incropera and DeWitt" in said.split("References")[1]
    assert said.count("Uncertainty: ") == len(CHECKS)
    # The glossary's accuracies; common practice, no source.
    assert "The sensors: outdoor air wet bulb ± 0.5 °F" in said
    assert "chilled-water flow of the plant ± 2 % of the reading" in said
    rate = said.split("Check recovery.rate.")[1].split("Check ")[0]
    assert "Uncertainty: No sensor's error enters" in rate
    assert "Licensed" in said or "licensed" in said
    assert "30 min" in said and "common practice, no source" in said
    job.put('limits."enable.dwell"', {"value": 45.0, "reason": "slow sump", "author": "A"})
    job.put("sensors.outdoor_wet_bulb", {"accuracy": 0.4})
    own = text(document.write(tmp_path / "own.html", job))
    assert "The sensors: outdoor air wet bulb ± 0.4 °F" in own
    assert "Towers in winter operation" in own and "Approvals of the plan" in own
    assert "45 min" in own and "this job's own value: slow sump (A)" in own


def test_an_owner_reads_in_the_document_all_that_an_approval_is_of(job) -> None:
    job.put("abort", [{"text": "Too cold", "watched": "cw_supply_temp", "side": "below",
                       "limit": 36.0, "stop_within": 5.0}])
    job.put('limits."enable.dwell"', {"value": 45.0, "reason": "slow sump", "author": "A"})
    job.put('settings."enable.dwell"', {"specified": 30.0, "programmed": 15.0, "source": "M-601"})
    job.put("script", [{"number": 1, "kind": "prepare", "action": "Technician: compare clocks",
                        "expected": "Within 1 min", "checks": "instruments.agreement"}])
    said = text(document.write(job.folder / "procedure.html", job))
    for words in ("towers or the sump below 36 °F", "Number of chillers 1", "Chiller 1: Tag CH-1",
                  "how long the condition must hold before the enable 45 min slow sump",
                  # What contradicts what is on paper before anybody travels.
                  "specified 30 min, programmed 15 min; specified 30 min, judged against 45 min",
                  "The limits are not frozen", "prepare: Technician",
                  "[instruments. agreement]", "chilled water leaving the plant"):
        assert words in said, words
    # Each part that an approval has a digest of.
    assert {part for part in plan.digests(job.answers()) if part not in ("frozen", "test")} <= set(
        document._PLAN)


@pytest.mark.parametrize("step", [step for step in STEPS if step.judged], ids=lambda s: s.name)
def test_every_step_has_its_cautions(step) -> None:
    assert document.cautions(step)


@pytest.mark.parametrize(("made_by", "names"), [
    (operators_sheet, ("operators_sheet.html", "operators_sheet.pdf")),
    (settings_page, ("settings_sheet.html", "settings_sheet.pdf")),
    (document, ("procedure.html", "procedure.pdf"))])
def test_a_button_writes_the_pages_and_links_to_them(job, made_by, names) -> None:
    press, shown = made_by.panel(job).widget.children[1:3]
    press.click()
    for name in names:
        assert (job.folder / name).is_file() and f"href='/files/{name}'" in shown.value


def test_the_settings_sheet_says_what_is_missing_where_it_cannot_be_made(job) -> None:
    paths, made = settings_page.write(job)
    said = text(paths)
    assert f"Path from chillers to exchanger: {made.verdict}" in said
    assert "Sequence replayed" in said or "The sequence was not replayed" in said
