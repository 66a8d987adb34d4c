"""Wrong answers, reloads, two windows and dead kernels, in a real browser."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from browser_desk import Desk
from PIL import Image

from fptlib.job.folder import Job
from fptlib.procedure.steps import step
from fptlib.workbook.run import run_one

pytestmark = pytest.mark.full

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")


def test_wrong_answers_get_a_sentence_beside_the_field(desk: Desk):
    desk.open("plan")
    for path, typed, sentence in (
        ("site.altitude", "high up", "'high up' is not a number"),
        ("site.altitude", "900000", "outside what is possible"),
        ("site.time_zone", "Nowhere", "is not a zone of the tz database"),
        ("plant.chillers", "2.5", "is not a whole number"),
        ("plant.exchanger.chw_leaving", "480", "check the number and its unit"),
        ("plant.chiller_1.minimum_water_lift", "six", "'six' is not a number"),
    ):
        desk.type(path, typed)
        desk.page.get_by_text(sentence).first.wait_for(timeout=120_000)
        assert sentence in desk.said(path)
    desk.type("site.altitude", "1280")
    desk.page.locator(".fpt-field:has(.fpt-at-site-altitude) .fpt-unit select").first.select_option(
        label="m")
    desk.wait_for("saved as 4199.4751 ft")
    assert desk.office.job.get("site.altitude") == 4199.4751
    assert desk.office.job.get("site.time_zone") == "America/Denver"
    assert desk.office.job.get("plant.chillers") == 2


def test_a_wrong_row_and_an_empty_form_get_a_sentence(desk: Desk):
    desk.open("plan")
    desk.press("save-points")
    desk.wait_for("Point: no answer; a point needs it")
    points = desk.page.locator(".fpt-form:has(.fpt-save-points)")
    points.locator(".fpt-at-point select").select_option("chilled-water flow of the plant")
    points.locator(".fpt-at-file select").select_option("plant.csv")
    points.locator(".fpt-at-column option").first.wait_for(state="attached")
    points.locator(".fpt-at-column input").fill("no such column")
    points.locator(".fpt-at-column input").press("Tab")
    points.locator(".fpt-at-unit select").select_option("gpm")
    desk.press("save-points")
    desk.wait_for("has no column 'no such column'")
    desk.press("save-limits")
    desk.wait_for("Limit: no answer; a limit needs it")
    desk.type("site.altitude", "")
    desk.run()
    desk.wait_for("STOPPED: Altitude: no answer yet")
    assert "Traceback" not in desk.read()


WITHDRAWN = """() => [...document.querySelectorAll('.jp-OutputArea-output')].filter(
  e => getComputedStyle(e, '::before').content.startsWith('"Withdrawn:')).map(
  e => [e.querySelector('img, table, a')?.tagName, e.innerText.slice(0, 40)])"""


def test_an_edit_withdraws_the_verdict_unsaved_and_a_run_gives_it_back(desk: Desk, pictures: Path):
    desk.open("enable")
    desk.run()
    desk.wait_for("The results below belong to these answers")
    assert desk.page.evaluate(WITHDRAWN) == []
    desk.type("plant.tower_approach.value", "12")
    desk.wait_for("the verdict below is withdrawn")
    desk.wait_for("out of date")
    marked = desk.page.evaluate(WITHDRAWN)
    assert any(kind == "IMG" for kind, _ in marked)
    assert any("Verdicts of step 3" in words for _, words in marked)
    assert not any("approach near" in words and kind is None for kind, words in marked)
    desk.page.get_by_text("Verdicts of step 3").scroll_into_view_if_needed()
    desk.picture(pictures / "withdrawn.png")
    desk.save()
    saved = (desk.office.job.workbooks_folder / "03_enable.ipynb").read_text("utf-8")
    assert "Verdicts of step 3" in saved and "fpt-withdrawn" not in saved
    took = desk.run()
    desk.wait_for("The results below belong to these answers")
    assert desk.page.evaluate(WITHDRAWN) == []
    assert "fail" in desk.read()
    print(f"\nfrom the last entry to verdict and figure: {took:.1f} s")


def test_a_reload_and_a_second_window_lose_nothing(desk: Desk, browser):
    desk.open("plan")
    desk.run()
    desk.type("site.name", "First window")
    desk.wait_for("✓ saved")
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    second = Desk(desk.office, page)
    second.open("plan")
    second.run()
    assert second.control("site.name").input_value() == "First window"
    second.type("site.place", "Second window")
    second.wait_for("✓ saved")
    desk.type("job.number", "B-17")
    desk.page.wait_for_timeout(500)
    page.close()
    desk.page.reload()
    desk.open("plan")
    desk.run()
    held = Job(desk.office.job.folder)
    assert (held.get("site.name"), held.get("site.place"), held.get("job.number")) == (
        "First window", "Second window", "B-17")
    assert desk.control("site.place").input_value() == "Second window"


def test_two_windows_and_a_run_beside_them_save_without_a_question(desk: Desk, browser, tmp_path):
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    second = Desk(desk.office, page)
    windows = (desk, second)
    for window in windows:
        window.open("enable")
    for window in (*windows, *windows):
        window.run()
        window.save()
    saved = desk.office.job.workbooks_folder / "03_enable.ipynb"
    with ThreadPoolExecutor() as beside:  # the browser's driver has this thread's event loop
        beside.submit(run_one, desk.office.job, step("enable"), tmp_path).result()
    for window in windows:
        window.save()
        assert window.page.locator(".jp-Dialog").count() == 0
    # Nor where a file is found half written, or with words that are nobody's to change.
    half = saved.read_bytes()
    for damaged in (half[:len(half) // 2], half.replace(b"Economizer enable", b"Somebody's")):
        saved.write_bytes(damaged)
        for window in windows:
            window.save()
            assert window.page.locator(".jp-Dialog").count() == 0
    page.close()


def test_a_damaged_page_mends_itself_when_it_is_opened(desk: Desk):
    saved = desk.office.job.workbooks_folder / "03_enable.ipynb"
    saved.write_bytes(saved.read_bytes()[:2000])
    desk.open("enable")
    assert desk.page.locator(".fpt-form").count() == 4
    assert (saved.parent / "set_aside" / saved.name).stat().st_size == 2000


def test_a_dead_kernel_loses_nothing(desk: Desk):
    desk.open("plan")
    desk.type("site.name", "Before the crash")
    desk.wait_for("✓ saved")
    kernel = desk.office.kernel("plan")
    desk.office.ask(f"/api/kernels/{kernel['id']}/restart", "POST")
    desk.page.wait_for_timeout(1500)
    desk.run()
    assert desk.control("site.name").input_value() == "Before the crash"
    desk.type("site.name", "After the crash")
    desk.wait_for("✓ saved")
    assert desk.office.job.get("site.name") == "After the crash"


def test_the_forms_stand_there_when_the_page_opens(desk: Desk, pictures: Path):
    desk.office.job.put("site.altitude", None)
    desk.open("plan")
    assert desk.control("site.name").input_value() == "Fable Valley Hospital (invented)"
    line = desk.page.locator(".fpt-now")
    assert "Still needed: Altitude;" in line.inner_text()
    desk.type("site.altitude", "4200")
    desk.wait_for("Everything this step must have is there")
    assert not desk.page.locator(".jp-InputPlaceholder >> visible=true").count()
    desk.picture(pictures / "plan_opened.png")
    desk.page.get_by_text("Show code").click()
    desk.page.get_by_text('page.form("site")').wait_for()
    desk.page.get_by_text("Hide code").click()
    desk.page.get_by_text('page.form("site")').wait_for(state="hidden")


def test_stray_keys_and_the_mouse_change_no_cell(desk: Desk):
    desk.open("plan")
    cells = desk.page.locator(".jp-Notebook .jp-Cell")
    before = cells.all_inner_texts()
    title = desk.page.locator(".jp-Notebook h1").first
    for place in (title, desk.page.locator(".fpt-form-title").first):
        place.click()
        for keys in ("Escape", "d", "d", "x", "m", "a", "b", "y", "r", "1", "Enter", "Shift+Enter",
                     "Control+Enter", "Alt+Enter", "Control+Shift+ArrowUp", "Shift+m", "z"):
            desk.page.keyboard.press(keys)
    title.dblclick()
    title.click(button="right")
    desk.page.wait_for_timeout(300)
    assert not desk.page.locator(".lm-Menu").count()
    title.drag_to(desk.page.locator(".fpt-form").nth(1))
    desk.page.wait_for_timeout(300)
    assert cells.all_inner_texts() == before and len(before) > 30
    field = desk.control("site.name")
    field.fill("")
    field.type("made by hand")
    field.press("Enter")
    desk.wait_for("✓ saved")
    assert desk.office.job.get("site.name") == "made by hand"
    assert cells.count() == len(before)


def rim(desk: Desk, control: Any) -> list[tuple[int, ...]]:
    """The colors along a line just outside a control, as they are on the screen."""
    box = control.bounding_box()
    shot = Image.open(io.BytesIO(desk.page.screenshot())).convert("RGB")
    y = int(box["y"] + box["height"] / 2)
    return [shot.getpixel((int(box["x"]) - off, y)) for off in (2, 3)]


def test_the_first_field_is_two_keys_away_and_the_focus_is_seen(desk: Desk, pictures: Path):
    desk.open("enable")
    desk.page.keyboard.press("Tab")
    desk.picture(pictures / "skip_link.png")
    desk.page.keyboard.press("Enter")
    seen = set()
    for count in range(12):
        at = desk.page.locator(":focus")
        kind = at.evaluate("e => e.tagName")
        if at.evaluate("e => !!e.closest('.fpt-form')"):
            seen.add(kind)
            assert (31, 111, 178) in rim(desk, at), kind  # 5.2:1 against the form's ground
        desk.picture(pictures / f"focus_{count}.png")
        desk.page.keyboard.press("Tab")
    assert {"INPUT", "SELECT", "TEXTAREA"} <= seen


def test_every_picture_has_its_words_and_headings_come_in_order(desk: Desk):
    desk.open("enable")
    desk.run()
    words = desk.page.locator(".jp-RenderedImage img").evaluate_all("all => all.map(e => e.alt)")
    assert words and all(len(each) > 40 for each in words)
    levels = desk.page.locator(".jp-Notebook :is(h1, h2, h3, h4)").evaluate_all(
        "all => all.map(e => Number(e.tagName[1]))")
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels)), levels
    assert not desk.faults(AXE)


def test_f8_takes_what_is_half_typed(desk: Desk):
    desk.open("plan")
    desk.control("site.name").fill("typed, not left")
    desk.page.keyboard.press("F8")
    desk.wait_for("Still open: there is no test script", 60)
    assert desk.office.job.get("site.name") == "typed, not left"
    assert "typed, not left" in desk.read()


def test_the_live_test_by_keyboard(desk: Desk, pictures: Path):
    desk.open("handover")
    keys, above = desk.page.keyboard, desk.page.locator(".fpt-aborts")

    def enter(text: str, told: str) -> None:
        keys.type(text)
        keys.press("Enter")
        desk.page.locator(".fpt-form .fpt-message").get_by_text(told).first.wait_for()

    keys.press("Tab")
    keys.press("Enter")
    enter("2", "the test is not started; start or resume it")
    enter("start", "test started")
    enter("1", "Enable condition holds")
    desk.page.locator(".fpt-clocks").get_by_text("Enable delay: 0:29:").wait_for()
    enter("cs 44.2", "44.2 °F is possible")
    enter("ws 35", "35 °F is possible")
    above.get_by_text("✗ MET: Condenser water below 36 °F").wait_for()
    above.get_by_text("Bring the plant to its safe state").wait_for()
    for width in (560, 1366, 1920):
        desk.page.set_viewport_size({"width": width, "height": 768})
        desk.page.wait_for_timeout(500)
        desk.picture(pictures / f"live_{width}.png")
        assert not desk.misplaced()
    desk.page.set_viewport_size({"width": 1366, "height": 768})
    desk.scroll(2000)  # wherever the page stands
    for part in (".fpt-clocks", ".fpt-aborts"):
        box = desk.page.locator(part).bounding_box()
        assert box["y"] + box["height"] < 400 and box["height"] > 15
    assert "Read next: " in above.inner_text()
    assert not desk.faults(AXE)
    enter("undo", "taken back: Enable condition holds")
    enter("pause", "test paused")
    assert [mark["what"] for mark in desk.office.job.get("marks")[-2:]] == [
        "test started", "test paused"]
    assert "chw_supply_temp,44.2,degF" in desk.office.job.readings_file.read_text("utf-8")
