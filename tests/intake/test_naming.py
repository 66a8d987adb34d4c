"""The point map is proposed under many ways of naming: what is proposed is right, and what a sound
plant's columns are ticked as accuses nobody."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import naming
import numpy as np
import pandas as pd
import pytest
from plants import BLIND
from scipy.optimize import linear_sum_assignment

from fptlib.job import answers
from fptlib.procedure.functional_test import FunctionalTest
from fptlib.procedure.steps import all_checks
from fptlib.trends.mapping import PointMap
from fptlib.trends.names import read
from fptlib.trends.reading import read_trends
from fptlib.trends.suggest import Suggestion, assignment, propose
from sample_trends.generator.job_file import job_file
from sample_trends.generator.samples import STORIES


def proposed(folder: Path, stated: dict[str, Any] | None = None) -> dict[str, Suggestion]:
    """What is proposed, by column."""
    return {s.column: s for s in propose(folder, stated or naming.SITE).chosen.values()}


def write(folder: Path, columns: dict[str, Any], name: str = "t.csv") -> None:
    frame = pd.DataFrame(columns)
    frame.index = pd.date_range("2026-01-05", periods=len(frame), freq="5min", name="Time")
    frame.to_csv(folder / name)


@pytest.mark.parametrize("name", naming.CONVENTIONS)
def test_units_numbers_and_points_together(name: str, tmp_path: Path) -> None:
    columns = naming.written(name, tmp_path)
    found = proposed(tmp_path)
    score = naming.score(columns, {c: (s.point, s.unit) for c, s in found.items()})
    assert score.precision >= 0.98, score.wrong
    assert score.recall >= 0.90, score.missed
    wrong = [found[text.split(": ")[0]] for text in score.wrong]
    assert not [one for one in wrong if one.confidence > 0.9 or one.ticked]


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", naming.CONVENTIONS)
def test_nothing_wrong_is_ticked_when_half_of_the_columns_are_not_trended(
        name: str, seed: int, tmp_path: Path) -> None:
    dice = np.random.default_rng(seed)
    columns = [c for c in naming.written(name, tmp_path) if dice.random() < 0.5]
    table = pd.read_csv(tmp_path / "plant.csv", dtype=str, keep_default_na=False)
    table[["Time", *(c.header for c in columns)]].to_csv(tmp_path / "plant.csv", index=False)
    found = proposed(tmp_path)
    score = naming.score(columns, {c: (s.point, s.unit) for c, s in found.items()})
    assert not [text for text in score.wrong if found[text.split(": ")[0]].ticked]


def failed(name: str, folder: Path) -> list[str]:
    """The checks that fail on what is ticked."""
    naming.written(name, folder)
    chosen = [(s.point, s.column, s.unit) for s in proposed(folder).values() if s.ticked]
    stated = tomllib.loads(job_file(replace(BLIND[0], days=6), STORIES["sound"]))
    stated |= {"files": {}, "site": stated["site"] | naming.SITE["site"], "points": {
        point: {"file": "plant.csv", "column": column, "unit": unit.replace("on/off", "")}
        for point, column, unit in chosen}}
    trends = read_trends(folder, PointMap.from_answers(stated))
    test = FunctionalTest(trends, answers.plant(stated), answers.limits(stated),
                          answers.sensors(stated))
    return [check.id for check in all_checks(test) if check.verdict == "fail"]


@pytest.mark.parametrize("name", [name for name in naming.CONVENTIONS if name.startswith(
    ("trade", "held", "fresh", "published_1", "published_2"))])
def test_what_is_ticked_makes_no_sound_plant_fail(name: str, tmp_path: Path) -> None:
    assert not failed(name, tmp_path)


def test_the_assignment_is_the_best_there_is() -> None:
    dice = np.random.default_rng(5)
    for _ in range(200):
        rows = int(dice.integers(1, 9))
        scores = dice.random((rows, rows + int(dice.integers(0, 6))))
        scores = np.round(scores * (dice.random(scores.shape) < 0.5), 1)
        mine = assignment(scores)
        best = linear_sum_assignment(scores, maximize=True)  # SciPy
        assert len(set(mine)) == rows
        assert scores[range(rows), mine].sum() == pytest.approx(scores[best].sum())


@pytest.mark.parametrize("header, concepts, key", [
    ("CHWST", "in=chw in=water end=supply is=temp", (0, "")),
    ("LCDWT", "in=cw in=water end=leaving is=temp", (0, "")),
    ("CHLRB-KW", "of=chiller is=power", (0, "b")), ("CT 2A FAN SPD", "of=tower of=fan is=speed",
                                                    (2, "a")),
    ("Bldg 12/Chiller 03/Amps", "of=chiller is=amps", (3, "")),
    ("lvgchwtemp", "in=chw in=water end=leaving is=temp", (0, "")),
])
def test_words_of_the_trade(header: str, concepts: str, key: tuple[int, str]) -> None:
    name = read(header)
    assert set(concepts.split()) == name.concepts and name.key == key


def points_of(names: Iterable[Suggestion]) -> set[str]:
    return {one.point for one in names}


def test_rooms_suites_and_air_handlers_are_never_outdoors(tmp_path: Path) -> None:
    dice = np.random.default_rng(2)
    write(tmp_path, {name: 40 + dice.normal(0, 1, 300) for name in (
        "OR 3 Suite RH", "Lab Humidity", "AHU-2 OA RH", "AHU-2 MAT", "Room 12 Temp", "Zone RH")})
    assert points_of(proposed(tmp_path).values()) <= {"space_humidity", "ahu_2_mixed_temp"}


@pytest.mark.parametrize("header", [
    "Boiler Heating Load", "AHU-1 Min OA Damper", "AHU-1 RA Damper", "Duct Heater Status",
    "AHU-1 CHW Supply Temp", "AHU-1 SAT High Limit", "AHU-1 SAT SP", "VAV-3 DAT", "AHU-1 HW Valve",
    "AHU-1 Economizer Enable", "AHU-1 Exhaust Fan Status", "AHU-1 RF Status", "HW Loop DP",
    "HX-1 HW DP", "HWS Temp", "AHU-1 Preheat Discharge Temp", "RTU-1 MAT", "CT-2 Basin Heater",
    "Supply Fan 3 Status", "AHU-1 SF VFD Alarm", "Chiller 1 Discharge Temp"])
@pytest.mark.parametrize("switched", [False, True])
def test_what_air_handlers_and_heating_do_else_is_no_point(header: str, switched: bool,
                                                           tmp_path: Path) -> None:
    values = naming.plant()["chiller_1_running"].to_numpy()
    write(tmp_path, {header: values if switched else 55.0 + values + np.arange(len(values)) % 7})
    assert not proposed(tmp_path)


@pytest.mark.parametrize("header", ["Heating Water Load", "HX-1 CHW DP", "HX CW Pressure Drop"])
def test_what_a_range_cannot_tell_the_unit_of_is_not_ticked(header: str, tmp_path: Path) -> None:
    values = np.linspace(20.0, 30.0, 300)
    for unit, ticked in (("", False), (" (tons)" if "Load" in header else " (psi)", True)):
        write(tmp_path, {"CHWST (°F)": np.linspace(44.0, 46.0, 300), header + unit: values})
        one = proposed(tmp_path)[header + unit]
        assert one.ticked == ticked and ("does not state the unit" in one.doubt) != ticked


def test_a_pumps_watts_are_not_a_chillers(tmp_path: Path) -> None:
    write(tmp_path, {"CH-1 CHWP KW": np.full(300, 22.0), "Ch 2 Oil Pump KW": np.full(300, 1.5)})
    assert not [p for p in points_of(proposed(tmp_path).values()) if p.startswith("chiller")]


def test_the_only_column_of_a_file_is_named_by_the_file(tmp_path: Path) -> None:
    frame = naming.plant()
    for name, point in (("CHW-ST", "chw_supply_temp"), ("CHW-RT", "chw_return_temp"),
                        ("CH-2 KW", "chiller_2_power")):
        write(tmp_path, {"Value": frame[point].to_numpy()}, f"{name}.csv")
    found = {s.file: s.point for s in propose(tmp_path, naming.SITE).chosen.values()}
    assert found == {"CHW-ST.csv": "chw_supply_temp", "CHW-RT.csv": "chw_return_temp",
                     "CH-2 KW.csv": "chiller_2_power"}


def test_a_unit_that_the_values_contradict_is_said_and_not_ticked(tmp_path: Path) -> None:
    frame = naming.plant()
    write(tmp_path, {"CHWST (°F)": (frame["chw_supply_temp"].to_numpy() - 32) / 1.8})
    one = proposed(tmp_path)["CHWST (°F)"]
    assert one.point == "chw_supply_temp" and one.unit == "degF" and not one.ticked
    assert one.doubt == "the file says °F, the values look like °C"


@pytest.mark.parametrize("unit, added, wanted", [
    ("psi", 0.0, "psia"), ("psi", -12.1, "psig"), ("kPa", 0.0, "kPa"), ("kPa", -12.1, "kPag"),
    ("bar", -12.1, "barg")])
def test_gauge_and_absolute_by_the_refrigerant(unit: str, added: float, wanted: str,
                                               tmp_path: Path) -> None:
    psi = {"psi": 1.0, "kPa": 0.1450377, "bar": 14.50377}[unit]  # NIST SP 811, table B.8
    frame = naming.plant()
    write(tmp_path, {
        "CH-1 STS": frame["chiller_1_running"].to_numpy(),
        "CH-1 LCHWT (°F)": frame["chiller_1_chw_leaving_temp"].to_numpy(),
        f"CH-1 EVAP PRESS ({unit})": (
            frame["chiller_1_evaporator_pressure"].to_numpy() + added) / psi})
    plant = {"plant": {"chiller_1": {"refrigerant": "R-1233zd(E)"}}}
    found = proposed(tmp_path, {**naming.SITE, **plant})
    assert found[f"CH-1 EVAP PRESS ({unit})"].unit == wanted


@pytest.mark.parametrize("unit, asked", [
    ("psi", "psi: is it gauge (psig) or absolute (psia)?"),
    ("kPa", "kPa: is it gauge (kPag) or absolute (kPa absolute)?")])
def test_a_plain_pressure_of_a_refrigerant_is_asked(unit: str, asked: str, tmp_path: Path
                                                    ) -> None:
    header = f"CH-1 EVAP PRESS ({unit})"
    values = naming.plant()["chiller_1_evaporator_pressure"].to_numpy()
    write(tmp_path, {header: values * (6.894757 if unit == "kPa" else 1.0)})
    one = proposed(tmp_path)[header]
    assert not one.ticked and one.doubt == asked


def test_a_status_that_goes_with_another_chiller_is_doubted(tmp_path: Path) -> None:
    frame = naming.plant()
    other = {1: 3, 2: 2, 3: 1}
    write(tmp_path, {
        **{f"CH-{n} STS": frame[f"chiller_{other[n]}_running"].to_numpy() for n in other},
        **{f"CH-{n} KW": frame[f"chiller_{n}_power"].to_numpy() for n in other}})
    one = proposed(tmp_path)["CH-1 STS"]
    assert not one.ticked and "it goes with number 3" in one.doubt


def test_two_columns_that_would_both_do_are_not_ticked(tmp_path: Path) -> None:
    frame = naming.plant()
    write(tmp_path, {"Pri CHWST": frame["chw_supply_temp"].to_numpy(),
                     "Sec CHWST": frame["chw_supply_temp"].to_numpy() + 0.2})
    (one,) = proposed(tmp_path).values()
    assert one.point == "chw_supply_temp" and not one.ticked and "would do as well" in one.doubt


@pytest.mark.parametrize("story", ["sound", "before"])
def test_the_sample_plant_is_found_whole(story: str) -> None:
    folder = Path(__file__).resolve().parents[2] / "sample_trends" / story
    job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    found = {s.point: s for s in propose(folder / "trends", job).chosen.values()}
    assert {p: (s.file, s.column, s.ticked) for p, s in found.items()} == {
        p: (t["file"], t["column"], True) for p, t in job["points"].items()}


def test_too_few_chillers_power_settles_no_unit(tmp_path: Path) -> None:
    frame = naming.plant()
    write(tmp_path, {
        "Chw.SupTmp": (frame["chw_supply_temp"].to_numpy() - 32) / 1.8,
        "Chw.RetTmp": (frame["chw_return_temp"].to_numpy() - 32) / 1.8,
        "Chw.Flow": frame["chw_flow"].to_numpy() / 15.85,
        **{f"Chlr0{n}.RunSts": frame[f"chiller_{n}_running"].to_numpy() for n in (1, 2, 3)},
        "Chlr03.Pwr": frame["chiller_3_power"].to_numpy()})
    one = proposed(tmp_path)["Chw.Flow"]
    assert one.point == "chw_flow" and not one.ticked
    assert one.doubt.startswith("the file does not state the unit of this flow")


def test_a_chillers_cooling_is_not_its_power(tmp_path: Path) -> None:
    write(tmp_path, {"chiller_cooling_W": np.linspace(1e5, 9e5, 300)})
    assert "chiller_1_power" not in points_of(proposed(tmp_path).values())


def test_on_and_off_of_a_machine_beside_a_word_nobody_knows_is_no_status(tmp_path: Path) -> None:
    running = naming.plant()["chiller_1_running"].to_numpy()
    write(tmp_path, {"Chiller 1 Seized": running, "CH-2": running})
    found = proposed(tmp_path)
    assert "Chiller 1 Seized" not in found or not found["Chiller 1 Seized"].ticked
    assert found["CH-2"].point == "chiller_2_running"
