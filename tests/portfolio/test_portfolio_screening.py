"""Screening of one plant: what it says, what it does not, and what it leaves alone."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import portfolio_plants as plants
import pytest
from grids import grid_with

from fptlib.job.folder import Job
from fptlib.portfolio import engine
from fptlib.portfolio.engine import Task, screen_plant
from fptlib.portfolio.result import Results, Screening, from_json, inputs_digest
from fptlib.portfolio.screening import hours, screen_with_record
from fptlib.procedure import enable, savings
from fptlib.procedure.assemble import assemble
from fptlib.procedure.steps import all_checks
from fptlib.record import schema

DELAY = 30


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return plants.write_job(tmp_path_factory.mktemp("one") / "frosty", days=4, missed=1.0, seed=1)


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*")
            if path.is_file() and path.name != ".lock"}


def test_verdicts_are_those_of_the_procedure(folder: Path) -> None:
    found = screen_with_record(folder)[0]
    checks = all_checks(assemble(Job(folder)))
    assert [(row.id, row.verdict, row.reason) for row in found.rows] == [
        (check.id, str(check.verdict), check.reason) for check in checks]
    assert found.error == "" and found.record_problem == ""


def test_lost_hours_are_counted_by_hand(folder: Path) -> None:
    # Two days of frost on chillers, and the minutes of the warm days in which the condition
    # held before the request, counted here from the drawn lines themselves.
    table = plants.frame(4, 1.0, 1)
    needed = table["outdoor_wet_bulb"] + 7.0 + 1.5 + 2.0 + 1.5
    chillers = table[["chiller_1_running", "chiller_2_running"]].max(axis=1) == 1.0
    held = needed <= table["chw_reset_setpoint"]
    lost = held & chillers & (table["economizer_command"] == 0.0)
    # An hour is lost from the end of the enable delay on, half an hour by the standard limit.
    since = lost.groupby((~lost).cumsum()).cumsum()
    lost &= since > DELAY
    screened = screen_with_record(folder)[0]
    found = screened.hours
    assert found is not None
    # In the words of workbook and record.
    test = assemble(Job(folder), keep=False)
    assert screened.outcome.endswith(", " + savings.lost(test, enable.lost_rows(test)).amount)
    assert found.lost == round(lost.sum() / 60.0, 2)
    assert found.possible == round(held.sum() / 60.0, 2)
    assert found.span == 96.0
    assert 46.0 <= found.lost and found.certain <= found.lost
    assert found.chiller_kw == pytest.approx(table.loc[lost, "plant_power"].mean(), abs=0.05)
    # The drawn plant draws 65 kW on the exchanger at any load; that is known to a part only.
    assert found.kwh is not None and found.kwh_uncertainty is not None
    assert abs(found.economizer_kw - 65.0) * found.lost <= found.kwh_uncertainty + 1.0
    saved = found.chiller_kw - found.economizer_kw
    assert found.kwh == pytest.approx(found.lost * saved, rel=0.01)
    assert sum(part[1] for part in found.spark) == pytest.approx(found.lost, abs=0.3)


def test_hours_that_a_gap_hides_are_told_and_not_counted(folder: Path) -> None:
    case = assemble(Job(folder))
    whole = hours(case)
    wet_bulb = case.grid.frame["outdoor_wet_bulb"].mask(np.arange(len(case.grid.frame)) < 180)
    trends = grid_with(case.grid, case.grid.frame.assign(outdoor_wet_bulb=wet_bulb))
    part = hours(replace(case, grid=trends))
    assert (whole.unseen, part.unseen) == (0.0, 3.0)
    assert whole.lost is not None and part.lost is not None
    assert whole.lost - 3.0 <= part.lost < whole.lost


def test_a_missing_point_is_named_and_nothing_is_invented(tmp_path: Path) -> None:
    names = tuple(str(name) for name in plants.frame(1).columns)
    dry = plants.write_job(tmp_path / "a", names=tuple(
        n for n in names if n not in ("outdoor_wet_bulb", "outdoor_humidity")))
    found = screen_with_record(dry)[0].hours
    assert found is not None and found.lost is None and found.kwh is None
    assert "outdoor_wet_bulb" in found.why_unknown
    unmetered = plants.write_job(tmp_path / "b", missed=1.0, names=tuple(
        n for n in names if "power" not in n))
    found = screen_with_record(unmetered)[0].hours
    assert found is not None and found.lost > 0.0 and found.kwh is None
    assert found.why_no_kwh.startswith("not trended: ")


def test_without_a_run_the_energy_is_not_stated(folder: Path) -> None:
    case = assemble(Job(folder))
    table = case.grid.frame.assign(economizer_command=0.0, chiller_1_running=1.0)
    case = replace(case, grid=grid_with(case.grid, table))
    found = hours(case)
    assert found.lost and found.kwh is None and "steady quarter-hours" in found.why_no_kwh


def test_an_unreadable_plant_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert "no job.toml" in screen_with_record(tmp_path / "empty")[0].error
    torn = plants.write_job(tmp_path / "torn", days=1)
    text = (torn / "trends" / "plant.csv").read_text(encoding="utf-8")
    (torn / "trends" / "plant.csv").write_text(text.replace("chw_flow", "other", 1))
    found, record = screen_with_record(torn)
    assert "chw_flow" in found.error and record is None and not found.rows
    (torn / "trends" / "plant.csv").unlink()
    assert "plant.csv" in screen_with_record(torn)[0].error


def test_a_fault_of_the_program_costs_this_plant_only(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(case: object) -> None:
        raise ZeroDivisionError("by hand")

    monkeypatch.setattr("fptlib.portfolio.screening.all_checks", broken)
    assert "ZeroDivisionError: by hand" in screen_with_record(folder)[0].error


def test_the_record_is_marked_unsigned_and_of_the_usual_form(folder: Path) -> None:
    _, record = screen_with_record(folder)
    assert record is not None and record["screening"] is True and "Unsigned" in record["statement"]
    assert schema.current(record["payload"])["job"]["invented"] is True
    assert "signatures" not in record


def test_nothing_in_the_job_is_changed(folder: Path) -> None:
    before = contents(folder)
    screen_with_record(folder)
    assert contents(folder) == before


def test_a_result_survives_its_file_to_the_bit(folder: Path) -> None:
    found = screen_with_record(folder)[0]
    assert from_json(json.loads(json.dumps(asdict(found)))) == found
    assert from_json(asdict(Screening("x", error="y"))) == Screening("x", error="y")


def test_kept_results_stand_until_an_input_changes(tmp_path: Path) -> None:
    job = plants.write_job(tmp_path / "p", days=2)
    task = Task(tmp_path, "p", tmp_path / "screening")
    results = Results(task.results)
    first = screen_plant(task)
    stamp = results.file("p").stat().st_mtime_ns
    assert screen_plant(task) == first and results.file("p").stat().st_mtime_ns == stamp
    (job / "job.toml").write_text((job / "job.toml").read_text().replace("INV-0", "INV-1"))
    assert results.read("p", inputs_digest(job)) is None
    assert screen_plant(task).number == "INV-1"
    results.file("p").write_text("{}")
    assert screen_plant(task).number == "INV-1"
    assert json.loads(results.record_file("p").read_text())["screening"] is True
    (job / "trends" / "plant.csv").unlink()
    assert "plant.csv" in screen_plant(task).error
    assert not results.record_file("p").exists()


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="rights do not bind here")
def test_a_folder_that_may_not_be_read_costs_itself(tmp_path: Path) -> None:
    job = plants.write_job(tmp_path / "p", days=1)
    (job / "trends" / "plant.csv").chmod(0)
    assert "PermissionError" in screen_plant(Task(tmp_path, "p", tmp_path / "screening")).error


def test_jobs_are_found_at_any_depth_and_others_are_not_passed_over(tmp_path: Path) -> None:
    for name in ("b/one", "b/two", "a", ".hidden/three", "screening/plants"):
        (tmp_path / name).mkdir(parents=True)
        (tmp_path / name / "job.toml").write_text("")
    (tmp_path / "forgotten").mkdir()
    (tmp_path / "a" / "inside").mkdir()
    (tmp_path / "a" / "inside" / "job.toml").write_text("")
    assert engine.plants(tmp_path) == ["a", "b/one", "b/two", "forgotten"]


@pytest.mark.parametrize(("make", "said"), [
    (lambda path: None, "there is no folder"),
    (lambda path: path.mkdir(), "holds no job folder"),
    (lambda path: plants.write_job(path, days=1), "is a job itself"),
])
def test_a_folder_that_is_no_portfolio_says_so(tmp_path: Path, make, said: str) -> None:
    from fptlib.errors import JobError

    make(tmp_path / "x")
    with pytest.raises(JobError, match=said):
        engine.plants(tmp_path / "x")
