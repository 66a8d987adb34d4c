"""Files that nobody here wrote, from the drop to the verdicts in a browser: no file is edited, and
no point is named, by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_desk import Desk, drop
from intake_plant import SHARED

from fptlib.job.folder import Job
from fptlib.job.start import start

pytestmark = pytest.mark.full
# Every page is run where there are the most points and the fewest; test_real_jobs.py runs the pages
# on the first two plants' files, and judges every check on the five of them as dropped.
EVERY_PAGE = {"exchanger beside a chiller", "laboratory, a day of either order"}
# Files, altitude, zone, typed answers, the button of a question, how many points at the least.
CASES = {
    "campus chiller": (("real_trends/campus_chiller_1.csv",), "300", "Etc/UTC", {}, "", 12),
    "four chillers and a weather logger": (
        ("real_trends/four_chiller_plant_2023_12.csv",
         "real_trends/four_chiller_weather_2023_12.csv"),
        "50", "Etc/UTC", {}, "", 13),
    "exchanger beside a chiller": (
        ("simulated_trends/exchanger_parallel_january_1min.csv.gz",), "2126",
        "America/Los_Angeles", {}, "", 27),
    "laboratory, a summer day": (
        ("real_trends/laboratory_atlanta_eff_default.csv.gz",), "5400", "America/Denver",
        {"year": "2021"}, "", 5),
    "laboratory, a day of either order": (
        ("real_trends/laboratory_buffalo_eff_typshldr.csv.gz",), "5400", "America/Denver",
        {"year": "2021"}, "Order of dates: month first", 5),
}


@pytest.fixture
def sample(tmp_path: Path) -> Job:
    """A job just begun, without an answer."""
    return start(tmp_path / "new", "new")


@pytest.mark.parametrize("name", CASES)
def test_from_the_drop_to_the_verdicts(name: str, desk: Desk) -> None:
    files, altitude, zone, typed, button, least = CASES[name]
    paths = [SHARED / file for file in files]
    if not all(path.is_file() for path in paths):
        pytest.skip(f"{files[0]} is not in the shared folder (set FPTLIB_SHARED)")
    before = [path.read_bytes() for path in paths]
    desk.open("plan")
    job = desk.office.job
    drop(desk.page, paths)
    desk.wait_for("taken in: ", 60)
    asked = desk.page.locator(".fpt-questions")
    for key, text in typed.items():
        field = f"files.{paths[0].name}.{key}"
        desk.control(field).wait_for(timeout=60_000)
        desk.type(field, text)
    if button:
        asked.get_by_role("button", name=button).first.click(timeout=60_000)
    desk.page.locator(".fpt-points input[type=checkbox]").first.wait_for(timeout=120_000)
    desk.press("accept")
    desk.wait_for("points are in the map", 60)
    assert len(job.get("points")) >= least
    desk.type("site.altitude", altitude)
    desk.type("site.time_zone", zone)
    desk.wait_for("every point of the map is read", 120)
    if name in EVERY_PAGE:
        desk.press("run-every")
        desk.page.get_by_text("steps have run; a page").wait_for(timeout=600_000)
        stopped = desk.page.locator(".fpt-form:has(.fpt-run-every) tbody td:nth-child(3)")
        assert stopped.count() >= 10 and not any(stopped.all_inner_texts())
    assert [(job.trends_folder / path.name).read_bytes() for path in paths] == before
