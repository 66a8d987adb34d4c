"""Answers that cannot be true together are told at their field, and stop the step."""

from __future__ import annotations

import pytest
import small_plant

from fptlib.errors import FormError
from fptlib.job.folder import Job
from fptlib.job.tables import ORDERS, contradictions, table
from fptlib.procedure.settings import compared
from fptlib.workbook import questionnaire
from fptlib.workbook.checklist import OverrideLine
from fptlib.workbook.forms import FormView, RowsView
from fptlib.workbook.page import Page


def test_the_rules_name_declared_answers():
    for order in ORDERS:
        assert {order.first, order.second} <= set(table(order.path).answers), order


@pytest.mark.parametrize(("path", "row", "told"), [
    ("plant.exchanger", {"chw_entering": 50.0, "chw_leaving": 54.0}, "colder than it enters"),
    ("plant.exchanger", {"cw_entering": 52.0, "cw_leaving": 45.0}, "warmer than it enters"),
    ("plant.exchanger", {"cw_entering": 44.0, "chw_leaving": 44.0}, "as cold as the condenser"),
    ("instruments", {"calibrated": "2026-09-15", "due": "2025-09-15"}, "due after the last"),
    ("overrides", {"placed": "2026-01-10T08:00", "released": "2026-01-10T07:00-07:00"},
     "before it was placed"),
])
def test_what_cannot_be_true_together_is_told_and_one_of_them_alone_is_not(path, row, told):
    assert told in " ".join(contradictions(path, row))
    assert not any(contradictions(path, {name: value}) for name, value in row.items())


def test_a_form_says_it_at_the_field_and_its_step_waits(job):
    view = FormView(questionnaire.section(job, "plant.exchanger"))
    fields = {path.rsplit(".")[-1]: field for path, field in view.fields.items()}
    fields["chw_entering"].control.value = "50"
    assert "✗" not in fields["chw_entering"].message.widget.value
    fields["chw_leaving"].control.value = "54"
    assert "colder than it enters" in fields["chw_leaving"].message.widget.value
    page = Page("plan", job)
    page.form("plant.exchanger")
    with pytest.raises(FormError, match="colder than it enters"):
        page.gate()
    fields["chw_entering"].control.value = "60"
    assert "✗" not in fields["chw_entering"].message.widget.value
    assert not view.missing(job.answers())


def test_a_row_that_contradicts_itself_is_not_saved(job):
    view = RowsView(questionnaire.section(job, "instruments"))
    for name, text in (("tag", "T9"), ("calibrated", "2026-09-15"), ("due", "2025-09-15")):
        view.fields[name].control.value = text
    view.save.click()
    assert "must be due after the last one" in view.message.widget.value
    assert "T9" not in job.get("instruments", {})
    view.fields["due"].control.value = "2027-09-15"
    view.save.click()
    assert "no reading taken with T9 is compared" in view.message.widget.value


def test_an_override_is_not_released_before_it_is_placed(job):
    row = {"point": "OA-WB", "placed": "2999-01-01T00:00:00+00:00"}
    job.change(lambda document: document.update({"overrides": [row]}))
    line = OverrideLine(job, "overrides", row, lambda: None)
    with pytest.raises(FormError, match="before it was placed"):
        line.change(released="2026-01-01T00:00:00+00:00")
    assert "released" not in job.get("overrides")[0]


def test_a_reading_of_another_kind_of_instrument_or_another_year_is_told(tmp_path):
    job = Job(small_plant.write_job(tmp_path / "job"))
    job.put("instruments.T1", {"accuracy": 0.5, "accuracy_unit": "degF"})
    readings = questionnaire.section(job, "readings")
    row = {"point": "chw_flow", "value": "500", "unit": "gpm", "instrument": "T1",
           "time": "2024-01-10 02:15"}
    kept = readings.finish(row)
    readings.put(kept, None)
    assert "its accuracy is stated in °F" in readings.receipt(kept)[1]
    kept = readings.finish({**row, "point": "chw_supply_temp", "value": "44", "unit": "degF"})
    readings.put(kept, None)
    assert "look at the year" in readings.receipt(kept)[1]


def test_a_setting_is_observed_in_its_own_unit_alone() -> None:
    """The check of the minimum off time counts changeovers a day besides."""
    events = [{"measured": 1.0, "unit": "per day"}, {"measured": 292.0, "unit": ""},
              {"measured": 1928.0, "unit": "min"}]
    check = {"id": "enable.rest", "unit": "min", "verdict": "pass", "events": events}
    found, = compared({"enable.rest": {}}, {"enable.rest": 30.0}, [check])
    assert found.observed == "292 min to 32 h 08 min"
