"""Field readings and the live panel: told at once, kept as taken, nothing lost."""

from __future__ import annotations

import html

import pandas as pd
import pytest
import small_plant
from form_views import rows_view, said

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.workbook import panels, readings
from fptlib.workbook.live import LivePanel


def reading(job, **typed):
    view = rows_view(job, "readings")
    usual = {"time": "2026-01-10 21:00", "point": "chw_supply_temp", "value": "45.1",
             "unit": "degF", "instrument": "T1", "taken_by": "A"}
    for path, text in {**usual, **typed}.items():
        view.fields[path].control.value = text
    view.save.click()
    return view, view.section


def test_a_reading_is_kept_with_the_sites_time(job):
    _, store = reading(job)
    row, = store.rows()
    assert row["time"] == "2026-01-10T21:00:00-07:00"
    assert (row["value"], row["unit"], row["instrument"]) == ("45.1", "degF", "T1")


@pytest.mark.parametrize(("typed", "sentence"), [
    ({"value": "451"}, "outside what is possible"), ({"value": "cold"}, "is not a number"),
    ({"time": "2999-01-01 00:00"}, "has not come yet"), ({"time": "noon"}, "is not a moment"),
    ({"value": ""}, "Value: no answer"),
])
def test_a_reading_that_cannot_be_is_told_at_once(job, typed, sentence):
    view, store = reading(job, **typed)
    assert sentence in said(view.message)
    assert store.rows() == []


def test_a_reading_is_removed(job):
    view, store = reading(job)
    view.chooser.value = 0
    view.remove.click()
    assert store.rows() == []


HAND = ("time,point,value,unit,instrument,taken_by,remark,weather\n"
        "2026-01-10T20:00:00-07:00,chw_supply_temp,45.3,degF,T1,A,{remark},snow\n")


def test_a_save_leaves_what_was_written_by_hand(job):
    job.readings_file.write_text(HAND.format(remark='"twice, shaded"'), encoding="utf-8")
    view, store = reading(job)
    assert [row.get("weather") for row in store.rows()] == ["snow", ""]
    view.chooser.value = 0
    view.fields["value"].control.value = "45.2"
    view.save.click()
    assert (store.rows()[0]["remark"], store.rows()[0]["weather"]) == ("twice, shaded", "snow")


def test_a_file_that_cannot_be_read_whole_is_never_written_over(job):
    before = HAND.format(remark="twice, second time shaded")
    job.readings_file.write_text(before, encoding="utf-8")
    with pytest.raises(JobError, match="readings.csv, row 2: 'snow' stands below no heading"):
        readings.Readings(job).put({"point": "chw_flow"}, None)
    assert job.readings_file.read_text(encoding="utf-8") == before


def test_a_reading_typed_with_a_comma_between_thousands_can_be_read_back(job):
    _, store = reading(job, point="chw_flow", value="1,740", unit="gpm")
    assert [row["value"] for row in store.rows()] == ["1740"]
    kept, = answers.readings(job.readings_file, answers.plant(job.answers()))
    assert kept.value == 1740.0


@pytest.mark.parametrize(("value", "unit", "sentence"), [
    ("35", "psig", "reading saved"), ("-20", "psig", "-20 psig is outside what is possible"),
    ("400", "psia", "400 psia is outside what is possible"),
])
def test_a_refrigerant_pressure_may_be_read_off_a_gauge(job, value, unit, sentence):
    view, _ = reading(job, point="chiller_1_evaporator_pressure", value=value, unit=unit)
    assert sentence in said(view.message)


def test_the_panel_marks_and_reads(job):
    panel = LivePanel(job)
    panel._mark("test started")
    panel._mark("request")
    panel.spot.value = "cs 44.2"
    assert "44.2 °F is possible" in said(panel.message)
    assert readings.Readings(job).rows()[0]["point"] == "chw_supply_temp"
    panel.spot.value = "cs 500"
    assert "outside what is possible" in said(panel.message)


def test_a_spot_reading_without_unit_is_in_the_unit_of_its_trend(job):
    job.put("points.chw_supply_temp.unit", "degC")
    panel = LivePanel(job)
    panel.spot.value = "cs 6.8"
    assert "6.8 °C = 44.24 °F is possible" in said(panel.message)
    panel.spot.value = "cs 44.2 F"
    assert "44.2 °F is possible" in said(panel.message)
    kept = [(row["value"], row["unit"]) for row in readings.Readings(job).rows()]
    assert kept == [("6.8", "degC"), ("44.2", "degF")]


def test_a_press_after_a_fault_is_taken_however_soon(job):
    panel = panels.freeze(job)
    by, press = panel.widget.children[1:3]
    by.value = ""
    press.click()
    assert "say who freezes the limits" in said(panel.message)
    by.value = "A. Invented"
    press.click()
    assert "✓ the limits are frozen" in said(panel.message)


def button(panel, words):
    """The button of a panel that bears these words."""
    left = [panel.widget]
    while left:
        widget = left.pop()
        if getattr(widget, "description", "").endswith(words):
            return widget
        left += getattr(widget, "children", ())
    raise AssertionError(words)


