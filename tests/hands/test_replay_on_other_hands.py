"""Sound plants of the second hand do as their sequence allows: the replay accuses none, and what
the settings sheet recommends for them passes its own replay."""

from __future__ import annotations

from pathlib import Path

import pytest

from fptlib.job.folder import Job
from fptlib.procedure.assemble import assemble
from fptlib.procedure.feasibility import FEASIBLE
from fptlib.procedure.replay import disagreements
from fptlib.procedure.settings_sheet import sheet
from tests.hands.second import Scenario, run, scenarios
from tests.hands.second.job import write

SOUND = [scenario for scenario in scenarios() if scenario.name.startswith("sound")]


@pytest.mark.full
@pytest.mark.parametrize("scenario", SOUND, ids=lambda each: each.name)
def test_a_sound_plant_of_another_hand_is_not_accused(scenario: Scenario, tmp_path: Path) -> None:
    write(run(scenario), tmp_path, 1)
    test = assemble(Job(tmp_path), keep=False)
    assert disagreements(test, {}) == []
    found = sheet(test, {})
    assert found.verdict == FEASIBLE and not found.failed
