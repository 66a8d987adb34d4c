"""From an empty folder to the countersigned record by keyboard alone.

Counted is every key that types no value: what is typed into a field, with the Tab that leaves it,
is the value. The limits, 60 keys and 600 MB, are the project's own (common practice, no source).
"""

from __future__ import annotations

from pathlib import Path

import naming
import pytest
from browser_desk import BUSY, IDLE, Desk

from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.record import signing, store
from fptlib.record.keys import make_key

pytestmark = pytest.mark.full
MOST, MEMORY = 60, 600
PASSPHRASE = "an invented passphrase"


@pytest.fixture
def sample(tmp_path: Path) -> Job:
    """A job just begun, without an answer."""
    return start(tmp_path / "new", "new")


class Hands:
    """Ten fingers: keys that are counted, and values that are typed."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.keyboard, self.keys = desk, desk.page.keyboard, list[str]()

    def press(self, *keys: str) -> None:
        for key in keys:
            self.keyboard.press(key)
            self.keys.append(key)

    def type(self, text: str, label: str) -> None:
        """Type a value where the focus is, over what stands there, and leave with Tab."""
        assert label in self.where(), (label, self.where())
        self.keyboard.press("Control+a")
        self.keyboard.type(text)
        self.keyboard.press("Tab")

    def where(self) -> str:
        """The title of the form and the label of the control that has the focus."""
        return str(self.desk.page.evaluate("""() => { const e = document.activeElement;
          const title = e.closest('.fpt-form')?.querySelector('.fpt-form-title')?.innerText ?? '';
          const label = e.closest('.widget-inline-hbox')?.querySelector('.widget-label')?.innerText;
          return e.matches('body, div') ? '' : `${title}: ${label ?? e.innerText}`; }"""))

    def on_to(self, title: str) -> None:
        """F9 until the focus is in the form of that title, or at that first field."""
        for _ in range(40):
            if title in self.where():
                return
            self.press("F9")
        raise AssertionError(f"F9 never reached '{title}', it ended at '{self.where()}'")

    def tab_to(self, label: str, key: str = "Tab") -> None:
        """Tab, or Shift+Tab, until the focus is on the control of that label."""
        for _ in range(20):
            if self.where().rsplit(": ", 1)[-1].startswith(label):
                return
            self.press(key)
        raise AssertionError(f"{key} never reached '{label}', it ended at '{self.where()}'")

    def run(self) -> None:
        """F8, and wait for the end."""
        self.press("F8")
        self.desk.page.wait_for_selector(BUSY, timeout=120_000)
        self.desk.page.wait_for_selector(IDLE, timeout=120_000)
        self.desk.page.wait_for_timeout(400)

    def go_to(self, step: str) -> None:
        """To the links of the steps, along them to one, and there."""
        self.press("Control+F9")
        self.tab_to(step)
        self.press("Enter")
        self.desk.page.wait_for_url(f"**/{step.split()[0].zfill(2)}_*", timeout=60_000)
        self.desk.ready()


def test_a_whole_job_by_keyboard(desk: Desk, tmp_path: Path) -> None:
    exported, job = tmp_path / "export", desk.office.job
    exported.mkdir()
    naming.written("trade_4_words", exported)
    make_key(tmp_path / "engineer.key", PASSPHRASE)
    hands, choosers = Hands(desk), []
    # From the beginning: a chooser that opens before anybody listens is the system's own.
    desk.page.on("filechooser", lambda chooser: choosers.append(chooser))
    desk.open("plan")
    hands.press("Tab", "Enter")
    assert "Choose trend files" in hands.where()
    hands.press("Enter")
    for _ in range(100):
        if choosers:
            break
        desk.page.wait_for_timeout(100)
    choosers[0].set_files(exported / "plant.csv")
    desk.wait_for("taken in: plant.csv", 60)
    desk.page.locator(".fpt-points input[type=checkbox]").nth(46).wait_for(timeout=120_000)
    hands.on_to("Columns of the trend files")
    hands.press("Control+Enter")
    desk.wait_for("47 points are in the map", 60)
    hands.on_to("Site")
    hands.type("5300", "Altitude")
    hands.tab_to("Time zone")
    hands.type("America/Boise", "Time zone")
    hands.on_to("Every step at once")
    hands.press("Control+Enter")
    desk.wait_for("10 steps have run; a page", 240)
    hands.on_to("Which person")
    hands.tab_to("Role")
    hands.type("technician", "Role")
    hands.type("Avery Field", "Name")
    hands.press("Control+Enter")
    desk.wait_for("person saved: technician")
    hands.run()
    hands.go_to("10 ")
    hands.on_to("Findings")
    hands.type("The changeover of this invented plant was analyzed.", "Summary")
    hands.run()
    hands.on_to("Signature")
    hands.tab_to("Key file")
    hands.type(str(tmp_path / "technician.key"), "Key file")
    hands.type(PASSPHRASE, "Passphrase")
    hands.tab_to("Make a new key")
    hands.press("Enter")
    desk.wait_for("key made")
    hands.tab_to("Passphrase", "Shift+Tab")
    hands.type(PASSPHRASE, "Passphrase")
    hands.press("Control+Enter")
    desk.wait_for("signed: record/0001.json", 120)
    hands.run()
    hands.go_to("11 ")
    hands.on_to("Decision and countersignature")
    hands.press("ArrowDown")
    hands.tab_to("Name")
    hands.type("Blair Senior", "Name")
    hands.type(str(tmp_path / "engineer.key"), "Key file")
    hands.type(PASSPHRASE, "Passphrase")
    hands.press("Control+Enter")
    desk.wait_for("countersigned: record/0002.json", 120)
    record = signing.read(store.latest(job).read_bytes())
    assert [signature.role for signature in record.signatures] == ["technician", "engineer"]
    held = desk.office.held()
    print(f"\n{len(hands.keys)} keys beside typed values, at most {MOST}; server and kernels after "
          f"the job {held:.0f} MB, at most {MEMORY}")
    assert len(hands.keys) <= MOST, hands.keys
    assert len(desk.office.ask("/api/kernels")) == 1, "a page that was left keeps no kernel"
    assert held <= MEMORY
    assert not desk.outside
