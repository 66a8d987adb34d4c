"""Forms as widgets: saved at once, wrong answers told beside the field, nothing lost."""

from __future__ import annotations

import html

import pandas as pd
import pytest
import small_plant

from fptlib import answers
from fptlib.errors import FormError, IntakeError, JobError
from fptlib.job import Job
from fptlib.procedure.limits import Limits
from fptlib.workbook import (
    against_trend,
    asked,
    checklist,
    forms,
    panels,
    planning,
    readings,
    state,
    taking_in,
)
from fptlib.workbook.forms import FormView
from fptlib.workbook.live import LivePanel
from fptlib.workbook.page import Page
from fptlib.workbook.rows import JobStore, RowsView


@pytest.fixture
def job(tmp_path):
    return Job(small_plant.write_job(tmp_path / "job"))


def rows_view(job, rows, **kwargs):
    return RowsView(JobStore(job, rows), rows, **kwargs)


def said(message):
    return html.unescape(message.widget.value)


def test_an_answer_is_saved_as_soon_as_it_is_given(job):
    view = FormView(job, asked.SITE)
    view.fields["site.altitude"].control.value = "5000"
    assert Job(job.folder).get("site.altitude") == 5000.0
    assert "✓ saved" in said(view.fields["site.altitude"].message)


def test_another_unit_is_converted_and_said(job):
    field = FormView(job, asked.SITE).fields["site.altitude"]
    field.unit.value = "m"
    field.control.value = "1000"
    assert job.get("site.altitude") == pytest.approx(3280.84, abs=0.01)
    assert "saved as 3280.8399 ft" in said(field.message)


def test_a_number_from_the_file_is_shown_in_another_unit_and_stays(job):
    field = FormView(job, asked.SITE).fields["site.altitude"]
    field.unit.value = "m"
    assert (field.text, job.get("site.altitude")) == ("1280.16", 4200)
    assert "shown in m; the answer was not changed" in said(field.message)
    field.unit.value = "ft"
    assert (field.text, job.get("site.altitude")) == ("4200", 4200)


def test_a_number_typed_is_meant_in_the_unit_chosen_after_it(job):
    field = FormView(job, asked.SITE).fields["site.altitude"]
    field.control.value = "1000"
    field.unit.value = "m"
    assert job.get("site.altitude") == pytest.approx(3280.84, abs=0.01)


def test_what_is_possible_is_told_in_the_unit_typed(job):
    field = FormView(job, asked.PLANT).fields["plant.sump_volume"]
    field.unit.value = "m3"
    field.control.value = "38,000"
    assert "38,000 m³ is outside what is possible here (0 to 18,927 m³)" in said(field.message)


def test_a_wrong_answer_is_told_and_the_old_one_kept(job):
    field = FormView(job, asked.SITE).fields["site.altitude"]
    field.control.value = "high"
    assert "is not a number" in said(field.message) and "role='alert'" in said(field.message)
    assert job.get("site.altitude") == 4200


def test_an_emptied_field_takes_the_answer_away(job):
    FormView(job, asked.SITE).fields["site.name"].control.value = ""
    assert job.get("site.name") is None


def test_a_time_zone_that_does_not_exist_is_refused(job):
    view = FormView(job, asked.SITE, checks=planning.site_checks(job))
    view.fields["site.time_zone"].control.value = "America/Nowhere"
    assert "is not a zone" in said(view.fields["site.time_zone"].message)
    assert job.get("site.time_zone") == "America/Denver"


def test_a_weather_file_is_there_when_it_is_named(job):
    view = FormView(job, asked.SITE, checks=planning.site_checks(job))
    field = view.fields["site.weather_file"]
    field.control.value = "year.epw"
    assert "Weather file: trends holds no file 'year.epw'" in said(field.message)
    (job.trends_folder / "year.epw").write_bytes(b"LOCATION")
    field.control.value = ""
    field.control.value = "year.epw"
    assert job.get("site.weather_file") == "year.epw"