def test_the_live_test_says_what_readings_mean_and_watches_the_abort_conditions(job):
    job.put("plant.chiller_1.anti_recycle", 20.0)
    job.put("test.safe_state", "economizer off, CH-1 on")
    job.change(lambda document: document.update({"abort": [{
        "text": "Condenser water below 36 °F", "watched": "cw_supply_temp", "side": "below",
        "limit": 36.0}]}))
    panel = LivePanel(job)
    assert "Stop when: Condenser water below 36 °F" in panel.watch.value
    for words in ("Start test", "Economizer enable"):
        button(panel, words).click()
    panel.spot.value = "l1 44"
    panel.spot.value = "k1 55.2"
    assert "lift of chiller 1 = 11.2 °F, minimum 14: TOO LOW" in said(panel.message)
    assert "not read in the last 10 min; stop below 36 °F" in panel.watch.value
    panel.spot.value = "ws 41"
    assert "41.0 °F; stop below 36 °F" in panel.watch.value
    assert "✗ MET" not in panel.watch.value and "Read next: " in panel.watch.value
    panel.spot.value = "ws 35.5"
    assert "✗ MET" in panel.watch.value and "economizer off, CH-1 on" in panel.watch.value
    button(panel, "Last chiller stopped").click()
    assert "CH-1 may start again after: 0:" in panel.clock.value
    button(panel, "Undo last mark").click()
    assert "taken back: Last chiller stopped" in said(panel.message)
    assert "may start again" not in panel.clock.value
    button(panel, "ABORT").click()
    assert "The test is <b>aborted</b>" in panel.clock.value
    assert "Stop the test." in panel.watch.value and "OA-WB" in panel.watch.value
    assert [mark["what"] for mark in job.get("marks")] == [
        "test started", "request", "test aborted"]


def test_marks_are_typed_in_the_line_of_readings(job):
    panel = LivePanel(job)
    assert "fpt-running" not in panel.head._dom_classes
    for typed in ("start", "2", "ABORT"):
        panel.spot.value = typed
        assert panel.spot.value == ""
    assert [mark["what"] for mark in job.get("marks")] == [
        "test started", "request", "test aborted"]
    assert "fpt-running" in panel.head._dom_classes
    panel.spot.value = "undo"
    assert "taken back: test aborted" in said(panel.message)
    panel.spot.value = "5 undo"
    assert "'5' is no code" in said(panel.message)


def test_instrument_and_name_stay_for_the_next_reading(job):
    view = rows_view(job, "readings")
    for name, text in (("time", "2025-11-10 02:15"), ("point", "chw_supply_temp"),
                       ("value", "44.2"), ("instrument", "T1"), ("taken_by", "Ivy Invented")):
        view.fields[name].fill(text)
    view.save.click()
    kept = ("2025-11-10 02:15", "", "", "T1", "Ivy Invented")
    names = ("time", "point", "value", "instrument", "taken_by")
    assert tuple(view.fields[name].text for name in names) == kept
    held = len(view.section.rows())
    view.save.click()  # the second press of a double click
    assert len(view.section.rows()) == held and "saved" in said(view.message)
    again = rows_view(job, "readings")
    assert tuple(again.fields[name].text for name in names) == ("", "", "", "T1", "Ivy Invented")


def test_a_reading_that_cannot_be_used_leaves_clock_and_marks_there(job):
    panel = LivePanel(job)
    button(panel, "Start test").click()
    job.readings_file.write_text(
        "time,point,value,unit,instrument,taken_by,remark\nsoon,chw_flow,1,gpm,T1,A,\n", "utf-8")
    panel = LivePanel(job)
    assert "readings.csv, row 2: 'soon' is not a time" in html.unescape(panel.watch.value)
    assert "The test is <b>running</b>" in panel.clock.value


def test_a_double_click_sets_one_mark(job):
    panel = LivePanel(job)
    start = button(panel, "Start test")
    start.click()
    start.click()
    assert "test started" in said(panel.message)
    assert [mark["what"] for mark in job.get("marks")] == ["test started"]


def test_a_spot_reading_without_its_instrument_is_not_saved(job):
    job.put("instruments", None)
    panel = LivePanel(job)
    panel.spot.value = "cs 44.2"
    assert "choose the one that shows the reading" in said(panel.message)
    assert readings.Readings(job).rows() == []


def trended(job, minutes=0):
    """The time and chilled-water supply of a row of the small plant, and a moment after it."""
    row = small_plant.frame()["chw_supply_temp"].iloc[[100]]
    return row.index[0] + pd.Timedelta(minutes=minutes), float(row.iloc[0])


@pytest.mark.parametrize(("off", "words"), [
    (0.0, "agrees with the trend"), (6.0, "does not agree with the trend; read once more")])
def test_a_reading_inside_the_trends_is_compared_with_them_at_once(job, off, words):
    when, value = trended(job)
    view = rows_view(job, "readings")
    for path, text in (("time", str(when)[:16]), ("point", "chw_supply_temp"),
                       ("value", f"{value + off:.1f}"), ("unit", "degF"), ("instrument", "T1")):
        view.fields[path].fill(text)
    view.save.click()
    assert "reading saved" in said(view.message)
    assert words in said(view.message)
    assert "at most" in said(view.message)
    assert ("fpt-bad" in view.message.widget.value) is bool(off)


def test_a_reading_outside_the_trends_or_without_any_is_only_saved(job):
    when, value = trended(job, minutes=60 * 24 * 30)
    row = {"time": when.isoformat(), "point": "chw_supply_temp", "value": f"{value:.1f}",
           "unit": "degF", "instrument": "T1", "taken_by": "", "remark": ""}
    readings.Readings(job).put(row, None)
    assert readings.against_trend(job, row) == ("", "")
    for file in job.trend_files():
        file.unlink()
    assert readings.against_trend(job, row) == ("", "")


def test_a_reading_without_time_and_unit_is_taken_now_in_the_first_unit(job):
    view = rows_view(job, "readings")
    for path, text in (("point", "chw_supply_temp"), ("value", "45.1"), ("instrument", "T1")):
        view.fields[path].fill(text)
    view.save.click()
    assert "reading saved" in said(view.message)
    kept = readings.Readings(job).rows()[-1]
    taken = pd.Timestamp(kept["time"])
    assert kept["unit"] == "degF" and abs(pd.Timestamp.now(tz="UTC") - taken).seconds < 60
