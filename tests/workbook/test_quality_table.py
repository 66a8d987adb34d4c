"""The table of the trends' quality: whole is said only of what is whole."""

from __future__ import annotations

import dataclasses

import drawn_plant
import numpy as np

from fptlib.procedure.functional_test import FunctionalTest
from fptlib.trends.grid import Remark
from fptlib.workbook import told


def whole() -> FunctionalTest:
    """A drawn plant, its points moved a little so that none stands still."""
    test = drawn_plant.case()
    dice = np.random.default_rng(1)
    columns = {name: np.nan_to_num(values) + 0.01 * dice.normal(size=len(values))
               for name, values in test.grid.columns.items() if name.endswith("temp")}
    return dataclasses.replace(test, grid=dataclasses.replace(
        test.grid, columns=columns, remarks=()))


def with_remark(severity: str, point: str) -> str:
    test = whole()
    grid = dataclasses.replace(test.grid, remarks=(Remark(severity, "x", "t.csv", point),))
    return told.quality(dataclasses.replace(test, grid=grid)).text


def test_whole_is_said_of_what_is_whole() -> None:
    assert "every point is whole" in told.quality(whole()).text


def test_a_doubt_of_a_point_or_a_file_takes_it_back() -> None:
    assert "every point is whole" not in with_remark("doubt", "")
    text = with_remark("doubt", "chw_supply_temp")
    assert "chilled water leaving the plant" in text and "| yes |" in text


def test_a_point_that_no_check_may_use_is_counted() -> None:
    text = with_remark("unusable", "chw_flow")
    count = len(whole().grid.columns)
    assert f"{count} of {count + 1} points are whole" in text and "not used" in text
