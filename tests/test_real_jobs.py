"""Whole jobs on trends that nobody here wrote, from files to a signed record.

The files are public but not committed; each test skips with the reason where its file is
absent. Expected numbers come from independent calculations stated beside them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from intake_plant import JOBS, REAL, SHARED

from fptlib.cli.report import report_of
from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.procedure.assemble import assemble
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.overview import overview
from fptlib.procedure.steps import all_checks
from fptlib.procedure.verdict import Check, Verdict
from fptlib.record.keys import make_key
from fptlib.record.verify import verify
from fptlib.workbook import point_table, sign_off
from fptlib.workbook.run import run_all


def real_job(name: str, folder: Path) -> Job:
    """A job folder with the real files and the committed answers; skips without the files."""
    job = start(folder / name, name)
    for file in REAL[name]:
        if not (SHARED / file).is_file():
            pytest.skip(f"{file} is not in the shared folder (set FPTLIB_SHARED)")
        (job.trends_folder / Path(file).name).write_bytes((SHARED / file).read_bytes())
    job.file.write_bytes((JOBS / name / "job.toml").read_bytes())
    return job


def verdicts(case: FunctionalTest) -> dict[str, Check]:
    return {check.id: check for check in all_checks(case)}


@pytest.mark.full
@pytest.mark.parametrize("name", list(REAL))
def test_through_all_workbooks_to_a_signed_record(name: str, tmp_path: Path) -> None:
    job = real_job(name, tmp_path)
    before = {path.name: path.read_bytes() for path in job.trend_files()}
    results = run_all(job)
    assert not [r for r in results if r.broken], results
    job.put("findings.summary", "Nothing was corrected.")
    make_key(tmp_path / "key", "a test's passphrase")
    path = sign_off.sign(job, tmp_path / "key", "a test's passphrase", "a test")
    found = verify(path.read_bytes(), None, job)
    assert found.good, found.lines()
    assert before == {path.name: path.read_bytes() for path in job.trend_files()}


# Files as dropped, what is typed on the first page, and how many points are ticked at the least.
DROPPED = {
    "campus_chiller": (REAL["campus_chiller"], "Etc/UTC", {}, 12),
    "four_chiller_plant": (REAL["four_chiller_plant"], "Etc/UTC", {}, 13),
    "exchanger_parallel": (REAL["exchanger_parallel"], "America/Los_Angeles", {}, 27),
    "laboratory, summer": (("real_trends/laboratory_atlanta_eff_default.csv.gz",),
                           "America/Denver", {"year": 2021}, 5),
    "laboratory, spring": (("real_trends/laboratory_buffalo_eff_typshldr.csv.gz",),
                           "America/Denver", {"year": 2021, "date_order": "month first"}, 5),
}


@pytest.mark.parametrize("name", DROPPED)
def test_from_the_drop_to_verdicts_with_two_answers(name: str, tmp_path: Path) -> None:
    """What is ticked is accepted, nothing else is stated: every check has a verdict."""
    files, zone, form, least = DROPPED[name]
    job = start(tmp_path / "job", name)
    for file in files:
        if not (SHARED / file).is_file():
            pytest.skip(f"{file} is not in the shared folder (set FPTLIB_SHARED)")
        (job.trends_folder / Path(file).name).write_bytes((SHARED / file).read_bytes())
    job.put("site.altitude", 300.0)
    job.put("site.time_zone", zone)
    if form:
        job.change(lambda document: document.update({"files": {Path(files[0]).name: form}}))
    point_table.save(job, point_table.of(job).rows)
    assert len(job.get("points")) >= least
    report = report_of(job, assemble(job))
    assert report.lines(everything=True)
    assert {check.verdict for check in report.checks} <= {verdict.value for verdict in Verdict}


def test_campus_chiller_is_judged_only_where_it_can_be(tmp_path: Path) -> None:
    case = assemble(real_job("campus_chiller", tmp_path))
    found = verdicts(case)
    assert found["instruments.wet_bulb"].verdict is Verdict.PASS
    rest = {id: check for id, check in found.items() if id != "instruments.wet_bulb"}
    # Its chiller ran on for all of the record; air handlers and basin heaters are not its scope,
    # and its plan states no maximum lift.
    assert rest.pop("lift.starts").reason.startswith(
        "chiller 1, starts per hour: starts in the busiest hour: 0")
    outside = {"cold.basin", "lift.maximum", "load.air_economizer", "load.air_damper",
               "load.air_valve"}
    assert {rest.pop(id).verdict for id in outside} == {Verdict.NOT_APPLICABLE}
    assert {check.verdict for check in rest.values()} == {Verdict.NOT_TESTED}
    economizer = [check for check in rest.values() if check.step != "instruments"]
    plans = [check for check in economizer if check.id == "abort.conditions"]
    assert [check.reason for check in plans] == ["the plan states no abort condition"]
    # Minimum flows and loading ramps are not stated; the coldest condenser water was 56.5 °F.
    plans += [rest["lift.flow"], rest["lift.loading"], rest["cold.fans"]]
    assert all(check.reason.startswith("not trended:") for check in economizer
               if check not in plans)
    assert "chw_flow" not in case.grid.frame
    assert [r.point for r in case.grid.remarks if r.severity == "unusable"] == ["chw_flow"]


def test_campus_chiller_facts(tmp_path: Path) -> None:
    """Independent calculation: lift 30 to 56 degF, tower approach median 5.1 degF."""
    case = assemble(real_job("campus_chiller", tmp_path))
    facts = {fact.name: fact for fact in overview(case)}
    assert facts["tower approach while a chiller runs"].median == pytest.approx(5.1, abs=0.1)
    lift = case.water_lift(1)
    assert np.nanquantile(lift, 0.001) > 29.0 and np.nanmax(lift) < 57.0
    assert "load" not in facts


def test_four_chiller_plant_tons_and_power_are_the_files_own(tmp_path: Path) -> None:
    """Its tons are 500 gpm dT / 12,000 within 0.06; its power is the sum of its parts."""
    case = assemble(real_job("four_chiller_plant", tmp_path))
    frame = case.grid.frame
    rule = 500.0 * frame["chw_flow"] * (
        frame["chw_return_temp"] - frame["chw_supply_temp"]) / 12_000.0
    # The file's temperatures are printed to 0.1 degF, which 1,200 gpm turn into 2.5 tons each.
    assert (rule - frame["plant_load"]).abs().median() < 0.06
    known = (frame["plant_load"] > 50.0) & ~np.isnan(case.load)
    ratio = (case.load / frame["plant_load"])[known]
    assert ratio.median() == pytest.approx(1.005, abs=0.003)
    own = (frame["plant_power"] / frame["plant_load"])[known]
    assert (case.kw_per_ton[known] / own).median() == pytest.approx(1 / 1.005, abs=0.003)
    text = " ".join(remark.text for remark in case.grid.remarks)
    # The file's own column shows 72.7 in its last 1,716 lines, 20 December to the end.
    assert "stands at 72.7 °F for 288 h on end, from 2023-12-20 00:00" in text
    assert verdicts(case)["instruments.wet_bulb"].verdict is Verdict.PASS


# Rows in which the simulator's exchanger status changes, from a plain scan of that column
# outside the package; its stamps end the minute, so the row begins one minute earlier.
ENTRIES = ["01-08 23:08", "01-10 02:48", "01-11 21:20", "01-12 20:23", "01-13 21:34",
           "01-14 23:21", "01-15 20:19", "01-18 18:50", "01-19 19:43", "01-20 20:56",
           "01-21 21:10"]
EXITS = ["01-08 08:46", "01-09 06:33", "01-10 07:08", "01-12 08:18", "01-13 10:15",
         "01-14 08:29", "01-15 07:29", "01-18 15:52", "01-19 13:52", "01-20 10:01",
         "01-21 10:25"]


def test_simulated_plant_changeovers_at_their_minute(tmp_path: Path) -> None:
    case = assemble(real_job("exchanger_parallel", tmp_path))

    def shown(moment: pd.Timestamp) -> str:
        return f"{moment:%m-%d %H:%M}"

    assert [shown(case.time(c.first)) for c in case.runs] == ENTRIES
    exits = [c.exit_row for c in case.changeovers if c.exit_row is not None]
    assert [shown(case.time(row)) for row in exits] == EXITS
    found = verdicts(case)
    judged = ("enable.stay", "enable.condition", "enable.rest", "handover.fallback",
              "handover.excursion", "running.supply", "instruments.heat_balance")
    assert not [id for id in judged if found[id].verdict is Verdict.NOT_TESTED]
    assert found["enable.stay"].verdict is Verdict.PASS
    untested = ("lift.minimum", "lift.setpoint", "lift.chiller_on")
    assert all("economizer_command" in found[id].missing for id in untested)
    assert found["instruments.wet_bulb"].missing == ("outdoor_humidity",)
