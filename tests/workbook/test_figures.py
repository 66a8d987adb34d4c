"""Every figure draws what there is, says what is not tested, and stays small and quick."""

from __future__ import annotations

import time

import drawn_plant
import numpy as np
import pandas as pd
import pytest
import small_plant

from fptlib.procedure.steps import step as step_of
from fptlib.workbook import evidence
from fptlib.workbook.figures import base, quality, sketch

CASE, EMPTY = small_plant.case(), small_plant.empty_case()


@pytest.mark.parametrize("step", evidence.FIGURES)
def test_a_figure_is_a_small_picture_with_a_sentence(step):
    drawn = evidence.of(step, CASE, step_of(step).judge(CASE))
    picture = drawn.png()
    assert picture.startswith(b"\x89PNG") and len(picture) < 250_000
    assert "not tested" not in drawn.sentence


@pytest.mark.parametrize("step", evidence.FIGURES)
def test_what_is_not_tested_is_said_in_the_figure(step):
    drawn = evidence.of(step, EMPTY, step_of(step).judge(EMPTY))
    assert "not tested" in drawn.sentence
    assert drawn.png().startswith(b"\x89PNG")


@pytest.mark.parametrize("step", evidence.FIGURES)
def test_gaps_do_not_break_a_figure(step):
    frame = small_plant.frame()
    frame.iloc[200:260] = np.nan
    holes = small_plant.case(frame)
    evidence.of(step, holes, step_of(step).judge(holes)).png()


def test_the_same_case_gives_the_same_picture():
    checks = step_of("lift").judge(CASE)
    assert evidence.of("lift", CASE, checks).png() == evidence.of("lift", CASE, checks).png()


def test_a_year_of_minutes_keeps_its_extremes():
    index = pd.date_range("2025-01-01", periods=525_600, freq="min", tz="UTC")
    values = pd.Series(np.sin(np.arange(len(index)) / 700.0), index=index)
    values.iloc[123_456], values.iloc[400_001], values.iloc[9_000:12_000] = 9.0, -9.0, np.nan
    started = time.perf_counter()
    x, y = base.decimated(values)
    assert time.perf_counter() - started < 2.0
    assert len(y) <= 2 * base.PIXELS + 1000
    assert (np.nanmax(y), np.nanmin(y)) == (9.0, -9.0)
    assert np.isnan(y).any() and (np.diff(x) > 0).sum() >= len(x) - 2 * base.PIXELS


def test_names_of_events_that_would_meet_are_joined():
    drawn, (ax,) = base.canvas()
    test = drawn_plant.case()
    at = test.grid.row(drawn_plant.at("20:00"))
    ax.set_xlim(base.moment(test.time(at)), base.moment(test.time(at + 240)))
    base.events(ax, test, [(at, "handover"), (at + 1, "recovered"), (at + 180, "exit"),
                           (None, "never")])
    assert [text.get_text() for text in ax.texts] == ["handover, recovered", "exit"]


def test_labels_at_line_ends_do_not_overlap():
    drawn, (ax,) = base.canvas()
    ax.set_ylim(0, 10)
    base.label_levels(ax, [(9.9, "a", "k"), (9.8, "b", "k"), (9.7, "c", "k"), (1.0, "d", "k")])
    heights = sorted(text.xy[1] for text in ax.texts)
    assert np.diff(heights).min() > 0.3 and max(heights) <= 10.0


@pytest.mark.parametrize("answers", [{}, {"plant": {"chillers": 9, "tower_cells": 4}},
                                     {"points": {"cw_supply_temp": {"column": "CWS-T"}}}])
def test_the_sketch_draws_any_plant(answers):
    assert sketch.figure(answers).png().startswith(b"\x89PNG")


@pytest.mark.parametrize("typed", ["$a$ $", "CWS$_$T", r"$\oil$ low"])
def test_typed_text_is_no_mathematics(typed):
    sketch.figure({"points": {"cw_supply_temp": {"column": typed}}}).png()
    base.nothing(typed, f"chiller 1 alarm '{typed}'").png()


def test_gaps_are_drawn_for_the_points_that_have_them() -> None:
    table = drawn_plant.frame()
    table.iloc[100:400, table.columns.get_loc("chw_flow")] = float("nan")
    shown = quality.figure(drawn_plant.case(table))
    (ax,) = shown.figure.axes
    assert [label.get_text() for label in ax.get_yticklabels()] == ["chw_flow"]
    assert "36 of 37 points have no gap" in shown.sentence
    assert len(shown.png()) < 250_000