def test_a_files_time_zone_exists(job):
    name = job.trend_files()[0].name
    for zone, sentence in (("Mars/North", "is not a zone"), ("UTC", "file saved"), ("", "saved")):
        view = rows_view(job, asked.files(job), finish=planning.finish_file)
        view.fields["file"].control.value = name
        view.fields["time_zone"].control.value = zone
        view.save.click()
        assert sentence in said(view.message)


def test_reopening_shows_what_was_entered(job):
    FormView(job, asked.SITE).fields["site.place"].control.value = "Vale & <b>"
    again = FormView(Job(job.folder), asked.SITE)
    assert again.fields["site.place"].control.value == "Vale & <b>"


def test_an_answer_no_longer_on_offer_is_not_lost(job):
    job.put("job.condition", "odd")
    view = FormView(job, asked.JOB)
    assert view.fields["job.condition"].control.value == "odd"


def test_two_windows_lose_nothing(job):
    one, two = FormView(job, asked.SITE), FormView(Job(job.folder), asked.SITE)
    one.fields["site.name"].control.value = "first"
    two.fields["site.place"].control.value = "second"
    assert (job.get("site.name"), job.get("site.place")) == ("first", "second")


def test_comments_written_by_hand_stay(job):
    view = rows_view(job, asked.PEOPLE)
    view.fields["role"].control.value, view.fields["name"].control.value = "witness", "B"
    view.save.click()
    assert "# An invented job for tests." in job.file.read_text(encoding="utf-8")
    assert job.get("people.witness.name") == "B"


def test_a_row_is_changed_and_removed(job):
    view = rows_view(job, asked.PEOPLE)
    view.chooser.value = 0
    view.fields["firm_role"].control.value = "field"
    view.save.click()
    assert job.get("people.technician") == {"name": "A. Invented", "firm_role": "field"}
    view.chooser.value = 0
    view.remove.click()
    assert job.get("people.technician") is None


def test_a_row_that_lacks_an_answer_is_told(job):
    view = rows_view(job, asked.PEOPLE)
    view.save.click()
    assert "Role: no answer" in said(view.message)


def test_a_double_click_on_save_leaves_the_receipt(job):
    view = rows_view(job, asked.PREREQUISITES)
    before = len(view.store.rows())
    view.fields["text"].control.value = "Water balanced"
    view.save.click()
    view.save.click()
    assert "prerequisite saved: Water balanced" in said(view.message)
    assert len(view.store.rows()) == before + 1


def test_a_new_row_says_that_it_took_the_place_of_another(job):
    view = rows_view(job, asked.PEOPLE)
    view.fields["role"].control.value, view.fields["name"].control.value = "technician", "B"
    view.save.click()
    assert "person saved in place of the one held before: technician" in said(view.message)


def test_columns_and_units_are_offered_for_a_point(job):
    offers = planning.PointOffers(job)
    rows = asked.points(job)
    view = rows_view(job, rows, offers=offers, finish=offers.finish)
    view.fields["point"].control.value = "chw_return_temp"
    view.fields["file"].control.value = "plant.csv"
    assert "chw_return_temp" in offers.columns("plant.csv")
    for path, typed in (("column", "no such"), ("unit", "degF")):
        view.fields[path].control.value = typed
    view.save.click()
    assert "has no column 'no such'" in said(view.message)


def test_a_refrigerant_pressure_is_mapped_in_a_gauge_unit(job):
    offers = planning.PointOffers(job)
    view = rows_view(job, asked.points(job), offers=offers, finish=offers.finish)
    for path, typed in (("point", "chiller_1_condenser_pressure"), ("file", "plant.csv"),
                        ("column", "chw_flow"), ("unit", "psig")):
        view.fields[path].control.value = typed
    view.save.click()
    assert job.get("points.chiller_1_condenser_pressure.unit") == "psig"


def test_suggestions_are_shown_first_and_taken_when_asked(job):
    job.change(lambda document: document["points"].pop("chw_flow"))
    panel = panels.suggest(job)
    line, shown = panel.widget.children[1:3]
    ask, use = line.children
    use.click()
    assert job.get("points.chw_flow") is None
    ask.click()
    assert "chw_" in shown.value and "flow" in shown.value
    use.click()
    assert job.get("points.chw_flow.column") == "chw_flow"


