"""The column cache: the same trends, never stale, never damaged, never needed."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import pandas as pd
import portfolio_plants as plants
import pytest

from fptlib.job.folder import Job
from fptlib.trends import cache, reading
from fptlib.trends.grid import Grid


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return Job(plants.write_job(tmp_path / "p", days=2, seed=4))


def cache_file(job: Job) -> Path:
    return job.folder / ".cache" / "trends"


def read(job: Job, keep: bool = True) -> Grid:
    return cache.cached_trends(job.trends_folder, cache_file(job), job.answers(), keep)


def same(a: Grid, b: Grid) -> None:
    pd.testing.assert_frame_equal(a.frame, b.frame, check_exact=True, check_freq=True)
    for item in fields(Grid):
        if item.name != "columns":
            assert getattr(a, item.name) == getattr(b, item.name), item.name


@pytest.fixture
def unread(monkeypatch: pytest.MonkeyPatch) -> list:
    """Counts how often the trend files are read."""
    times, original = [], reading.read_trends

    def counted(*given: object) -> Grid:
        times.append(1)
        return original(*given)

    monkeypatch.setattr(reading, "read_trends", counted)
    return times


def test_the_second_reading_is_the_first_to_the_bit(job: Job, unread: list) -> None:
    first = read(job)
    same(read(job), first)
    assert len(unread) == 1


def test_alarm_texts_and_gaps_come_back(job: Job, unread: list) -> None:
    file = job.trends_folder / "plant.csv"
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    del lines[100:160]
    file.write_text("".join(lines), encoding="utf-8")
    first = read(job)
    assert first.frame.isna().any().any() and first.files and first.sources
    same(read(job), first)
    assert len(unread) == 1


def test_without_keep_nothing_is_written(job: Job) -> None:
    read(job, keep=False)
    assert not cache_file(job).exists()


def change_file(job: Job) -> None:
    path = job.trends_folder / "plant.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("800", "801", 1), encoding="utf-8")


def change_map(job: Job) -> None:
    job.put("points.chw_supply_temp.unit", "degC")


def change_altitude(job: Job) -> None:
    job.put("site.altitude", 100)


def damage(job: Job) -> None:
    path = cache_file(job)
    data = bytearray(path.read_bytes())
    data[-400] ^= 1
    path.write_bytes(data)


def cut(job: Job) -> None:
    path = cache_file(job)
    path.write_bytes(path.read_bytes()[:90])


@pytest.mark.parametrize("happened", [change_file, change_map, change_altitude, damage, cut])
def test_whatever_changed_is_read_anew(job: Job, unread: list, happened) -> None:
    read(job)
    happened(job)
    found = read(job)
    assert len(unread) == 2
    same(found, read(job))
    assert len(unread) == 2


def test_a_job_that_cannot_be_written_is_read_all_the_same(job: Job) -> None:
    (job.folder / ".cache").write_text("a file where the folder should be", encoding="utf-8")
    assert len(read(job).frame) == 2880


def test_the_cache_is_no_trend_file_and_no_input_of_a_record(job: Job) -> None:
    from fptlib.record.files import inputs

    before = inputs(job)
    read(job)
    assert inputs(job) == before and len(job.trend_files()) == 1
