"""Every figure draws what there is, says what is not tested, and stays small and quick."""

from __future__ import annotations

import dataclasses
import time

import drawn_plant
import numpy as np
import pandas as pd
import pytest
import small_plant

from fptlib.procedure.steps import step as step_of
from fptlib.workbook import evidence
from fptlib.workbook.figures import base, quality, sketch, zoom

CASE, EMPTY = small_plant.case(), small_plant.empty_case()


def of(name, case):
    return evidence.of(name, case, step_of(name.partition(".")[0]).judge(case))


@pytest.mark.parametrize("name", evidence.FIGURES)
def test_a_figure_is_a_small_picture_with_a_sentence(name):
    drawn = of(name, CASE)
    picture = drawn.png()
    assert picture.startswith(b"\x89PNG") and len(picture) < 250_000
    # The small plant states no capacity of its chiller, and so shows no lift over load.
    assert ("not tested" in drawn.sentence) is (name == "lift.minimum")


@pytest.mark.parametrize("name", evidence.FIGURES)
def test_what_is_not_tested_is_said_in_the_figure(name):
    drawn = of(name, EMPTY)
    assert "not tested" in drawn.sentence
    assert drawn.png().startswith(b"\x89PNG")


@pytest.mark.parametrize("name", evidence.FIGURES)
def test_gaps_do_not_break_a_figure(name):
    frame = small_plant.frame()
    frame.iloc[200:260] = np.nan
    of(name, small_plant.case(frame)).png()


def chillers(count, **stated):
    """The drawn plant with so many chillers, of 400 tons each, that run alike."""
    table, first = drawn_plant.frame(), drawn_plant.PLANT.chillers[0]
    table = table.drop(columns=[name for name in table if name.startswith("chiller_2")])
    for n in range(2, count + 1):
        for what in ("running", "power", "cw_leaving_temp", "chw_leaving_temp", "alarm"):
            table[f"chiller_{n}_{what}"] = table[f"chiller_1_{what}"]
    table.loc[table.index < drawn_plant.HANDOVER, ["hx_chw_flow", "hx_cw_flow"]] = 0.0
    made = tuple(dataclasses.replace(first, number=n, capacity=400.0, **stated)
                 for n in range(1, count + 1))
    return drawn_plant.case(table, plant=dataclasses.replace(drawn_plant.PLANT, chillers=made))


def test_lift_over_load_is_drawn_with_the_manufacturers_lines_and_the_minutes():
    """40 minutes of pull-down from 71 - 50 to 51.5 - 40 °F in the last row; 800 gpm and
    9.6 °F are 320 tons, four fifths of the chiller's 400."""
    drawn = of("lift.minimum", chillers(1, minimum_water_lift=4.0, water_lift_full=14.0,
                                        maximum_water_lift=20.0, maximum_lift_full=40.0))
    assert drawn.sentence == (
        "lift over load of 1 chiller in 1 pull-down against the manufacturer's lines; in "
        "changeover 1 chiller 1 went from 21 °F at 80 % load to 12 °F at 80 % after 39 min, 12 °F "
        "at the lowest")
    said = [text.get_text() for ax in drawn.figure.axes for text in ax.texts]
    assert said == ["0", "10", "20", "30", "39", "minimum 4 to 14", "maximum 20 to 40"]


def test_lift_over_load_of_many_chillers_shows_those_nearest_to_their_minimum():
    drawn = of("lift.minimum", chillers(6))
    assert "of 4 of 6 chillers, those nearest to their minimum, in 1 pull-down" in drawn.sentence
    assert drawn.png().startswith(b"\x89PNG")


def test_lift_over_load_says_what_it_lacks():
    assert "the capacity of chiller 1 is not stated" in of("lift.minimum", drawn_plant.case(
        )).sentence
    table = drawn_plant.frame().drop(columns="chw_flow")
    assert "not trended: chilled-water flow of the plant" in of(
        "lift.minimum", drawn_plant.case(table)).sentence


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


def test_a_nearer_look_has_the_rows_that_the_whole_has_no_room_for():
    """A day of a year of minutes, 525,600 rows on 960 pixels: all 1,440 of it and one on either
    side; and what was drawn first comes back byte for byte."""
    index = pd.date_range("2025-01-01", periods=525_600, freq="min", tz="UTC")
    drawn, (ax,) = base.canvas()
    base.draw(ax, pd.Series(np.sin(np.arange(len(index)) / 7.0), index=index), base.MEASURED)
    base.finish(ax, "a year", "°F", index[0], index[-1])
    base.shade(ax, index[0], index[600], "dwell", "of another day")
    shown = base.Evidence(drawn, "an invented year")
    assert shown.about["time"] == [[0.075, 0.8, 0.1, 0.89]]
    whole = shown.png()
    zoom.keep(shown)
    nearer = zoom.view("an invented year", 0, 100 / 364.999, 101 / 364.999)
    assert nearer.about["shown"] == "2025-04-11 00:00 to 2025-04-12 00:00"
    assert len(ax.lines[0].get_xdata()) in (1441, 1442, 1443)
    assert not any(text.get_visible() for text in ax.texts)
    assert nearer.png() != whole
    assert zoom.view("an invented year", 0, -3.0, 0.0).about["share"][0] == 0.0
    assert zoom.view("an invented year", 0, -1.0, 2.0).about["share"] == [0.0, 1.0]
    assert nearer.png() == whole
    zoom.clear()
    with pytest.raises(KeyError):
        zoom.view("an invented year", 0, 0.0, 1.0)


def test_charts_of_different_stretches_are_zoomed_apart():
    """The enable's margin spans the record, what the condition adds up the hours around one."""
    assert [len(of(name, CASE).about.get("time", [])) for name in (
        "enable", "handover", "exit", "reset")] == [2, 1, 1, 0]


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
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        "chilled-water flow of the plant"]
    assert "36 of 37 points have no gap" in shown.sentence
    assert len(shown.png()) < 250_000


@pytest.mark.parametrize("least", [0.0, -5.0])
def test_a_minimum_of_no_or_inverted_lift_is_drawn_too(least):
    for name in ("lift", "lift.minimum"):
        drawn = of(name, chillers(1, minimum_water_lift=least))
        said = [text.get_text() for ax in drawn.figure.axes for text in ax.texts]
        assert f"minimum {least:g}" in said
