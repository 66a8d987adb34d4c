"""The procedure a job follows, and what differs from it; what a reviewer sees first."""

from __future__ import annotations

import ast
import builtins
import json
import re
import textwrap
import tomllib
from pathlib import Path

import pytest
import record_support
import small_plant
import tomlkit
from form_views import rows_view

from fptlib.cli import api
from fptlib.cli.commands import main
from fptlib.errors import JobError
from fptlib.job.folder import Job
from fptlib.job.start import EDITION, start
from fptlib.limits import Limits
from fptlib.procedure.steps import STEPS, all_checks, step
from fptlib.record import store
from fptlib.workbook import review, standard, state
from fptlib.workbook.page import Page

FIRM = """
[procedure]
name = "Invented firm"
edition = "3"
approvers = ["tenant", "owner"]
[letterhead]
lines = ["Invented firm, commissioning"]
[texts]
enable = "Call the control room before every request."
[limits."enable.dwell"]
value = 45.0
reason = "firm's rule"
author = "Invented firm"
date = "2026-01-01"
"""


LACKS = "The plan lacks the signed approval of the tenant."


@pytest.fixture
def firm(tmp_path):
    folder = tmp_path / "firm"
    folder.mkdir()
    (folder / "procedure.toml").write_text(FIRM, encoding="utf-8")
    return folder


@pytest.fixture
def job(tmp_path):
    return start(tmp_path / "job", "Test")


def test_a_job_of_the_standard_differs_in_nothing(job):
    standard.adopt(job)
    assert job.get("job.procedure") == EDITION
    assert standard.differences(job) == []


def test_a_firms_limits_texts_and_edition_come_with_the_job(job, firm):
    standard.adopt(job, standard.read(firm))
    assert job.get("job.procedure") == "Invented firm 3"
    assert job.get('limits."enable.dwell".value') == 45.0
    assert rows_view(job, "approvals").fields["role"].control.options[1:4] == (
        ("tenant", "tenant"), ("owner", "owner"), ("engineer", "engineer"))
    assert LACKS in state.left_open(step("plan"), job.answers())
    job.put("site.time_zone", "UTC")
    shown = Page("enable", job).strip()
    assert "Invented firm, commissioning" in shown.markup
    assert "Call the control room" in shown.text
    assert standard.differences(job) == []


def test_what_differs_is_told(job, firm):
    standard.adopt(job, standard.read(firm))
    job.put('limits."enable.dwell".value', 10.0)
    path = job.workbooks_folder / "03_enable.ipynb"
    book = json.loads(path.read_text(encoding="utf-8"))
    book["cells"][0]["source"] = "# changed"
    path.write_text(json.dumps(book), encoding="utf-8")
    (job.workbooks_folder / "04_lift.ipynb").unlink()
    told = " ".join(standard.differences(job))
    assert "03_enable.ipynb: its text or code differs" in told
    assert "04_lift.ipynb: is missing" in told
    assert "Limit enable.dwell: 10 min instead of the procedure's 45 min" in told


def test_a_firms_folder_is_begun_with_a_command(tmp_path):
    folder = tmp_path / "our firm"
    assert main(["procedure", "new", str(folder)]) == 0
    begun = standard.read(folder)
    assert begun.stated["procedure"] == {"name": "Our firm", "edition": "1"}
    assert main(["procedure", "new", str(folder)]) != 0  # never over what is there
    # Everything that is an example there is right as soon as its # is taken away.
    text = (folder / "procedure.toml").read_text(encoding="utf-8")
    examples = "".join(line[2:] if re.match(r'# (\[|\w+ = )', line) else line
                       for line in text.splitlines(keepends=True))
    (folder / "procedure.toml").write_text(examples, encoding="utf-8")
    stated = standard.read(folder).stated
    assert stated["limits"]["enable.dwell"]["value"] == 45.0 and stated["texts"]["enable"]
    assert stated["procedure"]["approvers"] == ["owner", "tenant"]


def test_the_page_on_a_firms_own_procedure_names_every_step_and_its_example_is_right(tmp_path):
    page = (Path(__file__).parents[2] / "workbooks" / "own_procedure.md").read_text("utf-8")
    named = re.search(r"the steps are (.*?)\.\n", page, re.S)[1]
    assert re.findall(r"`(\w+)`", named) == [step.name for step in STEPS]
    (tmp_path / "procedure.toml").write_text(
        textwrap.dedent("".join(re.findall(r"^ {4}\S.*\n|^\n", page.split("## An example")[1]
                                           .split("## What")[0], re.M))), encoding="utf-8")
    assert standard.read(tmp_path).stated["limits"]["enable.dwell"]["value"] == 45.0


