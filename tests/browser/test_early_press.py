"""A press before the page is connected to its kernel: nothing starts twice, nothing is lost."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest
from browser_desk import BUSY, IDLE, RUN, Desk, Office

pytestmark = pytest.mark.full

SAYS = f"""() => {{ const e = document.querySelector('{RUN.split()[0]}');
  return e && getComputedStyle(e, '::before').content; }}"""
KEYS = ("F8", "Shift+Enter", "Control+Enter", "Alt+Enter")


@pytest.fixture
def slow(office: Office, browser: Any) -> Iterator[Desk]:
    """A window of a slow computer, to which the server's word on sessions comes late."""
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 3})
    page.route("**/api/sessions*", _late)
    yield Desk(office, page)
    page.close()


def _late(route: Any) -> None:
    time.sleep(1.0)
    route.continue_()


def come_early(desk: Desk, name: str) -> None:
    """Open a workbook and be there before its kernel is."""
    desk.page.goto(desk.office.link(name), wait_until="commit")
    desk.page.locator(".jp-CodeCell").first.wait_for(timeout=120_000)
    says(desk, "Getting ready …")


def says(desk: Desk, words: str) -> None:
    """Wait until the place of the button says something instead."""
    desk.page.wait_for_function(f"words => ({SAYS})() === JSON.stringify(words)", arg=words)


def test_an_early_press_starts_nothing_and_the_next_one_works(slow: Desk):
    come_early(slow, "enable")
    assert not slow.page.locator(RUN).is_visible()
    assert not slow.page.locator("#jp-MainMenu").is_visible()
    slow.page.mouse.click(90, 72)
    slow.page.locator(".jp-Cell").nth(1).focus()
    for key in KEYS:
        slow.page.keyboard.press(key)
    cells = slow.page.locator(".jp-Cell").count()
    slow.ready()
    assert (slow.page.evaluate(SAYS), slow.page.locator(BUSY).count()) == ("none", 0)
    assert len(slow.office.ask("/api/kernels")) == 1
    slow.run()
    slow.wait_for("The results below belong to these answers")
    # Tower approach, exchanger approach and the notes on the step.
    assert slow.page.locator(".fpt-form").count() == 4
    assert slow.page.locator(".jp-Cell").count() == cells
    assert len(slow.office.ask("/api/kernels")) == 1
    assert not slow.page.locator(".jp-Dialog").count()
    # Once the page is ready the key that did nothing before runs the step.
    slow.page.locator(".jp-Cell").nth(1).focus()
    slow.page.keyboard.press("F8")
    slow.page.wait_for_selector(BUSY, timeout=120_000)
    slow.page.wait_for_selector(IDLE, timeout=120_000)
    slow.wait_for("The results below belong to these answers")


def test_a_second_window_waits_while_the_first_is_busy(desk: Desk, slow: Desk):
    desk.open("plan")
    desk.page.locator(RUN).click()
    come_early(slow, "plan")
    slow.page.mouse.click(90, 72)
    desk.page.wait_for_selector(IDLE, timeout=120_000)
    slow.ready()
    slow.run()
    slow.wait_for("Save person")
    assert len(slow.office.ask("/api/kernels")) == 1


def test_a_page_whose_kernel_was_ended_says_what_to_do(desk: Desk):
    desk.open("enable")
    desk.run()
    desk.office.end_kernels()
    says(desk, "Stopped: reload the page (F5) to go on. Nothing saved is lost.")
    assert not desk.page.locator(RUN).is_visible()
    desk.page.reload()
    desk.ready()
    desk.run()
    desk.wait_for("The results below belong to these answers")
    assert len(desk.office.ask("/api/kernels")) == 1
