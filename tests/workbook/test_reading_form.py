"""Every stop of the reading is answered where its sentence stands, by a press or in a field."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from export_forms import Export, all_forms, wrong
from form_views import said

from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.trends.mapping import PointMap
from fptlib.trends.questions import Question
from fptlib.trends.reading import read_trends
from fptlib.workbook import forms
from fptlib.workbook.reading_form import ReadingForm

# What stops and asks for an answer, not for another export.
STOPPED = [form for form in all_forms() if form.answers]


@pytest.fixture(autouse=True)
def quick_presses(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two presses of one button in a test are two, not a double click."""
    monkeypatch.setattr(forms, "DOUBLE_CLICK", 0.0)


def begun(export: Export, folder: Path) -> Job:
    job = start(folder / "new", "new")
    export.write(job.trends_folder)
    for name, content in export.job().items():
        job.put(name, content)
    return job


def widgets_of(widget: Any) -> Iterator[Any]:
    yield widget
    for child in getattr(widget, "children", ()):
        yield from widgets_of(child)


def answer(view: ReadingForm, question: Question, wanted: dict[str, Any]) -> None:
    """Press the answer that is wanted, or type it into its field."""
    held = list(widgets_of(view.questions))
    # Files of one series are asked together, by the first of them.
    every = [option for one in view.asked[:1] for each in one.questions for option in each.options]
    buttons = [widget for widget in held if hasattr(widget, "click")]
    for option, button in zip(every, buttons, strict=True):
        number_worked_out = option.keys() <= wanted.keys() and None in wanted.values()
        if option in question.options and (option.items() <= wanted.items() or number_worked_out):
            return button.click()
    for key in set(question.free) & set(wanted):
        name = "fpt-at-" + forms.handle(".".join((*question.place, key)))
        field = next((each for each in held if name in getattr(each, "_dom_classes", ())), None)
        if field is not None:
            value = wanted[key]
            field.value = "; ".join(value) if isinstance(value, list) else str(value)
    return None


@pytest.mark.parametrize("export", STOPPED, ids=lambda export: export.name)
def test_a_stop_is_answered_where_it_stands(export: Export, tmp_path: Path) -> None:
    job = begun(export, tmp_path)
    wanted: dict[str, Any] = {}
    for advice in export.answers:
        key, _, value = advice.partition(" =")
        wanted |= tomllib.loads(advice) if value.strip() else {key: None}
    view = ReadingForm(job)
    view.panel.message.saved(view.look())
    # One round: whatever a file leaves open is asked together.
    for question in [each for one in view.asked for each in one.questions]:
        answer(view, question, wanted)
    assert not view.asked, said(view.panel.message)
    grid = read_trends(job.trends_folder, PointMap.from_answers(job.answers()))
    assert not wrong(export, grid)
    assert "every point of the map is read" in said(view.panel.message)


def test_the_questions_of_a_file_are_asked_together_with_ten_rows(tmp_path: Path) -> None:
    job = start(tmp_path / "new", "new")
    lines = ["Date;CHWST;CH-1 STS", *(
        f"02/02/2026 {n // 2:02d}:{n % 2 * 30:02d};{44 + n / 10:.1f}{'!' * (n == 7)};"
        f"{'Open' if n % 3 else 'Closed'}" for n in range(30))]
    (job.trends_folder / "t.csv").write_text("\n".join(lines), encoding="utf-8")
    job.put("site", {"time_zone": "America/Denver", "altitude": 5280.0})
    job.put("points", {
        "chw_supply_temp": {"file": "t.csv", "column": "CHWST", "unit": "degF"},
        "chiller_1_running": {"file": "t.csv", "column": "CH-1 STS"}})
    view = ReadingForm(job)
    assert view.look() == "3 questions open; answer them, and the files are read again"
    keys = [sorted({*(key for option in each.options for key in option), *each.free})
            for each in view.asked[0].questions]
    assert keys == [["date_order"], ["bad", "good"], ["off", "on"]]
    # As they would be read with the first answer of each.
    assert "chilled water leaving the plant" in view.shown.value and "44.1" in view.shown.value
    for question in view.asked[0].questions:
        answer(view, question, {"date_order": "day first", "bad": ["*!"], "on": ["Open"],
                                "off": ["Closed"]})
    assert "every point of the map is read: 30 rows from 2026-02-02" in said(view.panel.message)
    assert job.get("files")["t.csv"] == {"date_order": "day first", "bad": ["*!"]}
    assert job.get("points.chiller_1_running.on") == ["Open"]


def test_an_export_that_must_be_made_again_says_so_and_has_no_button(tmp_path: Path) -> None:
    export = next(form for form in all_forms() if form.name == "twelve hours without AM and PM")
    view = ReadingForm(begun(export, tmp_path))
    view.look()
    assert "export the trend again with AM and PM" in json.dumps(
        [child.value for child in view.questions.children])
    assert len(view.questions.children) == 1