def test_a_retest_follows_the_procedure_of_its_record(tmp_path, firm):
    (firm / "workbooks").mkdir()
    own = json.loads((standard.data_folder("workbooks") / "04_lift.ipynb").read_text("utf-8"))
    own["cells"][0]["source"] = "# The firm's lift"
    (firm / "workbooks" / "04_lift.ipynb").write_text(json.dumps(own), encoding="utf-8")
    earlier = record_support.make_job(tmp_path / "earlier")
    (earlier.folder / "workbooks").mkdir(exist_ok=True)
    standard.adopt(earlier, standard.read(firm))
    content = record_support.make_payload(earlier)
    assert LACKS in content["statement"]["preliminary"]
    store.save(earlier, record_support.signed(content, record_support.make_keys(),
                                              ("technician",)))
    job = api.start(tmp_path / "retest", retest=earlier.folder)
    assert job.get("job.procedure") == "Invented firm 3"
    assert job.get("procedure.letterhead") == ["Invented firm, commissioning"]
    assert job.get("procedure.approvers") == ["tenant", "owner"]
    assert job.get('limits."enable.dwell".value') == 45.0
    assert cells(job.workbooks_folder / "04_lift.ipynb")[0]["source"] == "# The firm's lift"
    assert standard.differences(job) == []


