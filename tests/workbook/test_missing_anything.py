"""Whatever a job does not trend or state, a step says so; nothing breaks with a traceback.

Every subset of up to two points is taken from a small job, with the approaches stated and not, and
the checks, the tables and what ``fptlib check`` writes are made of what is left; of one point the
figures, the settings sheet, the owner's page and the record's table files too. FPTLIB_ALL_FAULTS=1
takes three points with all of it, and draws every figure of two.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import drawn_plant
import pytest
import small_plant

from fptlib.cli.report import report_of
from fptlib.job.folder import Job
from fptlib.job.schema import Plant
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import JUDGED
from fptlib.procedure.verdict import Verdict
from fptlib.record import owners_page, render, what_to_set
from fptlib.record.payload import payload
from fptlib.workbook import evidence, settings_page, told, verdicts

ALL = bool(os.environ.get("FPTLIB_ALL_FAULTS"))
SMALL = small_plant.case()
# Every point of a larger plant alone; its twins of the second chiller and cell are as the first's.
LARGE = drawn_plant.case(aborts=())
# A wet bulb that nothing gives, and no approach to stand in for it.
BARE = ("outdoor_wet_bulb", "outdoor_humidity")


def subsets(names: list[str], most: int) -> Iterator[tuple[str, ...]]:
    for count in range(most + 1):
        yield from combinations(names, count)


def left(whole: FunctionalTest, out: tuple[str, ...], stated: bool) -> FunctionalTest:
    columns = {name: held for name, held in whole.grid.columns.items() if name not in out}
    plant = whole.plant if stated else replace(
        whole.plant, tower_approach=None, exchanger_approach=None)
    return replace(whole, grid=replace(whole.grid, columns=columns), plant=plant)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Job:
    return Job(small_plant.write_job(tmp_path_factory.mktemp("missing") / "job"))


def everything(job: Job, test: FunctionalTest, pages: bool, figures: bool) -> None:
    """All that a page, a record and the command line make of a test."""
    checks = [check for step in JUDGED for check in step.judge(test)]
    for check in checks:
        assert check.verdict in Verdict and (check.reason or check.margin is not None), check.id
        verdicts.worksheet(check)
    for table in (told.trends, told.overview, told.quality, told.changeovers, told.pull_downs):
        table(test)
    report = report_of(job, test)
    assert report.json() and report.lines(everything=True)
    if pages:
        settings_page.shown(what_to_set.made_of(job, test))
        settings_page.replayed(job, test)
        content = payload(job, test.grid, test.limits, checks, test.readings, test.instruments,
                          worth=owners_page.worth(test),
                          settings_sheet=what_to_set.stated(job, test))
        assert all(render.to_csv(each) for each in render.tables(content))
    for name in evidence.FIGURES if figures else ():
        evidence.of(name, test, checks)


@pytest.mark.parametrize("stated", [True, False], ids=["stated", "not stated"])
@pytest.mark.parametrize("first", ["", *SMALL.grid.columns])
def test_no_subset_of_points_breaks_anything(job: Job, first: str, stated: bool) -> None:
    names = list(SMALL.grid.columns)
    after = names[names.index(first) + 1:] if first else []
    for out in subsets(after, 2 if ALL else 1):
        gone = (first, *out)
        everything(job, left(SMALL, gone, stated), pages=ALL or not out,
                   figures=not out or ALL and len(gone) < 3)


@pytest.mark.parametrize("whole", [SMALL, LARGE], ids=["small", "large"])
def test_a_plan_that_states_nothing_breaks_nothing(job: Job, whole: FunctionalTest) -> None:
    """A technician who maps the files and looks at the verdicts before the plan is filled in."""
    bare = Plant(whole.plant.altitude, whole.plant.time_zone)
    everything(job, replace(whole, plant=bare), pages=True, figures=True)


@pytest.mark.parametrize("name", [n for n in LARGE.grid.columns if "_2_" not in n])
def test_no_point_of_a_larger_plant_breaks_anything(job: Job, name: str) -> None:
    everything(job, left(LARGE, (name, *BARE), stated=False), pages=True, figures=True)
