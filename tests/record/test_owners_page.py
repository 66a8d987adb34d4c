"""The record's last page: what it says, that it is signed with the rest, and what it does not
know."""

from __future__ import annotations

from dataclasses import replace

import drawn_plant as drawn
import numpy as np
import pytest
import record_support as support

from fptlib.job.folder import Job
from fptlib.job.schema import Tariff
from fptlib.procedure import enable, savings
from fptlib.procedure.assemble import assemble
from fptlib.record import owners_page, schema
from fptlib.record.sections import all_sections

TABLE = drawn.frame()


def answers(test) -> dict[str, str]:
    return {row["question"]: row["answer"] for row in owners_page.worth(test)}


def test_the_sample_before_correction() -> None:
    test = assemble(Job("sample_trends/before"), keep=False)
    found = answers(test)
    said = " ".join(found.values())
    assert str(savings.gained(test)) in said
    assert str(savings.lost(test, enable.lost_rows(test))) in said
    assert "h by the approach curves" in said and "no price was given" in said
    assert all("kWh" not in each or "±" in each or "price" in each for each in found.values())
    assert "kg" not in found["What are the emissions?"]


def test_emissions_by_the_stated_factor_alone() -> None:
    case = replace(drawn.case(), tariff=Tariff(emission_factor=0.4))
    asked = "What are the emissions?"
    assert answers(case)[asked].startswith("not stated")
    case = replace(case, tariff=Tariff(emission_factor=0.4, emission_source="a table, 2024"))
    kwh = savings.gained(case)
    assert kwh.kwh is not None and kwh.uncertainty is not None
    assert answers(case)[asked].startswith(
        savings.within(0.4 * kwh.kwh, 0.4 * kwh.uncertainty) + " kg CO2 less")


def test_a_tariff_stands_in_the_record_and_is_printed(tmp_path) -> None:
    job = support.make_job(tmp_path / "job")
    assert "tariff" not in support.make_payload(job)
    job.put("tariff.currency", "USD")
    job.put("tariff.charges", [{"name": "summer on-peak", "kind": "energy", "price": 0.1234,
                                "days": "weekdays", "first_month": "June",
                                "last_month": "September", "hours_from": "14:00",
                                "hours_to": "20:00"}])
    content = schema.current(support.make_payload(job))
    blocks = all_sections(content, {})[-1]["blocks"]
    printed = [[cell["text"] for cell in row] for block in blocks for row in block["rows"]]
    assert printed == [["Currency", "USD"], [
        "summer on-peak", "energy", "0.1234", "June to September", "weekdays", "14:00 to 20:00",
        "none"]]


@pytest.mark.parametrize("name", list(TABLE.columns))
def test_without_a_point_it_says_so_or_the_same(name: str) -> None:
    """No point whose absence stops it; what needs it is not known."""
    found = answers(drawn.case(TABLE.drop(columns=[name])))
    if name in ("chw_flow", "cw_supply_temp"):
        assert "not known: not trended" in found[next(iter(found))]


def test_a_year_without_approaches_or_weather_is_not_known() -> None:
    test = drawn.case()
    assert "no weather file" in " ".join(answers(test).values())
    weather = {"outdoor_dry_bulb": np.full(8760, 40.0), "outdoor_humidity": np.full(8760, 60.0),
               "station_pressure": np.full(8760, 14.0)}
    assert "no weather file" not in " ".join(answers(replace(test, weather=weather)).values())


def test_it_is_the_last_page_and_earlier_records_have_none(tmp_path) -> None:
    content = support.make_payload(support.make_job(tmp_path / "job"))
    rows = [{"question": "What did it save?", "answer": "12 ± 3 kWh"}]
    with_page = schema.current({**content, "worth": rows})
    last = [each for each in all_sections(with_page, {}) if each["blocks"]][-1]
    assert last["title"] == "What it is worth, for the owner"
    assert [[cell["text"] for cell in row] for row in last["blocks"][0]["rows"]] == [
        ["What did it save?", "12 ± 3 kWh"]]
    del content["worth"]
    assert all(each["title"] != last["title"] for each in all_sections(
        schema.current(content), {}) if each["blocks"])


@pytest.mark.parametrize("left", [(), *((each,) for each in drawn.case().grid.columns)])
def test_an_owners_page_without_points_answers_what_it_can(left: tuple[str, ...]) -> None:
    case = drawn.case()
    columns = {name: case.grid.columns[name] for name in left}
    found = answers(replace(case, grid=replace(case.grid, columns=columns)))
    assert found[next(iter(found))].startswith("not known: not trended: ")
