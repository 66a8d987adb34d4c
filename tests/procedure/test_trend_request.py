"""The points and trend request: what it says is lost without a point is what is not tested
without it, and a list of points proves beforehand what it proves afterwards."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import drawn_plant as drawn
import pypdf
import pytest
import small_plant

from fptlib.job.folder import Job
from fptlib.job.schema import Abort, Reset, Sequence
from fptlib.limits import Deviation, Limits
from fptlib.procedure.steps import all_checks
from fptlib.procedure.trend_request import provable, request
from fptlib.procedure.verdict import Verdict
from fptlib.workbook import trend_request

# Seventeen points that controls contractors usually trend (common practice, no source).
USUAL = ["outdoor_dry_bulb", "outdoor_humidity", "chw_supply_temp", "chw_supply_setpoint",
         "chw_return_temp", "chw_flow", "cw_supply_temp", "cw_return_temp", "economizer_command",
         "chiller_1_running", "chiller_2_running", "chiller_1_power", "chiller_2_power",
         "tower_1_fan_speed", "tower_2_fan_speed", "hx_valve", "chw_diff_pressure"]


@pytest.mark.parametrize("point", ["outdoor_dry_bulb", "cw_supply_temp", "chiller_1_alarm"])
def test_what_is_lost_without_a_point_is_not_tested_without_it(point: str) -> None:
    # The drawn plant trends no heating, and its plan states no least water per cell.
    lost = {row.point: set(row.lost) for row in request(drawn.PLANT)}[point] - {
        "load.heating", "cold.cell_flow"}
    whole, without = (all_checks(drawn.case(table, aborts=())) for table in (
        drawn.frame(), drawn.frame().drop(columns=point)))
    missing = {check.id for check in without if check.missing} - {
        check.id for check in whole if check.missing}
    assert lost == missing and lost


def test_a_list_proves_beforehand_what_it_proves_afterwards() -> None:
    frame = drawn.frame()
    names = [name for name in USUAL if name in frame]
    found = provable(drawn.PLANT, names, 5.0)
    judged = all_checks(drawn.case(frame[names], 5, aborts=()))
    assert set(found.cannot) == {check.id for check in judged if check.missing}
    assert len(found.cannot) >= 10 and "lift.minimum" in found.cannot
    assert "enable.dwell" in found.coarse and not provable(drawn.PLANT, names, 1.0).coarse


def test_a_reset_by_valves_asks_for_the_valves_it_reads() -> None:
    """Three at the least show which holds it down, whatever the plan lists."""
    by_valve = Sequence(reset=Reset("valve position", 60.0, 54.0, 100.0, 44.0))
    for listed, asked in ((0, 3), (5, 5)):
        plant = replace(drawn.PLANT, air_handlers=listed)
        rows = {row.point: row for row in request(plant, sequence=by_valve)}
        valves = [name for name in rows if name.endswith("cooling_valve")]
        assert len(valves) == asked
        assert all("load.reset_holders" in rows[name].lost for name in valves)
    lacks = provable(drawn.PLANT, [], 1.0, sequence=by_valve).cannot
    assert "chw_valve_position" in lacks["reset.active"]
    assert not [row for row in request(drawn.PLANT) if row.point.endswith("cooling_valve")]


@pytest.mark.parametrize(("minutes", "blind"), [
    (4, set()), (5, {"running.fan_cycling"}), (8, {"running.fan_cycling", "lift.starts"})])
def test_rows_too_long_to_show_a_fault_are_named_beforehand(minutes: int, blind: set[str]) -> None:
    """Seven starts in an hour need fourteen rows, four need eight: 60 / 14 and 60 / 8 min."""
    table = drawn.frame()
    found = provable(drawn.PLANT, table.columns, float(minutes))
    assert set(found.blind) == blind and not blind & {*found.can, *found.coarse, *found.cannot}
    judged = {check.id: check for check in all_checks(drawn.case(table, minutes))}
    for id in ("running.fan_cycling", "lift.starts"):
        assert (judged[id].verdict is Verdict.PASS) == (id not in blind), judged[id].reason
        assert f"rows of {minutes} min cannot show so many" in judged[id].reason or id not in blind


def test_a_firm_that_allows_more_starts_needs_shorter_rows() -> None:
    more = Limits({"running.fan_starts": Deviation(9.0, "single-speed fans", "A. Writer")})
    found = provable(drawn.PLANT, drawn.frame().columns, 4.0, limits=more)
    assert found.blind == {"running.fan_cycling": 3.0}


def test_an_abort_condition_asks_for_its_point() -> None:
    humid = Abort("Humid", "space_humidity", "above", 60.0)
    before = next(row for row in request(drawn.PLANT) if row.point == "space_humidity")
    assert before.priority == "useful" and not before.lost
    row = next(row for row in request(drawn.PLANT, [humid]) if row.point == "space_humidity")
    assert row.lost == ("abort.conditions",) and row.priority == "essential"


def test_the_request_is_a_page_and_a_table(tmp_path) -> None:
    job = Job(small_plant.write_job(tmp_path / "job"))
    table, page, pdf = trend_request.write(job)
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8-sig"))))
    assert rows[0]["Priority"] == "essential" and rows[0]["Not tested without it"]
    assert {row["Point"]: row["Tag"] for row in rows}["chw_flow"] == "chw_flow"
    text = page.read_text(encoding="utf-8")
    assert "Points and trend request: Small invented plant" in text
    assert "Do the tower fans start only so often? (needs rows of at most 4.2 min)" in text
    # A contractor knows points and steps, not the ids of checks; they stand in the table file.
    assert "lift.trips" not in text and "lift.trips" in table.read_text(encoding="utf-8-sig")
    assert len(pypdf.PdfReader(pdf).pages) == 1
    panel = trend_request.panel(job)
    panel.widget.children[2].children[0].click()
    assert "checks can be decided with the points mapped so far" in panel.message.widget.value
