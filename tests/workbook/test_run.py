"""Workbooks without a browser: verdicts, a stop as a sentence, a broken workbook told apart."""

from __future__ import annotations

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from fptlib.errors import JobError
from fptlib.procedure.steps import step
from fptlib.workbook import run, state
from fptlib.workbook.page import find_job
from fptlib.workbook.standard import as_bytes

ENABLE = step("enable")
OPEN = "from fptlib.workbook.page import open_page\npage = open_page('enable')"


def write(job, *cells, file=ENABLE.file):
    book = new_notebook(cells=[new_code_cell(cell) for cell in cells])
    (job.workbooks_folder / file).write_bytes(as_bytes(book))


def cells(job):
    return nbformat.read(job.workbooks_folder / ENABLE.file, as_version=4).cells


def test_a_stop_is_not_tested_with_its_sentence(job):
    stop = "from fptlib.errors import IntakeError\nraise IntakeError('no file; put it there')"
    write(job, OPEN, stop, "print('never')")
    result, = run.run_all(job)
    assert (result.verdict, result.stopped, result.broken) == (
        "not tested", "no file; put it there", False)
    error = cells(job)[1].outputs[0]
    assert error.traceback == ["STOPPED: no file; put it there"]
    assert not cells(job)[2].outputs
    assert state.standing(job, ENABLE).state == state.WAITING


def test_a_workbook_that_breaks_says_nothing_on_the_plant(job):
    write(job, "1 / 0")
    result, = run.run_all(job)
    assert result.broken and result.verdict == "" and "ZeroDivisionError" in result.stopped


def test_a_damaged_workbook_is_told(job):
    (job.workbooks_folder / ENABLE.file).write_text("{", encoding="utf-8")
    result, = run.run_all(job)
    assert result.broken and "03_enable.ipynb is damaged" in result.stopped


def test_no_widget_stays_in_an_executed_workbook(job):
    write(job, OPEN, 'page.form("plant.tower_approach")')
    heard = []
    result, = run.run_all(job, heard.append)
    assert not result.stopped and heard == ["Economizer enable"]
    text = (job.workbooks_folder / ENABLE.file).read_text(encoding="utf-8")
    assert run.WIDGET not in text and "[form: Tower approach near changeover" in text


def test_a_workbook_outside_a_job_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.delenv("FPTLIB_JOB", raising=False)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(JobError, match="fptlib start FOLDER"):
        find_job()
