"""A model of an invented site says what its columns are: Brick with the class names of its
published ontology (1.3 and 1.4), Haystack with its standard tags in JSON, versions 4 and 3."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import naming
import numpy as np
import pandas as pd
import pytest
from form_views import said

from fptlib.cli.commands import main
from fptlib.job.folder import Job
from fptlib.job.start import start
from fptlib.trends.mapping import PointMap
from fptlib.trends.reading import read_trends
from fptlib.trends.suggest import Proposal, Suggestion, propose
from fptlib.workbook import point_table
from fptlib.workbook.first_page import FirstPage

brick = pytest.mark.skipif(
    "not __import__('importlib').util.find_spec('rdflib')", reason="rdflib is not installed")

# Point of the glossary, equipment in the model, class, unit, and the column, which says nothing.
PLANT = [
    ("outdoor_dry_bulb", "", "Outside_Air_Temperature_Sensor", "DEG_C", "x001"),
    ("outdoor_wet_bulb", "", "Outside_Air_Wet_Bulb_Temperature_Sensor", "DEG_C", "x002"),
    ("chw_supply_temp", "loop", "Leaving_Chilled_Water_Temperature_Sensor", "DEG_C", "x003"),
    ("chw_return_temp", "loop", "Entering_Chilled_Water_Temperature_Sensor", "DEG_C", "x004"),
    ("chw_flow", "loop", "Chilled_Water_Flow_Sensor", "L-PER-SEC", "x005"),
    ("hx_cw_entering_temp", "hx", "Entering_Condenser_Water_Temperature_Sensor", "DEG_C", "x006"),
    ("hx_cw_leaving_temp", "hx", "Leaving_Condenser_Water_Temperature_Sensor", "DEG_C", "x007"),
    *((f"chiller_{n}_{point}", f"ch{n}", kind, unit, f"x{n}{at:02d}") for n in (1, 2, 3)
      for at, (point, kind, unit) in enumerate([
          ("running", "On_Off_Status", ""), ("power", "Electric_Power_Sensor", "KiloW"),
          ("chw_leaving_temp", "Leaving_Chilled_Water_Temperature_Sensor", "DEG_C"),
          ("cw_entering_temp", "Entering_Condenser_Water_Temperature_Sensor", "DEG_C")])),
    *((f"tower_{n}_fan_speed", f"fan{n}", "Fan_Speed_Command", "PERCENT", f"x4{n}")
      for n in (1, 2, 3)),
    # What no check asks for.
    ("-room_temp", "room", "Zone_Air_Temperature_Sensor", "DEG_C", "x501"),
    ("-own_setpoint", "ch1", "Leaving_Chilled_Water_Temperature_Setpoint", "DEG_C", "x502"),
    ("-running", "ch1", "Enable_Command", "", "x503"),
]
UNITS = {"DEG_C": "degC", "L-PER-SEC": "L/s", "KiloW": "kW", "PERCENT": "%", "": "on/off"}
TURTLE = """
@prefix brick: <https://brickschema.org/schema/Brick#> .
@prefix ref: <https://brickschema.org/schema/Brick/ref#> .
@prefix rdfs: <http://www.w3.org/2000/01/rdf-schema#> .
@prefix unit: <http://qudt.org/vocab/unit/> .
@prefix : <urn:example:invented#> .
:loop a brick:Chilled_Water_Loop ; brick:hasPart :ch1, :ch2, :ch3 .
:hx a brick:Heat_Exchanger .
:ch1 a brick:Water_Cooled_Chiller ; rdfs:label "Machine east no. 1" .
:ch2 a brick:Chiller ; rdfs:label "CH-2" .
:ch3 a brick:Chiller .
:ct1 a brick:Cooling_Tower ; rdfs:label "CT-1" . :ct2 a brick:Cooling_Tower .
:ct3 a brick:Cooling_Tower ; brick:hasPart :fan3 .
:fan1 a brick:Cooling_Tower_Fan ; brick:isPartOf :ct1 .
:fan2 a brick:Cooling_Tower_Fan ; brick:isPartOf :ct2 . :fan3 a brick:Cooling_Tower_Fan .
:room a brick:Room .
"""


def turtle(rows: list[tuple[str, ...]] = PLANT, by: str = "reference") -> str:
    """The plant in Brick, its points found by timeseries reference, label or id."""
    text = TURTLE
    for at, (_, equipment, kind, unit, column) in enumerate(rows):
        id = column if by == "id" else f"p{at}"
        text += f":{id} a brick:{kind} "
        text += f"; brick:isPointOf :{equipment} " if equipment and at % 2 else ""
        text += f"; brick:hasUnit unit:{unit} " if unit else ""
        text += {"id": "", "label": f'; rdfs:label "{column}" ', "reference": (
            f'; ref:hasExternalReference [ a ref:TimeseriesReference ; ref:hasTimeseriesId '
            f'"{column}" ] ')}[by] + ".\n"
        text += f":{equipment} brick:hasPoint :{id} .\n" if equipment and not at % 2 else ""
    return text


TAGS = {
    "Outside_Air_Temperature_Sensor": "outside air temp sensor",
    "Outside_Air_Wet_Bulb_Temperature_Sensor": "outside air wetBulb temp sensor",
    "Leaving_Chilled_Water_Temperature_Sensor": "chilled water leaving temp sensor",
    "Entering_Chilled_Water_Temperature_Sensor": "chilled water entering temp sensor",
    "Chilled_Water_Flow_Sensor": "chilled water flow sensor",
    "Entering_Condenser_Water_Temperature_Sensor": "condenser water entering temp sensor",
    "Leaving_Condenser_Water_Temperature_Sensor": "condenser water leaving temp sensor",
    "On_Off_Status": "run sensor", "Electric_Power_Sensor": "elec power sensor active",
    "Fan_Speed_Command": "speed cmd", "Zone_Air_Temperature_Sensor": "zone air temp sensor",
    "Leaving_Chilled_Water_Temperature_Setpoint": "chilled water leaving temp sp effective",
    "Enable_Command": "enable cmd",
}
SYMBOLS = {"DEG_C": "°C", "L-PER-SEC": "L/s", "KiloW": "kW", "PERCENT": "%"}
EQUIPMENT = {
    "loop": ("chillerPlant", ""), "hx": ("heatExchanger", "loop"), "room": ("vav", ""),
    **{f"ch{n}": ("chiller waterCooled", "loop") for n in (1, 2, 3)},
    **{f"ct{n}": ("coolingTower", "loop") for n in (1, 2, 3)},
    **{f"fan{n}": ("fan motor", f"ct{n}") for n in (1, 2, 3)},
}


def haystack(version: int = 4, by: str = "label") -> str:
    """The plant as a grid of Haystack."""
    marker: Any = {"_kind": "marker"} if version == 4 else "m:"

    def ref(id: str, label: str = "") -> Any:
        if version == 4:
            return {"_kind": "ref", "val": id, **({"dis": label} if label else {})}
        return f"r:{id} {label}".strip()

    rows: list[dict[str, Any]] = []
    for id, (tags, above) in EQUIPMENT.items():
        rows.append({"id": ref(id, f"Unit {id}"), "equip": marker,
                     **dict.fromkeys(tags.split(), marker),
                     **({"equipRef": ref(above)} if above else {})})
    for at, (_, equipment, kind, unit, column) in enumerate(PLANT):
        rows.append({
            "id": ref(column if by == "id" else f"p{at}", column if by == "label" else ""),
            "kind": "Number", "his": marker, "point": marker, "axPoint": marker,
            **dict.fromkeys(TAGS[kind].split(), marker),
            **({"equipRef": ref(equipment)} if equipment else {}),
            **({"unit": SYMBOLS[unit]} if unit else {})})
    return json.dumps({"_kind": "grid", "meta": {"ver": "3.0"}, "cols": [], "rows": rows})


def trends(folder: Path, swapped: bool = False) -> None:
    """The columns of the plant, whose headers say nothing."""
    frame = naming.plant()
    columns = {column: naming._values(point, 1, UNITS[unit].replace("on/off", ""))
               for point, _, _, unit, column in PLANT}
    if swapped:
        columns["x003"], columns["x004"] = columns["x004"], columns["x003"]
    table = pd.DataFrame(columns, index=frame.index.tz_localize(None).rename("Time"))
    table.round(4).to_csv(folder / "plant.csv")


def by_column(proposal: Proposal) -> dict[str, Suggestion]:
    return {one.column: one for one in proposal.chosen.values()}


def is_right(proposal: Proposal) -> None:
    """Every point of the plant is proposed with its number and unit, ticked, and nothing else."""
    found = by_column(proposal)
    assert {c: (s.point, s.unit) for c, s in found.items()} == {
        column: (point, UNITS[unit]) for point, _, _, unit, column in PLANT
        if not point.startswith("-")}
    assert all(s.ticked and s.why.startswith("the model: ") for s in found.values())
    assert not proposal.unread


@brick
@pytest.mark.parametrize("by", ["reference", "label", "id"])
def test_brick_names_every_column(by: str, tmp_path: Path) -> None:
    trends(tmp_path)
    assert not [s for s in propose(tmp_path, naming.SITE).chosen.values() if s.ticked]
    (tmp_path / "site.ttl").write_text(turtle(by=by), encoding="utf-8")
    is_right(propose(tmp_path, naming.SITE))


@pytest.mark.parametrize(("version", "by"), [(4, "label"), (4, "id"), (3, "label")])
def test_haystack_names_every_column(version: int, by: str, tmp_path: Path) -> None:
    trends(tmp_path)
    (tmp_path / "site.json").write_text(haystack(version, by), encoding="utf-8")
    is_right(propose(tmp_path, naming.SITE))


def test_a_models_word_outranks_a_name(tmp_path: Path) -> None:
    frame = naming.plant()
    names = {"CHWST (°F)": "chw_return_temp", "x004": "chw_supply_temp"}
    pd.DataFrame({name: frame[point].to_numpy() for name, point in names.items()},
                 index=frame.index.tz_localize(None).rename("Time")).to_csv(tmp_path / "t.csv")
    grid = json.loads(haystack())
    for row in grid["rows"]:
        row["unit"] = ""
        if row["id"].get("dis") == "x003":
            row["id"]["dis"] = "CHWST (°F)"
            row["chilled"], row["leaving"] = {"_kind": "marker"}, ""
            row["entering"] = {"_kind": "marker"}
        elif row["id"].get("dis") == "x004":
            row["entering"], row["leaving"] = "", {"_kind": "marker"}
    (tmp_path / "site.json").write_text(json.dumps(grid), encoding="utf-8")
    found = by_column(propose(tmp_path, naming.SITE))
    assert {name: found[name].point for name in names} == names
    assert all(found[name].ticked for name in names)


def test_values_that_contradict_a_model_are_a_doubt_and_its_word_stays(tmp_path: Path) -> None:
    trends(tmp_path, swapped=True)
    (tmp_path / "site.json").write_text(haystack(), encoding="utf-8")
    found = by_column(propose(tmp_path, naming.SITE))
    assert found["x003"].point == "chw_supply_temp" and not found["x003"].ticked
    assert found["x003"].doubt == "its values are the warmer of the two, against the model"


def test_a_unit_of_the_model_that_the_file_contradicts_is_a_doubt(tmp_path: Path) -> None:
    frame = naming.plant()
    pd.DataFrame({"x003 (°F)": frame["chw_supply_temp"].to_numpy()},
                 index=frame.index.tz_localize(None).rename("Time")).to_csv(tmp_path / "t.csv")
    (tmp_path / "site.json").write_text(haystack(), encoding="utf-8")
    one = by_column(propose(tmp_path, naming.SITE))["x003 (°F)"]
    assert (one.point, one.unit) == ("chw_supply_temp", "degF") and not one.ticked
    assert one.doubt == "the model says °C, the file °F"


def test_a_label_that_two_points_share_names_neither(tmp_path: Path) -> None:
    trends(tmp_path)
    text = haystack().replace('"dis": "x102"', '"dis": "x202"')
    (tmp_path / "site.json").write_text(text, encoding="utf-8")
    found = by_column(propose(tmp_path, naming.SITE))
    assert "x102" not in found and "x202" not in found


@brick
@pytest.mark.parametrize("kind", [
    "Leaving_Chilled_Water_Temperature_Sensor", "Temperature_Sensor"])
def test_what_a_class_leaves_out_the_header_may_say(kind: str, tmp_path: Path) -> None:
    frame = naming.plant()
    pd.DataFrame({"LCHWT 2": frame["chiller_2_chw_leaving_temp"].to_numpy()},
                 index=frame.index.tz_localize(None).rename("Time")).to_csv(tmp_path / "t.csv")
    (tmp_path / "site.ttl").write_text(
        turtle([("", "ch3", kind, "DEG_F", "LCHWT 2")]), encoding="utf-8")
    (one,) = propose(tmp_path, naming.SITE).chosen.values()
    assert one.point == "chiller_3_chw_leaving_temp"


@brick
@pytest.mark.parametrize("kind", [
    "Leaving_Water_Temperature_Deadband_Setpoint", "Outside_Air_CO2_Sensor", "Power_Factor_Sensor",
    "Chilled_Water_Differential_Temperature_Sensor", "Reactive_Power_Sensor",
    "Chilled_Water_Differential_Pressure_Step_Parameter"])
def test_a_class_that_is_no_point_of_ours_is_none_by_its_name(kind: str, tmp_path: Path) -> None:
    frame = naming.plant()
    pd.DataFrame({"CHWST": frame["chw_supply_temp"].to_numpy()},
                 index=frame.index.tz_localize(None).rename("Time")).to_csv(tmp_path / "t.csv")
    (tmp_path / "site.ttl").write_text(turtle([("", "loop", kind, "", "CHWST")]), encoding="utf-8")
    proposal = propose(tmp_path, naming.SITE)
    assert not proposal.chosen and proposal.columns[0].model


@brick
@pytest.mark.parametrize("equipment", [
    "a brick:Active_Chilled_Beam", "a brick:Thermal_Energy_Storage_Tank", 'rdfs:label "CH-9"',
    "a brick:Boiler", "a brick:Fan_Coil_Unit", "a brick:Variable_Air_Volume_Box"])
def test_water_of_other_equipment_is_not_the_plants(equipment: str, tmp_path: Path) -> None:
    trends(tmp_path)
    text = turtle().replace(":loop a brick:Chilled_Water_Loop ; brick:hasPart :ch1, :ch2, :ch3",
                            f":loop {equipment}")
    (tmp_path / "site.ttl").write_text(text, encoding="utf-8")
    found = by_column(propose(tmp_path, naming.SITE))
    assert not {"x003", "x004", "x005"} & set(found)
    assert found["x102"].point == "chiller_1_chw_leaving_temp"


@pytest.mark.parametrize("change", ["no record", "a tank"])
def test_haystack_points_of_other_equipment_are_not_the_plants(change: str, tmp_path: Path
                                                               ) -> None:
    trends(tmp_path)
    grid = json.loads(haystack())
    (plant,) = (row for row in grid["rows"] if row["id"]["val"] == "loop")
    del plant["chillerPlant"]
    plant["id"]["dis"] = "TES 1"
    if change == "no record":
        grid["rows"].remove(plant)
    (tmp_path / "site.json").write_text(json.dumps(grid), encoding="utf-8")
    assert not {"x003", "x004", "x005"} & set(by_column(propose(tmp_path, naming.SITE)))


def test_a_haystack_point_is_found_by_its_equipments_name_and_its_own(tmp_path: Path) -> None:
    trends(tmp_path)
    grid = json.loads(haystack(by="id"))
    (row,) = (row for row in grid["rows"] if row["id"]["val"] == "x102")
    row["id"]["val"], row["navName"] = "p", "LCHWT of it"
    row["equipRef"]["dis"] = "Machine East"
    (tmp_path / "site.json").write_text(json.dumps(grid), encoding="utf-8")
    table = (tmp_path / "plant.csv").read_text(encoding="utf-8")
    (tmp_path / "plant.csv").write_text(table.replace("x102", "Machine East LCHWT of it", 1),
                                        encoding="utf-8")
    found = by_column(propose(tmp_path, naming.SITE))
    assert found["Machine East LCHWT of it"].point == "chiller_1_chw_leaving_temp"


@brick
def test_a_broken_turtle_is_named(tmp_path: Path) -> None:
    trends(tmp_path)
    for text in (":ch1 a brick:Chiller", "( " * 5000, "\0\0", ""):
        (tmp_path / "site.ttl").write_text(text, encoding="utf-8")
        (sentence,) = propose(tmp_path, naming.SITE).unread.values()
        assert sentence.startswith("model 'site.ttl' ")


@pytest.mark.parametrize("text", ["{", "[1, 2]", '{"rows": 3}', "[" * 9000, '{"rows": [1]}', "\0"])
def test_what_is_no_haystack_grid_is_named(text: str, tmp_path: Path) -> None:
    trends(tmp_path)
    (tmp_path / "site.json").write_text(text, encoding="utf-8")
    (sentence,) = propose(tmp_path, naming.SITE).unread.values()
    assert sentence.startswith("model 'site.json' ") and "export" in sentence


def test_a_model_of_another_site_says_that_it_names_no_column(tmp_path: Path) -> None:
    trends(tmp_path)
    (tmp_path / "site.json").write_text(haystack().replace('"x', '"y'), encoding="utf-8")
    assert "is a column of the trend files" in propose(tmp_path, naming.SITE).unread["site.json"]


def test_without_rdflib_a_brick_model_says_what_to_install(tmp_path: Path, monkeypatch: Any
                                                           ) -> None:
    monkeypatch.setitem(sys.modules, "rdflib", None)
    trends(tmp_path)
    (tmp_path / "site.ttl").write_text(turtle(), encoding="utf-8")
    assert "pip install 'fptlib[brick]'" in propose(tmp_path, naming.SITE).unread["site.ttl"]


@pytest.fixture
def fresh(tmp_path: Path) -> Job:
    job = start(tmp_path / "new", "new")
    trends(job.trends_folder)
    return job


def test_the_command_line_takes_a_model(fresh: Job, tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "site.json").write_text(haystack(), encoding="utf-8")
    assert main(["map", str(fresh.folder), "--model", str(tmp_path / "site.json"), "--write"]) == 0
    assert "the point map holds 22 points" in capsys.readouterr().out
    assert fresh.get("points.chiller_2_power.column") == "x201"
    assert main(["map", str(fresh.folder), "--model", str(tmp_path / "none.json")]) == 1
    assert "there is no file" in capsys.readouterr().err


def test_a_model_dropped_on_the_page_names_the_columns(fresh: Job) -> None:
    page = FirstPage(fresh)
    assert not any(row.accept for row in page.rows)
    content = haystack().encode()
    (chooser,) = (child for child in page.upload.widget.children if hasattr(child, "multiple"))
    chooser.value = ({"name": "site.json", "type": "application/json", "size": len(content),
                      "content": memoryview(content), "last_modified": datetime.now(UTC)},)
    assert sum(row.accept for row in page.rows) == 22, said(page.panel.message)
    room = next(row for row in page.rows if row.column == "x501")
    assert not room.point and room.why == "the model: 'vav zone air temp sensor'"


def test_a_mapped_column_that_the_model_knows_as_another_point_is_doubted(fresh: Job) -> None:
    columns = {"chw_supply_temp": "x004", "outdoor_wet_bulb": "x002"}
    fresh.put("points", {name: {"file": "plant.csv", "column": column, "unit": "degC"}
                         for name, column in columns.items()})
    (fresh.trends_folder / "site.json").write_text(haystack(), encoding="utf-8")
    found = {row.was: row for row in point_table.of(fresh).rows if row.was}
    assert found["chw_supply_temp"].doubt == (
        "the model says that it is chilled water returning to the plant")
    assert found["chw_supply_temp"].accept and not found["outdoor_wet_bulb"].doubt


def test_a_model_among_the_trends_is_no_trend(fresh: Job) -> None:
    (fresh.trends_folder / "site.json").write_text(haystack(), encoding="utf-8")
    stated = {"site": naming.SITE["site"], "points": {
        "chw_flow": {"file": "plant.csv", "column": "x005", "unit": "L/s"}}}
    grid = read_trends(fresh.trends_folder, PointMap.from_answers(stated))
    assert not [remark for remark in grid.remarks if remark.file == "site.json"]
    assert np.isfinite(grid.columns["chw_flow"]).any()
