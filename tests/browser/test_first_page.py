"""From dropped files to verdicts: the plan's opening in a browser, with few actions."""

from __future__ import annotations

import time
from pathlib import Path

import naming
import pandas as pd
import pytest
from browser_desk import Desk, drop

from fptlib.job.folder import Job
from fptlib.job.start import start

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
pytestmark = pytest.mark.full


@pytest.fixture
def sample(tmp_path: Path) -> Job:
    """A job just begun, without an answer."""
    return start(tmp_path / "new", "new")


def test_from_a_dropped_file_to_verdicts_in_ten_actions(desk: Desk, tmp_path: Path,
                                                        pictures: Path):
    exported = tmp_path / "export"
    exported.mkdir()
    naming.written("trade_4_words", exported)
    desk.open("plan")
    began, job = time.monotonic(), desk.office.job
    drop(desk.page, [exported / "plant.csv"])                                       # 1
    desk.wait_for("taken in: plant.csv", 60)
    boxes = desk.page.locator(".fpt-points input[type=checkbox]")
    boxes.nth(46).wait_for(timeout=120_000)
    assert boxes.count() == 47 and job.get("points") in (None, {})
    desk.page.locator(".fpt-heads").scroll_into_view_if_needed()
    desk.picture(pictures / "first_page.png")
    # By keyboard: a box is reached and ticked, and its label is the whole row.
    boxes.first.focus()
    desk.page.keyboard.press("Space")
    assert not boxes.first.is_checked()
    assert "Outdoor Air Temperature" in desk.page.locator(
        ".fpt-points .widget-label-basic").first.inner_text()
    desk.page.keyboard.press("Space")
    assert not desk.misplaced() and not desk.faults(AXE)
    desk.press("accept")                                                            # 2
    desk.wait_for("47 points are in the map", 30)
    desk.type("site.altitude", "5300")                                              # 3
    desk.type("site.time_zone", "America/Boise")                                    # 4
    assert "✓ saved" in desk.said("site.time_zone")
    assert desk.control("plant.chillers").input_value() == "3", "read off the points"
    desk.press("run-every")                                                         # 5
    desk.wait_for("10 steps have run; a page", 240)
    assert desk.page.locator(".fpt-form:has(.fpt-run-every) td", has_text="pass").count() >= 2
    print(f"{time.monotonic() - began:.0f} s from the drop to the first verdicts")


def test_the_table_file_goes_out_and_comes_back(desk: Desk, tmp_path: Path):
    naming.written("trade_4_words", tmp_path)
    desk.open("plan")
    job = desk.office.job
    drop(desk.page, [tmp_path / "plant.csv"])
    desk.wait_for("taken in: plant.csv", 60)
    desk.press("write-table")
    desk.wait_for("point_map.csv is written", 60)
    with desk.page.expect_download() as download:
        desk.page.locator("a[href$='point_map.csv']").click()
    table = tmp_path / "point_map.csv"
    table.write_bytes(Path(download.value.path()).read_bytes().replace(
        b"yes,outdoor_humidity,", b"yes,outdoor_moisture,"))
    for sentence in ("'point_map.csv', row 3: ", "46 points are in the map"):
        with desk.page.expect_file_chooser() as chooser:
            desk.page.locator(".fpt-read-table").click()
        chooser.value.set_files(table)
        desk.wait_for(sentence, 60)
        assert job.get("points.outdoor_humidity") is None
        table.write_bytes(table.read_bytes().replace(b"yes,outdoor_moisture,",
                                                     b"no,outdoor_humidity,"))
    assert len(job.get("points")) == 46


def test_forty_weekly_files_with_three_questions(desk: Desk, tmp_path: Path, pictures: Path):
    """Eight weeks of five groups, one with dates either way round, flags and a contact."""
    naming.written("trade_4_words", tmp_path)
    whole = pd.read_csv(tmp_path / "plant.csv", dtype=str, keep_default_na=False)
    stick, columns, rows = tmp_path / "stick", list(whole.columns[1:]), -(-len(whole) // 8)
    stick.mkdir()
    for part in range(8):
        for group in range(5):
            table = whole.iloc[part * rows: (part + 1) * rows][["Time", *columns[group::5]]].copy()
            if group == 1:
                table["Time"] = pd.to_datetime(table["Time"]).dt.strftime("%d/%m/%Y %H:%M")
                table.iloc[3, 1] += "!"
            table.to_csv(stick / f"Group{group + 1} week {part + 1}.csv", index=False)
    desk.open("plan")
    began = time.monotonic()
    drop(desk.page, sorted(stick.iterdir()))                                        # 1
    desk.wait_for("and 37 more", 60)
    desk.page.locator(".fpt-points input[type=checkbox]").nth(46).wait_for(timeout=120_000)
    asked = desk.page.locator(".fpt-questions")
    asked.get_by_role("button", name="Order of dates: day first").first.click()     # 2
    asked.get_by_role("button").first.wait_for(state="detached", timeout=120_000)
    desk.press("accept")                                                            # 3
    desk.wait_for("47 points are in the map", 60)
    desk.type("site.altitude", "5300")                                              # 4
    desk.type("site.time_zone", "America/Boise")                                    # 5
    desk.wait_for("open; answer them", 60)
    asked.scroll_into_view_if_needed()
    desk.picture(pictures / "questions.png")
    assert not desk.misplaced() and not desk.faults(AXE)
    asked.get_by_role("button", name="bad value: *!").first.click()                 # 6
    desk.wait_for("every point of the map is read", 60)
    desk.page.locator(".fpt-preview").scroll_into_view_if_needed()
    desk.picture(pictures / "as_read.png")
    desk.press("run-every")                                                         # 7
    desk.page.get_by_text("steps have run; a page").wait_for(timeout=240_000)
    print(f"{time.monotonic() - began:.0f} s from the drop to the first verdicts")
