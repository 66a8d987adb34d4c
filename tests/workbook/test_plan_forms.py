"""The plan's forms: what is offered, refused and told, and files taken in."""

from __future__ import annotations

import pytest
from form_views import form_view, rows_view, said

from fptlib.errors import FormError, IntakeError
from fptlib.limits import Limits
from fptlib.trends.mapping import PointMap
from fptlib.workbook import forms, panels, upload
from fptlib.workbook.page import Page


def test_a_time_zone_that_does_not_exist_is_refused(job):
    view = form_view(job, "site")
    view.fields["site.time_zone"].control.value = "America/Nowhere"
    assert "is not a zone" in said(view.fields["site.time_zone"].message)
    assert job.get("site.time_zone") == "America/Denver"


def test_a_weather_file_is_there_when_it_is_named(job):
    view = form_view(job, "site")
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
        view = rows_view(job, "files")
        view.fields["file"].control.value = name
        view.fields["time_zone"].control.value = zone
        view.save.click()
        assert sentence in said(view.message)


def test_columns_and_units_are_offered_for_a_point(job):
    view = rows_view(job, "points")
    view.fields["point"].control.value = "chw_return_temp"
    view.fields["file"].control.value = "plant.csv"
    assert "chw_return_temp" in view.fields["column"].control.options
    for path, typed in (("column", "no such"), ("unit", "degF")):
        view.fields[path].control.value = typed
    view.save.click()
    assert "has no column 'no such'" in said(view.message)


def test_a_refrigerant_pressure_is_mapped_in_a_gauge_unit(job):
    view = rows_view(job, "points")
    for path, typed in (("point", "chiller_1_condenser_pressure"), ("file", "plant.csv"),
                        ("column", "chw_flow"), ("unit", "psig")):
        view.fields[path].control.value = typed
    view.save.click()
    assert job.get("points.chiller_1_condenser_pressure.unit") == "psig"


@pytest.mark.parametrize(("value", "sentence"), [
    ("soon", "'soon' is not a number; type digits only; the standard's is 30 min"),
    ("22,5", "write a decimal point, not a comma"), ("20", "limit saved: enable.dwell; 20 min; "
                                                           "the standard's is 30 min"),
])
def test_a_limit_of_the_jobs_own(job, value, sentence):
    view = rows_view(job, "limits")
    for path, typed in (("name", "enable.dwell"), ("value", value), ("reason", "slow sump"),
                        ("author", "A")):
        view.fields[path].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    assert job.get('limits."enable.dwell".value') in (None, 20.0)


@pytest.mark.parametrize(("unit", "sentence"), [
    ("", "Unit of the accuracy: choose the unit"), ("% of reading", "instrument saved"),
])
def test_an_instruments_accuracy_says_what_it_is_in(job, unit, sentence):
    view = rows_view(job, "instruments")
    for path, typed in (("tag", "F9"), ("accuracy", "2"), ("accuracy_unit", unit)):
        view.fields[path].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    assert job.get("instruments.F9.accuracy_unit") == (unit or None)


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
    assert upload.take_in(job, "C:\\data\\new.csv", b"a") == "new.csv"
    assert upload.take_in(job, "new.csv", b"a") == "new.csv"
    for name in ("new.csv", "NEW.csv"):
        with pytest.raises(FormError, match="never"):
            upload.take_in(job, name, b"b")
    assert (job.trends_folder / "new.csv").read_bytes() == b"a"
    assert not [path for path in job.trends_folder.iterdir() if path.name.endswith(".part")]


@pytest.mark.parametrize("name", [
    "../.hidden", "", "..", "what?.csv", "a\nb.csv", "NUL.csv", "com1.txt", "end.", "end .csv ",
    "a" * 200 + ".csv"])
def test_a_name_that_some_computer_refuses_is_refused(job, name):
    with pytest.raises(FormError, match="is no name"):
        upload.take_in(job, name, b"a")


