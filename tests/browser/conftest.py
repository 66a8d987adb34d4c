"""The browser, the server and the jobs of the browser tests."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser_desk import ARGUMENTS, CHROMIUM, Desk, Office
from playwright.sync_api import Error

from fptlib.job.folder import Job
from fptlib.job.start import start_sample

HOW = ("no Chromium browser here: install Debian's with 'apt-get install chromium', or name one "
       "by FPTLIB_BROWSER")


def _without(reason: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(reason + " (in CI the browser tests must run)")
    pytest.skip(reason)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium for one file: playwright's event loop stays the thread's running one as long as it
    is open, and the next file of a worker may run one of its own."""
    path = os.environ.get("FPTLIB_BROWSER", CHROMIUM)
    if not Path(path).is_file() and not (path := shutil.which("chromium") or ""):
        _without(HOW)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _without("playwright is not installed: pip install -e '.[test]'")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def pictures() -> Path:
    """Where the pictures go: FPTLIB_PICTURES, else the test run's own folder."""
    folder = Path(os.environ.get("FPTLIB_PICTURES", Path(__file__).parent / "pictures"))
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture
def sample(tmp_path: Path) -> Job:
    """A job on the sound sample plant."""
    return start_sample(tmp_path / "sample")


@pytest.fixture
def office(sample: Job, tmp_path: Path) -> Iterator[Office]:
    """A notebook server on the sample job."""
    settings = tmp_path / "settings"
    settings.mkdir()
    opened = Office(sample, settings)
    yield opened
    opened.close()


@pytest.fixture
def desk(office: Office, browser: Any) -> Iterator[Desk]:
    """A window of 1366 x 768 on the sample job."""
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    yield Desk(office, page)
    page.close()


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Keep a picture of the window when a browser test fails."""
    outcome = yield
    report = outcome.get_result()  # type: ignore[attr-defined]
    at_work = getattr(item, "funcargs", {}).get("desk")
    # A window that has gone, as when its teardown fails, has no picture, and saying so must not
    # hide the failure itself.
    if report.failed and at_work is not None and not at_work.page.is_closed():
        folder = Path(__file__).parent / "pictures"
        folder.mkdir(exist_ok=True)
        # A window without a page, or one that hangs, has no more to say.
        with contextlib.suppress(Error):
            at_work.picture(folder / f"failed_{item.name}.png")
            (folder / f"failed_{item.name}.txt").write_text(at_work.read(), encoding="utf-8")
