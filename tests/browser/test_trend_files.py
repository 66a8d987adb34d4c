"""Trend files chosen in the step page: taken in whole, refused with a sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_desk import Desk, drop

from fptlib.workbook import upload

pytestmark = pytest.mark.full


def choose(desk: Desk, file: Path) -> None:
    with desk.page.expect_file_chooser() as opened:
        desk.press("upload")
    opened.value.set_files(file)


def made(folder: Path, name: str, content: bytes) -> Path:
    (folder / name).write_bytes(content)
    return folder / name


def test_a_trend_file_is_chosen_and_a_wrong_one_gets_a_sentence(desk: Desk, tmp_path: Path):
    desk.open("plan")
    # Larger than one message of the server is by default: that ended the connection unsaid.
    rows = b"time,flow\n" + b"2026-01-10 00:00,1800.0\n" * 1_250_000
    choose(desk, made(tmp_path, "meter.csv", rows))
    desk.wait_for("taken in: meter.csv", 60)
    assert (desk.office.job.trends_folder / "meter.csv").read_bytes() == rows
    choose(desk, made(tmp_path, "scan.csv", b"%PDF-1.7 a scan"))
    desk.wait_for("'scan.csv' is a PDF document")
    choose(desk, made(tmp_path, "plant.csv", b"time,flow\n"))
    desk.wait_for("trends holds another 'plant.csv' already")
    choose(desk, made(tmp_path, "meter.csv", rows))
    desk.wait_for("taken in: meter.csv", 60)
    desk.run()
    assert desk.page.locator(".fpt-at-file option", has_text="meter.csv").count() > 0


def test_a_file_that_is_too_large_gets_a_sentence(desk: Desk, tmp_path: Path):
    desk.open("plan")
    choose(desk, made(tmp_path, "year.csv", bytes(upload.LARGEST + upload.MB)))
    desk.wait_for("the page takes up to 100 MB: copy it into the job's folder", 90)
    assert not (desk.office.job.trends_folder / "year.csv").exists()
    desk.type("site.name", "Still connected")
    desk.wait_for("✓ saved")


def test_a_trend_file_is_dropped_on_the_folder(desk: Desk, tmp_path: Path):
    desk.open("plan")
    desk.run()
    with desk.page.expect_popup() as opened:
        desk.page.get_by_role("link", name="open the folder trends").click()
    folder = opened.value
    folder.locator(".jp-DirListing-item", has_text="plant.csv").wait_for(timeout=120_000)
    drop(folder, [made(tmp_path, "meter.csv", b"time,flow\n")], ".jp-DirListing-content")
    folder.locator(".jp-DirListing-item", has_text="meter.csv").wait_for(timeout=120_000)
    assert (desk.office.job.trends_folder / "meter.csv").read_bytes() == b"time,flow\n"
    folder.close()
