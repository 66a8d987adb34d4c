"""Lists of ``job.toml`` that are filled row by row, without widgets."""

from __future__ import annotations

import pytest
from form_views import form_view, rows_view, said

from fptlib.errors import FormError
from fptlib.job import answers
from fptlib.workbook import questionnaire


def stored(job, path, held):
    job.put(path, held)
    return questionnaire.section(job, path)


def test_a_point_stands_with_the_sites_tag_beside_it(job):
    job.put("points.chw_flow.column", "CHW-F-1")
    overrides = rows_view(job, "overrides")
    item = next(item for item in overrides.items if item.name == "point")
    assert item.shown("chw_flow") == "chilled-water flow of the plant (CHW-F-1)"
    assert item.shown("the enable threshold") == "the enable threshold"
    readings = next(item for item in rows_view(job, "readings").items if item.name == "point")
    assert readings.shown("chw_flow") == "chilled-water flow of the plant (CHW-F-1)"


def test_a_required_answer_that_is_missing_is_named(job):
    view = form_view(job, "site")
    assert view.missing({"site": {"altitude": 100.0}}) == [
        "Time zone: no answer yet; fill it in, it is marked * on this page"]


def test_rows_of_an_array_keep_order_and_move(job):
    store = stored(job, "abort", [{"text": "a"}, {"text": "b"}])
    store.put({"text": "c"}, {"text": "b"})
    store.put({"text": "d"}, None)
    store.take({"text": "a"})
    assert job.get("abort") == [{"text": "c"}, {"text": "d"}]


def test_a_row_that_was_changed_elsewhere_is_not_put_in_a_second_time(job):
    store = stored(job, "prerequisites", [{"text": "a", "done": True}])
    with pytest.raises(FormError, match="changed or removed elsewhere"):
        store.put({"text": "b"}, {"text": "a", "done": False})
    assert job.get("prerequisites") == [{"text": "a", "done": True}]


def test_a_row_keeps_what_the_form_does_not_ask(job):
    store = stored(job, "people", {"technician": {"name": "A", "phone": "1", "firm_role": "x"}})
    store.put({"role": "technician", "name": "B"}, {"role": "technician", "name": "A"})
    assert job.get("people") == {"technician": {"phone": "1", "name": "B"}}


def test_what_was_remarked_by_hand_in_a_row_stays(job):
    with job.file.open("a", encoding="utf-8") as file:
        file.write('\n[people.witness]  # agreed in May\nname = "A"\n# by letter\n')
    questionnaire.section(job, "people").put({"role": "witness", "name": "B"}, None)
    held = job.file.read_text(encoding="utf-8")
    assert '# agreed in May\nname = "B"\n# by letter' in held


def test_a_row_without_a_required_answer_is_refused(job):
    view = rows_view(job, "people")
    view.fields["role"].control.value = "technician"
    view.save.click()
    assert "Name: no answer; a person needs it" in said(view.message)


def test_lines_of_the_rate_sheet_are_entered_by_form(job):
    view = rows_view(job, "tariff.charges")
    for name, typed in (("name", "on-peak"), ("kind", "energy"), ("price", "0.18"),
                        ("hours_from", "2:00 pm")):
        view.fields[name].control.value = typed
    view.save.click()
    assert "one end only" in said(view.message)
    view.fields["hours_to"].control.value = "20:00"
    view.save.click()
    assert "the currency above is not stated" in said(view.message)
    form = form_view(job, "tariff")
    form.fields["tariff.currency"].control.value = "USD"
    stated = answers.tariff(job.answers())
    assert stated.currency == "USD" and stated.charges[0].price == 0.18
    assert f"{stated.charges[0].hours_from:%H:%M}" == "14:00"
    # A second price for the same hour is said at once; what is added to it is a rider.
    for kind in ("energy", "rider"):
        view = rows_view(job, "tariff.charges")
        for name, typed in (("name", "all hours"), ("kind", kind), ("price", "0.08")):
            view.fields[name].control.value = typed
        view.save.click()
        twice = "both price energy at 14:00 on a Monday in January" in said(view.message)
        assert twice == (kind == "energy")
        job.change(lambda held: held["tariff"]["charges"].pop())
