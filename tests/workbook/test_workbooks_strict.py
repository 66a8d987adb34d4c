"""nbval, strict: the committed workbooks give the same text output when run again here."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

import nbformat
import pytest

from fptlib.job.start import start_sample
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import JUDGED, STEPS
from fptlib.workbook import verdicts
from fptlib.workbook.publish import cell_of, formula, head

WORKBOOKS = Path(__file__).resolve().parents[2] / "workbooks"


# What another technician's laptop may have different; the published outputs must not show it.
ELSEWHERE = {"TZ": "Asia/Kolkata", "LC_ALL": "C", "COLUMNS": "40", "PYTHONHASHSEED": "7"}


def strict(books: Sequence[Path], environment: Mapping[str, str]) -> None:
    # A process of its own: kernels inherit its environment, and nbval's items need no fixtures.
    command = [sys.executable, "-m", "pytest", "--nbval", "--nbval-current-env", "-q", "-n", "2",
               "--dist", "loadfile", "-p", "no:cacheprovider", *map(str, books)]
    done = subprocess.run(command, cwd=WORKBOOKS.parent, capture_output=True, text=True,
                          encoding="utf-8", errors="replace", check=False,
                          env={**os.environ, **environment})
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]


@pytest.mark.full
def test_nbval_strict():
    strict([WORKBOOKS], {})


@pytest.mark.full
def test_nbval_strict_with_another_clock_language_width_and_hash_order():
    strict([WORKBOOKS / "01_instruments.ipynb", WORKBOOKS / "05_handover.ipynb"], ELSEWHERE)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_a_workbook_is_short_code_with_words_and_committed_executed(step):
    book = nbformat.read(WORKBOOKS / step.file, as_version=4)
    code = [cell for cell in book.cells if cell.cell_type == "code"]
    words = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert all(cell.metadata["jupyter"]["source_hidden"] for cell in code)
    assert all(cell.execution_count for cell in code)
    assert not any(re.search(r"^\s*(def|class) ", cell.source, re.M) for cell in code)
    assert all(len(cell.source.splitlines()) <= 14 for cell in code)
    for part in ("**Purpose:**", "Safety first", "Cautions for this step", "What is needed"):
        assert part in words
    assert "widgets" not in book.metadata
    assert book.cells[0].source == head(step, book.cells[0].source)
    cells = {cell.id: cell.source for cell in book.cells}
    for check in step.checks:
        assert check.function.__doc__ and cells[cell_of(check)] == formula(check), check.id


@pytest.mark.parametrize("step", JUDGED, ids=lambda step: step.name)
def test_what_a_workbook_prints_is_what_decided(step, sound):
    """Every worksheet in the committed outputs is that of the check the record would hold."""
    book = nbformat.read(WORKBOOKS / step.file, as_version=4)
    printed = {output["data"]["text/plain"] for cell in book.cells
               for output in cell.get("outputs", []) if "text/plain" in output.get("data", {})}
    for check in step.judge(sound):
        assert verdicts.worksheet(check).text in printed, check.id


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return assemble(start_sample(tmp_path_factory.mktemp("sound") / "job", "sound"), keep=False)


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.name)
def test_a_workbook_holds_no_path_no_id_and_no_stop(step):
    book = nbformat.read(WORKBOOKS / step.file, as_version=4)
    for cell in book.cells:
        for output in cell.get("outputs", []):
            output.get("data", {}).pop("image/png", None)
    text = nbformat.writes(book)
    assert not re.search(r"/(tmp|home|root)/|C:\\\\|0x[0-9a-f]{6}|widget-view|STOPPED", text)