@pytest.mark.parametrize(("value", "sentence"), [
    ("soon", "'soon' is not a number; type digits only; the standard's is 30 min"),
    ("22,5", "write a decimal point, not a comma"), ("20", "limit saved: enable.dwell; 20 min; "
                                                           "the standard's is 30 min"),
])
def test_a_limit_of_the_jobs_own(job, value, sentence):
    view = rows_view(job, asked.LIMITS, finish=planning.finish_limit, told=planning.told_limit)
    for path, typed in (("name", "enable.dwell"), ("value", value), ("reason", "slow sump"),
                        ("author", "A")):
        view.fields[path].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    assert job.get('limits."enable.dwell".value') in (None, 20.0)


@pytest.mark.parametrize(("point", "typed", "sentence"), [
    ("chw_flow", "20", "Accuracy ±: 20 is no share of the reading, as chw_flow needs it"),
    ("chw_flow", "0.02", "sensor saved: chw_flow; ± 2 % of the reading"),
    ("chw_supply_temp", "2", "sensor saved: chw_supply_temp; ± 2 °F"),
])
def test_an_accuracy_is_a_share_of_the_reading_where_the_form_says_so(
    job, point, typed, sentence
):
    view = rows_view(job, asked.sensors(job), finish=planning.finish_sensor,
                     told=planning.told_sensor)
    assert "share of the reading: 0.02 for 2 %" in said(view.fields["accuracy"].message)
    view.fields["point"].control.value = point
    view.fields["accuracy"].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    saved = {} if "no share" in sentence else {point: {"accuracy": float(typed)}}
    assert job.get("sensors", {}) == saved


@pytest.mark.parametrize(("unit", "sentence"), [
    ("", "Unit of the accuracy: choose the unit"), ("% of reading", "instrument saved"),
])
def test_an_instruments_accuracy_says_what_it_is_in(job, unit, sentence):
    view = rows_view(job, asked.INSTRUMENTS, finish=planning.finish_instrument)
    for path, typed in (("tag", "F9"), ("accuracy", "2"), ("accuracy_unit", unit)):
        view.fields[path].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    assert job.get("instruments.F9.accuracy_unit") == (unit or None)


def reading(job, **typed):
    store = readings.ReadingsStore(job)
    view = RowsView(store, readings.asked(job), lambda: None, readings.offers,
                    lambda row: readings.finish(job, row))
    usual = {"time": "2026-01-10 21:00", "point": "chw_supply_temp", "value": "45.1",
             "unit": "degF", "instrument": "T1", "taken_by": "A"}
    for path, text in {**usual, **typed}.items():
        view.fields[path].control.value = text
    view.save.click()
    return view, store


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
        readings.ReadingsStore(job).put({"point": "chw_flow"}, None)
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


def test_overrides_are_closed_by_release_and_readback(job):
    line = checklist.OverrideLine(job, "overrides", job.get("overrides")[0], lambda: None)
    line.build()
    line.change(released="2026-01-10T23:00:00-07:00")
    assert not checklist.closed(job.get("overrides")[0])
    line.change(readback="31.0")
    assert checklist.closed(job.get("overrides")[0])


def test_a_line_changed_elsewhere_is_not_overwritten(job):
    line = checklist.OverrideLine(job, "overrides", job.get("overrides")[0], lambda: None)
    line.build()
    job.change(lambda d: d["overrides"][0].update({"value": "29"}))
    with pytest.raises(FormError, match="changed in another window"):
        line.change(readback="31")


def test_limits_are_frozen_once(job, monkeypatch):
    panel = panels.freeze(job)
    press = panel.widget.children[2]
    press.click()
    assert job.get("frozen.limits") == Limits().digest()
    press.click()
    assert "✓ the limits are frozen" in said(panel.message), "a double click is one press"
    job.put("frozen.at", "2026-01-10T03:00:00+00:00")
    assert "frozen 2026-01-10 03:00 +00:00 by" in said(panels.freeze(job).message)
    monkeypatch.setattr(forms, "DOUBLE_CLICK", 0.0)
    press.click()
    assert "frozen already" in said(panel.message)


