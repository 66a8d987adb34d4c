"""Every step from the browser: how far it is, and what came of each."""

from __future__ import annotations

from fptlib.procedure.steps import JUDGED
from fptlib.workbook import panels, run


def test_every_judged_step_is_run_and_its_outcome_shown(job, monkeypatch):
    seen = []

    def run_one(job, step, environment):
        seen.append(step.name)
        stopped = "File 'x' is <missing>" if step.name == "lift" else ""
        return run.StepResult(step.name, step.file, "not tested" if stopped else "pass", stopped)

    monkeypatch.setattr(run, "run_one", run_one)
    for step in JUDGED:
        (job.workbooks_folder / step.file).write_text("{}", encoding="utf-8")
    panel = panels.run_every(job)
    _, press, shown, message = panel.widget.children
    press.click()
    assert sorted(seen) == sorted(step.name for step in JUDGED)
    assert f"{len(JUDGED)} steps have run" in message.value
    assert "04_lift.ipynb" in shown.value and "&lt;missing&gt;" in shown.value
