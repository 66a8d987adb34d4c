"""Answers of a job become objects, and a wrong answer one sentence."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import drawn_plant as drawn
import numpy as np
import pytest

from fptlib.errors import JobError
from fptlib.job import answers
from fptlib.job.folder import Job, lookup, place, split
from fptlib.job.schema import Sensor, Sensors
from fptlib.job.start import clear, start
from fptlib.limits import Limits
from fptlib.procedure.assemble import without_offsets

SITE = {"altitude": 4200, "time_zone": "America/Denver"}
PLANT = answers.plant({"site": SITE})


def test_plant_with_all_it_can_state() -> None:
    plant = answers.plant({
        "site": SITE,
        "plant": {
            "chillers": 2, "tower_cells": 3, "loop_volume": 9000, "equipment_limit": 3,
            "pumps": 2,
            "demand_window": "sliding",
            "chiller_2": {"refrigerant": "R-134a", "minimum_water_lift": 12, "tag": "CH-2"},
            "exchanger": {"load": 400, "chw_flow": 1000.0},
            "tower_approach": {"value": 7.1, "basis": "observed", "remark": "one cold night"},
        }})
    assert [c.number for c in plant.chillers] == [1, 2]
    assert plant.chiller(2).minimum_water_lift == 12
    assert (plant.equipment_limit, plant.pumps) == (3, 2)
    assert plant.exchanger.chw_flow == 1000.0 and plant.exchanger.cw_flow is None
    assert plant.tower_approach is not None and plant.tower_approach.basis == "observed"


@pytest.mark.parametrize(("given", "said"), [
    ({}, r"site.altitude \(Altitude\) is missing; enter it in the plan"),
    ({"site": {"altitude": "high"}}, r"site.altitude \(Altitude\): 'high' is not a number"),
    ({"site": {"altitude": 0}}, r"site.time_zone \(Time zone\) is missing"),
    ({"site": {"altitude": 0, "time_zone": "Mars/North"}}, "'Mars/North' is not a zone"),
    ({"site": SITE, "plant": {"demand_window": "rolling"}},
     "'rolling' is not offered; choose one of: clock, sliding"),
    ({"site": SITE, "plant": {"chillers": 1, "chiller_1": {"refrigerant": "R-0"}}},
     r"plant.chiller_1.refrigerant \(Refrigerant\): 'R-0' is not offered; choose one of: R-134a"),
    ({"site": SITE, "plant": {"chillers": 1, "chiller_1": {"colour": "red"}}},
     "plant.chiller_1.colour is not known"),
    ({"site": SITE, "plant": {"tower_approach": {"value": 7, "basis": "felt"}}},
     r"tower_approach.basis \(Basis\): 'felt' is not offered; choose one of: observed, design"),
    ({"site": {"altitude": float("nan")}}, r"site.altitude \(Altitude\): 'nan' is not a number"),
    ({"site": {"altitude": 10**400}}, r"site.altitude \(Altitude\): '1000+…' is not a number"),
    ({"site": {"altitude": 99999}},
     r"\(Altitude\): 99999 ft is outside what is possible here \(-1500 to 20,000 ft\)"),
    ({"site": {"altitude": 0, "time_zone": "America"}}, "'America' is not a zone"),
    ({"site": {"altitude": 0, "time_zone": 7}}, "'7' is not a zone"),
    ({"site": SITE, "plant": {"chillers": float("inf")}}, r"plant.chillers .*: 'inf' is not a num"),
    ({"site": SITE, "plant": {"chillers": 2.5}},
     r"plant.chillers \(Number of chillers\): '2.5' is not a whole number"),
    ({"site": SITE, "plant": {"tower_cells": -1}},
     r"plant.tower_cells .*: -1 is outside what is possible here \(1 to 80\)"),
    ({"site": SITE, "plant": {"equipment_limit": 1e9}},
     r"economizer mode\): 1000000000 is outside what is possible here \(1 to 100\)"),
    ({"site": SITE, "plant": {"exchanger": "x"}}, "plant.exchanger: 'x' stands where a table"),
    ({"site": SITE, "plant": {"tower_approach": 7}}, "plant.tower_approach: '7' stands where a"),
])
def test_wrong_plant_is_one_sentence(given: dict, said: str) -> None:
    with pytest.raises(JobError, match=said):
        answers.plant(given)


@pytest.mark.parametrize(("read", "given", "said"), [
    (answers.sensors, {"sensors": 3}, "sensors: '3' stands where a table is expected"),
    (answers.sensors, {"sensors": {"chw_flow": 0.02}}, "sensors.chw_flow: '0.02' stands where"),
    (answers.sensors, {"sensors": {"chw_flow": {"accuracy": "2 %"}}},
     r"sensors.chw_flow.accuracy \(Accuracy ±\): '2 %' is not a number"),
    (answers.instruments, {"instruments": ["T1"]}, r"instruments: '\['T1'\]' stands where a"),
    (answers.instruments, {"instruments": {"T1": "good"}}, "instruments.T1: 'good' stands where"),
    (answers.instruments, {"instruments": {"T1": {"accuracy": 1, "accuracy_unit": "% of range"}}},
     r"instruments.T1.accuracy_unit \(Unit of the accuracy\): '% of range' is not offered; "
     "choose one of: % of reading, degF"),
    (answers.instruments, {"instruments": {"T1": {"accuracy": float("nan")}}},
     r"instruments.T1.accuracy \(Accuracy ±\): 'nan' is not a number"),
    (answers.limits, {"limits": "none"}, "limits: 'none' stands where a table is expected"),
    (answers.marks, {"marks": "none"}, "marks: 'none' stands where tables are expected"),
    (answers.marks, {"marks": ["none"]}, "marks: .* stands where tables are expected"),
    (answers.marks, {"marks": {"time": "02:15"}}, "marks: .* stands where tables are expected"),
])
def test_another_kind_than_a_table_is_one_sentence(
    read: Callable[[dict], object], given: dict, said: str
) -> None:
    with pytest.raises(JobError, match=f"^job.toml, {said}"):
        read({"site": SITE, **given})


@pytest.mark.parametrize("point", ["hx_chw_flow", "plant_power", "chiller_2_amps", "plant_load"])
def test_an_accuracy_that_is_no_share_of_the_reading_is_refused(point: str) -> None:
    own = answers.sensors({"sensors": {point: {"accuracy": 0.03}}})[point]
    assert own.relative and own.accuracy == 0.03
    with pytest.raises(JobError, match=f"sensors.{point}.accuracy: 20 is no share of the reading"):
        answers.sensors({"sensors": {point: {"accuracy": 20}}})


def test_instrument_without_accuracy_has_none_and_a_tag_may_hold_a_quote() -> None:
    found = answers.instruments({"site": SITE, "instruments": {
        "T1": {"serial": "1"}, '3" gauge': {"accuracy": 0.4}, "T.2": {"accuracy": 0.2}}})
    assert [found[tag].accuracy for tag in ("T1", '3" gauge', "T.2")] == [None, 0.4, 0.2]


@pytest.mark.parametrize(("given", "said"), [
    ({"enable.dwel": {"value": 1, "reason": "r", "author": "a"}}, "there is no limit"),
    ({"enable.dwell": {"value": "long", "reason": "r", "author": "a"}},
     r"'enable.dwell' \(.*\): 'long' is not a number; write a number from 0 to"),
    ({"enable.dwell": {"value": 20}}, "give a reason and an author"),
    ({"enable.dwell": 20}, "is 20; it must be a table with value, reason, author and date"),
    ({"decision.rule": {"value": "hope", "reason": "r", "author": "a"}},
     r"'hope' is not offered; choose one of: simple"),
])
def test_wrong_limit_is_one_sentence(given: dict, said: str) -> None:
    with pytest.raises(JobError, match=said):
        answers.limits({"limits": given})


def _own(name: str, value: float) -> Limits:
    return answers.limits({"limits": {name: {"value": value, "reason": "r", "author": "a"}}})


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 1e9, 10**400])
@pytest.mark.parametrize("name", ["enable.dwell", "running.supply_band", "handover.window"])
def test_limit_that_no_plant_has_is_refused(name: str, value: float) -> None:
    said = rf"limit '{name}' \(.*(is outside what is|is not a number; ).*0 to 1,000,000"
    with pytest.raises(JobError, match=said):
        _own(name, value)


@pytest.mark.parametrize("name", ["recovery.rate", "recovery.demand_interval",
                                  "running.fan_starts"])
def test_limit_that_is_divided_by_is_not_zero(name: str) -> None:
    with pytest.raises(JobError, match=rf"'{name}' \(.*\): 0 .* is outside .*\(0.01 to 1,000,000"):
        _own(name, 0)


def test_an_offset_may_point_either_way() -> None:
    assert _own("running.tower_offset", -2.0)["running.tower_offset"] == -2.0
    with pytest.raises(JobError, match="a number from -1,000,000 to 1,000,000 °F"):
        _own("running.tower_offset", float("-inf"))


def test_deviation_shows_and_changes_the_digest() -> None:
    own = answers.limits({"limits": {"enable.dwell": {
        "value": 45, "reason": "slow sump", "author": "engineer", "date": "2026-01-01"}}})
    assert own["enable.dwell"] == 45.0
    assert own.basis("enable.dwell") == "this job's own value: slow sump (engineer)"
    assert own.digest() != answers.limits({}).digest()


def _readings(tmp_path: Path, text: str) -> Path:
    file = tmp_path / "readings.csv"
    file.write_text(text, encoding="utf-8")
    return file


HEAD = "time,point,value,unit,instrument,taken_by,remark\n"


def test_readings_are_converted_and_placed_in_the_sites_zone(tmp_path: Path) -> None:
    file = _readings(tmp_path, HEAD + "2026-01-10 10:00,chw_supply_temp,10,degC,T1,me,\n"
                     "2026-01-10T18:00:00+00:00,cw_flow,10,L/s,F1,me,cold\n")
    first, second = answers.readings(file, PLANT)
    assert first.value == 50.0 and str(first.time) == "2026-01-10 10:00:00-07:00"
    assert second.value == pytest.approx(158.503, abs=1e-3)
    assert str(second.time) == "2026-01-10 11:00:00-07:00" and second.remark == "cold"


@pytest.mark.parametrize(("row", "said"), [
    ("2026-01-10 10:00,chw_suply,44,degF,T1,me,", "row 2: 'chw_suply' is not a point"),
    ("2026-01-10 10:00,chw_supply_temp,warm,degF,T1,me,", "row 2, chw_supply_temp: 'warm'"),
    ("2026-01-10 10:00,chw_supply_temp,44,psi,T1,me,", "unit 'psi' cannot be turned into degF"),
    ("2026-01-10 10:00,chw_supply_temp,nan,degF,T1,me,", "row 2, chw_supply_temp: 'nan' is not"),
    ("2026-01-10 10:00,chw_supply_temp,inf,degF,T1,me,", "row 2, chw_supply_temp: 'inf' is not"),
    ("2026-01-10 10:00,chw_supply_temp,4_4,degF,T1,me,", "row 2, chw_supply_temp: '4_4' is not"),
    ("\n\n2026-01-10 10:00,chw_suply,44,degF,T1,me,", "row 4: 'chw_suply' is not a point"),
    *((f"{time},chw_supply_temp,44,degF,T1,me,", f"row 2: '{time}' is not a time; enter it as")
      for time in ("11:00", "now", "10/1/2026 11:00", "13/1/2026 11:00", "2026-01-10 9:00")),
    ("2026-01-10,chw_supply_temp,44,degF,T1,me,", "row 2: '2026-01-10' has no time of day"),
    ("2026-01-10 10:00,chw_supply_temp,3 8.2,degF,T1,me,", "row 2, chw_supply_temp: '3 8.2'"),
    ("last night,chw_supply_temp,44,degF,T1,me,", "row 2: 'last night' is not a time"),
])
def test_wrong_reading_names_file_row_and_point(tmp_path: Path, row: str, said: str) -> None:
    with pytest.raises(JobError, match=said):
        answers.readings(_readings(tmp_path, HEAD + row + "\n"), PLANT)


def test_wrong_heading_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="row 1: the heading lacks instrument"):
        answers.readings(_readings(tmp_path, "time,point,value,unit\n"), PLANT)


@pytest.mark.parametrize("given", ["35,psig", "2.413165,barg", "241.3165,kPag"])
def test_gauge_pressure_is_read_under_the_sites_atmosphere(tmp_path: Path, given: str) -> None:
    row = f"2026-01-10 10:00,chiller_1_evaporator_pressure,{given},P1,me,\n"
    reading, = answers.readings(_readings(tmp_path, HEAD + row), PLANT)
    # ASHRAE Fundamentals (2017) ch. 1 eq. 3 at 4200 ft: 12.5984 psia.
    assert reading.value == pytest.approx(35 + 12.5984, abs=2e-4)


def test_stated_offset_is_taken_off_and_said() -> None:
    trends = drawn.case().grid
    found = without_offsets(trends, Sensors({"chw_supply_temp": Sensor(0.5, offset=0.4)}))
    change = found.columns["chw_supply_temp"] - trends.columns["chw_supply_temp"]
    assert np.unique(change.round(9)).tolist() == [-0.4]
    assert [r.point for r in found.remarks] == ["chw_supply_temp"]


def test_dotted_paths_reach_keys_that_hold_dots(tmp_path: Path) -> None:
    assert split('limits."enable.dwell".value') == ["limits", "enable.dwell", "value"]
    job = start(tmp_path / "job", 'Plant "A"')
    job.put('limits."enable.dwell".value', 45)
    assert job.get('limits."enable.dwell".value') == 45
    assert job.get("job.title") == 'Plant "A"'
    document = job.read()
    place(document, "site.altitude", None)
    assert lookup(document.unwrap(), "site.altitude") is None


def test_comments_and_other_windows_answers_stay(tmp_path: Path) -> None:
    job = start(tmp_path / "job", "Plant")
    other = Job(job.folder)
    job.put("site.altitude", 100)
    other.put("site.time_zone", "America/Denver")
    assert Job(job.folder).get("site") == {"altitude": 100, "time_zone": "America/Denver"}
    assert "comments are kept" in job.file.read_text(encoding="utf-8")


def test_start_refuses_a_folder_in_use(tmp_path: Path) -> None:
    start(tmp_path / "job", "Plant")
    with pytest.raises(JobError, match="not empty"):
        start(tmp_path / "job", "Plant")


def test_not_a_job_and_a_broken_file_are_sentences(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="is not a job folder"):
        Job(tmp_path)
    (tmp_path / "job.toml").write_text("[job\n", encoding="utf-8")
    with pytest.raises(JobError, match="job.toml cannot be read"):
        Job(tmp_path)


def test_cleared_workbook_has_no_outputs() -> None:
    cell = {"cell_type": "code", "outputs": [1], "execution_count": 3, "source": "x"}
    cleared = json.loads(clear(json.dumps({"cells": [cell]}).encode()))
    assert cleared["cells"][0]["outputs"] == []
    assert cleared["cells"][0]["execution_count"] is None
    assert cleared["cells"][0]["metadata"] == {"deletable": False, "editable": False}
