"""Charts over time are looked at more nearly in the browser; what is saved stays static."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from browser_desk import Desk

AXE = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
pytestmark = pytest.mark.full


def test_a_chart_is_zoomed_by_mouse_and_by_keyboard_and_saved_as_it_was(desk: Desk,
                                                                        pictures: Path) -> None:
    desk.open("enable")
    desk.run()
    picture = desk.page.locator(".jp-RenderedImage img:has(~ .fpt-zoom)").first
    picture.scroll_into_view_if_needed()
    bar = desk.page.locator(".fpt-zoom").first
    first, box = picture.get_attribute("src"), picture.bounding_box()
    assert box and "Drag across" in bar.inner_text()
    # Across a fifth of the upper chart, which spans the whole record.
    desk.page.mouse.move(box["x"] + 0.3 * box["width"], box["y"] + 0.2 * box["height"])
    desk.page.mouse.down()
    desk.page.mouse.move(box["x"] + 0.445 * box["width"], box["y"] + 0.25 * box["height"], steps=4)
    desk.picture(pictures / "zoom_drag.png")
    desk.page.mouse.up()
    bar.get_by_text(" to 20").wait_for()
    nearer = picture.get_attribute("src")
    desk.picture(pictures / "zoom_nearer.png")
    assert nearer != first
    # By keyboard, and the focus stays where it was.
    earlier = bar.get_by_role("button", name="Earlier")
    said = bar.get_by_role("status").inner_text()
    earlier.focus()
    desk.page.keyboard.press("Enter")
    desk.page.wait_for_function("said => !document.querySelector('.fpt-zoom [role=status]')"
                                ".innerText.includes(said)", arg=said)
    assert earlier.evaluate("e => e === document.activeElement")
    assert not desk.misplaced() and not desk.faults(AXE)
    bar.get_by_role("button", name="All").click()
    desk.page.wait_for_function("src => document.querySelector("
                                "'.jp-RenderedImage img:has(~ .fpt-zoom)').src === src", arg=first)
    desk.save()
    held = desk.office.job.workbooks_folder / "03_enable.ipynb"
    saved = [output["data"]["image/png"] for cell in json.loads(held.read_text("utf-8"))["cells"]
             for output in cell.get("outputs", []) if "image/png" in output.get("data", {})]
    assert [f"data:image/png;base64,{each.strip()}" for each in saved] == [first]


def test_a_button_that_was_at_work_gives_the_focus_back(desk: Desk) -> None:
    desk.open("plan")
    button = desk.page.locator(".fpt-freeze")
    button.focus()
    desk.page.keyboard.press("Enter")
    desk.wait_for("frozen")
    desk.page.wait_for_function("() => !document.querySelector('.fpt-freeze').disabled")
    desk.page.wait_for_timeout(200)
    assert button.evaluate("e => e === document.activeElement")
