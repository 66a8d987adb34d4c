"""Deficiencies go out as a table and come back with what was done, and live on in the retest."""

from __future__ import annotations

import csv
import io
import shutil

import pytest
import record_support as support
import small_plant
from form_views import rows_view, said

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.procedure.verdict import Verdict
from fptlib.record import retest
from fptlib.record.deficiencies import deficiencies, still_open
from fptlib.record.payload import check_row
from fptlib.workbook import deficiency_table


@pytest.fixture
def job(tmp_path):
    return Job(small_plant.write_job(tmp_path / "job"))


def edited(path, of: str, **cells: str) -> bytes:
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    for row in rows:
        if row["check"] == of:
            row |= cells
    text = io.StringIO()
    lines = csv.DictWriter(text, list(rows[0]), delimiter=";")
    lines.writeheader()
    lines.writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def test_what_was_done_comes_back(job) -> None:
    path = deficiency_table.write(job)
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    row = next(row for row in rows if row["check"] == "recovery.duration")
    assert row["status"] == "open" and row["required"].startswith("at least 20")
    path.write_bytes(edited(path, "recovery.duration", status="corrected", status_by="D. Controls",
                            setting_to="30 min", corrective_action="=ramp set"))
    assert deficiency_table.read(job, path) == len(rows)
    item = next(i for i in deficiency_table.of(job) if i["check"] == "recovery.duration")
    assert (item["status"], item["setting_to"], item["corrective_action"]) == (
        "corrected", "30 min", "=ramp set")
    assert deficiency_table.read(job, deficiency_table.write(job)) == 0


@pytest.mark.parametrize(("cells", "sentence"), [
    ({"status": "done"}, "row 2: Status: 'done' is not offered"),
    ({"status": "corrected"}, "row 2: status 'corrected' needs status_by"),
    ({"check": "none"}, "row 2: there is no check 'none'"),
])
def test_what_cannot_be_used_changes_nothing(job, cells, sentence) -> None:
    path = deficiency_table.write(job)
    first = deficiency_table.of(job)[0]["check"]
    path.write_bytes(edited(path, first, **cells))
    with pytest.raises(FormError, match=sentence):
        deficiency_table.read(job, path)
    assert job.get("deficiencies") is None


def test_a_table_of_something_else_is_refused(job, tmp_path) -> None:
    (tmp_path / "a.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(FormError, match="row 1: no column check, status"):
        deficiency_table.read(job, tmp_path / "a.csv")


def test_a_deficiency_keeps_its_number_and_is_verified_by_the_retest(tmp_path) -> None:
    toml = support.JOB_TOML + '\n[deficiencies."recovery.rate"]\nstatus = "corrected"\n' \
        '[sequence]\nweather_exit = 30\n[[script]]\nnumber = 1\naction = "A"\noutcome = "pass"\n' \
        'observed = "B"\n'
    first = support.make_job(tmp_path / "job", toml)
    record = support.signed(support.make_payload(first), support.make_keys(), ("technician",))
    again = retest.start_retest(tmp_path / "again", record)
    assert again.get("retest.numbers") == {"recovery.rate": "D1"}
    assert again.get('deficiencies."recovery.rate".status') == "corrected"
    assert again.get("sequence.weather_exit") == 30
    assert again.get("script") == [{"number": 1, "action": "A"}]
    assert again.get("test.safe_state") and not again.get("test.returned_to_normal")
    numbers = again.get("retest.numbers")
    for verdict, status, is_open in ((Verdict.PASS, "verified", False),
                                     (Verdict.NOT_TESTED, "corrected", True),
                                     (Verdict.FAIL, "corrected", True)):
        rows = [check_row(support.make_check(verdict=verdict)),
                check_row(support.make_check("exit.supply"))]
        items = {i["check"]: i for i in deficiencies(rows, again.get("deficiencies"), numbers)}
        item = items["recovery.rate"]
        assert (item["number"], item["status"]) == ("D1", status)
        assert items["exit.supply"]["number"] == "D2"
        assert (item in still_open(list(items.values()))) is is_open


SCRIPT = [{"number": 7, "kind": "failure", "action": "Wet-bulb sensor failed",
           "expected": "Alarm raised", "checks": "lift.floor", "observed": "No alarm",
           "time": "2026-01-06T00:31:00-07:00", "initials": "AF", "outcome": "fail"},
          {"number": 8, "action": "B", "checks": "recovery.rate", "outcome": "fail",
           "observed": "too fast"}, {"number": 9, "action": "C"}]


def test_a_failed_step_of_the_script_is_a_deficiency_of_its_own_to_its_closure(tmp_path) -> None:
    """An alarm that was not raised is judged by no check; a step whose own check fails is that
    check's deficiency, and none besides."""
    job = support.make_job(tmp_path / "job")
    job.put("script", SCRIPT)
    keys = support.make_keys()
    content = support.make_payload(job, [support.make_check(),
                                         support.make_check("lift.floor", Verdict.PASS)])
    item, = (item for item in content["deficiencies"] if item["check"].startswith("script"))
    assert (item["check"], item["found"], item["required"], item["severity"]) == (
        "script.7", "step 7 of the test script: No alarm", "Alarm raised", "major")
    assert "step 7 of the test script failed" in content["statement"]["conclusion"]
    record = support.signed(content, keys, ("technician",))
    again = retest.start_retest(tmp_path / "again", record)
    assert again.get("retest.numbers")["script.7"] == item["number"]
    shutil.copytree(job.folder / "trends", again.folder / "trends", dirs_exist_ok=True)

    def closed(**result: str) -> tuple[str, str]:
        again.put("script", [{**step, **result} if step["number"] == 7 else step
                             for step in again.get("script")])
        found = support.make_payload(again, [support.make_check(verdict=Verdict.PASS)])
        after = support.signed(found, keys, ("technician",))
        status = next(i["status"] for i in found["deficiencies"] if i["check"] == "script.7")
        return status, next(each.reason for each in retest.closings(record, after)
                            if each.check == "script.7")

    assert closed() == ("open", "script.7 is absent in the retest")
    assert closed(outcome="fail", observed="none") == ("open", "script.7 is fail in the retest")
    assert closed(outcome="pass", observed="alarm at 22:04") == ("verified", "")


def test_the_contractors_table_and_the_form_take_a_failed_step(job) -> None:
    job.put("script", SCRIPT)
    path = deficiency_table.write(job)
    path.write_bytes(edited(path, "script.7", status="corrected", status_by="D. Controls"))
    deficiency_table.read(job, path)
    assert job.get('deficiencies."script.7".status') == "corrected"
    view = rows_view(job, "deficiencies")
    for name, typed in {"check": "script.7", "status": "verified", "status_by": "AF"}.items():
        view.fields[name].control.value = typed
    view.save.click()
    assert job.get('deficiencies."script.7".status') == "verified", said(view.message)


def test_what_fails_again_is_not_verified() -> None:
    rows = [check_row(support.make_check())]
    item, = deficiencies(rows, {"recovery.rate": {"status": "verified"}}, {})
    assert item["status"] == "open"
