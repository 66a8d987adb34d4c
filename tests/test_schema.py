"""The schema of ``job.toml``: forms, JSON Schema and the record's labels come from it."""

from __future__ import annotations

import tomllib
from pathlib import Path

import jsonschema
import pytest
import tomlkit

from fptlib.job import tables
from fptlib.job.start import start
from fptlib.trends import mapping

ROOT = Path(__file__).resolve().parents[1]
JOBS = sorted([*ROOT.glob("sample_trends/*/job.toml"), *ROOT.glob("tests/data/jobs/*/job.toml")])
VALIDATOR = jsonschema.Draft202012Validator(tables.json_schema())


def test_every_answer_has_a_label_and_a_place_of_its_own():
    paths = [f"{entry.path}.{item.name}" for entry in tables.TABLES for item in entry.asked]
    labels = [item.label for entry in tables.TABLES for item in entry.asked]
    assert all(labels) and len(set(paths)) == len(paths)
    assert all(tomlkit.key(path.split(".")) for path in paths)


@pytest.mark.parametrize("file", JOBS, ids=lambda file: file.parent.name)
def test_every_job_fits_the_json_schema(file):
    VALIDATOR.validate(tomllib.loads(file.read_text(encoding="utf-8")))


def test_a_new_job_fits_the_json_schema(tmp_path):
    VALIDATOR.validate(start(tmp_path / "job", "Plant").answers())


@pytest.mark.parametrize("given", [
    {"site": {"altitude": "high"}}, {"plant": {"chillers": 99}}, {"people": {"witness": "A"}},
    {"plant": {"chiller_2": {"refrigerant": "R-0"}}}, {"abort": [{"text": 1}]},
    {"limits": {"enable.dwell": {"value": -1}}},
])
def test_a_wrong_answer_does_not_fit_the_json_schema(given):
    assert not VALIDATOR.is_valid(given)


def test_the_point_map_declares_what_reading_the_trends_takes():
    more = {"unit_changes", "second"}  # tables of their own
    assert set(tables.table("points").answers) | more == set(mapping._POINT_KEYS)
    assert set(tables.table("files").answers) == set(mapping._FILE_KEYS)


def test_labels_and_units_are_those_of_the_form():
    rows = dict(tables.labelled("plant", {
        "chillers": 1, "chiller_1": {"cutout": 38.0, "own": [1, 2]}, "demand_window": "clock",
        "tower_approach": {"value": 7.0}}))
    assert rows == {
        "Number of chillers": "1", "Chiller 1: Low-temperature cutout": "38 °F",
        "Chiller 1: own 1": "1", "Chiller 1: own 2": "2",
        "Utility's demand window": "fixed block",
        "Tower approach near changeover: Approach": "7 °F"}