def test_what_files_of_one_series_ask_alike_is_answered_once(tmp_path: Path) -> None:
    job = start(tmp_path / "new", "new")
    for day in (5, 6, 7):
        rows = [f"2026-01-{day:02d} {hour:02d}:00,{44 + hour / 10:.1f}{'!' * (hour == day)}"
                for hour in range(24)]
        (job.trends_folder / f"chw 2026-01-{day:02d}.csv").write_text(
            "\n".join(["Time,CHWST", *rows]), encoding="utf-8")
    files = [file.name for file in job.trend_files()]
    job.put("site", {"time_zone": "America/Denver", "altitude": 5280.0})
    job.put("points", {"chw_supply_temp": {"file": files, "column": "CHWST", "unit": "degF"}})
    view = ReadingForm(job)
    assert view.look() == "1 question open; answer them, and the files are read again"
    answer(view, view.asked[0].questions[0], {"good": ["*!"]})
    assert [job.get("files")[file]["good"] for file in files] == [["*!"]] * 3
    assert not view.asked


def test_dates_without_a_year_ask_for_it(tmp_path: Path) -> None:
    job = start(tmp_path / "new", "new")
    rows = [f"08/{26 + hour // 25}  {hour % 25:02d}:00:00,{44 + hour / 100:.2f}"
            for hour in range(1, 25)]
    (job.trends_folder / "t.csv").write_text("\n".join(["Time,CHWST", *rows]), encoding="utf-8")
    job.put("site", {"time_zone": "America/Denver", "altitude": 5280.0})
    job.put("points", {"chw_supply_temp": {"file": "t.csv", "column": "CHWST", "unit": "degF"}})
    view = ReadingForm(job)
    assert "1 question open" in view.look()
    answer(view, view.asked[0].questions[0], {"year": 2024})
    assert not view.asked and job.get("files")["t.csv"] == {"year": 2024}
    grid = read_trends(job.trends_folder, PointMap.from_answers(job.answers()))
    # 24:00 is the next day's beginning.
    assert (grid.time(0).isoformat()[:16], grid.time(len(grid) - 1).isoformat()[:16]) == (
        "2024-08-26T01:00", "2024-08-27T00:00")
    assert grid.columns["chw_supply_temp"][-1] == pytest.approx(44.24)


def test_year_and_order_of_dates_are_asked_together(tmp_path: Path) -> None:
    job = start(tmp_path / "new", "new")
    rows = [f"{date} {hour:02d}:00,{44 + hour / 10:.1f}{'!' * (hour == 7)}"
            for date in ("02/03",) for hour in range(24)]
    (job.trends_folder / "t.csv").write_text("\n".join(["Time,CHWST", *rows]), encoding="utf-8")
    job.put("site", {"time_zone": "America/Denver", "altitude": 5280.0})
    job.put("points", {"chw_supply_temp": {"file": "t.csv", "column": "CHWST", "unit": "degF"}})
    view = ReadingForm(job)
    assert "3 questions open" in view.look()
    wanted = {"year": 2023, "date_order": "month first", "bad": ["*!"]}
    for question in view.asked[0].questions:
        answer(view, question, wanted)
    assert not view.asked and job.get("files")["t.csv"] == wanted
    assert "24 rows from 2023-02-03" in said(view.panel.message)


def test_dates_without_a_year_over_new_year_are_exported_again(tmp_path: Path) -> None:
    job = start(tmp_path / "new", "new")
    rows = [f"{day} {hour:02d}:00,44.{hour:02d}" for day in ("12/30", "12/31", "01/01")
            for hour in range(24)]
    (job.trends_folder / "t.csv").write_text("\n".join(["Time,CHWST", *rows]), encoding="utf-8")
    job.put("site", {"time_zone": "America/Denver", "altitude": 5280.0})
    job.put("files", {"t.csv": {"year": 2024}})
    job.put("points", {"chw_supply_temp": {"file": "t.csv", "column": "CHWST", "unit": "degF"}})
    view = ReadingForm(job)
    view.look()
    assert "run over a New Year" in view.asked[0].questions[0].text
    assert not view.asked[0].questions[0].place


def test_columns_that_are_written_on_change_are_asked_together(tmp_path: Path) -> None:
    """Two statuses with a value only where they change take one answer, as pressed and as read."""
    job = start(tmp_path / "new", "new")
    job.put("site", {"time_zone": "America/Phoenix", "altitude": 1100.0})
    hours = [f"2026-01-20T{row // 60:02}:{row % 60:02}:00,45.{row % 10}," for row in range(240)]
    states = [f"{(row // 6) % 2}," if row % 6 == 0 else "," for row in range(240)]
    later = [f"{(row // 8) % 2}" if row % 8 == 0 else "" for row in range(240)]
    (job.trends_folder / "t.csv").write_text("Time,CHWS,CH1,CH2\n" + "".join(
        f"{''.join(row)}\n" for row in zip(hours, states, later, strict=True)), encoding="utf-8")
    job.put('files."t.csv"', {"time_column": "Time"})
    for name, column in (("chw_supply_temp", "CHWS"), ("chiller_1_running", "CH1"),
                         ("chiller_2_running", "CH2")):
        job.put(f"points.{name}", {"file": "t.csv", "column": column,
                                   **({"unit": "degF"} if name == "chw_supply_temp" else {})})
    view = ReadingForm(job)
    view.look()
    (question,) = view.asked[0].questions
    assert "'CH1', 'CH2'" in question.text and question.also == (("points", "chiller_2_running"),)
    next(each for each in widgets_of(view.questions) if hasattr(each, "click")).click()
    assert job.get("points.chiller_1_running.hold") == job.get("points.chiller_2_running.hold") == 1
    assert "every point of the map is read" in view.look()