def test_what_is_no_trend_file_or_too_large_is_refused(job, monkeypatch):
    with pytest.raises(IntakeError, match="is a PDF document"):
        upload.take_in(job, "trend.csv", b"%PDF-1.7")
    with pytest.raises(IntakeError, match="is empty"):
        upload.take_in(job, "trend.csv", b"")
    monkeypatch.setattr(upload, "LARGEST", 2 * upload.MB)
    with pytest.raises(FormError, match="takes up to 2 MB: copy it"):
        upload.take_in(job, "trend.csv", bytes(3 * upload.MB))
    assert not (job.trends_folder / "trend.csv").exists()


def test_a_plan_says_what_it_leaves_open(job):
    page = Page("plan", job)
    for place in ("abort", "instruments", "frozen"):
        job.put(place, None)
    said_at_end = page.done().text
    assert "Step 0 Plan is saved, but not complete." in said_at_end
    assert "Still open: nothing says when to stop the test" in said_at_end
    assert "no field instrument" in said_at_end and "limits are not frozen" in said_at_end
    assert "technician" not in said_at_end


@pytest.mark.parametrize(("point", "typed", "sentence"), [
    ("chw_flow", "20", "Accuracy ±: 20 is no share of the reading, as chw_flow needs it"),
    ("chw_flow", "0.02", "sensor saved: chilled-water flow of the plant (chw_flow); "
     "± 2 % of the reading"),
    ("chw_supply_temp", "2", "sensor saved: chilled water leaving the plant (chw_supply_temp); "
     "± 2 °F"),
])
def test_an_accuracy_is_a_share_of_the_reading_where_the_form_says_so(
    job, point, typed, sentence
):
    view = rows_view(job, "sensors")
    assert "share of the reading: 0.02 for 2 %" in said(view.fields["accuracy"].message)
    view.fields["point"].control.value = point
    view.fields["accuracy"].control.value = typed
    view.save.click()
    assert sentence in said(view.message)
    saved = {} if "no share" in sentence else {point: {"accuracy": float(typed)}}
    assert job.get("sensors", {}) == saved


def test_an_abort_condition_is_entered_so_that_it_can_be_evaluated(job):
    view = rows_view(job, "abort")
    view.fields["text"].control.value = "Condenser water below 36 °F"
    view.fields["watched"].control.value = "cw_supply_temp"
    assert [unit for _, unit in view.fields["unit"].control.options if unit] == [
        "degF", "degC", "K"]
    view.save.click()
    assert "limit or side is missing" in said(view.message)
    view.fields["side"].control.value = "below"
    view.fields["limit"].control.value = "36"
    view.save.click()
    assert job.get("abort")[-1] == {"text": "Condenser water below 36 °F", "side": "below",
                                    "watched": "cw_supply_temp", "limit": 36.0}


def test_an_override_says_what_it_means_for_a_changeover(job):
    view = rows_view(job, "overrides")
    for point, means in (("outdoor_wet_bulb", "its reading is unknown meanwhile"),
                         ("enable threshold", "it proves function, not capacity")):
        for name, typed in (("point", point), ("placed", "2026-01-10 02:00"), ("by", "A"),
                            ("reason", "to see it tonight")):
            view.fields[name].control.value = typed
        view.save.click()
        assert means in said(view.message)


def test_what_a_sentence_of_the_reading_asks_has_a_field(job):
    """Patterns of bad values, the words of a status, the hold of a log: no file is edited."""
    view = rows_view(job, "files")
    name = job.trend_files()[0].name
    for path, typed in (("file", name), ("bad", "??? *"), ("good", "* {ok}"), ("decimal", "."),
                        ("time_zone", "-07:00"), ("time_column", "Day; Clock")):
        view.fields[path].control.value = typed
    view.save.click()
    assert "saved" in said(view.message)
    view = rows_view(job, "points")
    for path, typed in (("point", "chiller_1_running"), ("file", "plant.csv"),
                        ("column", "chiller_1_running"), ("unit", "on/off"), ("on", "2; 3"),
                        ("off", "0; 1")):
        view.fields[path].control.value = typed
    view.save.click()
    assert "saved" in said(view.message), said(view.message)
    mapped = PointMap.from_answers(job.answers())
    assert mapped.files[name].time_column == ("Day", "Clock")
    assert mapped.files[name].bad == ("??? *",) and mapped.files[name].good == ("* {ok}",)
    assert mapped.sources["chiller_1_running"].on == ("2", "3")
