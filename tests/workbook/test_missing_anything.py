"""Whatever a job does not trend or state, a step says so; nothing breaks with a traceback.

A point that nobody trended stops what asks for it, by name, and that is all it can do. Every check
is made without every subset of up to three points that it asks for; what it never asks for changes
nothing of it. Tables, sheets and figures likewise of two and of one, and so what holds all of them,
what ``fptlib check`` writes and the record; FPTLIB_ALL_FAULTS=1 takes three points of those, too.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import drawn_plant
import numpy as np
import pytest
import small_plant

from fptlib.cli.report import report_of
from fptlib.job.folder import Job
from fptlib.job.schema import Plant
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import CHECKS, JUDGED, step
from fptlib.procedure.verdict import NotTrended, Verdict, step_of
from fptlib.record import owners_page, render, what_to_set
from fptlib.record.payload import payload
from fptlib.trends.grid import Grid
from fptlib.workbook import evidence, settings_page, told, verdicts

ALL = bool(os.environ.get("FPTLIB_ALL_FAULTS"))
SMALL = small_plant.case()
# Every point of a larger plant alone; its twins of the second chiller and cell are as the first's.
LARGE = drawn_plant.case(aborts=())
# A wet bulb that nothing gives, and no approach to stand in for it.
BARE = ("outdoor_wet_bulb", "outdoor_humidity")


MOST = 3
TABLES = (told.trends, told.overview, told.quality, told.changeovers, told.pull_downs)


class Columns(dict[str, Any]):
    """Columns that note which points are asked for; what goes through all of them asks for none."""

    def __init__(self, held: dict[str, Any], asked: set[str]) -> None:
        super().__init__(held)
        self.asked = asked

    def __getitem__(self, name: str) -> Any:
        self.asked.add(name)
        return super().__getitem__(name)

    def __contains__(self, name: object) -> bool:
        self.asked.add(str(name))
        return super().__contains__(name)

    def get(self, name: str, default: Any = None) -> Any:
        self.asked.add(name)
        return super().get(name, default)


class AskedGrid(Grid):
    def has(self, *names: str) -> bool:
        self.columns.asked.update(names)  # type: ignore[attr-defined]
        return super().has(*names)


class Asked(FunctionalTest):
    """A test that notes which points are asked of it."""

    def __getitem__(self, point: str) -> np.ndarray:
        self.grid.columns.asked.add(point)  # type: ignore[attr-defined]
        return super().__getitem__(point)

    @cached_property
    def _readings(self) -> Columns:
        return Columns({**self.grid.columns, **self._columns},
                       self.grid.columns.asked)  # type: ignore[attr-defined]


def without(whole: FunctionalTest, out: frozenset[str], asked: set[str]) -> FunctionalTest:
    grid, columns = whole.grid, Columns(
        {name: held for name, held in whole.grid.columns.items() if name not in out}, asked)
    bare = AskedGrid(**{**{each.name: getattr(grid, each.name) for each in fields(grid)},
                        "columns": columns, "rows": len(grid)})
    return Asked(**{**{each.name: getattr(whole, each.name) for each in fields(whole) if each.init},
                    "grid": bare})


def every_subset(whole: FunctionalTest, part: Callable[[FunctionalTest], object],
                 most: int = MOST) -> int:
    """Make a part without every subset of the points that it asks for; how many that were."""
    done, todo, there = set[frozenset[str]](), [frozenset[str]()], set(whole.grid.columns)
    while todo:
        out = todo.pop()
        if out in done:
            continue
        done.add(out)
        asked = set[str]()
        try:
            part(without(whole, out, asked))
        except Exception as error:
            raise AssertionError(f"without {sorted(out)}: {error!r}") from error
        if len(out) < most:
            todo += [out | {name} for name in asked & there - out]
    return len(done)


def bare(whole: FunctionalTest) -> FunctionalTest:
    """The same plant, whose plan states no approaches."""
    return replace(whole, plant=replace(whole.plant, tower_approach=None, exchanger_approach=None))


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
    for table in TABLES:
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


def test_a_point_that_is_not_there_stops_what_asks_for_it_by_name() -> None:
    test = left(SMALL, ("chw_flow",), stated=True)
    with pytest.raises(NotTrended, match="not trended: chw_flow"):
        test["chw_flow"]
    # Where a check asks for a point that it does not name among its needs.
    careless = replace(CHECKS["running.supply"], needs=(),
                       function=lambda test, run: test["chw_flow"])
    row = careless(test)
    assert (row.verdict, row.missing) == (Verdict.NOT_TESTED, ("chw_flow",))


@pytest.mark.parametrize("whole", [SMALL, bare(SMALL)], ids=["stated", "not stated"])
@pytest.mark.parametrize("id", CHECKS)
def test_no_check_breaks_whatever_is_missing(id: str, whole: FunctionalTest) -> None:
    every_subset(whole, lambda test: verdicts.worksheet(CHECKS[id](test)))


@pytest.mark.parametrize("table", TABLES)
def test_no_table_breaks_whatever_is_missing(table: Callable[[FunctionalTest], object]) -> None:
    every_subset(bare(SMALL), table, MOST if ALL else 2)


@pytest.mark.parametrize("name", evidence.FIGURES)
def test_no_figure_breaks_whatever_is_missing(name: str) -> None:
    judged = step(step_of(name))
    every_subset(bare(SMALL), lambda test: evidence.of(name, test, judged.judge(test)),
                 MOST if ALL else 1)


@pytest.mark.parametrize("part", ["worth", "settings", "replayed"])
def test_no_sheet_breaks_whatever_is_missing(job: Job, part: str) -> None:
    made: dict[str, Callable[[FunctionalTest], object]] = {
        "worth": owners_page.worth,
        "settings": lambda test: settings_page.shown(what_to_set.made_of(job, test)),
        "replayed": lambda test: settings_page.replayed(job, test)}
    every_subset(bare(SMALL), made[part], MOST if ALL else 1)


@pytest.mark.parametrize("stated", [True, False], ids=["stated", "not stated"])
@pytest.mark.parametrize("first", ["", *SMALL.grid.columns])
def test_no_point_breaks_what_holds_all_of_them(job: Job, first: str, stated: bool) -> None:
    names = list(SMALL.grid.columns)
    after = names[names.index(first) + 1:] if first and ALL else []
    for out in subsets(after, 2):
        gone = (first, *out)
        everything(job, left(SMALL, gone, stated), pages=True, figures=len(gone) < 2)


@pytest.mark.parametrize("whole", [SMALL, LARGE], ids=["small", "large"])
def test_a_plan_that_states_nothing_breaks_nothing(job: Job, whole: FunctionalTest) -> None:
    """A technician who maps the files and looks at the verdicts before the plan is filled in."""
    bare = Plant(whole.plant.altitude, whole.plant.time_zone)
    everything(job, replace(whole, plant=bare), pages=True, figures=True)


@pytest.mark.parametrize("name", [n for n in LARGE.grid.columns if "_2_" not in n])
def test_no_point_of_a_larger_plant_breaks_anything(job: Job, name: str) -> None:
    everything(job, left(LARGE, (name, *BARE), stated=False), pages=True, figures=True)