def test_a_trend_file_is_taken_in_but_never_overwritten(job):
    assert taking_in.take_in(job, "C:\\data\\new.csv", b"a") == "new.csv"
    assert taking_in.take_in(job, "new.csv", b"a") == "new.csv"
    for name in ("new.csv", "NEW.csv"):
        with pytest.raises(FormError, match="never"):
            taking_in.take_in(job, name, b"b")
    assert (job.trends_folder / "new.csv").read_bytes() == b"a"
    assert not [path for path in job.trends_folder.iterdir() if path.name.endswith(".part")]


@pytest.mark.parametrize("name", [
    "../.hidden", "", "..", "what?.csv", "a\nb.csv", "NUL.csv", "com1.txt", "end.", "end .csv ",
    "a" * 200 + ".csv"])
def test_a_name_that_some_computer_refuses_is_refused(job, name):
    with pytest.raises(FormError, match="is no name"):
        taking_in.take_in(job, name, b"a")


def test_what_is_no_trend_file_or_too_large_is_refused(job, monkeypatch):
    with pytest.raises(IntakeError, match="is a PDF document"):
        taking_in.take_in(job, "trend.csv", b"%PDF-1.7")
    with pytest.raises(IntakeError, match="is empty"):
        taking_in.take_in(job, "trend.csv", b"")
    monkeypatch.setattr(taking_in, "LARGEST", 2 * taking_in.MB)
    with pytest.raises(FormError, match="takes up to 2 MB: copy it"):
        taking_in.take_in(job, "trend.csv", bytes(3 * taking_in.MB))
    assert not (job.trends_folder / "trend.csv").exists()


@pytest.mark.parametrize("decision", ["accept", "send back"])
def test_a_record_sent_back_is_not_said_to_be_countersigned(job, monkeypatch, decision):
    monkeypatch.setattr(panels.closing, "countersign", lambda *_: job.folder / "record/0002.json")
    panel = panels.countersign(job)
    chosen, *_, secret, press = panel.widget.children[1:-1]
    chosen.value, secret.value = decision, "an invented passphrase"
    press.click()
    said_so = "sent back: record/0002.json" in said(panel.message)
    assert said_so is (decision == "send back")
    assert ("countersigned: record/0002.json" in said(panel.message)) is not said_so


def test_the_panel_marks_and_reads(job):
    panel = LivePanel(job, Limits())
    panel._mark("test started")
    panel._mark("request")
    panel.spot.value = "cs 44.2"
    assert "44.2 °F is possible" in said(panel.message)
    assert readings.ReadingsStore(job).rows()[0]["point"] == "chw_supply_temp"
    panel.spot.value = "cs 500"
    assert "outside what is possible" in said(panel.message)


def test_a_spot_reading_without_unit_is_in_the_unit_of_its_trend(job):
    job.put("points.chw_supply_temp.unit", "degC")
    panel = LivePanel(job, Limits())
    panel.spot.value = "cs 6.8"
    assert "6.8 °C = 44.24 °F is possible" in said(panel.message)
    panel.spot.value = "cs 44.2 F"
    assert "44.2 °F is possible" in said(panel.message)
    kept = [(row["value"], row["unit"]) for row in readings.ReadingsStore(job).rows()]
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


def test_a_double_click_sets_one_mark(job):
    panel = LivePanel(job, Limits())
    start = panel.widget.children[3].children[0]
    start.click()
    start.click()
    assert "test started" in said(panel.message)
    assert [mark["what"] for mark in job.get("marks")] == ["test started"]


def test_a_spot_reading_without_its_instrument_is_not_saved(job):
    job.put("instruments", None)
    panel = LivePanel(job, Limits())
    panel.spot.value = "cs 44.2"
    assert "choose the one that shows the reading" in said(panel.message)
    assert readings.ReadingsStore(job).rows() == []


def test_the_gate_names_what_is_missing(job):
    job.put("site.altitude", None)
    page = Page("plan", job)
    page.form(asked.SITE)
    with pytest.raises(FormError, match="Altitude: no answer yet"):
        page.gate()


