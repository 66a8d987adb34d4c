"""The plan's opening: from dropped files to a map and four answers, each row by its box."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import naming
import pytest
from form_views import said

from fptlib.cli.commands import main
from fptlib.job.start import start
from fptlib.workbook import forms
from fptlib.workbook.first_page import FirstPage


@pytest.fixture(autouse=True)
def quick_presses(monkeypatch):
    """Two presses of one button in a test are two, not a double click."""
    monkeypatch.setattr(forms, "DOUBLE_CLICK", 0.0)


@pytest.fixture
def fresh(tmp_path):
    job = start(tmp_path / "new", "new")
    naming.written("trade_4_words", job.trends_folder)
    return job


def button(page, name):
    """A button of the page by its handle."""
    found, left = None, [page.widget]
    while left:
        widget = left.pop()
        left += getattr(widget, "children", ())
        if name in getattr(widget, "_dom_classes", ()):
            found = widget
    return found


def at(page, column):
    return next(n for n, row in enumerate(page.rows) if row.column.startswith(column))


def test_two_presses_make_the_map_and_read_off_the_counts(fresh):
    page = FirstPage(fresh)
    assert len(page.boxes) == 47 and all(box.value for box in page.boxes.values())
    assert fresh.get("points") in (None, {}), "nothing is taken unasked"
    button(page, "fpt-accept").click()
    assert ("47 points are in the map; read off the files: Number of chillers 3, Number of tower "
            "cells 3; correct it below if need be") in said(page.panel.message)
    assert (fresh.get("plant.chillers"), fresh.get("plant.tower_cells")) == (3, 3)
    assert page.answers[1].fields["plant.chillers"].text == "3"
    # All rows are in the map now, and a second press changes nothing.
    before = fresh.file.read_bytes()
    button(page, "fpt-accept").click()
    assert fresh.file.read_bytes() == before


def test_the_row_is_the_label_of_its_box_and_cannot_carry_markup(fresh):
    (fresh.trends_folder / "odd.csv").write_text(
        "Time,HX valve <b onclick=x> %\n2026-01-05 00:00,44.1\n2026-01-05 00:05,44.3\n",
        encoding="utf-8")
    page = FirstPage(fresh)
    one = next(box for box in page.boxes.values() if "odd.csv" in box.description)
    assert "isolation valve" in one.description
    assert "<b" not in one.description and "&lt;b onclick" in one.description


def test_what_is_missing_follows_the_boxes(fresh):
    page = FirstPage(fresh)
    assert "chilled-water flow of the plant" not in page.rest.value
    page.boxes[at(page, "Chilled Water Flow")].value = False
    assert "chilled-water flow of the plant" in page.rest.value
    assert "Plant Efficiency (kW/ton)" in page.rest.value, "what is not used is listed"
    button(page, "fpt-certain").click()
    assert "47 columns are ticked" in said(page.panel.message)
    assert page.boxes[at(page, "Chilled Water Flow")].value


def test_rows_are_filtered_and_sorted(fresh):
    page = FirstPage(fresh)
    page.filter.value = "chiller 2"
    shown = [box.description for box in page.list.children]
    assert len(shown) == 7 and all("Chiller No. 2" in text for text in shown)
    page.filter.value = "everything"
    page.order.value = "doubt first"
    sure = [next(row.confidence for n, row in enumerate(page.rows) if page.boxes.get(n) is box)
            for box in page.list.children]
    assert sure == sorted(sure)


def test_a_column_is_corrected_in_one_line(fresh):
    page = FirstPage(fresh)
    page.column.value = at(page, "Cooling Tower Makeup")
    assert page.point.value == ""
    page.point.value = "hx_cw_flow"
    page.unit.value = "L/s"
    button(page, "fpt-correct-row").click()
    assert "is condenser-water flow through the exchanger; accept it" in said(page.panel.message)
    page.column.value = at(page, "Outdoor Air Relative")
    page.point.value = ""
    button(page, "fpt-correct-row").click()
    button(page, "fpt-accept").click()
    assert fresh.get("points.hx_cw_flow.unit") == "L/s"
    assert fresh.get("points.outdoor_humidity") is None


def test_a_point_accepted_twice_is_refused_with_both_columns(fresh):
    page = FirstPage(fresh)
    page.column.value = at(page, "Outdoor Air Dew")
    page.point.value = "outdoor_wet_bulb"
    button(page, "fpt-correct-row").click()
    button(page, "fpt-accept").click()
    assert "are both accepted as outdoor air wet bulb" in said(page.panel.message)
    assert fresh.get("points") in (None, {})


def test_it_opens_without_a_file_and_asks_four_answers(tmp_path):
    page = FirstPage(start(tmp_path / "new", "new"))
    assert not page.boxes
    assert [path for view in page.answers for path in view.fields] == [
        "site.altitude", "site.time_zone", "plant.chillers", "plant.tower_cells"]


def test_a_file_that_is_taken_in_is_in_the_table_at_once(tmp_path):
    job = start(tmp_path / "new", "new")
    page = FirstPage(job)
    chooser = button(page, "fpt-upload")
    rows = "Time,CHWST (degF)\n" + "".join(
        f"2026-01-05 00:{minute:02d},{44 + minute / 60:.2f}\n" for minute in range(60))
    chooser.value = ({"name": "t.csv", "type": "text/csv", "size": len(rows),
                      "content": memoryview(rows.encode()),
                      "last_modified": datetime.now(UTC)},)
    assert [row.point for row in page.rows] == ["chw_supply_temp"], said(page.panel.message)


def test_the_altitude_is_that_of_the_weather_file_until_the_plan_says_so(fresh):
    sample = Path(__file__).resolve().parents[2] / "sample_trends" / "sound" / "trends"
    shutil.copy(sample / "fable_valley_invented.epw", fresh.trends_folder)
    page = FirstPage(fresh)
    button(page, "fpt-accept").click()
    assert "Altitude 4200" in said(page.panel.message)
    assert fresh.get("site.altitude") == 4200
    fresh.put("site.altitude", 4350.0)
    button(page, "fpt-accept").click()
    assert fresh.get("site.altitude") == 4350.0


def test_a_file_that_cannot_be_read_is_asked_before_anything_is_accepted(tmp_path):
    job = start(tmp_path / "new", "new")
    for week, first in enumerate((1, 6, 11), 1):
        rows = [f"{day:02d}/02/2026 {hour:02d}:00,{44 + hour / 10:.1f}"
                for day in range(first, first + 5) for hour in range(24)]
        (job.trends_folder / f"chw week {week}.csv").write_text(
            "\n".join(["Time,CHWST (degF)", *rows[:96 if week < 3 else None]]), encoding="utf-8")
    # A single day tells nothing of its order.
    (job.trends_folder / "chw week 4.csv").write_text(
        "Time,CHWST (degF)\n04/03/2026 00:00,44\n04/03/2026 01:00,45\n", encoding="utf-8")
    page = FirstPage(job)
    assert list(page.table.unread) == ["chw week 4.csv"]
    assert "1 question open" in said(page.reading.panel.message)
    pressed = next(button for line in page.reading.questions.children
                   for button in getattr(line, "children", ())
                   if getattr(button, "description", "") == "Order of dates: day first")
    pressed.click()
    assert [row.files for row in page.rows] == ["chw week 1.csv and 3 more"]
    assert not page.reading.questions.children
    assert "accept the ticked points above" in said(page.reading.panel.message)
    button(page, "fpt-accept").click()
    assert len(job.get("points.chw_supply_temp.file")) == 4


def choose(page, name, content):
    """Choose a file in the field for the edited table, as a browser hands it over."""
    page.edited.value = ({"name": name, "type": "text/csv", "size": len(content),
                          "content": memoryview(content), "last_modified": datetime.now(UTC)},)


def test_the_table_file_is_that_of_the_command_line_and_is_read_back(fresh, tmp_path):
    page = FirstPage(fresh)
    page.column.value = at(page, "Cooling Tower Makeup")
    button(page, "fpt-write-table").click()
    assert "point_map.csv is written" in said(page.panel.message)
    assert "href='/files/point_map.csv'" in page.written.value
    main(["map", str(fresh.folder), "--table", str(tmp_path / "map.csv")])
    written = (fresh.folder / "point_map.csv").read_bytes()
    assert written == (tmp_path / "map.csv").read_bytes()
    choose(page, "point_map.csv", written.replace(b"yes,outdoor_humidity", b"no,outdoor_humidity"))
    assert "46 points are in the map; read off the files" in said(page.panel.message)
    assert fresh.get("points.outdoor_humidity") is None
    assert [row.accept for row in page.rows if row.point == "outdoor_humidity"] == [True], (
        "it is proposed again, and not in the map")
    assert not page.edited.value, "the same file can be chosen again"


def test_what_is_ticked_and_corrected_is_in_the_table_file(fresh):
    page = FirstPage(fresh)
    page.column.value = at(page, "Cooling Tower Makeup")
    page.point.value = "hx_cw_flow"
    button(page, "fpt-correct-row").click()
    page.boxes[at(page, "Outdoor Air Relative")].value = False
    button(page, "fpt-write-table").click()
    lines = (fresh.folder / "point_map.csv").read_text(encoding="utf-8-sig")
    assert "yes,hx_cw_flow,gpm," in lines and "no,outdoor_humidity,%RH," in lines


@pytest.mark.parametrize(("old", "new", "sentence"), [
    (b"yes,outdoor_humidity,", b"yes,outdoor_moisture,", "'outdoor_moisture' is not a point"),
    (b"yes,outdoor_humidity,", b"perhaps,outdoor_humidity,",
     "Accept holds 'perhaps' where yes or no was expected"),
    (b"yes,outdoor_humidity,%RH", b"yes,outdoor_humidity,gpm", "unit 'gpm' cannot be turned into"),
])
def test_a_table_file_that_cannot_be_used_says_which_row_and_saves_nothing(
        fresh, tmp_path, capsys, old, new, sentence):
    page = FirstPage(fresh)
    button(page, "fpt-write-table").click()
    edited = (fresh.folder / "point_map.csv").read_bytes().replace(old, new)
    row = next(n for n, line in enumerate(edited.split(b"\r\n"), 1) if new in line)
    choose(page, "point_map.csv", edited)
    (tmp_path / "point_map.csv").write_bytes(edited)
    assert main(["map", str(fresh.folder), "--read", str(tmp_path / "point_map.csv")]) == 1
    for told in (said(page.panel.message), capsys.readouterr().err):
        assert f"'point_map.csv', row {row}: " in told and sentence in told
    assert fresh.get("points") in (None, {})


def test_a_workbook_in_place_of_the_table_file_is_named(fresh):
    page = FirstPage(fresh)
    choose(page, "point_map.xlsx", b"PK\x03\x04 and more")
    assert "'point_map.xlsx' is a workbook; save the table as CSV" in said(page.panel.message)


def test_before_any_file_is_there_nothing_stands_that_works_on_columns(tmp_path):
    page = FirstPage(start(tmp_path / "new", "new"))
    for name in ("fpt-write-table", "fpt-accept", "fpt-correct-row", "fpt-read-files"):
        assert button(page, name) is None
    assert "drop the trend files above" in page.inside.children[0].value
