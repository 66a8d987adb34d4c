"""Recalculation, retest and export: what follows from a record."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import record_support as support

import fptlib
from fptlib.errors import RecordError
from fptlib.job.folder import Job
from fptlib.procedure.verdict import Verdict
from fptlib.record import canonical, render, retest
from fptlib.record.payload import check_row
from fptlib.record.recalculate import Difference, differences, restored

KEYS = support.make_keys()


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return support.make_job(tmp_path / "job")


@pytest.fixture
def content(job: Job) -> dict[str, Any]:
    return support.make_payload(job)


def changed(id: str, **fields: Any) -> list[Any]:
    return [dataclasses.replace(check, **fields) if check.id == id else check
            for check in support.make_checks()]


def recompute(content: dict[str, Any], checks: list[Any]) -> list[Difference]:
    return differences(content, {**content, "checks": [check_row(check) for check in checks]})


def test_the_same_checks_come_out_the_same(content: dict[str, Any]) -> None:
    found = recompute(content, support.make_checks())
    assert len(found) == 5
    assert all(difference.same for difference in found)


def test_a_last_digit_is_no_difference_but_is_said(content: dict[str, Any]) -> None:
    by = {d.check: d for d in recompute(content, changed("recovery.rate", measured=5.1001))}
    assert by["recovery.rate"].same
    assert by["recovery.rate"].details == ("measured differs in its last digit",)


def test_with_the_same_versions_every_word_counts(content: dict[str, Any]) -> None:
    by = {d.check: d for d in recompute(content, changed("recovery.rate", reason="Else."))}
    assert not by["recovery.rate"].same and "is 'Else.'" in by["recovery.rate"].line()


def test_with_other_versions_both_texts_are_shown(
    content: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fptlib, "__version__", "9.9.9")
    by = {d.check: d for d in recompute(content, changed("recovery.rate", reason="Else."))}
    found = by["recovery.rate"]
    assert found.same and found.line().endswith("same: in other words")
    (word,) = found.wordings
    assert (word.where, word.now) == ("recovery.rate, reason", "Else.")
    assert found.lines()[2] == "  recovery.rate, reason, calculated now: Else."


@pytest.mark.parametrize(("member", "value"), [
    ("end", "2026-01-06T04:44:00-07:00"), ("changeover", 3), ("first", 7),
    ("quantities", {"Rate": 9.0}), ("verdict", "pass")])
def test_no_number_moment_or_verdict_of_an_event_differs_in_silence(
    content: dict[str, Any], member: str, value: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fptlib, "__version__", "9.9.9")
    fresh = json.loads(json.dumps(content))
    (row,) = [row for row in content["checks"] if row["id"] == "recovery.rate"]
    row["events"][0][member] = value
    (found,) = [d for d in differences(content, fresh) if not d.same]
    assert found.check == "recovery.rate" and member in found.line()


def test_the_order_in_which_a_formula_was_given_its_quantities_does_not_count(
    content: dict[str, Any]
) -> None:
    fresh = json.loads(json.dumps(content))
    for stated, names in ((content, "ab"), (fresh, "ba")):
        (row,) = [row for row in stated["checks"] if row["id"] == "recovery.rate"]
        row["events"][0]["quantities"] = dict.fromkeys(names, 0.0)
    assert all(each.same and not each.wordings for each in differences(content, fresh))


def test_what_differs_is_told_with_how_much_and_since_when(
    content: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    recorded = fptlib.__version__
    monkeypatch.setattr(fptlib, "__version__", "9.9.9")
    found = recompute(content, changed("recovery.rate", measured=4.6, verdict=Verdict.PASS))
    (line,) = [difference.line() for difference in found if not difference.same]
    assert line == ("recovery.rate: differs: verdict was 'fail', is 'pass'; measured was 5.1, "
                    f"is 4.6 (by -0.5) (since: fptlib {recorded} -> 9.9.9)")


def test_a_changed_event_is_told(content: dict[str, Any]) -> None:
    check = support.make_check()
    event = dataclasses.replace(check.events[0], measured=5.3)
    found = recompute(content, changed("recovery.rate", events=(event,)))
    assert any("changeover 2: measured was 5.1, is 5.3" in d.line() for d in found)
    none = recompute(content, changed("recovery.rate", events=()))
    assert any("1 events were judged, now 0" in d.line() for d in none)


def test_an_event_that_left_its_unit_to_the_check_is_the_same(content: dict[str, Any]) -> None:
    check = support.make_check()
    (event,) = check.events
    found = recompute(content, changed("recovery.rate", events=(
        dataclasses.replace(event, unit="degF"),)))
    assert event.unit == "" and all(difference.same for difference in found)
    content["checks"] = [check_row(dataclasses.replace(check, events=(
        dataclasses.replace(event, unit="min"),)))]
    assert any("unit was 'min', is 'degF'" in difference.line()
               for difference in recompute(content, [dataclasses.replace(check, events=(
                   dataclasses.replace(event, unit="degF"),))]))


def test_new_and_gone_checks_are_told(content: dict[str, Any]) -> None:
    checks = [*support.make_checks()[1:], support.make_check("exit.equipment")]
    kinds = {d.check: d.kind for d in recompute(content, checks)}
    assert kinds["enable.dwell"] == "gone"
    assert kinds["exit.equipment"] == "new"


def _all_pass(content: dict[str, Any]) -> None:
    for step in content["steps"]:
        step["verdict"] = "pass"


def _other_limit(content: dict[str, Any]) -> None:
    content["limits"]["in_force"][9]["value"] = 99.0


@pytest.mark.parametrize(("member", "edit", "said"), [
    ("steps", _all_pass, "3.verdict was 'pass', is 'indeterminate'"),
    ("deficiencies", lambda content: content["deficiencies"].clear(), "1 was absent"),
    ("limits", _other_limit, "in_force.10.value was 99, is 45 (by -54)"),
    ("overrides", lambda content: content["overrides"].append({"what": "x"}), "is absent"),
    ("trends", lambda content: content["trends"]["remarks"].clear(), "remarks.1 was absent"),
    ("test", lambda content: content["test"].update(weather="warm"), "weather was 'warm'"),
])
def test_what_the_pages_print_beside_the_checks_is_compared(
    job: Job, content: dict[str, Any], member: str, edit: Callable[[dict[str, Any]], None],
    said: str
) -> None:
    edit(content)
    (found,) = [d for d in differences(content, support.make_payload(job)) if not d.same]
    assert found.check == member and said in found.line()


def test_provenance_is_no_difference(
    job: Job, content: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fptlib, "__version__", "9.9.9")
    fresh = support.make_payload(job, changed("recovery.rate", reason="Else."))
    assert all(found.same for found in differences(json.loads(json.dumps(content)), fresh))


def records(tmp_path: Path, after: list[Any], link: bool = True) -> tuple[bytes, bytes]:
    job = support.make_job(tmp_path / "first")
    before = support.signed(support.make_payload(job), KEYS, ("technician", "engineer"))
    second = support.make_job(tmp_path / "second", support.JOB_TOML.replace("T-001", "T-001-R"))
    if link:
        second.put("retest", retest.reference(before))
    return before, support.signed(support.make_payload(second, after), KEYS, ("technician",))


def test_a_retest_refers_to_its_record_and_closes_what_it_repeated(tmp_path: Path) -> None:
    before, after = records(tmp_path, changed("recovery.rate", verdict=Verdict.PASS, measured=1.5))
    (closing,) = retest.closings(before, after)
    assert closing.closed and (closing.number, closing.check) == ("D1", "recovery.rate")
    (row,) = [row for row in retest.compare(before, after) if row.check == "recovery.rate"]
    assert (row.before, row.after) == ("fail", "pass")
    assert (row.measured_before, row.measured_after) == (5.1, 1.5)


@pytest.mark.parametrize(("after", "said"), [
    (changed("recovery.rate", verdict=Verdict.INDETERMINATE), "is indeterminate"),
    ([], "is absent"),
])
def test_a_deficiency_stays_open_with_the_reason(
    tmp_path: Path, after: list[Any], said: str
) -> None:
    (closing,) = retest.closings(*records(tmp_path, after))
    assert not closing.closed
    assert said in closing.reason


def test_a_correction_that_spoils_another_check_closes_nothing(tmp_path: Path) -> None:
    worse = [*changed("recovery.rate", verdict=Verdict.PASS),
             support.make_check("recovery.stable", Verdict.FAIL)]
    (closing,) = retest.closings(*records(tmp_path, worse))
    assert "recovery.stable" in closing.reason


def test_a_retest_of_another_record_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="the retest refers to record .none."):
        retest.closings(*records(tmp_path, [], link=False))


def test_the_comparison_shows_checks_and_figures_before_and_after(tmp_path: Path) -> None:
    before, after = records(tmp_path, changed("recovery.rate", verdict=Verdict.PASS))
    figures = {"recovery.rate": support.png(), "lift": support.png()}
    shown = render.comparison(before, after, figures, figures).decode()
    assert "1 of 1 deficiencies are closed" in shown
    assert shown.count("<img ") == 4
    assert "before: Does the active setpoint return slowly enough?" in shown
    assert "after: Lift protection" in shown


def test_the_comparison_tells_first_what_fails_only_now(tmp_path: Path) -> None:
    worse = [*changed("recovery.rate", verdict=Verdict.PASS),
             support.make_check("exit.equipment", Verdict.FAIL)]
    before, after = records(tmp_path, worse)
    shown = render.comparison(before, after, {}, {}).decode()
    assert "by the retest. Failing now and not before: exit.equipment." in shown
    assert retest.newly_failing(retest.compare(before, before)) == []


def test_tables_as_csv(content: dict[str, Any]) -> None:
    by = {table.name: table for table in render.tables(content)}
    assert set(by) == {"checks", "readings", "deficiencies", "script", "events"}
    text = render.to_csv(by["checks"]).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["id"] for row in rows] == [check.id for check in support.make_checks()]
    assert float(rows[2]["margin"]) == -3.1
    assert rows[3]["measured"] == ""


def test_tables_as_xlsx(content: dict[str, Any]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(render.to_xlsx(render.tables(content))))
    assert book.sheetnames == ["checks", "readings", "deficiencies", "script", "events"]
    head, *rows = list(book["checks"].iter_rows(values_only=True))
    assert dict(zip(head, rows[2], strict=True))["margin"] == -3.1
    assert len(rows) == 5


def test_a_job_is_restored_from_its_record_and_trends(job: Job) -> None:
    record = support.signed(support.make_payload(job), KEYS, ("technician",))
    with restored(record, job.trends_folder) as again:
        assert again.file.read_bytes() == job.file.read_bytes()
        assert again.readings_file.read_bytes() == job.readings_file.read_bytes()
        assert [path.name for path in again.trend_files()] == ["plant.csv", "weather.csv"]
    (job.trends_folder / "plant.csv").write_text("other")
    with (pytest.raises(RecordError, match=r"plant\.csv is not the one"),
          restored(record, job.trends_folder)):
        pass


def test_a_restored_job_leaves_nothing(job: Job) -> None:
    record = support.signed(support.make_payload(job), KEYS, ("technician",))
    with restored(record, job.trends_folder) as again:
        assert again.file.is_file()
    with pytest.raises(ZeroDivisionError), restored(record, job.trends_folder) as failed:
        raise ZeroDivisionError
    assert not again.folder.parent.exists() and not failed.folder.parent.exists()


def test_nothing_is_restored_from_a_record_whose_signature_does_not_match(job: Job) -> None:
    forged, other = (json.loads(support.signed(content, KEYS, ("technician",)))
                     for content in (support.make_payload(job), {"text": "other"}))
    forged["signatures"] = other["signatures"]
    with (pytest.raises(RecordError, match="this record cannot be used: the signature"),
          restored(canonical.encode(forged), job.trends_folder)):
        pass


@pytest.mark.parametrize("name", ["../evil.csv", "/evil.csv", "..", "a\\b.csv", "C:x", ""])
def test_a_record_cannot_name_a_way_out_of_the_folder(
    job: Job, content: dict[str, Any], name: str
) -> None:
    content["inputs"]["trends"] = {name: content["inputs"]["trends"]["plant.csv"]}
    record = support.signed(content, KEYS, ("technician",))
    with (pytest.raises(RecordError, match="no file name"),
          restored(record, job.trends_folder)):
        pass
