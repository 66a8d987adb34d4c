"""From an empty folder to the countersigned record by mouse, the keyboard for values alone.

Counted is every click; a value is what is typed into a field that was clicked. The limit, 60, is
that of the keyboard (common practice, no source).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import naming
import pytest
from browser_desk import BUSY, IDLE, RUN, Desk

from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.record import signing, store
from fptlib.record.keys import make_key

pytestmark = pytest.mark.full
MOST = 60
PASSPHRASE = "an invented passphrase"


@pytest.fixture
def sample(tmp_path: Path) -> Job:
    """A job just begun, without an answer."""
    return start(tmp_path / "new", "new")


class Mouse:
    """A hand on the mouse, which only presses what can be seen; its clicks are counted."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.clicks = desk, list[str]()

    def click(self, place: Any) -> None:
        """Scroll to the middle of a control with the wheel, and click there."""
        place.scroll_into_view_if_needed()
        self.desk.page.wait_for_timeout(150)
        box = place.bounding_box()
        self.desk.page.mouse.click(box["x"] + box["width"] / 3, box["y"] + box["height"] / 2)
        self.clicks.append(str(place))

    def press(self, title: str, button: str) -> None:
        """Click a button of the form with that title."""
        self.click(self.form(title).get_by_role("button", name=button, exact=True))

    def type(self, title: str, label: str, text: str) -> None:
        """Click a field by its label, and type over what stands there."""
        box = self.form(title).locator(
            f".widget-inline-hbox:has(> .widget-label:text-matches('^{label}( \\\\*)?$'))")
        self.click(box.locator("input, textarea").first)
        self.desk.page.keyboard.press("Control+a")
        self.desk.page.keyboard.type(text)

    def form(self, title: str) -> Any:
        """The form of that title."""
        named = self.desk.page.locator(".fpt-form-title, b", has_text=re.compile(f"^{title}$"))
        return self.desk.page.locator(".fpt-form", has=named).first

    def run(self) -> None:
        """Click "Run this step" and wait for its end."""
        self.click(self.desk.page.locator(RUN))
        self.desk.page.wait_for_selector(BUSY)
        self.desk.page.wait_for_selector(IDLE)
        self.desk.page.wait_for_timeout(400)

    def go_to(self, step: str) -> None:
        """Click a step among those at the head of the page."""
        link = self.desk.page.locator("nav a", has_text=re.compile(f"^{step} "))
        self.click(link.first)
        self.desk.page.wait_for_url(f"**/{step.zfill(2)}_*")
        self.desk.ready()


def test_a_whole_job_by_mouse(desk: Desk, tmp_path: Path) -> None:
    exported, job = tmp_path / "export", desk.office.job
    exported.mkdir()
    naming.written("trade_4_words", exported)
    make_key(tmp_path / "engineer.key", PASSPHRASE)
    mouse = Mouse(desk)
    desk.open("plan")
    with desk.page.expect_file_chooser() as chooser:
        mouse.click(desk.page.locator(".fpt-drop .fpt-upload"))
    chooser.value.set_files(exported / "plant.csv")
    desk.wait_for("taken in: plant.csv", 60)
    desk.page.locator(".fpt-points input[type=checkbox]").nth(46).wait_for()
    mouse.press("Columns of the trend files", "Accept the ticked points")
    desk.wait_for("47 points are in the map", 60)
    mouse.type("Site: what the first verdict needs", "Altitude", "5300")
    mouse.type("Site: what the first verdict needs", "Time zone", "America/Boise")
    mouse.press("Every step at once", "Run every step")
    desk.wait_for("10 steps have run; a page", 240)
    mouse.type("People", "Role", "technician")
    mouse.type("People", "Name", "Avery Field")
    mouse.press("People", "Save person")
    desk.wait_for("person saved: technician")
    mouse.run()
    mouse.go_to("10")
    mouse.type("Findings", "Summary", "The changeover of this invented plant was analyzed.")
    mouse.run()
    mouse.type("Signature", "Key file", str(tmp_path / "technician.key"))
    mouse.type("Signature", "Passphrase", PASSPHRASE)
    mouse.press("Signature", "Make a new key")
    desk.wait_for("key made")
    mouse.type("Signature", "Passphrase", PASSPHRASE)
    mouse.press("Signature", "Sign the record")
    desk.wait_for("signed: record/0001.json", 120)
    mouse.run()
    mouse.go_to("11")
    decide = "Decision and countersignature"
    mouse.click(mouse.form(decide).locator(".fpt-decision select"))
    # The list that drops down is the system's own; its first entry below is "accept".
    mouse.form(decide).locator(".fpt-decision select").select_option("accept")
    mouse.type(decide, "Name", "Blair Senior")
    mouse.type(decide, "Key file", str(tmp_path / "engineer.key"))
    mouse.type(decide, "Passphrase", PASSPHRASE)
    mouse.press(decide, "Countersign")
    desk.wait_for("countersigned: record/0002.json", 120)
    record = signing.read(store.latest(job).read_bytes())
    assert [signature.role for signature in record.signatures] == ["technician", "engineer"]
    print(f"\n{len(mouse.clicks)} clicks beside typed values, at most {MOST}")
    assert len(mouse.clicks) <= MOST, mouse.clicks
    assert not desk.outside
