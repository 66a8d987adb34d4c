"""Forms as widgets: saved at once, wrong answers told beside the field, nothing lost."""

from __future__ import annotations

import pytest
from form_views import form_view, rows_view, said

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.workbook import checklist, panels, state
from fptlib.workbook.page import Page


def test_an_answer_is_saved_as_soon_as_it_is_given(job):
    view = form_view(job, "site")
    view.fields["site.altitude"].control.value = "5000"
    assert Job(job.folder).get("site.altitude") == 5000.0
    assert "✓ saved" in said(view.fields["site.altitude"].message)


def test_another_unit_is_converted_and_said(job):
    field = form_view(job, "site").fields["site.altitude"]
    field.unit.value = "m"
    field.control.value = "1000"
    assert job.get("site.altitude") == pytest.approx(3280.84, abs=0.01)
    assert "saved as 3280.8399 ft" in said(field.message)


def test_a_number_from_the_file_is_shown_in_another_unit_and_stays(job):
    field = form_view(job, "site").fields["site.altitude"]
    field.unit.value = "m"
    assert (field.text, job.get("site.altitude")) == ("1280.16", 4200)
    assert "shown in m; the answer was not changed" in said(field.message)
    field.unit.value = "ft"
    assert (field.text, job.get("site.altitude")) == ("4200", 4200)


def test_a_number_typed_is_meant_in_the_unit_chosen_after_it(job):
    field = form_view(job, "site").fields["site.altitude"]
    field.control.value = "1000"
    field.unit.value = "m"
    assert job.get("site.altitude") == pytest.approx(3280.84, abs=0.01)


def test_what_is_possible_is_told_in_the_unit_typed(job):
    field = form_view(job, "plant").fields["plant.sump_volume"]
    field.unit.value = "m3"
    field.control.value = "38,000"
    assert "38,000 m³ is outside what is possible here (0 to 18,927 m³)" in said(field.message)


def test_a_wrong_answer_is_told_and_the_old_one_kept(job):
    field = form_view(job, "site").fields["site.altitude"]
    field.control.value = "high"
    assert "is not a number" in said(field.message) and "role='alert'" in said(field.message)
    assert job.get("site.altitude") == 4200


def test_an_emptied_field_takes_the_answer_away(job):
    form_view(job, "site").fields["site.name"].control.value = ""
    assert job.get("site.name") is None


def test_reopening_shows_what_was_entered(job):
    form_view(job, "site").fields["site.place"].control.value = "Vale & <b>"
    again = form_view(Job(job.folder), "site")
    assert again.fields["site.place"].control.value == "Vale & <b>"


def test_an_answer_no_longer_on_offer_is_not_lost(job):
    job.put("job.condition", "odd")
    view = form_view(job, "job")
    assert view.fields["job.condition"].control.value == "odd"


def test_two_windows_lose_nothing(job):
    one, two = form_view(job, "site"), form_view(Job(job.folder), "site")
    one.fields["site.name"].control.value = "first"
    two.fields["site.place"].control.value = "second"
    assert (job.get("site.name"), job.get("site.place")) == ("first", "second")


def test_comments_written_by_hand_stay(job):
    view = rows_view(job, "people")
    view.fields["role"].control.value, view.fields["name"].control.value = "witness", "B"
    view.save.click()
    assert "# An invented job for tests." in job.file.read_text(encoding="utf-8")
    assert job.get("people.witness.name") == "B"


def test_a_row_is_changed_and_removed(job):
    view = rows_view(job, "people")
    view.chooser.value = 0
    view.fields["firm_role"].control.value = "field"
    view.save.click()
    assert job.get("people.technician") == {"name": "A. Invented", "firm_role": "field"}
    view.chooser.value = 0
    view.remove.click()
    assert job.get("people.technician") is None


def test_a_row_that_lacks_an_answer_is_told(job):
    view = rows_view(job, "people")
    view.save.click()
    assert "Role: no answer" in said(view.message)


def test_a_double_click_on_save_leaves_the_receipt(job):
    view = rows_view(job, "prerequisites")
    before = len(view.section.rows())
    view.fields["text"].control.value = "Water balanced"
    view.save.click()
    view.save.click()
    assert "prerequisite saved: Water balanced" in said(view.message)
    assert len(view.section.rows()) == before + 1


def test_a_new_row_says_that_it_took_the_place_of_another(job):
    view = rows_view(job, "instruments")
    view.fields["tag"].control.value, view.fields["serial"].control.value = "T1", "B"
    view.save.click()
    assert "instrument saved in place of the one held before: T1" in said(view.message)


