"""Exports of every usual form are read right to the last cell, or stopped with advice that works.

Nothing may be silently wrong: a cell of the grid is the truth's, or it is missing where the
truth is, and a sentence that stops the reading leads, taken literally, to the right reading.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from export_forms import Export, all_forms, follow, wrong
from export_leftovers import leftover_forms
from export_reports import report_forms

from fptlib.errors import IntakeError
from fptlib.trends.grid import Grid
from fptlib.trends.mapping import PointMap, files_of, forms_of
from fptlib.trends.reading import read_trends
from fptlib.trends.samples import open_table

FORMS = [*all_forms(), *report_forms(), *leftover_forms()]


def read(export: Export, folder: Path) -> Grid:
    """The trends, following the advice of each sentence that stops."""
    export.write(folder)
    job, left, again = export.job(), list(export.answers), bool(export.again)
    while True:
        try:
            return read_trends(folder, PointMap.from_answers(job))
        except IntakeError as error:
            sentence = str(error)
        assert "\n" not in sentence
        if left:
            # What one sentence asks together is answered together.
            mine = [advice for advice in left
                    if advice in sentence or f"{advice.split(' = ')[0]} = [...]" in sentence]
            assert mine, (left, sentence)
            for advice in mine:
                follow(sentence, advice, job)
                left.remove(advice)
        else:
            assert again and "export" in sentence, sentence
            export.write(folder, again=True)
            again = False


@pytest.mark.parametrize("export", FORMS, ids=lambda export: export.name)
def test_form(export: Export, tmp_path: Path) -> None:
    grid = read(export, tmp_path)
    texts = [f"{remark.file}: {remark.text}" for remark in grid.remarks]
    assert not (bad := wrong(export, grid)), (bad[:5], len(bad), texts)
    for said in export.said:
        assert any(said in text for text in texts), (said, texts)
    doubted = {remark.point for remark in grid.remarks if remark.severity == "doubt"}
    assert doubted >= set(export.doubted)


@pytest.mark.parametrize("export", FORMS, ids=lambda export: export.name)
def test_the_columns_shown_are_those_read(export: Export, tmp_path: Path) -> None:
    """Before anything is mapped a file is laid out as it is once its columns are known."""
    export.write(tmp_path)
    job = export.job()
    for name, form in forms_of(job, export.files):
        columns = [table["column"] for table in job["points"].values() if name in files_of(table)]
        try:
            mapped = open_table(tmp_path / name, form, columns).names
        except IntakeError:
            continue
        if export.again:
            continue  # neither is read: the sentence asks for another export
        assert open_table(tmp_path / name, form).names == mapped


def test_forms_have_names_of_their_own() -> None:
    assert len({form.name for form in FORMS}) == len(FORMS) >= 160
