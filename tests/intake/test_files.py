"""Trend files as they really come: each small file gives its frame or its sentence."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from intake_cases import CASES, Case

from fptlib.errors import IntakeError
from fptlib.job.folder import sha256
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_file(case: Case, tmp_path: Path) -> None:
    case.write(tmp_path)
    before = {path.name: sha256(path) for path in tmp_path.iterdir()}
    if isinstance(case.expected, str):
        with pytest.raises(IntakeError) as error:
            read_trends(tmp_path, PointMap.from_answers(case.answers))
        assert case.expected in str(error.value)
        assert "\n" not in str(error.value)
    else:
        trends = read_trends(tmp_path, PointMap.from_answers(case.answers))
        texts = [remark.text for remark in trends.remarks]
        for said in case.said:
            assert any(said in text for text in texts), texts
        if next(iter(case.expected.values())):
            pd.testing.assert_frame_equal(
                trends.frame, case.frame(), check_freq=False, rtol=1e-6)
        else:
            assert not len(trends.frame.columns)
        assert {file.name: file.sha256 for file in trends.files}.items() <= before.items()
    assert {path.name: sha256(path) for path in tmp_path.iterdir()} == before


def test_cases_have_names_of_their_own() -> None:
    assert len({case.name for case in CASES}) == len(CASES) >= 60