def test_a_second_person_in_a_role_takes_nobodys_place(job):
    view = rows_view(job, "people")
    first = job.get("people.technician.name")
    for name, role in (("Bea Invented", "technician 2"), ("Cy Invented", "technician 3"),
                       ("Bea Invented", "technician 2")):
        view.fields["role"].control.value, view.fields["name"].control.value = "technician", name
        view.save.click()
        assert "person saved" in said(view.message) and f": {role}" in said(view.message)
        assert job.get(f"people.{role}.name") == name
    assert job.get("people.technician.name") == first
    view.chooser.value = next(n for text, n in view.chooser.options if "technician 2" in text)
    view.fields["name"].control.value = "Bea Madeup"
    view.save.click()
    assert job.get("people.technician 2.name") == "Bea Madeup"


@pytest.mark.parametrize(("path", "typed", "saved"), [
    ("site.time_zone", "phoenix", "America/Phoenix"),
    ("plant.on_peak_from", "2 PM", "14:00"), ("plant.on_peak_to", "8:30 pm", "20:30"),
])
def test_what_was_understood_stands_in_the_field(job, path, typed, saved):
    table, _, name = path.rpartition(".")
    field = form_view(job, table).fields[path]
    field.control.value = typed
    assert job.get(path) == saved and field.text == saved


def test_overrides_are_closed_by_release_and_readback(job):
    line = checklist.OverrideLine(job, "overrides", job.get("overrides")[0], lambda: None)
    line.change(released="2026-01-10T23:00:00-07:00")
    assert not state.closed(job.get("overrides")[0])
    line.change(readback="31.0")
    assert state.closed(job.get("overrides")[0])


def test_a_line_changed_elsewhere_is_not_overwritten(job):
    line = checklist.OverrideLine(job, "overrides", job.get("overrides")[0], lambda: None)
    job.change(lambda d: d["overrides"][0].update({"value": "29"}))
    with pytest.raises(FormError, match="changed or removed elsewhere"):
        line.change(readback="31")


@pytest.mark.parametrize("decision", ["accept", "send back"])
def test_a_record_sent_back_is_not_said_to_be_countersigned(job, monkeypatch, decision):
    monkeypatch.setattr(panels.sign_off, "countersign", lambda *_: job.folder / "record/0002.json")
    panel = panels.countersign(job)
    chosen, *_, secret, press, links = panel.widget.children[1:-1]
    chosen.value, secret.value = decision, "an invented passphrase"
    press.click()
    said_so = "returned for correction: record/0002.json" in said(panel.message)
    assert said_so is (decision == "send back")
    assert ("countersigned: record/0002.json" in said(panel.message)) is not said_so
    if links.value:  # only what was written has a link
        assert "href='/files/record/0002.html'" in links.value


def test_the_gate_names_what_is_missing(job):
    job.put("site.altitude", None)
    page = Page("plan", job)
    page.form("site")
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
    page.form("site")
    page.form("plant")
    with pytest.raises(FormError, match="Altitude: no answer yet.*Number of chillers") as stop:
        page.gate()
    state.record_stop(job, page.step, str(stop.value))
    page.saved()
    assert "Still needed: Altitude, Number of chillers;" in page.badge.value
    job.put("site.altitude", 4200.0)
    page.saved()
    assert "Still needed: Number of chillers;" in page.badge.value
    job.put("plant.chillers", 2)
    page.saved()
    assert "Something was changed since this step stopped" in page.badge.value


def test_a_tick_shows_in_the_list_of_the_same_page(job):
    job.change(lambda document: document.update({"prerequisites": [{"text": "Water balanced"}]}))
    page = Page("plan", job)
    page.rows("prerequisites")
    list_, = page._lists
    line = checklist.PrerequisiteLine(job, "prerequisites", list_.section.rows()[0], page._ticked)
    line.change(done=True, by="A. Invented")
    assert "A. Invented" in list_.list.value


def test_the_badge_follows_an_edit(job):
    page = Page("plan", job)
    view = page.form("job")
    page.done()
    assert "incomplete" in page.badge.value
    form_view(job, "job", saved=page.saved).fields["job.title"].control.value = "other"
    assert "out of date" in page.badge.value
    assert "what stands below is withdrawn" in page.badge.value
    assert view._repr_mimebundle_()["text/plain"].startswith("[form: Job")
