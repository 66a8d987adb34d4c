"""The record's page in a narrow window: nothing to scroll sideways, nothing over another cell."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import record_support as support

from fptlib.record import render

pytestmark = pytest.mark.full


def test_the_page_fits_a_narrow_window(browser: Any, tmp_path: Path):
    job = support.make_job(tmp_path / "job")
    record = support.signed(support.make_payload(job), support.make_keys(), ("technician",))
    window = browser.new_page(viewport={"width": 600, "height": 768})
    window.set_content(render.html(record, {}).decode("utf-8"))
    wide = window.evaluate("document.documentElement.scrollWidth")
    over = window.evaluate("""() => [...document.querySelectorAll('td .verdict')].filter(
      e => e.getBoundingClientRect().right > e.closest('td').getBoundingClientRect().right + 1
    ).map(e => e.innerText)""")
    window.close()
    assert wide <= 600
    assert not over