def cells(path):
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def damage(path, source=None):
    """Write something else into a page, or leave half of it."""
    text = path.read_text(encoding="utf-8")
    book = json.loads(text)
    if source is None:
        path.write_text(text[:len(text) // 2], encoding="utf-8")
    else:
        del book["cells"][4]
        book["cells"][0]["source"] = source
        path.write_text(json.dumps(book), encoding="utf-8")


@pytest.mark.parametrize("source", ["# Lost a form", None])
def test_a_damaged_page_mends_itself_and_what_was_there_is_set_aside(job, source):
    standard.adopt(job)
    path = job.workbooks_folder / "04_lift.ipynb"
    whole = cells(path)
    damage(path, source)
    damaged = path.read_bytes()
    standard.mend(job, path.name)
    assert cells(path) == whole
    assert (job.workbooks_folder / standard.SET_ASIDE / path.name).read_bytes() == damaged
    assert standard.differences(job) == []
    path.unlink()
    standard.mend(job, path.name)
    assert cells(path) == whole


def test_a_firms_own_page_is_mended_from_the_firms(job, firm):
    (firm / "workbooks").mkdir()
    book = json.loads((job.workbooks_folder / "04_lift.ipynb").read_text(encoding="utf-8"))
    book["cells"][0]["source"] = "# The firm's lift"
    (firm / "workbooks" / "04_lift.ipynb").write_text(json.dumps(book), encoding="utf-8")
    standard.adopt(job, standard.read(firm))
    damage(job.workbooks_folder / "04_lift.ipynb", "# Somebody's")
    standard.mend(job, "04_lift.ipynb")
    assert cells(job.workbooks_folder / "04_lift.ipynb")[0]["source"] == "# The firm's lift"
    assert standard.differences(job) == []


def test_a_whole_page_keeps_its_outputs_and_one_of_another_edition_its_words(job):
    standard.adopt(job)
    path = job.workbooks_folder / "04_lift.ipynb"
    book = json.loads(path.read_text(encoding="utf-8"))
    book["cells"][1]["outputs"] = [{"output_type": "stream", "name": "stdout", "text": "x"}]
    book["cells"][0]["metadata"] = {}
    path.write_text(json.dumps(book), encoding="utf-8")
    standard.mend(job, path.name)
    assert cells(path)[1]["outputs"] == book["cells"][1]["outputs"]
    assert cells(path)[0]["metadata"] == {"deletable": False, "editable": False}
    job.change(lambda document: document["procedure"]["workbooks"].update({path.name: "older"}))
    damage(path, "# Of an older edition")
    standard.mend(job, path.name)
    assert cells(path)[0]["source"] == "# Of an older edition"


def test_the_cells_that_draw_forms_are_marked_and_need_nothing_of_the_others(job):
    """They run when the page is opened, in their order and without the cells between them."""
    for path in sorted(job.workbooks_folder.glob("*.ipynb")):
        forms = ["".join(cell["source"]) for cell in cells(path)
                 if "form" in cell["metadata"].get("tags", [])]
        assert "open_page(" in forms[0] and len(forms) > 1, path.name
        known = set(dir(builtins))
        for source in forms:
            tree = ast.parse(source)
            names = [node for node in ast.walk(tree) if isinstance(node, ast.Name)]
            known |= {name.id for name in names if isinstance(name.ctx, ast.Store)}
            known |= {alias.name for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
                      for alias in node.names}
            assert {name.id for name in names} <= known, (path.name, source)


def refused(firm):
    with pytest.raises(JobError) as told:
        standard.read(firm)
    return str(told.value)


@pytest.mark.parametrize("text", ["[", "[procedure]\nname = 'x'"])
def test_a_firms_folder_that_cannot_be_used_is_refused(firm, text):
    (firm / "procedure.toml").write_text(text, encoding="utf-8")
    assert "'firm' cannot be used: " in refused(firm)


@pytest.mark.parametrize(("text", "said"), [
    ("[limits.nonsense]\nvalue=1", "no limit 'nonsense'"),
    ("[limits]\n'enable.dwell'=20", "limit 'enable.dwell' is 20; it must be a table"),
    ("[limits.'enable.dwell']\nreason='r'", "must be a table with value, reason"),
    ("[limits.'enable.dwell']\nvalue=20", "give a reason and an author"),
    ("[limits.'enable.dwell']\nvalue=nan\nreason='r'\nauthor='a'",
     "'nan' is not a number; write a number from 0"),
    ("limits=1", "'limits' must be a table"),
    ("[letterhead]\nlines=1", "'letterhead.lines' must be a list"),
])
def test_what_a_firm_states_wrongly_is_told(firm, text, said):
    stated = {"procedure": {"name": "x", "edition": "1"}, **tomllib.loads(text)}
    (firm / "procedure.toml").write_text(tomlkit.dumps(stated), encoding="utf-8")
    told = refused(firm)
    assert said in told and "procedure.toml" in told


def test_a_firms_workbook_that_is_no_notebook_is_told(firm):
    (firm / "workbooks").mkdir()
    (firm / "workbooks" / "04_lift.ipynb").write_text("[]", encoding="utf-8")
    assert "04_lift.ipynb is not a notebook" in refused(firm)


def test_limits_changed_after_freezing_come_first(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "small"))
    assert "never frozen" in review.limit_changes(job)[0]
    job.put("frozen", {"limits": Limits().digest(), "at": "x", "by": "A"})
    assert review.limit_changes(job) == []
    job.put('limits."enable.dwell"', {"value": 1.0, "reason": "r", "author": "A"})
    told = review.limit_changes(job)
    assert told[0].startswith("Limit enable.dwell (enable delay: ")
    assert ") is 1 min instead of the standard's 30 min: r (A)" in told[0]
    assert "were changed after they were frozen" in told[1]


def test_a_filter_keeps_what_is_near_its_limit():
    checks = all_checks(small_plant.case())
    assert review.chosen(checks, review.ALL) == checks
    near = [check.id for check in review.chosen(checks, review.NEAR)]
    # Margins of 1.2 and 2.0 of the uncertainty; the dwell of 45.
    assert near.index("lift.minimum") < near.index("lift.release")
    assert "enable.dwell" not in near
    still_open = review.chosen(checks, review.OPEN)
    assert still_open and all(check.verdict != "pass" for check in still_open)


def test_comments_lie_beside_the_job_and_change_nothing_of_it(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "small"))
    before = job.file.read_bytes()
    comments = review.Comments(job)
    comments.put({"check": "enable.dwell", "text": "why so long?", "decision": "accept"}, None)
    comments.put({"check": "enable.stay", "text": "b", "decision": "send back"}, None)
    comments.take({"check": "enable.stay"})
    assert comments.rows() == [
        {"check": "enable.dwell", "text": "why so long?", "decision": "accept"}]
    assert job.file.read_bytes() == before


@pytest.mark.parametrize("change", [
    lambda comments, row: comments.put(row, None), lambda comments, row: comments.take(row)])
def test_a_comment_of_another_window_is_kept(tmp_path, monkeypatch, change):
    job = Job(small_plant.write_job(tmp_path / "small"))
    mine = {"check": "enable.stay", "text": "b", "decision": "accept"}
    other = {"check": "enable.dwell", "text": "why so long?", "decision": "accept"}
    own_lock = job.locked

    def late():
        review.Comments(Job(job.folder)).put(other, None)
        return own_lock()

    monkeypatch.setattr(job, "locked", late)
    change(review.Comments(job), mine)
    assert other in review.Comments(job).rows()


def test_broken_comments_are_told_in_a_sentence(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "small"))
    (job.folder / review.REVIEW_FILE).write_text("[comments", encoding="utf-8")
    with pytest.raises(JobError, match=r"review\.toml cannot be read"):
        review.Comments(job).rows()
