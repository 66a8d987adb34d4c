"""The browser: from a link to a form that can be used, and from the last entry to the verdict.

    python tests/benchmarks/browser.py [--small]

Without Chromium, or without playwright, it says so and measures nothing.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
from pathlib import Path

import _measure as measure


def main(small: bool) -> None:
    try:
        from browser_desk import ARGUMENTS, CHROMIUM, Desk, Office
        from playwright.sync_api import sync_playwright
    except ImportError:
        print("playwright is not installed: nothing measured")
        return
    path = os.environ.get("FPTLIB_BROWSER", CHROMIUM)
    if not Path(path).is_file() and not (path := shutil.which("chromium") or ""):
        print("no Chromium here: nothing measured")
        return
    from fptlib.job.start import start_sample

    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        root = Path(scratch)
        os.environ["FPTLIB_STATE"] = str(root / "state")
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        office = Office(start_sample(root / "job", "sound"), root / "settings")
        opening, verdict = [], []
        try:
            for name in ("enable", "lift", "recovery")[: 1 if small else 3]:
                desk = Desk(office, browser.new_page())
                opening.append(desk.open(name))
                desk.run()
                verdict.append(desk.run())
                desk.page.close()
        finally:
            office.close()
            browser.close()
    measure.figure("opening a workbook to a usable form", statistics.median(opening), "s", 2.0)
    measure.figure("last entry to verdict and figure", statistics.median(verdict), "s", 0.5)


if __name__ == "__main__":
    main(measure.small())
