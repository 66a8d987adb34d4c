"""The committed samples: made by the generator, complete, small, and said to be invented."""

from __future__ import annotations

import ast
import csv
import hashlib
import shutil
import sys
import tomllib
from pathlib import Path

import pandas as pd
import pytest

from fptlib import points
from sample_trends.generator.samples import WEATHER_FILE, write_samples

FOLDER = Path(__file__).resolve().parents[2] / "sample_trends"
JOBS = ("sound", "before")
FILES = ["chillers.csv", "plant.csv", "towers.csv"]
LARGEST = 15_000_000


def _files(folder: Path) -> list[Path]:
    """Every file but what tools keep there for themselves (hidden, or compiled)."""
    own = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return sorted(
        folder / path
        for path in own
        if not any(part.startswith((".", "__pycache__")) for part in path.parts)
    )


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_generator_makes_the_committed_bytes_again(tmp_path):
    shutil.copy(FOLDER / "README.md", tmp_path)
    write_samples(tmp_path)
    made = {path.relative_to(tmp_path): _digest(path) for path in _files(tmp_path)}
    assert len(made) == 1 + 2 * 6
    # Only what the generator writes: a job that was run here has more beside it.
    assert made == {path: _digest(FOLDER / path) for path in made}


MODULES = sorted((FOLDER / "generator").glob("*.py"))


@pytest.mark.parametrize("module", MODULES, ids=lambda path: path.stem)
def test_generator_imports_nothing_of_the_package(module):
    imported = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide what is imported"
            imported.add((node.module or "").split(".")[0])
    assert "fptlib" not in imported
    assert imported - set(sys.stdlib_module_names) <= {"numpy", "pandas", "sample_trends"}


def test_samples_stay_small():
    assert sum(path.stat().st_size for path in _files(FOLDER)) < LARGEST


@pytest.mark.parametrize("job", JOBS)
def test_every_glossary_point_is_mapped_to_a_column(job):
    answers = tomllib.loads((FOLDER / job / "job.toml").read_text(encoding="utf-8"))
    mapped = answers["points"]
    # The service meter, the valves' reset, pressure drops, heating, chillers' own flows and the
    # basin are other plants'.
    assert set(mapped) == {point.name for point in points.all_points(2, 2)} - {
        "service_power", "chw_valve_position", "hx_chw_pressure_drop", "hx_cw_pressure_drop",
        "heating_load", "basin_temp", "basin_heater_running", "tower_bypass_valve",
        *(f"chiller_{n}_{water}_flow" for n in (1, 2) for water in ("chw", "cw"))}
    for entry in mapped.values():
        header = _header(FOLDER / job / "trends" / entry["file"])
        assert entry["column"] in header


def _header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as stream:
        return next(csv.reader(stream))


@pytest.mark.parametrize("job", JOBS)
def test_trends_hold_what_the_glossary_calls_plausible(job):
    answers = tomllib.loads((FOLDER / job / "job.toml").read_text(encoding="utf-8"))
    for name, entry in answers["points"].items():
        column = _table(job, entry["file"])[entry["column"]]
        known = points.point(name)
        assert column.notna().all(), name
        assert column.between(known.low, known.high).all(), name
        assert entry["unit"] == known.unit


_TABLES: dict[tuple[str, str], pd.DataFrame] = {}


def _table(job: str, file: str) -> pd.DataFrame:
    if (job, file) not in _TABLES:
        _TABLES[job, file] = pd.read_csv(FOLDER / job / "trends" / file, encoding="utf-8")
    return _TABLES[job, file]


@pytest.mark.parametrize("job", JOBS)
def test_rows_are_one_minute_apart_for_two_weeks(job):
    files = sorted((FOLDER / job / "trends").glob("*.csv"))
    assert [path.name for path in files] == FILES
    for path in files:
        times = pd.to_datetime(_table(job, path.name)["Time"])
        assert len(times) == 14 * 1440
        assert (times.diff().dropna() == pd.Timedelta(minutes=1)).all()


@pytest.mark.parametrize("job", JOBS)
def test_readings_agree_with_the_trends(job):
    answers = tomllib.loads((FOLDER / job / "job.toml").read_text(encoding="utf-8"))
    readings = pd.read_csv(FOLDER / job / "readings.csv", encoding="utf-8")
    assert list(readings.columns) == [
        "time", "point", "value", "unit", "instrument", "taken_by", "remark",
    ]
    assert len(readings) >= 20
    for row in readings.itertuples():
        entry = answers["points"][row.point]
        table = _table(job, entry["file"])
        stamp = pd.Timestamp(row.time).tz_localize(None).strftime("%Y-%m-%d %H:%M")
        trend = float(table.loc[table["Time"] == stamp, entry["column"]].iloc[0])
        allowed = 0.03 * trend if entry["unit"] in ("gpm", "kW") else 0.7
        assert abs(trend - row.value) <= allowed, (row.time, row.point)
        assert row.instrument in answers["instruments"]


@pytest.mark.parametrize("job", JOBS)
def test_the_job_is_complete_and_says_that_it_is_invented(job):
    answers = tomllib.loads((FOLDER / job / "job.toml").read_text(encoding="utf-8"))
    assert answers["job"]["invented"] is True
    assert "invented" in answers["site"]["name"] and "invented" in answers["site"]["place"]
    assert all("invented" in person["firm_role"] for person in answers["people"].values())
    assert all(row["done"] and row["by"] for row in answers["prerequisites"])
    assert all(row["released"] and row["readback"] for row in answers["overrides"])
    created = answers["job"]["created"][:10]
    for instrument in answers["instruments"].values():
        assert instrument["calibrated"] < created < instrument["due"]
    assert answers["abort"] and answers["marks"]


def test_the_weather_year_is_whole_and_labelled():
    lines = (FOLDER / "sound" / "trends" / WEATHER_FILE).read_text("ascii").splitlines()
    head, hours = lines[:8], lines[8:]
    assert "invented" in head[0] and "Invented weather" in head[5]
    assert len(hours) == 8760
    assert {len(line.split(",")) for line in hours} == {35}
    dry = [float(line.split(",")[6]) for line in hours]
    dew = [float(line.split(",")[7]) for line in hours]
    assert all(d >= p for d, p in zip(dry, dew, strict=True))