def test_the_badge_names_the_first_missing_answer_and_counts_the_rest(job):
    page = Page("plan", job)
    state.record_stop(job, page.step, "Title: no answer yet · Altitude: no answer yet · Z")
    page.saved()
    assert "This step waits: Title: no answer yet (and 2 more)" in page.badge.value


def test_the_gate_and_the_badge_follow_every_form_of_the_page(job):
    for path in ("site.altitude", "plant.chillers"):
        job.put(path, None)
    page = Page("plan", job)
    page.form(asked.SITE)
    page.form(asked.PLANT)
    with pytest.raises(FormError, match="Altitude: no answer yet.*Number of chillers") as stop:
        page.gate()
    state.record_stop(job, page.step, str(stop.value))
    page.saved()
    assert "Altitude: no answer yet" in page.badge.value and "(and 1 more)" in page.badge.value
    job.put("site.altitude", 4200.0)
    page.saved()
    assert "This step waits: Number of chillers: no answer yet" in page.badge.value
    job.put("plant.chillers", 2)
    page.saved()
    assert "Something was changed since this step stopped" in page.badge.value


def test_a_tick_shows_in_the_list_of_the_same_page(job):
    job.change(lambda document: document.update({"prerequisites": [{"text": "Water balanced"}]}))
    page = Page("plan", job)
    page.rows(asked.PREREQUISITES)
    list_, = page._lists
    line = checklist.PrerequisiteLine(job, "prerequisites", list_.store.rows()[0], page._ticked)
    line.build()
    line.change(done=True, by="A. Invented")
    assert "A. Invented" in list_.table.value


def test_a_plan_says_what_it_leaves_open(job):
    page = Page("plan", job)
    for place in ("abort", "instruments", "frozen"):
        job.put(place, None)
    said_at_end = page.done().text
    assert "Step 0 Plan is saved, but not complete." in said_at_end
    assert "Still open: nothing says when to stop the test" in said_at_end
    assert "no field instrument" in said_at_end and "limits are not frozen" in said_at_end
    assert "technician" not in said_at_end


def test_the_badge_follows_an_edit(job):
    page = Page("plan", job)
    view = page.form(asked.JOB)
    page.done()
    assert "done" in page.badge.value
    FormView(job, asked.JOB, page.saved).fields["job.title"].control.value = "other"
    assert "out of date" in page.badge.value
    assert "what stands below is withdrawn" in page.badge.value
    assert view._repr_mimebundle_()["text/plain"].startswith("[form: Job")


def trended(job, minutes=0):
    """The time and chilled-water supply of a row of the small plant, and a moment after it."""
    row = small_plant.frame()["chw_supply_temp"].iloc[[100]]
    return row.index[0] + pd.Timedelta(minutes=minutes), float(row.iloc[0])


@pytest.mark.parametrize(("off", "words"), [
    (0.0, "agrees with the trend"), (6.0, "does not agree with the trend; read once more")])
def test_a_reading_inside_the_trends_is_compared_with_them_at_once(job, off, words):
    when, value = trended(job)
    view = RowsView(readings.ReadingsStore(job), readings.asked(job), lambda: None,
                    readings.offers, lambda row: readings.finish(job, row),
                    lambda row: against_trend.told(job, row))
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
    readings.ReadingsStore(job).put(row, None)
    assert against_trend.told(job, row) == ("", "")
    for file in job.trend_files():
        file.unlink()
    assert against_trend.told(job, row) == ("", "")


def test_a_reading_without_time_and_unit_is_taken_now_in_the_first_unit(job):
    view = RowsView(readings.ReadingsStore(job), readings.asked(job), lambda: None,
                    readings.offers, lambda row: readings.finish(job, row))
    for path, text in (("point", "chw_supply_temp"), ("value", "45.1"), ("instrument", "T1")):
        view.fields[path].fill(text)
    view.save.click()
    assert "reading saved" in said(view.message)
    kept = readings.ReadingsStore(job).rows()[-1]
    taken = pd.Timestamp(kept["time"])
    assert kept["unit"] == "degF" and abs(pd.Timestamp.now(tz="UTC") - taken).seconds < 60
