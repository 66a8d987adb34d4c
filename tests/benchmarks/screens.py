"""What a user waits for in the browser, and what a finished job's kernels hold.

    python tests/benchmarks/screens.py [--small]

Opening: from the address until the step can be run. Last entry: from the press of "Run this step"
until the verdicts are there and the kernel is idle. First verdict: a job without an answer, the
sound sample's files chosen in its plan, until one check is judged. Medians on an idle machine; the
limits are the project's own (common practice, no source).
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import _measure as measure
from browser_desk import ARGUMENTS, CHROMIUM, Desk, Office

from fptlib.job.folder import Job
from fptlib.job.start import start, start_sample
from fptlib.procedure.steps import STEPS


def opened(job: Job, scratch: Path, browser: object) -> tuple[Office, Desk]:
    settings = scratch / f"{job.folder.name}_settings"
    settings.mkdir()
    office = Office(job, settings)
    page = browser.new_page(viewport={"width": 1366, "height": 768})  # type: ignore[attr-defined]
    return office, Desk(office, page)


def steps(scratch: Path, browser: object, small: bool) -> None:
    """Each step opened and run, from one page to the next."""
    office, desk = opened(start_sample(scratch / "sample"), scratch, browser)
    opening, entry, walked = [], [], STEPS[2:4] if small else STEPS
    for step in walked:
        opening.append(desk.open(step.name))
        desk.run()
        entry.append(desk.run())
    # A page that was left ends with its kernel within a minute.
    end = time.monotonic() + 150.0
    while len(office.ask("/api/kernels")) > 1 and time.monotonic() < end:
        time.sleep(2.0)
    measure.figure("opening a step until it can be run", statistics.median(opening), "s", 2.0)
    measure.figure("a step run again, until its verdicts", statistics.median(entry), "s", 0.5)
    measure.figure("server and kernels after the job", office.held(), "MB", 600.0)
    desk.page.close()
    office.close()


def first_verdict(scratch: Path, browser: object) -> None:
    """From an empty folder: files, points, two answers, one step."""
    files = sorted((scratch / "sample" / "trends").glob("*.csv"))
    office, desk = opened(start(scratch / "new", "new"), scratch, browser)
    began = time.monotonic()
    desk.open("plan")
    with desk.page.expect_file_chooser() as chooser:
        desk.page.locator(".fpt-upload").click()
    chooser.value.set_files(files)
    desk.page.locator(".fpt-points input[type=checkbox]").first.wait_for()
    desk.press("accept")
    desk.wait_for("points are in the map")
    desk.type("site.altitude", "4200")
    desk.type("site.time_zone", "America/Denver")
    desk.wait_for("every point of the map is read")
    desk.open("lift")
    desk.run()
    desk.wait_for("Verdicts of step 4")
    measure.figure("first verdict of a job just begun", time.monotonic() - began, "s", 120.0)
    desk.page.close()
    office.close()


def main(small: bool) -> None:
    if not Path(CHROMIUM).is_file():
        print(f"no browser at {CHROMIUM}: nothing measured")
        return
    from playwright.sync_api import sync_playwright
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        steps(Path(place), browser, small)
        first_verdict(Path(place), browser)
        browser.close()


if __name__ == "__main__":
    sys.exit(main(measure.small()))
